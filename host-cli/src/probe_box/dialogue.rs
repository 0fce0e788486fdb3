//! One conversation with a box, turn by turn: whoever calls brings the time, so that tests can keep step
//! with an emulated box.

use super::wire;
use std::collections::VecDeque;
use std::io::{self, Read, Write};
use takeup_core::link::{Capabilities, Ended, Endpoint, Event, Side, ToBox, ToHost};

/// A conversation over a line.
pub struct Dialogue<W> {
    wire: W,
    end: Endpoint<ToBox, ToHost>,
    to_say: VecDeque<ToBox>,
}

/// What happened in a turn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Turned {
    /// The box has answered the greeting.
    Opened(Box<Capabilities>),
    /// The box said something.
    Said(ToHost),
    /// The session is over.
    Ended(Ended),
}

impl<W: Read + Write> Dialogue<W> {
    /// A conversation that is to begin, with a session number not used lately.
    pub fn new(wire: W, session: u16) -> Self {
        Self { wire, end: Endpoint::new(Side::Host { session }), to_say: VecDeque::new() }
    }

    /// Says something as soon as what was said before has arrived.
    pub fn say(&mut self, message: ToBox) {
        self.to_say.push_back(message);
    }

    /// Whether a session is open.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.end.is_open()
    }

    /// The line itself.
    pub fn wire(&mut self) -> &mut W {
        &mut self.wire
    }

    /// One turn: takes what has arrived, says what is due. Call it every few milliseconds.
    ///
    /// # Errors
    /// When the line is gone.
    pub fn turn(&mut self, now_us: u64) -> io::Result<Vec<Turned>> {
        let mut buffer = [0; 512];
        let found = wire::read(&mut self.wire, &mut buffer)?;
        let mut events: Vec<_> =
            buffer[..found].iter().filter_map(|&byte| self.end.receive(byte, now_us)).collect();
        if self.end.is_ready()
            && let Some(message) = self.to_say.pop_front()
        {
            // Ready, and every message of a host fits a frame: cannot fail.
            let _ = self.end.send(&message);
        }
        let (wire, mut written) = (&mut self.wire, Ok(()));
        events.extend(self.end.poll(now_us, &mut |frame| {
            if written.is_ok() {
                written = wire::write(wire, frame);
            }
        }));
        written?;
        Ok(events.into_iter().filter_map(|event| self.turned(event)).collect())
    }

    fn turned(&self, event: Event<ToHost>) -> Option<Turned> {
        match event {
            Event::Opened => self.end.peer().map(|peer| Turned::Opened(Box::new(peer.clone()))),
            Event::Message(message) => Some(Turned::Said(message)),
            Event::Delivered => None,
            Event::Ended(why) => Some(Turned::Ended(why)),
        }
    }

    /// Ends the session; the box is told once.
    pub fn close(&mut self) {
        self.end.close();
        let wire = &mut self.wire;
        let _ = self.end.poll(0, &mut |frame| {
            let _ = wire::write(wire, frame);
        });
    }
}
