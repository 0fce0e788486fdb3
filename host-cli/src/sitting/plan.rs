//! What is to be read in a sitting, whatever the kind of test: its stops, and what to do before each.

use crate::plan_args::{self, face, positioning, pushes, returns, small_steps, usual, warming};
use crate::refusal::Refusal;
use crate::units::{decimals, word};
use takeup_core::axis::{Axis, Direction};
use takeup_core::length::{Length, Unit};
use takeup_core::link::Routine;
use takeup_core::measure::Kind;
use takeup_core::measure::routine::{self, Pauses, Purpose, Step};

/// One reading to take, and what to do before it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Stop {
    /// The row of the sheet, from 1.
    pub row: u32,
    /// The cycle, from 1.
    pub cycle: Option<u16>,
    /// The commanded position.
    pub target: Option<Length>,
    /// The direction in which the axis moved last.
    pub approach: Option<Direction>,
    /// What to do before it is read, in order.
    pub acts: Vec<Act>,
    /// Its cells in the file, those before the reading.
    pub cells: String,
}

/// Something to do before a reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Act {
    /// Leave everything as it is, for seconds since the reading before.
    Pause(u32),
    /// Let the axis work, for seconds since the reading before.
    Work(u32),
    /// Push with so many newtons, positive in +, and hold it.
    Push(f64),
    /// Bring the indicator onto its fixed face by hand, so that its reading grows or falls with the sense.
    Face(Direction),
    /// Move the axis to a place.
    Go(Length),
    /// Move on to the place to read at, in the direction of the approach.
    Arrive(Length),
}

/// The readings of a test.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The kind of test.
    pub kind: Kind,
    /// The axis.
    pub axis: Axis,
    /// The unit in which the person thinks of it.
    pub unit: Unit,
    /// The readings, in order.
    pub stops: Vec<Stop>,
    /// The lowest and the highest command.
    pub travel: (Length, Length),
    /// More than can be lost on a reversal.
    pub beyond_loss: Length,
    /// Columns of the file before the reading.
    pub columns: &'static str,
    /// What the person is told before the first reading, besides the cautions.
    pub hints: Vec<String>,
    /// The same for a probe box, with its places, where boxes can run it.
    pub routine: Option<(Routine, Vec<Length>)>,
}

/// The columns of a test whose stops are places.
const PLACES: &str = "row,cycle,target,approach";

impl Plan {
    /// A plan from the steps of core.
    fn of_steps(
        kind: Kind,
        axis: Axis,
        unit: Unit,
        travel: (Length, Length),
        steps: impl Iterator<Item = Step>,
    ) -> Self {
        let (mut stops, mut acts) = (Vec::new(), Vec::new());
        for step in steps {
            match step {
                Step::Move { to, purpose: Purpose::Overrun } => acts.push(Act::Go(to)),
                Step::Move { to, purpose: Purpose::Arrival } => acts.push(Act::Arrive(to)),
                Step::Read(stop) => stops.push(of_place(stop, std::mem::take(&mut acts), unit)),
            }
        }
        let beyond_loss = travel.1.saturating_sub(travel.0);
        Self {
            kind,
            axis,
            unit,
            stops,
            travel,
            beyond_loss,
            columns: PLACES,
            hints: Vec::new(),
            routine: None,
        }
    }

    /// A reversal test.
    ///
    /// # Errors
    /// When it could not be carried out.
    pub fn of_reversal(planned: &plan_args::Planned) -> Result<Self, Refusal> {
        let steps = planned.plan()?.steps();
        let plan = Self::of_steps(Kind::Reversal, planned.axis, planned.unit, planned.travel(), steps);
        let hint = "The indicator may be set anew at each station, never within one.";
        let routine = Routine::Reversal { cycles: planned.cycles, overrun: planned.overrun };
        Ok(Self {
            beyond_loss: planned.overrun,
            hints: vec![hint.to_owned()],
            routine: Some((routine, planned.stations.clone())),
            ..plan
        })
    }

    /// A positioning test.
    ///
    /// # Errors
    /// When it could not be carried out.
    pub fn of_positioning(planned: &positioning::Planned) -> Result<Self, Refusal> {
        let steps = planned.plan()?.steps();
        let plan = Self::of_steps(Kind::Positioning, planned.axis, planned.unit, planned.travel(), steps);
        let hint = "One long scale, zeroed once: do not zero it in between.";
        let routine = Routine::Positioning { runs: planned.runs, overrun: planned.overrun };
        Ok(Self {
            beyond_loss: planned.overrun,
            hints: vec![hint.to_owned()],
            routine: Some((routine, planned.targets.clone())),
            ..plan
        })
    }

    /// A test of small steps.
    #[must_use]
    pub fn of_small_steps(planned: &small_steps::Planned) -> Self {
        let travel = planned.plan.travel();
        let plan = Self::of_steps(Kind::SmallSteps, planned.axis, planned.unit, travel, planned.plan.steps());
        let hints = vec![
            "Do not touch the indicator from the first reading to the last.".to_owned(),
            "Never overrun a step: if one is missed, begin again with another file.".to_owned(),
        ];
        let small_steps::Planned { start, step, steps, cycles, overrun, .. } = *planned;
        let routine = Some((Routine::SmallSteps { step, steps, cycles, overrun }, vec![start]));
        Self { beyond_loss: overrun, hints, routine, ..plan }
    }

    /// A return test.
    #[must_use]
    pub fn of_returns(planned: &returns::Planned) -> Self {
        let travel = planned.plan.travel();
        let mut plan = Self::of_steps(Kind::Return, planned.axis, planned.unit, travel, planned.plan.steps());
        for stop in &mut plan.stops {
            if let Some(seconds) = planned.plan.pause_before(stop.row) {
                stop.acts.insert(0, Act::Pause(seconds));
            }
        }
        let (pause_every, pause_s) = match planned.pauses {
            Pauses::None => (0, 0),
            Pauses::Every { returns, seconds } => (returns, u16::try_from(seconds).unwrap_or(u16::MAX)),
        };
        let routine = Routine::Return { lift: planned.lift, returns: planned.returns, pause_every, pause_s };
        let hint = "Do not touch the indicator from the first reading to the last.";
        Self { hints: vec![hint.to_owned()], routine: Some((routine, vec![planned.mark])), ..plan }
    }

    /// A push-pull test.
    #[must_use]
    pub fn of_pushes(planned: &pushes::Planned) -> Self {
        let stops = planned.plan.pushes().map(|(row, newtons)| {
            let newtons = newtons + planned.balance_n;
            let cells = format!("{row},{}", decimals(newtons, 0));
            Stop { row, acts: vec![Act::Push(newtons)], cells, ..Stop::default() }
        });
        let hints = [
            "The drive holds and is live: feed override at 0, a second person at the emergency stop.",
            "Strap and scale reach in, hands do not. Pull slowly; stand where no strap can lash.",
            "A vertical axis can fall: block it, leaving a small gap.",
            "Hold the force that is asked for while you read; positive pushes +.",
        ];
        Self {
            kind: Kind::PushPull,
            axis: planned.axis,
            unit: planned.unit,
            stops: stops.collect(),
            travel: (Length::ZERO, Length::ZERO),
            beyond_loss: usual(planned.unit, 1.0, 0.04),
            columns: "row,force",
            hints: hints.map(str::to_owned).to_vec(),
            routine: None,
        }
    }

    /// A warm-up test.
    ///
    /// # Errors
    /// When it could not be carried out.
    pub fn of_warming(planned: &warming::Planned) -> Result<Self, Refusal> {
        let strokes = planned.plan(1)?;
        let mut plan =
            Self::of_steps(Kind::WarmUp, planned.axis, planned.unit, strokes.travel(), strokes.steps());
        for stop in &mut plan.stops {
            stop.cycle = None;
            let target = stop.target.map_or_else(String::new, |at| word(at, planned.unit));
            let approach = stop.approach.map_or_else(String::new, |way| way.to_string());
            stop.cells = format!("{},{target},{approach}", stop.row);
            if stop.row > 1 {
                stop.acts.insert(0, Act::Work(planned.interval_s));
            }
        }
        let hints = [
            "Begin cold. Do not touch the indicator from the first reading to the last.",
            "The axis works by itself for minutes: stay with it, guards closed.",
        ];
        let work_s = u16::try_from(planned.interval_s).unwrap_or(u16::MAX);
        let routine = Routine::WarmUp { stroke: planned.stroke, readings: planned.readings, work_s };
        Ok(Self {
            columns: "row,target,approach",
            hints: hints.map(str::to_owned).to_vec(),
            routine: Some((routine, vec![planned.mark])),
            ..plan
        })
    }

    /// A test of the indicator itself.
    #[must_use]
    pub fn of_face(planned: &face::Planned) -> Self {
        let stops = planned.plan.rows().map(|(row, cycle, way)| Stop {
            row,
            cycle: Some(cycle),
            target: None,
            approach: Some(way),
            acts: vec![Act::Face(way)],
            cells: format!("{row},{cycle},{way}"),
        });
        let hints = [
            "Drives off where hands reach in: only the plunger moves, by hand, gently.",
            "The indicator stands as in the tests to come, on a face that does not move.",
        ];
        Self {
            kind: Kind::Indicator,
            axis: planned.axis,
            unit: planned.unit,
            stops: stops.collect(),
            travel: (Length::ZERO, Length::ZERO),
            beyond_loss: usual(planned.unit, 1.0, 0.04),
            columns: "row,cycle,approach",
            hints: hints.map(str::to_owned).to_vec(),
            routine: None,
        }
    }

    /// A length as a word of a program or a cell of a sheet.
    #[must_use]
    pub fn word(&self, length: Length) -> String {
        word(length, self.unit)
    }

    /// The header of the file.
    #[must_use]
    pub fn header(&self) -> String {
        format!("{},reading,time", self.columns)
    }

    /// What to do for an act, in a few words.
    #[must_use]
    pub fn words(&self, act: Act, approach: Option<Direction>) -> String {
        let axis = self.axis;
        match act {
            Act::Pause(seconds) => format!("WAIT {}", clock(u64::from(seconds))),
            Act::Work(seconds) => format!("WORK {}", clock(u64::from(seconds))),
            Act::Push(newtons) if newtons < 0.0 => format!("PULL {} N", decimals(-newtons, 0)),
            Act::Push(newtons) => format!("PUSH {} N", decimals(newtons, 0)),
            Act::Face(Direction::Plus) => "LIFT, LET DOWN".to_owned(),
            Act::Face(Direction::Minus) => "PRESS, LET BACK".to_owned(),
            Act::Go(to) => format!("GO TO {axis}{}", self.word(to)),
            Act::Arrive(at) => {
                let way = match (axis, approach) {
                    (_, None) => "",
                    (Axis::Z, Some(Direction::Plus)) => "UP ",
                    (Axis::Z, Some(Direction::Minus)) => "DOWN ",
                    (_, Some(Direction::Plus)) => "+ ",
                    (_, Some(Direction::Minus)) => "- ",
                };
                format!("{way}TO {axis}{}", self.word(at))
            }
        }
    }
}

/// Minutes and seconds.
#[must_use]
pub fn clock(seconds: u64) -> String {
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

fn of_place(stop: routine::Stop, acts: Vec<Act>, unit: Unit) -> Stop {
    Stop {
        row: stop.row,
        cycle: Some(stop.cycle),
        target: Some(stop.target),
        approach: Some(stop.approach),
        acts,
        cells: format!("{},{},{},{}", stop.row, stop.cycle, word(stop.target, unit), stop.approach),
    }
}
