//! A simulated axis behind simulated pins, for tests and for the emulated board.
//!
//! Steps go in, edges of an incremental indicator come out; faults can be made while it runs.

use core::cell::{Cell, RefCell};
use core::convert::Infallible;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use embedded_storage::nor_flash::{
    ErrorType as MemoryError, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};
use takeup_core::axis::{Axis, Direction};
use takeup_core::length::Length;
use takeup_core::measure::Kind;
use takeup_core::slack::simulated::{Faults, Noise, SimulatedAxis};

use crate::indicator::{Indicator, Quadrature, Scale};
use crate::kept::Flash;
use crate::probe::{Named, Pins, Probe, Settings};
use crate::rehearsal::{CLEARANCE_MM, WIND_UP_MM};

/// One step of the drive in millimetres.
pub const STEP_MM: f64 = 0.0005;
/// One count of the indicator in millimetres.
pub const COUNT_MM: f64 = 0.001;

/// One count of the digital scale in millimetres.
pub const SCALE_COUNT_MM: f64 = 0.01;
/// From one word of the scale to the next, in microseconds: the quick mode of common scales.
pub const SCALE_PERIOD_US: u64 = 20_000;
/// One bit of a word.
const SCALE_BIT_US: u64 = 200;

/// An axis with something to find for a kind of test, on the clearance and the wind-up of the rehearsal.
#[must_use]
pub fn faults(kind: Kind) -> Faults {
    let usual = Faults { clearance_mm: CLEARANCE_MM, wind_up_mm: WIND_UP_MM, ..Faults::default() };
    match kind {
        Kind::Reversal | Kind::Indicator => usual,
        Kind::Positioning => Faults { lead_error: 0.002, ..usual },
        Kind::SmallSteps => Faults { clearance_mm: 0.05, wind_up_mm: 0.02, ..usual },
        Kind::Return => Faults { slip_mm: 0.003, ..usual },
        Kind::PushPull => Faults { stiffness_n_per_mm: 2000.0, ..usual },
        Kind::WarmUp => Faults { growth_mm: 0.1, growth_time_s: 8.0, ..usual },
    }
}

/// The slack of the indicator in its own test, in counts; it has none in the others.
pub const INDICATOR_SLACK: i64 = 4;

/// What is wrong with the indicator.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// Nothing.
    Nothing,
    /// It stands still, whatever the table does.
    Stuck,
    /// It runs away, a count at every look.
    RunningAway,
    /// Its wires are bad: an incremental one loses a count, a digital scale is silent.
    Failed,
}

/// The axis, its wires, and a clock that whoever polls sets.
pub struct World {
    axis: RefCell<SimulatedAxis>,
    noise: RefCell<Noise>,
    /// Where the table stands, and the count there; found anew only when it is moved, for it is looked at in every turn.
    stands: Cell<(f64, i64)>,
    steps: Cell<i64>,
    forward: Cell<bool>,
    counts: Cell<i64>,
    /// The word that the scale sends, and when it began to.
    word: Cell<(u32, u64)>,
    /// When it began to move: what goes with time goes on from there, however long it stood before.
    began_us: Cell<Option<u64>>,
    /// The time in microseconds.
    pub now_us: Cell<u64>,
    /// When the last step was made.
    pub last_step_us: Cell<u64>,
    /// Whether the emergency stop is pressed.
    pub emergency: Cell<bool>,
    /// What is wrong with the indicator.
    pub wrong: Cell<Wrong>,
    /// How far a hand holds the indicator's plunger off its place, in counts.
    pub held_counts: Cell<i64>,
    /// The slack of the indicator itself, in counts.
    pub slack_counts: Cell<i64>,
}

impl World {
    /// An axis with faults, seated `-` at 0.
    pub fn new(faults: Faults, seed: u64) -> Self {
        let axis = SimulatedAxis::new(faults, 0.0, Direction::Minus);
        Self {
            stands: Cell::new(place(&axis)),
            axis: RefCell::new(axis),
            noise: RefCell::new(Noise::new(seed)),
            steps: Cell::new(0),
            forward: Cell::new(false),
            counts: Cell::new(0),
            word: Cell::new((0, 0)),
            began_us: Cell::new(None),
            now_us: Cell::new(0),
            last_step_us: Cell::new(0),
            emergency: Cell::new(false),
            wrong: Cell::new(Wrong::Nothing),
            held_counts: Cell::new(0),
            slack_counts: Cell::new(0),
        }
    }

    /// The axis and the indicator for a kind of test instead, seated `-` where this one is commanded to; while
    /// nothing moves.
    pub fn exchange(&self, kind: Kind) {
        if let Ok(mut axis) = self.axis.try_borrow_mut() {
            *axis = SimulatedAxis::new(faults(kind), self.steps.get() as f64 * STEP_MM, Direction::Minus);
            self.stands.set(place(&axis));
        }
        self.slack_counts.set(if kind == Kind::Indicator { INDICATOR_SLACK } else { 0 });
    }

    /// Pushes the table by hand with a force in newtons, positive in `+`, and holds it.
    pub fn push(&self, newtons: f64) {
        if let Ok(mut axis) = self.axis.try_borrow_mut() {
            axis.push(newtons);
            self.stands.set(place(&axis));
        }
    }

    /// How many steps it has made, forward less backward.
    pub fn steps(&self) -> i64 {
        self.steps.get()
    }

    /// Lets time pass.
    pub fn pass(&self, us: u64) {
        self.now_us.set(self.now_us.get().saturating_add(us));
    }

    /// Lets the indicator move by a count at most, so that whoever polls in each turn sees every edge.
    pub fn turn(&self) {
        self.turn_scale();
        let aim = match self.wrong.get() {
            Wrong::Nothing => self.stands.get().1,
            Wrong::Stuck => return,
            Wrong::RunningAway => i64::MAX,
            Wrong::Failed => {
                // Both signals change at once.
                self.counts.set(self.counts.get().saturating_add(2));
                return;
            }
        };
        let aim = aim.saturating_add(self.held_counts.get());
        let (change, slack) = (aim.saturating_sub(self.counts.get()), self.slack_counts.get());
        // Rising it lags by half of its slack, falling by the other half.
        let falling = slack >> 1;
        let (up, down) = (change > slack.saturating_sub(falling), change < falling.saturating_neg());
        self.counts.set(self.counts.get().saturating_add(up.into()).saturating_sub(down.into()));
    }

    /// Lets the scale begin its next word, when that is due.
    fn turn_scale(&self) {
        let now = self.now_us.get();
        let (word, begun) = self.word.get();
        if now < begun.saturating_add(SCALE_PERIOD_US) {
            return;
        }
        let place = self.stands.get().0 / SCALE_COUNT_MM;
        let counts = libm::round(place) as i32;
        let negative = if counts < 0 { 1 << 20 } else { 0 };
        let next = match self.wrong.get() {
            Wrong::Nothing => (counts.unsigned_abs() & 0xf_ffff) | negative,
            // A tenth of a millimetre with each word.
            Wrong::RunningAway => word.wrapping_add(10) & 0xf_ffff,
            Wrong::Stuck => word,
            Wrong::Failed => return,
        };
        self.word.set((next, now));
    }

    /// The levels of the scale's clock and data: each bit half low, half high, then a long rest.
    fn scale_levels(&self) -> (bool, bool) {
        let (word, begun) = self.word.get();
        let since = self.now_us.get().saturating_sub(begun);
        let bit = since / SCALE_BIT_US;
        if bit >= 24 {
            return (true, false);
        }
        let data = word.checked_shr(u32::try_from(bit).unwrap_or(0)).unwrap_or(0) & 1 != 0;
        (since % SCALE_BIT_US >= SCALE_BIT_US / 2, data)
    }

    fn step(&self) {
        let steps = self.steps.get().saturating_add(if self.forward.get() { 1 } else { -1 });
        self.steps.set(steps);
        let now = self.now_us.get();
        self.last_step_us.set(now);
        let began = self.began_us.get().unwrap_or(now);
        self.began_us.set(Some(began));
        // One owner of pins, one thread: never borrowed twice.
        if let (Ok(mut axis), Ok(mut noise)) = (self.axis.try_borrow_mut(), self.noise.try_borrow_mut()) {
            let _ =
                axis.move_to_mm(steps as f64 * STEP_MM, now.saturating_sub(began) as f64 * 1e-6, &mut noise);
            self.stands.set(place(&axis));
        }
    }

    /// The box joined to this axis by an incremental indicator, with its memory.
    pub fn probe<'a>(&'a self, memory: &'a mut [u8]) -> SimulatedProbe<'a> {
        self.joined(Quadrature::new(self.wire(What::A), self.wire(What::B), COUNT_MM), memory)
    }

    /// The box joined to this axis by a digital scale.
    pub fn scale_probe<'a>(&'a self, memory: &'a mut [u8]) -> JoinedProbe<'a, Scale<Wire<'a>, Wire<'a>>> {
        let (clock, data) = (self.wire(What::Clock), self.wire(What::Data));
        self.joined(Scale::new(clock, data, SCALE_COUNT_MM, SCALE_PERIOD_US), memory)
    }

    fn wire(&self, what: What) -> Wire<'_> {
        Wire { world: self, what }
    }

    fn joined<'a, I: Indicator>(&'a self, indicator: I, memory: &'a mut [u8]) -> JoinedProbe<'a, I> {
        let pins = Pins {
            step: self.wire(What::Step),
            direction: self.wire(What::Direction),
            emergency: self.wire(What::Emergency),
            indicator,
        };
        let named = Named { name: "simulated".try_into().unwrap_or_default(), settings: settings() };
        let mut probe = Probe::new(pins, Flash::new(Memory::new(memory), 0), named);
        probe.remember();
        probe
    }
}

/// The box on a simulated axis, with an indicator of some kind.
pub type JoinedProbe<'a, I> = Probe<Wire<'a>, Wire<'a>, Wire<'a>, I, Flash<Memory<'a>>>;
/// The box on a simulated axis, with an incremental indicator.
pub type SimulatedProbe<'a> = JoinedProbe<'a, Quadrature<Wire<'a>, Wire<'a>>>;

/// The settings of the simulated box: Z, ±50 mm, 20 mm/s.
#[must_use]
pub fn settings() -> Settings {
    let mm = |v| Length::from_mm(v).unwrap_or(Length::ZERO);
    Settings {
        axis: Axis::Z,
        low: mm(-50.0),
        high: mm(50.0),
        speed: mm(20.0).counts(),
        start_stop: mm(10.0).counts(),
        acceleration: mm(200.0).counts(),
        step: mm(STEP_MM),
        range: mm(10.0),
        following: mm(0.4),
    }
}

/// Where the table stands in millimetres, and the count of the indicator there.
fn place(axis: &SimulatedAxis) -> (f64, i64) {
    let mm = axis.position_mm();
    (mm, libm::round(mm / COUNT_MM) as i64)
}

/// What the memory of the simulated box must hold at least.
pub const MEMORY: usize = 4 * 2048;

/// A flash memory in RAM: erased as 2048 bytes of ones, written by words of 4 bytes, which can only clear bits.
pub struct Memory<'a> {
    bytes: &'a mut [u8],
}

/// A place beyond the memory, or between its words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Outside;

impl NorFlashError for Outside {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::OutOfBounds
    }
}

impl MemoryError for Memory<'_> {
    type Error = Outside;
}

impl<'a> Memory<'a> {
    /// A memory that holds what some bytes hold.
    pub fn new(bytes: &'a mut [u8]) -> Self {
        Self { bytes }
    }

    fn part(&mut self, from: u32, length: usize) -> Result<&mut [u8], Outside> {
        let from = from as usize;
        self.bytes.get_mut(from..from.saturating_add(length)).ok_or(Outside)
    }
}

impl ReadNorFlash for Memory<'_> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Outside> {
        bytes.copy_from_slice(self.part(offset, bytes.len())?);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl NorFlash for Memory<'_> {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 2048;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Outside> {
        self.part(from, to.saturating_sub(from) as usize)?.fill(0xff);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Outside> {
        if !offset.is_multiple_of(4) || !bytes.len().is_multiple_of(4) {
            return Err(Outside);
        }
        for (to, from) in self.part(offset, bytes.len())?.iter_mut().zip(bytes) {
            *to &= *from;
        }
        Ok(())
    }
}

#[derive(Clone, Copy, Debug)]
enum What {
    Step,
    Direction,
    Emergency,
    A,
    B,
    Clock,
    Data,
}

/// One simulated pin.
pub struct Wire<'a> {
    world: &'a World,
    what: What,
}

impl ErrorType for Wire<'_> {
    type Error = Infallible;
}

impl InputPin for Wire<'_> {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        let quarter = self.world.counts.get().rem_euclid(4);
        Ok(match self.what {
            What::A => quarter == 1 || quarter == 2,
            What::B => quarter >= 2,
            What::Emergency => !self.world.emergency.get(),
            What::Clock => self.world.scale_levels().0,
            What::Data => self.world.scale_levels().1,
            What::Step | What::Direction => false,
        })
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        self.is_high().map(|high| !high)
    }
}

impl OutputPin for Wire<'_> {
    fn set_high(&mut self) -> Result<(), Infallible> {
        match self.what {
            What::Step => self.world.step(),
            What::Direction => self.world.forward.set(true),
            What::Emergency | What::A | What::B | What::Clock | What::Data => {}
        }
        Ok(())
    }

    fn set_low(&mut self) -> Result<(), Infallible> {
        if matches!(self.what, What::Direction) {
            self.world.forward.set(false);
        }
        Ok(())
    }
}
