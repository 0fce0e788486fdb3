//! One end of the link (sections 4 and 5): opens sessions, numbers and repeats messages, notices silence.

use super::frame::{Collector, Frame, Kind};
use super::message::Capabilities;
use super::{MAX_PAYLOAD, PROTOCOL};
use core::fmt;
use core::marker::PhantomData;
use heapless::{Deque, Vec};
use serde::Serialize;
use serde::de::DeserializeOwned;

/// An ack is due so long after the one before, though nothing arrived: it is the sign of life (section 4).
pub const BEAT_US: u64 = 5_000;
/// A message, a hello or a welcome that was not answered is sent again after so long.
pub const REPEAT_US: u64 = 15_000;
/// A host waits so long for a welcome, and either end for an acknowledgement: far beyond what a line with
/// eight faults in a hundred bytes needs.
pub const PATIENCE_US: u64 = 2_000_000;
/// A session ends after so long without a frame. A box must stop motion long before: see
/// [`Endpoint::silence_us`].
pub const SILENCE_US: u64 = 500_000;

/// A box keeps the numbers of so many sessions: none of them opens one again (section 4.2).
const RECENT: usize = 8;

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
        /// For so long.
        for_us: u64,
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
            Ended::NotAcknowledged { for_us } => {
                write!(f, "a message was not acknowledged for {} ms", for_us / 1000)
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

/// A welcome that a box owes to a session: sent again until the host is heard to have it.
#[derive(Clone, Copy, Debug)]
struct Welcome {
    session: u16,
    due_us: u64,
}

#[derive(Clone, Debug)]
struct Pending {
    payload: Vec<u8, MAX_PAYLOAD>,
    /// When it was sent first.
    since_us: Option<u64>,
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
    /// When the next ack is due.
    ack_due_us: u64,
    welcome: Option<Welcome>,
    bye: Option<u16>,
    hello_due_us: u64,
    heard_us: u64,
    damaged: u32,
    peer: Option<Capabilities>,
    /// The sessions opened last, the latest at the back.
    recent: Deque<u16, RECENT>,
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
            ack_due_us: 0,
            welcome: None,
            bye: None,
            hello_due_us: 0,
            heard_us: 0,
            damaged: 0,
            peer: None,
            recent: Deque::new(),
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
        self.pending = Some(Pending { payload, since_us: None, due_us: 0 });
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
    }

    /// What a box says of itself from the next welcome on.
    pub fn describe(&mut self, capabilities: Capabilities) {
        if matches!(self.side, Side::Box(_)) {
            self.side = Side::Box(capabilities);
        }
    }

    fn ended(&mut self, why: Ended) -> Option<Event<In>> {
        self.end();
        Some(Event::Ended(why))
    }

    fn open(&mut self, session: u16, now_us: u64) -> Option<Event<In>> {
        self.state = State::Open { session };
        if self.recent.is_full() {
            self.recent.pop_front();
        }
        // There is room now.
        let _ = self.recent.push_back(session);
        (self.number, self.expected) = (0, 0);
        self.pending = None;
        (self.heard_us, self.ack_due_us) = (now_us, now_us);
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
                    // The host speaks within the session: it has the welcome.
                    self.welcome = None;
                    self.take_in_session(frame, now_us)
                }
                _ => None,
            },
        }
    }

    fn take_hello(&mut self, frame: &Frame, now_us: u64) -> Option<Event<In>> {
        let (version, _) = frame.payload.split_first_chunk::<2>()?;
        // Answered in any case, so that the host learns which version is spoken here.
        self.welcome = Some(Welcome { session: frame.session, due_us: now_us });
        if u16::from_le_bytes(*version) != PROTOCOL {
            return None;
        }
        if self.state == (State::Open { session: frame.session }) {
            // The same hello again: the welcome was lost, or the line doubles.
            self.heard_us = now_us;
            return None;
        }
        if self.recent.iter().any(|recent| *recent == frame.session) {
            // Of a session that is over, from a line that doubles or delays: what comes behind it was obeyed once,
            // and must not be again.
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

    fn take_in_session(&mut self, frame: &Frame, now_us: u64) -> Option<Event<In>> {
        match frame.kind {
            Kind::Data => {
                // Also where it is not the next: the one before, whose acknowledgement was lost.
                self.ack_due_us = now_us;
                if frame.number != self.expected {
                    return None;
                }
                match postcard::take_from_bytes(&frame.payload) {
                    Ok((message, [])) => {
                        self.expected = self.expected.wrapping_add(1);
                        Some(Event::Message(message))
                    }
                    Ok(_) | Err(_) => self.ended(Ended::Unreadable),
                }
            }
            Kind::Ack
                if frame.number == self.number.wrapping_add(1)
                    && self.pending.as_ref().is_some_and(|p| p.since_us.is_some()) =>
            {
                self.pending = None;
                self.number = self.number.wrapping_add(1);
                Some(Event::Delivered)
            }
            Kind::Bye => self.ended(Ended::Closed),
            Kind::Ack | Kind::Hello | Kind::Welcome => None,
        }
    }

    /// Sends what is due, through `wire`, and notices silence. Call it every millisecond or so, and
    /// after every event.
    pub fn poll(&mut self, now_us: u64, wire: &mut impl FnMut(&[u8])) -> Option<Event<In>> {
        if let Some(session) = self.bye.take() {
            wire(&plain(Kind::Bye, session, 0).encode());
        }
        self.poll_welcome(now_us, wire);
        match self.state {
            State::Over => None,
            State::Opening { since_us } => self.poll_opening(since_us, now_us, wire),
            State::Open { session } => self.poll_open(session, now_us, wire),
        }
    }

    fn poll_welcome(&mut self, now_us: u64, wire: &mut impl FnMut(&[u8])) {
        let (Side::Box(capabilities), Some(welcome)) = (&self.side, self.welcome) else { return };
        if now_us < welcome.due_us {
            return;
        }
        let mut frame = plain(Kind::Welcome, welcome.session, 0);
        let _ = frame.payload.extend_from_slice(&PROTOCOL.to_le_bytes());
        let mut room = [0; MAX_PAYLOAD - 2];
        // Capabilities are bounded well below the room: a test holds the longest against it.
        if let Ok(bytes) = postcard::to_slice(capabilities, &mut room) {
            let _ = frame.payload.extend_from_slice(bytes);
        }
        wire(&frame.encode());
        // Repeated of itself only in an open session; a host of another version gets one for each hello.
        self.welcome = (self.state == State::Open { session: welcome.session })
            .then_some(Welcome { due_us: now_us.saturating_add(REPEAT_US), ..welcome });
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
        if waited >= PATIENCE_US {
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
        if let Some(pending) = &mut self.pending
            && now_us >= pending.due_us
        {
            let since = *pending.since_us.get_or_insert(now_us);
            let waited = now_us.saturating_sub(since);
            if waited >= PATIENCE_US {
                return self.ended(Ended::NotAcknowledged { for_us: waited });
            }
            pending.due_us = now_us.saturating_add(REPEAT_US);
            let payload = pending.payload.clone();
            wire(&Frame { kind: Kind::Data, session, number: self.number, payload }.encode());
        }
        // Sent unasked too: a lost one costs no repetition of the message, and silence has a bound.
        if now_us >= self.ack_due_us {
            wire(&plain(Kind::Ack, session, self.expected).encode());
            self.ack_due_us = now_us.saturating_add(BEAT_US);
        }
        None
    }
}

const fn plain(kind: Kind, session: u16, number: u16) -> Frame {
    Frame { kind, session, number, payload: Vec::new() }
}
