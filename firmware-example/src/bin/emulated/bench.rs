//! The second serial port of the emulated board: whoever makes faults there also measures.
//!
//! A letter each: `e` the emergency stop is pressed and `E` let go, `s` the indicator stands still, `r` it runs
//! away, `f` it fails, `h` the program hangs; `0` to `6` another axis, with something to find for the kind of test of that
//! number;
//! `+` and `-` a hand pushes by 10 N more or less; `l` a hand holds the plunger lifted, `p` pressed, `o` lets it go. `?` is
//! answered by a line of numbers: the time, the time of the last fault, of the last step, and of the last byte from the
//! host, in microseconds, the steps made, the bytes of stack used so far, and the bytes received from the host; `#` by
//! the last of these alone, at once. `g` grants a millisecond, `G` ten: from the first on, the box's time stands when what
//! was granted is used up, which is told by a dot, so that box and host keep step on however busy a machine. `!` tells of
//! a start.

use super::board::{Clock, Uart, Watchdog, sleep_until_received};
use core::fmt::Write;
use heapless::String;
use takeup_core::measure::Kind;

/// With its time standing the box sleeps after so many turns in which no byte went either way.
const QUIET_TURNS: u32 = 20;
/// How far a hand holds the plunger off its place.
const HELD_COUNTS: i64 = 100;

/// The port, and the time as it is granted.
pub struct Bench {
    port: Uart,
    clock: Clock,
    now_us: u64,
    before_us: u64,
    granted_us: Option<u64>,
    fault_us: u64,
    heard_us: u64,
    carried: u32,
    quiet_turns: u32,
}

/// What the bench may ask of the mechanics.
#[derive(Clone, Copy, PartialEq)]
pub enum Order {
    /// Press the emergency stop, or let it go.
    Emergency(bool),
    /// The indicator stands still.
    Stuck,
    /// The indicator runs away.
    RunAway,
    /// The indicator fails.
    Fail,
    /// Another axis, for a kind of test.
    Axis(Kind),
    /// A hand pushes by so many newtons more.
    PushMore(f64),
    /// A hand holds the plunger so many counts off its place.
    Hold(i64),
}

impl Bench {
    /// Tells of the start.
    pub fn start(mut port: Uart, clock: Clock) -> Self {
        port.send(b'!');
        Self {
            port,
            clock,
            now_us: 0,
            before_us: 0,
            granted_us: None,
            fault_us: 0,
            heard_us: 0,
            carried: 0,
            quiet_turns: 0,
        }
    }

    /// The time, as far as it was granted.
    pub fn now_us(&mut self) -> u64 {
        let elapsed = self.clock.now_us();
        let passed = elapsed - self.before_us;
        self.before_us = elapsed;
        match &mut self.granted_us {
            None => self.now_us += passed,
            Some(0) => {}
            Some(left) => {
                let used = passed.min(*left);
                self.now_us += used;
                *left -= used;
                if *left == 0 {
                    self.port.send(b'.');
                }
            }
        }
        self.now_us
    }

    /// Sleeps while the box's time stands and nobody says anything: whoever grants the time needs the computer.
    pub fn rest(&mut self, host: &Uart, watchdog: &mut Watchdog) {
        let carried = host.carried().wrapping_add(self.port.carried());
        let quiet = self.granted_us == Some(0) && carried == self.carried;
        self.carried = carried;
        self.quiet_turns = if quiet { self.quiet_turns.saturating_add(1) } else { 0 };
        if self.quiet_turns < QUIET_TURNS {
            return;
        }
        self.quiet_turns = 0;
        watchdog.pause(true);
        sleep_until_received(host, &self.port);
        watchdog.pause(false);
        self.before_us = self.clock.now_us();
    }

    /// A byte from the host has been seen.
    pub fn heard(&mut self) {
        self.heard_us = self.now_us;
    }

    /// Takes an order, if one has come; `last` gives the time of the last step, and the steps made.
    pub fn order(
        &mut self,
        last: impl FnOnce() -> (u64, i64),
        stack: impl FnOnce() -> usize,
        received: u32,
    ) -> Option<Order> {
        let letter = self.port.receive()?;
        if matches!(letter, b'e' | b's' | b'r' | b'f' | b'h') {
            self.fault_us = self.now_us;
        }
        match letter {
            b'e' => return Some(Order::Emergency(true)),
            b'E' => return Some(Order::Emergency(false)),
            b's' => return Some(Order::Stuck),
            b'r' => return Some(Order::RunAway),
            b'f' => return Some(Order::Fail),
            b'0'..=b'6' => {
                let kind = Kind::ALL.get(usize::from(letter.wrapping_sub(b'0')));
                return kind.map(|kind| Order::Axis(*kind));
            }
            b'+' => return Some(Order::PushMore(10.0)),
            b'-' => return Some(Order::PushMore(-10.0)),
            b'l' => return Some(Order::Hold(HELD_COUNTS)),
            b'p' => return Some(Order::Hold(-HELD_COUNTS)),
            b'o' => return Some(Order::Hold(0)),
            b'g' => self.granted_us = Some(self.granted_us.unwrap_or(0) + 1_000),
            b'G' => self.granted_us = Some(self.granted_us.unwrap_or(0) + 10_000),
            b'h' => loop {
                cortex_m::asm::nop();
            },
            b'#' => {
                let mut answer: String<16> = String::new();
                let _ = writeln!(answer, "{received}");
                answer.bytes().for_each(|byte| self.port.send(byte));
            }
            b'?' => {
                let ((last_us, steps), stack) = (last(), stack());
                let mut answer: String<160> = String::new();
                let _ = writeln!(
                    answer,
                    "{} {} {last_us} {} {steps} {stack} {received}",
                    self.now_us, self.fault_us, self.heard_us
                );
                answer.bytes().for_each(|byte| self.port.send(byte));
            }
            _ => {}
        }
        None
    }
}
