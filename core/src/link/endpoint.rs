//! One end of the link (sections 4 and 5): opens sessions, numbers and repeats messages, notices silence.

use super::frame::{Collector, Frame, Kind};
use super::message::Capabilities;
use super::{MAX_PAYLOAD, PROTOCOL};
use core::fmt;
use core::marker::PhantomData;
use heapless::Vec;
use serde::Serialize;
use serde::de::DeserializeOwned;

/// A sign of life is due after so long without a frame sent (section 4).
pub const BEAT_US: u64 = 5_000;
/// A message or a hello that was not answered is sent again after so long.
pub const REPEAT_US: u64 = 15_000;
/// How often a message is sent before the session ends.
pub const MOST_TRIES: u16 = 60;
/// A session ends after so long without a frame. A box must stop motion long before: see
/// [`Endpoint::silence_us`].
pub const SILENCE_US: u64 = 500_000;

/// Which end this is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Side {
    /// Opens the session with a number that it did not use lately.
    Host {
        /// The number.
        session: u16,
    },
    /// Waits for a session, and says what it is.
    Box(Capabilities),
}

/// What happened on the link.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Event<In> {
    /// A session is open. On a box this also ends whatever a former session had begun.
    Opened,
    /// A message arrived; each arrives once and in order.
    Message(In),
    /// The message sent last has arrived; the next can be sent.
    Delivered,
    /// The session is over; nothing more is delivered in it.
    Ended(Ended),
}

/// Why a session is over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Ended {
    /// Nothing was heard.
    Silent {
        /// For so long.
        for_us: u64,
    },
    /// A message was not acknowledged.
    NotAcknowledged {
        /// After so many tries.
        tries: u16,
    },
    /// The other end speaks another version.
    OtherVersion {
        /// The version it speaks.
        found: u16,
    },
    /// A frame arrived whole, but its message cannot be read: the ends disagree.
    Unreadable,
    /// The other end closed it.
    Closed,
}

impl fmt::Display for Ended {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Ended::Silent { for_us } => write!(f, "nothing was heard for {} ms", for_us / 1000),
            Ended::NotAcknowledged { tries } => {
                write!(f, "a message was not acknowledged after {tries} tries")
            }
            Ended::OtherVersion { found } => {
                write!(f, "the other end speaks version {found} of the link, this one version {PROTOCOL}")
            }
            Ended::Unreadable => f.write_str("a message arrived whole but cannot be read"),
            Ended::Closed => f.write_str("the other end closed the session"),
        }
    }
}

impl core::error::Error for Ended {}

/// Why a message was not taken for sending.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SendError {
    /// No session is open.
    NoSession,
    /// The message before has not arrived yet.
    Busy,
    /// The message is longer than a frame can carry.
    TooLong,
}

impl fmt::Display for SendError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            SendError::NoSession => f.write_str("no session is open"),
            SendError::Busy => f.write_str("the message before has not arrived yet"),
            SendError::TooLong => write!(f, "the message is longer than {MAX_PAYLOAD} bytes"),
        }
    }
}

impl core::error::Error for SendError {}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// A host that has sent hello since a moment; a box that waits.
    Opening {
        since_us: Option<u64>,
    },
    Open {
        session: u16,
    },
    Over,
}

#[derive(Clone, Debug)]
struct Pending {
    payload: Vec<u8, MAX_PAYLOAD>,
    tries: u16,
    due_us: u64,
}

/// One end: takes the bytes that arrive and the time, gives events and the bytes to send.
#[derive(Clone, Debug)]
pub struct Endpoint<Out, In> {
    side: Side,
    state: State,
    collector: Collector,
    /// The message under way, and its number.
    pending: Option<Pending>,
    number: u16,
    /// The number that the next message from the other end must have.
    expected: u16,
    ack: Option<u16>,
    welcome: Option<u16>,
    bye: Option<u16>,
    hello_due_us: u64,
    heard_us: u64,
    sent_us: u64,
    damaged: u32,
    peer: Option<Capabilities>,
    messages: PhantomData<(Out, In)>,
}

impl<Out: Serialize, In: DeserializeOwned> Endpoint<Out, In> {
    /// An end of a link on which nothing has been said yet.
    #[must_use]
    pub const fn new(side: Side) -> Self {
        Self {
            side,
            state: State::Opening { since_us: None },
            collector: Collector::new(),
            pending: None,
            number: 0,
            expected: 0,
            ack: None,
            welcome: None,
            bye: None,
            hello_due_us: 0,
            heard_us: 0,
            sent_us: 0,
            damaged: 0,
            peer: None,
            messages: PhantomData,
        }
    }

    /// Whether a session is open.
    #[must_use]
    pub const fn is_open(&self) -> bool {
        matches!(self.state, State::Open { .. })
    }

    /// What the other end is; on a host with a session.
    #[must_use]
    pub const fn peer(&self) -> Option<&Capabilities> {
        self.peer.as_ref()
    }

    /// How many frames arrived damaged and were dropped.
    #[must_use]
    pub const fn damaged(&self) -> u32 {
        self.damaged
    }

    /// How long nothing was heard, in microseconds; `None` without a session.
    #[must_use]
    pub const fn silence_us(&self, now_us: u64) -> Option<u64> {
        if self.is_open() { Some(now_us.saturating_sub(self.heard_us)) } else { None }
    }

    /// Whether a message can be sent now.
    #[must_use]
    pub const fn is_ready(&self) -> bool {
        self.is_open() && self.pending.is_none()
    }

    /// Takes a message for sending; [`Endpoint::poll`] sends it, and again until it has arrived.
    pub fn send(&mut self, message: &Out) -> Result<(), SendError> {
        if !self.is_open() {
            return Err(SendError::NoSession);
        }
        if self.pending.is_some() {
            return Err(SendError::Busy);
        }
        let mut payload = Vec::new();
        payload.resize_default(MAX_PAYLOAD).map_err(|_| SendError::TooLong)?;
        let length = postcard::to_slice(message, &mut payload).map_err(|_| SendError::TooLong)?.len();
        payload.truncate(length);
        self.pending = Some(Pending { payload, tries: 0, due_us: 0 });
        Ok(())
    }

    /// Ends the session; the next poll tells the other end, once.
    pub fn close(&mut self) {
        if let State::Open { session } = self.state {
            self.bye = Some(session);
            self.end();
        }
    }

    /// A box waits for the next session; a host is done.
    fn end(&mut self) {
        self.state = match self.side {
            Side::Host { .. } => State::Over,
            Side::Box(_) => State::Opening { since_us: None },
        };
        self.pending = None;
        self.ack = None;
    }

    fn ended(&mut self, why: Ended) -> Option<Event<In>> {
        self.end();
        Some(Event::Ended(why))
    }

    fn open(&mut self, session: u16, now_us: u64) -> Option<Event<In>> {
        self.state = State::Open { session };
        (self.number, self.expected) = (0, 0);
        (self.pending, self.ack) = (None, None);
        (self.heard_us, self.sent_us) = (now_us, now_us);
        Some(Event::Opened)
    }

    /// Takes one byte from the line.
    pub fn receive(&mut self, byte: u8, now_us: u64) -> Option<Event<In>> {
        match self.collector.push(byte)? {
            Ok(frame) => self.take(&frame, now_us),
            // Dropped, whatever it was: what mattered is sent again.
            Err(_) => {
                self.damaged = self.damaged.saturating_add(1);
                None
            }
        }
    }

    fn take(&mut self, frame: &Frame, now_us: u64) -> Option<Event<In>> {
        match (frame.kind, &self.side) {
            (Kind::Hello, Side::Box(_)) => self.take_hello(frame, now_us),
            (Kind::Welcome, Side::Host { session }) if frame.session == *session => {
                self.take_welcome(frame, now_us)
            }
            _ => match self.state {
                State::Open { session } if session == frame.session => {
                    self.heard_us = now_us;
                    self.take_in_session(frame)
                }
                _ => None,
            },
        }
    }

    fn take_hello(&mut self, frame: &Frame, now_us: u64) -> Option<Event<In>> {
        let (version, _) = frame.payload.split_first_chunk::<2>()?;
        // Answered in any case, so that the host learns which version is spoken here.
        self.welcome = Some(frame.session);
        if u16::from_le_bytes(*version) != PROTOCOL {
            return None;
        }
        if self.state == (State::Open { session: frame.session }) {
            // The same hello again: the welcome was lost, or the line doubles.
            self.heard_us = now_us;
            return None;
        }
        self.open(frame.session, now_us)
    }

    fn take_welcome(&mut self, frame: &Frame, now_us: u64) -> Option<Event<In>> {
        if !matches!(self.state, State::Opening { .. }) {
            return None;
        }
        let (version, rest) = frame.payload.split_first_chunk::<2>()?;
        let found = u16::from_le_bytes(*version);
        if found != PROTOCOL {
            return self.ended(Ended::OtherVersion { found });
        }
        match postcard::from_bytes(rest) {
            Ok(capabilities) => {
                self.peer = Some(capabilities);
                self.open(frame.session, now_us)
            }
            Err(_) => self.ended(Ended::Unreadable),
        }
    }

    fn take_in_session(&mut self, frame: &Frame) -> Option<Event<In>> {
        match frame.kind {
            Kind::Data if frame.number == self.expected => match postcard::take_from_bytes(&frame.payload) {
                Ok((message, [])) => {
                    self.ack = Some(self.expected);
                    self.expected = self.expected.wrapping_add(1);
                    Some(Event::Message(message))
                }
                Ok(_) | Err(_) => self.ended(Ended::Unreadable),
            },
            Kind::Data if frame.number == self.expected.wrapping_sub(1) => {
                // Seen already: its acknowledgement was lost, or the line doubles.
                self.ack = Some(frame.number);
                None
            }
            Kind::Ack
                if frame.number == self.number && self.pending.as_ref().is_some_and(|p| p.tries > 0) =>
            {
                self.pending = None;
                self.number = self.number.wrapping_add(1);
                Some(Event::Delivered)
            }
            Kind::Bye => self.ended(Ended::Closed),
            Kind::Data | Kind::Ack | Kind::Beat | Kind::Hello | Kind::Welcome => None,
        }
    }

    /// Sends what is due, through `wire`, and notices silence. Call it every millisecond or so, and
    /// after every event.
    pub fn poll(&mut self, now_us: u64, wire: &mut impl FnMut(&[u8])) -> Option<Event<In>> {
        if let Some(session) = self.bye.take() {
            wire(&plain(Kind::Bye, session, 0).encode());
        }
        if let Some(session) = self.welcome.take() {
            self.send_welcome(session, now_us, wire);
        }
        match self.state {
            State::Over => None,
            State::Opening { since_us } => self.poll_opening(since_us, now_us, wire),
            State::Open { session } => self.poll_open(session, now_us, wire),
        }
    }

    fn send_welcome(&mut self, session: u16, now_us: u64, wire: &mut impl FnMut(&[u8])) {
        let Side::Box(capabilities) = &self.side else { return };
        let mut frame = plain(Kind::Welcome, session, 0);
        let _ = frame.payload.extend_from_slice(&PROTOCOL.to_le_bytes());
        let mut room = [0; MAX_PAYLOAD - 2];
        // Capabilities are bounded well below the room: a test holds the longest against it.
        if let Ok(bytes) = postcard::to_slice(capabilities, &mut room) {
            let _ = frame.payload.extend_from_slice(bytes);
        }
        wire(&frame.encode());
        self.sent_us = now_us;
    }

    fn poll_opening(
        &mut self,
        since: Option<u64>,
        now_us: u64,
        wire: &mut impl FnMut(&[u8]),
    ) -> Option<Event<In>> {
        let Side::Host { session } = self.side else { return None };
        let since = since.unwrap_or(now_us);
        self.state = State::Opening { since_us: Some(since) };
        let waited = now_us.saturating_sub(since);
        if waited >= SILENCE_US {
            return self.ended(Ended::Silent { for_us: waited });
        }
        if now_us >= self.hello_due_us {
            self.hello_due_us = now_us.saturating_add(REPEAT_US);
            let mut frame = plain(Kind::Hello, session, 0);
            let _ = frame.payload.extend_from_slice(&PROTOCOL.to_le_bytes());
            // A zero first ends whatever rubbish the line held before.
            wire(&[0]);
            wire(&frame.encode());
        }
        None
    }

    fn poll_open(&mut self, session: u16, now_us: u64, wire: &mut impl FnMut(&[u8])) -> Option<Event<In>> {
        let silence = now_us.saturating_sub(self.heard_us);
        if silence >= SILENCE_US {
            return self.ended(Ended::Silent { for_us: silence });
        }
        if let Some(number) = self.ack.take() {
            wire(&plain(Kind::Ack, session, number).encode());
            self.sent_us = now_us;
        }
        if let Some(pending) = &mut self.pending
            && now_us >= pending.due_us
        {
            if pending.tries >= MOST_TRIES {
                let tries = pending.tries;
                return self.ended(Ended::NotAcknowledged { tries });
            }
            pending.tries = pending.tries.saturating_add(1);
            pending.due_us = now_us.saturating_add(REPEAT_US);
            let payload = pending.payload.clone();
            wire(&Frame { kind: Kind::Data, session, number: self.number, payload }.encode());
            self.sent_us = now_us;
        }
        if now_us.saturating_sub(self.sent_us) >= BEAT_US {
            wire(&plain(Kind::Beat, session, 0).encode());
            self.sent_us = now_us;
        }
        None
    }
}

const fn plain(kind: Kind, session: u16, number: u16) -> Frame {
    Frame { kind, session, number, payload: Vec::new() }
}
