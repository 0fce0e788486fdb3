//! The box against a simulated axis and a host on a perfect line, in exact time.

mod kept;
mod limits;
mod routines;
mod stops;

use crate::indicator::{Indicator, Quadrature};
use crate::simulated::{
    COUNT_MM, JoinedProbe, MEMORY, SCALE_COUNT_MM, SCALE_PERIOD_US, STEP_MM, Wire, World, Wrong, settings,
};
use core::convert::Infallible;
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use std::{collections::VecDeque, vec, vec::Vec};
use takeup_core::axis::{Axis, Direction};
use takeup_core::correct::{AxisTable, Table, bytes};
use takeup_core::length::Length;
use takeup_core::link::message::{Armed, Button, Correction, Refusal, State, StopCause};
use takeup_core::link::settings::{Setting, SettingName};
use takeup_core::link::{Endpoint, Event, Routine, Side, ToBox, ToHost};
use takeup_core::measure::Setup;
use takeup_core::measure::reversal::{Reading, assess};
use takeup_core::slack::simulated::Faults;

const TURN_US: u64 = 20;
/// The bound of a stop, from the fault.
const STOP_US: u64 = 50_000;

fn mm(value: f64) -> Length {
    Length::from_mm(value).unwrap()
}

/// A line as fast as memory.
#[derive(Default)]
struct Cable {
    down: VecDeque<u8>,
    up: VecDeque<u8>,
}

impl ErrorType for Cable {
    type Error = Infallible;
}

impl Read for Cable {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Infallible> {
        buffer[0] = self.down.pop_front().unwrap();
        Ok(1)
    }
}

impl ReadReady for Cable {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(!self.down.is_empty())
    }
}

impl Write for Cable {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        self.up.extend(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

impl WriteReady for Cable {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }
}

struct Rig<'a, I: Indicator = Quadrature<Wire<'a>, Wire<'a>>> {
    world: &'a World,
    probe: JoinedProbe<'a, I>,
    host: Endpoint<ToBox, ToHost>,
    cable: Cable,
    plugged: bool,
    heard: Vec<ToHost>,
}

impl<'a> Rig<'a> {
    fn with_memory(world: &'a World, memory: &'a mut [u8]) -> Self {
        Self::of(world, world.probe(memory))
    }

    /// A box that forgets, standing at 0.
    fn new(world: &'a World) -> Self {
        let mut rig = Self::with_memory(world, vec![0xff; MEMORY].leak());
        rig.stands(0.0);
        rig
    }
}

impl<'a, I: Indicator> Rig<'a, I> {
    fn of(world: &'a World, probe: JoinedProbe<'a, I>) -> Self {
        let mut rig = Self {
            world,
            probe,
            host: Endpoint::new(Side::Host { session: 1 }),
            cable: Cable::default(),
            plugged: true,
            heard: vec![],
        };
        rig.pass(5_000);
        assert!(rig.host.is_open());
        rig
    }

    fn pass(&mut self, us: u64) {
        let until = self.world.now_us.get() + us;
        while self.world.now_us.get() < until {
            self.world.pass(TURN_US);
            let now = self.world.now_us.get();
            self.world.turn();
            self.probe.poll(&mut self.cable, now);
            let mut events: Vec<_> =
                self.cable.up.drain(..).filter_map(|b| self.host.receive(b, now)).collect();
            let down = &mut self.cable.down;
            events.extend(self.host.poll(now, &mut |bytes| down.extend(bytes)));
            if !self.plugged {
                down.clear();
            }
            self.heard.extend(events.into_iter().filter_map(|event| match event {
                Event::Message(message) => Some(message),
                Event::Opened | Event::Delivered | Event::Ended(_) => None,
            }));
        }
    }

    /// Says something, and gives the answer.
    fn ask(&mut self, message: &ToBox) -> ToHost {
        self.heard.clear();
        self.say(message);
        self.heard.pop().unwrap_or_else(|| panic!("no answer to {message:?}"))
    }

    fn state(&mut self) -> State {
        match self.ask(&ToBox::Ask) {
            ToHost::State(state) => state,
            other => panic!("{other:?}"),
        }
    }

    fn stands(&mut self, at: f64) {
        assert!(matches!(self.ask(&ToBox::Stands { at: mm(at) }), ToHost::State(_)));
    }

    fn places(&mut self, places: &[f64]) {
        for (part, first) in places.chunks(4).zip((0..).step_by(4)) {
            let at = part.iter().map(|at| mm(*at)).collect();
            assert_eq!(self.ask(&ToBox::Places { first, at }), ToHost::Done);
        }
    }

    fn say(&mut self, message: &ToBox) {
        while !self.host.is_ready() {
            self.pass(1000);
        }
        self.host.send(message).unwrap();
        self.pass(3000);
    }

    fn arm_to(&mut self, low: f64, high: f64, speed: f64) -> ToHost {
        self.ask(&ToBox::Arm { axis: Axis::Z, low: mm(low), high: mm(high), speed: mm(speed).counts() })
    }

    /// Sends the table of a lost motion, and has it kept.
    fn table(&mut self, lost_mm: f64) {
        let (bytes, _) = table_bytes(lost_mm);
        self.table_parts(&bytes);
        let length = bytes.len() as u16;
        assert!(matches!(self.ask(&ToBox::TableEnd { length }), ToHost::State(_)));
    }

    fn table_parts(&mut self, bytes: &[u8]) {
        for (bytes, offset) in bytes.chunks(32).zip((0..).step_by(32)) {
            let part = ToBox::TablePart { offset, bytes: bytes.iter().copied().collect() };
            assert_eq!(self.ask(&part), ToHost::Done);
        }
    }

    fn arm(&mut self) {
        assert_eq!(self.arm_to(-5.0, 5.0, 5.0), ToHost::Armed);
    }

    fn run(&mut self, routine: Routine, from_row: u32, correction: Correction) -> ToHost {
        self.ask(&ToBox::Run { routine, settle_ms: 20, from_row, correction })
    }

    fn reversal(&mut self) -> ToHost {
        self.places(&[0.0, -1.0]);
        self.run(Routine::Reversal { cycles: 3, overrun: mm(0.5) }, 1, Correction::Off)
    }

    /// Lets a routine go on to its end, and gives its readings.
    fn readings(&mut self) -> Vec<Reading> {
        for _ in 0..200 {
            self.pass(100_000);
            if !matches!(self.heard.last(), Some(ToHost::Reading { .. }) | None) {
                break;
            }
        }
        let Some(ToHost::Finished { readings }) = self.heard.pop() else { panic!("{:?}", self.heard) };
        assert_eq!(readings as usize, self.heard.len());
        std::mem::take(&mut self.heard)
            .into_iter()
            .map(|message| match message {
                ToHost::Reading { target, cycle, approach, counts, .. } => {
                    Reading { target, cycle, approach, value_mm: f64::from(counts) * COUNT_MM, time_s: None }
                }
                other => panic!("{other:?}"),
            })
            .collect()
    }

    /// Makes a fault in the middle of a move: motion ends in time, for this cause, and stays ended until armed.
    fn fault(&mut self, make: impl FnOnce(&mut Self), expected: Option<StopCause>) {
        self.arm();
        assert_eq!(self.reversal(), ToHost::Started { readings: 12 });
        self.pass(60_000);
        let at = self.world.now_us.get();
        assert!(at - self.world.last_step_us.get() < 1000, "it does not move");
        make(self);
        self.pass(300_000);
        let stopped = self.world.last_step_us.get().saturating_sub(at);
        assert!(stopped <= STOP_US, "{stopped} us");
        assert!(!self.probe.is_armed());
        if let Some(cause) = expected {
            assert_eq!(self.heard, [ToHost::Stopped(cause)]);
            let steps = self.world.steps();
            assert_eq!(self.reversal(), ToHost::Refused(Refusal::NotArmed));
            self.pass(100_000);
            assert_eq!(self.world.steps(), steps, "it moved without being armed");
        }
    }
}

fn world(clearance_mm: f64) -> World {
    World::new(Faults { clearance_mm, ..Faults::default() }, 1)
}

/// The bytes of a table that adds the same lost motion everywhere on the way up, and the checksum at their end.
fn table_bytes(lost_mm: f64) -> (Vec<u8>, u32) {
    let mut table = Table::EMPTY;
    table.axes.z = Some(AxisTable::uniform(Direction::Minus, mm(lost_mm)).unwrap());
    let mut room = [0; bytes::MAX_BYTES];
    let length = bytes::encode(&table, &mut room).unwrap();
    (room[..length].to_vec(), u32::from_le_bytes(room[length - 4..length].try_into().unwrap()))
}
