//! A conversation kept alive by a thread of its own.
//!
//! The box stops the axis when it hears nothing for 40 ms, so nobody who draws a screen or waits for a key
//! can speak to it themselves. But a program that hangs must not keep an axis moving either: while a
//! routine runs, [`Session::hear`] must be called at least once in [`HAND_OFF`], else the box is told to stop.

use super::dialogue::{Dialogue, Turned};
use super::job::{Arming, Heard, Job};
use super::trouble::Trouble;
use super::wire::{self, Wire};
use std::collections::VecDeque;
use std::io;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender, TryRecvError};
use std::sync::{Arc, OnceLock};
use std::thread::JoinHandle;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};
use takeup_core::length::Length;
use takeup_core::link::message::{Refusal, State};
use takeup_core::link::settings::{Setting, SettingName};
use takeup_core::link::{Capabilities, Ended, ToBox, ToHost};

/// A routine is stopped when nobody has listened for so long.
pub const HAND_OFF: Duration = Duration::from_secs(1);
/// An answer takes longer than this only if the box has hung.
const ANSWER: Duration = Duration::from_secs(5);

enum FromThread {
    Turned(Turned),
    Gone(io::Error),
}

/// An open session with a box.
pub struct Session {
    capabilities: Capabilities,
    to_thread: Option<Sender<ToBox>>,
    from_thread: Receiver<FromThread>,
    thread: Option<JoinHandle<()>>,
    listened: Arc<Listened>,
    kept: VecDeque<Heard>,
}

/// When somebody listened last, in milliseconds of this process.
struct Listened(AtomicU64);

impl Listened {
    fn now_ms() -> u64 {
        static START: OnceLock<Instant> = OnceLock::new();
        u64::try_from(START.get_or_init(Instant::now).elapsed().as_millis()).unwrap_or(u64::MAX)
    }

    fn mark(&self) {
        self.0.store(Self::now_ms(), Ordering::Relaxed);
    }

    fn is_long_ago(&self) -> bool {
        u128::from(Self::now_ms().saturating_sub(self.0.load(Ordering::Relaxed))) > HAND_OFF.as_millis()
    }
}

impl Session {
    /// Opens a port by name (see [`wire::open`]) and a session on it.
    ///
    /// # Errors
    /// When the port cannot be opened, or no box of this version answers.
    pub fn open(port: &str) -> Result<Self, Trouble> {
        Self::over(wire::open(port).map_err(Trouble::Port)?)
    }

    /// Opens a session on a line.
    ///
    /// # Errors
    /// When no box of this version answers.
    pub fn over(wire: Box<dyn Wire>) -> Result<Self, Trouble> {
        let (to_thread, orders) = mpsc::channel();
        let (tell, from_thread) = mpsc::channel();
        let listened = Arc::new(Listened(AtomicU64::new(Listened::now_ms())));
        let hands = Arc::clone(&listened);
        let dialogue = Dialogue::new(wire, number());
        let thread = std::thread::spawn(move || converse(dialogue, &orders, &tell, &hands));
        let mut session = Self {
            // Filled in by the welcome, before anybody sees it.
            capabilities: Capabilities {
                name: heapless::String::new(),
                axis: takeup_core::axis::Axis::Z,
                low: Length::ZERO,
                high: Length::ZERO,
                most_speed: 0,
                count: Length::ZERO,
                most_readings: 0,
                kinds: takeup_core::link::Kinds::default(),
            },
            to_thread: Some(to_thread),
            from_thread,
            thread: Some(thread),
            listened,
            kept: VecDeque::new(),
        };
        match session.receive(ANSWER)? {
            Some(Turned::Opened(capabilities)) => session.capabilities = *capabilities,
            Some(Turned::Ended(Ended::Silent { .. })) | None => return Err(Trouble::NoAnswer),
            Some(Turned::Ended(why)) => return Err(Trouble::Ended(why)),
            Some(Turned::Said(_)) => return Err(Trouble::Unexpected),
        }
        Ok(session)
    }

    /// What the box is and can do.
    #[must_use]
    pub fn capabilities(&self) -> &Capabilities {
        &self.capabilities
    }

    fn receive(&mut self, patience: Duration) -> Result<Option<Turned>, Trouble> {
        self.listened.mark();
        match self.from_thread.recv_timeout(patience) {
            Ok(FromThread::Turned(turned)) => Ok(Some(turned)),
            Ok(FromThread::Gone(error)) => Err(Trouble::Port(error)),
            Err(RecvTimeoutError::Timeout) => Ok(None),
            Err(RecvTimeoutError::Disconnected) => Err(Trouble::Ended(Ended::Closed)),
        }
    }

    /// What the box says by itself, within a time; `None` if it says nothing.
    ///
    /// # Errors
    /// When the link is lost.
    pub fn hear(&mut self, patience: Duration) -> Result<Option<Heard>, Trouble> {
        if let Some(heard) = self.kept.pop_front() {
            self.listened.mark();
            return Ok(Some(heard));
        }
        match self.receive(patience.min(HAND_OFF / 2))? {
            Some(Turned::Said(message)) => Ok(Heard::of(&message, self.capabilities.count)),
            Some(Turned::Ended(why)) => Err(Trouble::Ended(why)),
            Some(Turned::Opened(_)) | None => Ok(None),
        }
    }

    /// Asks, and waits for the answer; what the box says by itself meanwhile is heard later.
    ///
    /// # Errors
    /// When the box refuses, or the link is lost.
    pub fn ask(&mut self, message: ToBox) -> Result<ToHost, Trouble> {
        let stop = message == ToBox::Stop;
        self.say(message)?;
        let start = Instant::now();
        while start.elapsed() < ANSWER {
            match self.receive(HAND_OFF / 2)? {
                Some(Turned::Said(ToHost::Refused(refusal))) => return Err(self.refused(refusal)),
                // A stop is an answer only to the wish to stop.
                Some(Turned::Said(answer @ ToHost::Stopped(_))) if stop => return Ok(answer),
                Some(Turned::Said(message)) => match Heard::of(&message, self.capabilities.count) {
                    Some(heard) => self.kept.push_back(heard),
                    None => return Ok(message),
                },
                Some(Turned::Ended(why)) => return Err(Trouble::Ended(why)),
                Some(Turned::Opened(_)) | None => {}
            }
        }
        Err(Trouble::NoAnswer)
    }

    /// A box that is not armed any more has said why.
    fn refused(&self, refusal: Refusal) -> Trouble {
        let stop = self.kept.iter().rev().find_map(|heard| match heard {
            Heard::Stopped(cause) => Some(*cause),
            _ => None,
        });
        match (refusal, stop) {
            (Refusal::NotArmed, Some(cause)) => Trouble::Stopped(cause),
            _ => Trouble::Refused(refusal),
        }
    }

    fn say(&mut self, message: ToBox) -> Result<(), Trouble> {
        let gone = Trouble::Ended(Ended::Closed);
        match &self.to_thread {
            Some(thread) => thread.send(message).map_err(|_| gone),
            None => Err(gone),
        }
    }

    /// How things stand.
    ///
    /// # Errors
    /// When the link is lost.
    pub fn state(&mut self) -> Result<State, Trouble> {
        self.state_by(ToBox::Ask)
    }

    /// Tells the box where the axis stands, as a person says who has looked.
    ///
    /// # Errors
    /// When the box is armed, or the link is lost.
    pub fn stands(&mut self, at: Length) -> Result<State, Trouble> {
        self.state_by(ToBox::Stands { at })
    }

    fn state_by(&mut self, message: ToBox) -> Result<State, Trouble> {
        match self.ask(message)? {
            ToHost::State(state) => Ok(state),
            _ => Err(Trouble::Unexpected),
        }
    }

    /// The value of a setting.
    ///
    /// # Errors
    /// When the link is lost.
    pub fn setting(&mut self, name: SettingName) -> Result<Setting, Trouble> {
        match self.ask(ToBox::AskSetting(name))? {
            ToHost::Setting(setting) => Ok(setting),
            _ => Err(Trouble::Unexpected),
        }
    }

    /// Changes a setting; the box keeps it.
    ///
    /// # Errors
    /// When the box refuses, or the link is lost.
    pub fn set(&mut self, setting: Setting) -> Result<(), Trouble> {
        match self.ask(ToBox::Set(setting))? {
            ToHost::Setting(_) => Ok(()),
            _ => Err(Trouble::Unexpected),
        }
    }

    /// Allows motion. Only after a person has seen the axis, the range and the speed, and confirmed them.
    ///
    /// # Errors
    /// When the box refuses, or the link is lost.
    pub fn arm(&mut self, arming: &Arming) -> Result<(), Trouble> {
        match self.ask(arming.message())? {
            ToHost::Armed => {
                // A stop told before, such as that of the session before this one, ends nothing from here on.
                self.kept.retain(|heard| !matches!(heard, Heard::Stopped(_)));
                Ok(())
            }
            _ => Err(Trouble::Unexpected),
        }
    }

    /// Runs a job from a row on; its readings are then to be heard.
    ///
    /// # Errors
    /// When the box refuses, or the link is lost.
    pub fn run(&mut self, job: &Job, from_row: u32) -> Result<(), Trouble> {
        if !self.capabilities.kinds.has(job.routine.kind()) {
            return Err(Trouble::OtherKinds);
        }
        let expected = job.stops().map(|stops| stops.len());
        for message in job.messages(from_row) {
            if let ToHost::Started { readings } = self.ask(message)?
                && expected != Ok(usize::try_from(readings).unwrap_or(usize::MAX))
            {
                self.stop()?;
                return Err(Trouble::OtherPlan);
            }
        }
        Ok(())
    }

    /// Stops; the box must then be armed again.
    ///
    /// # Errors
    /// When the link is lost: the box then stops by itself.
    pub fn stop(&mut self) -> Result<(), Trouble> {
        self.ask(ToBox::Stop).map(|_| ())
    }
}

impl Drop for Session {
    fn drop(&mut self) {
        self.to_thread = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// A number that no session had lately: the milliseconds of about a minute, and never that of the session before.
fn number() -> u16 {
    static BEFORE: AtomicU64 = AtomicU64::new(0);
    let ms = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_millis());
    let ms = u64::try_from(ms).unwrap_or_default();
    let next = |before: u64| Some(ms.max(before.saturating_add(1)));
    let before = BEFORE.fetch_update(Ordering::Relaxed, Ordering::Relaxed, next).unwrap_or_default();
    (ms.max(before.saturating_add(1)) % 0x1_0000) as u16
}

fn converse(
    mut dialogue: Dialogue<Box<dyn Wire>>,
    orders: &Receiver<ToBox>,
    tell: &Sender<FromThread>,
    listened: &Listened,
) {
    let start = Instant::now();
    let mut moving = false;
    loop {
        loop {
            match orders.try_recv() {
                Ok(message) => dialogue.say(message),
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => {
                    dialogue.close();
                    return;
                }
            }
        }
        if moving && listened.is_long_ago() {
            moving = false;
            dialogue.say(ToBox::Stop);
        }
        let now_us = u64::try_from(start.elapsed().as_micros()).unwrap_or(u64::MAX);
        let turned = match dialogue.turn(now_us) {
            Ok(turned) => turned,
            Err(error) => {
                let _ = tell.send(FromThread::Gone(error));
                return;
            }
        };
        for turned in turned {
            match &turned {
                Turned::Said(ToHost::Started { .. }) => moving = true,
                Turned::Said(ToHost::Stopped(_) | ToHost::Finished { .. }) => moving = false,
                Turned::Said(_) | Turned::Opened(_) | Turned::Ended(_) => {}
            }
            let over = matches!(turned, Turned::Ended(_));
            if tell.send(FromThread::Turned(turned)).is_err() || over {
                return;
            }
        }
    }
}
