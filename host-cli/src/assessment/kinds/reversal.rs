//! The reversal test, and the positioning test, which is one with more to tell.

use super::{Findings, Part, at_row};
use crate::assessment::document::{AlongTravel, Document, Group, Periodic, Positioning, Station, Value};
use crate::assessment::slip::Slip;
use crate::assessment::temperature::At20;
use crate::assessment::{Found, words};
use crate::readings::Sheet;
use crate::refusal::Refusal;
use crate::units::Print;
use takeup_core::axis::Axis;
use takeup_core::length::{Length, Unit};
use takeup_core::measure::decision::Decision;
use takeup_core::measure::positioning::{self, EDITION, Positioning as CorePositioning, Repeated};
use takeup_core::measure::reversal::{self, Assessment, Group as CoreGroup, NotEnough};
use takeup_core::measure::{Estimate, Kind, Setup, cause};

/// The most stations of one test.
pub const MOST_STATIONS: usize = 64;

/// A reversal or positioning test.
#[derive(Clone, Debug)]
pub struct Reversal {
    /// The numbers.
    pub result: Assessment<MOST_STATIONS>,
    /// What a positioning test shows beyond its reversal values.
    pub positioning: Option<CorePositioning>,
}

pub(super) fn assess(
    kind: Kind,
    sheet: &Sheet,
    setup: &Setup,
    at_20: Option<&At20>,
    print: Print,
) -> Result<Found, Refusal> {
    let readings = sheet.reversal_readings()?;
    let why = |error| not_enough(error, sheet, print);
    let (result, positioning, causes) = if kind == Kind::Positioning {
        let (result, mut shown) = positioning::assess::<MOST_STATIONS>(&readings[..], setup).map_err(why)?;
        if let (Some(at_20), Some(lead)) = (at_20, &mut shown.lead_error) {
            *lead = at_20.with_uncertainty(lead);
        }
        let causes = cause::of_positioning(&result, &shown, setup);
        (result, Some(shown), causes)
    } else {
        let result = reversal::assess::<MOST_STATIONS>(&readings[..], setup).map_err(why)?;
        let causes = cause::of_reversal(&result, setup);
        (result, None, causes)
    };
    Ok(Found {
        used: result.used,
        set_aside: result.set_aside.iter().copied().collect(),
        budget: result.budget.iter().copied().collect(),
        decision: result.decision,
        causes,
        part: Part::Reversal(Box::new(Reversal { result, positioning })),
    })
}

/// Why too little can be said, in the units and lines of the person.
fn not_enough(error: NotEnough, sheet: &Sheet, print: Print) -> Refusal {
    let at = |target: Length| format!("{} {}", print.short(target.as_mm()), print.unit);
    let refusal = match error {
        NotEnough::NoReadings => Refusal::new("there are no readings", "Fill in one row per reading."),
        NotEnough::OneApproach { target, missing } => Refusal::new(
            format!(
                "not enough: at station {} no reading was approached in the {missing} direction",
                at(target)
            ),
            "Read each station approached from both sides, in two cycles or more.",
        ),
        NotEnough::OneCycle { target, approach } => Refusal::new(
            format!(
                "not enough: at station {} only one reading was approached in the {approach} direction, \
                 so how well it repeats is not known",
                at(target)
            ),
            "Take two cycles or more; five are usual.",
        ),
        NotEnough::OneOfTwo { second, .. } => at_row(
            Refusal::new(
                error.to_string(),
                "Look at both for a slip of the pen, or take a third cycle or run.",
            ),
            second,
            sheet,
        ),
        NotEnough::TooManyStations { room } => {
            Refusal::new(format!("there are more than {room} stations"), "Split the file.")
        }
        NotEnough::TooManyReadings { found, room } => {
            Refusal::new(format!("there are {found} readings, at most {room} can be used"), "Split the file.")
        }
        NotEnough::NotFinite { index } | NotEnough::TimeRunsBack { index } => {
            at_row(Refusal::new(error.to_string(), "Correct the row."), index, sheet)
        }
        NotEnough::Setup(what) => Refusal::new(what.to_string(), "Correct the key or the flag."),
    };
    refusal.file(&sheet.file)
}

impl Findings for Reversal {
    fn answer(&self, axis: Axis, print: Print) -> String {
        words::lost_motion(&self.result.lost_motion, axis, print)
    }

    fn why(&self, decision: &Decision, print: Print) -> String {
        words::why(decision, &self.result.stations, print)
    }

    fn main(&self) -> Option<Estimate> {
        Some(self.result.lost_motion)
    }

    fn lost_motion(&self) -> Option<Estimate> {
        Some(self.result.lost_motion)
    }

    fn stations(&self) -> &[reversal::Station] {
        &self.result.stations
    }

    fn repeatability_mm(&self) -> Option<(f64, f64)> {
        Some((self.result.repeatability_mm, self.result.repeatability_dof))
    }

    fn fill(&self, document: &mut Document, print: Print) {
        let result = &self.result;
        document.stations = result.stations.iter().map(|s| station(s, print)).collect();
        document.lost_motion = Some(Value {
            largest: Some(print.value(result.largest_mm)),
            ..Value::of_length(&result.lost_motion, print)
        });
        document.along_travel = result
            .along_travel
            .map(|along| AlongTravel { per_length: Value::of(&along.per_length), shown: along.shown });
        document.positioning = self.positioning.as_ref().map(|shown| figures(shown, print));
    }

    fn numbers(&self, slip: &mut Slip<'_>, axis: Axis) {
        self.stations_table(slip, axis);
        if let Some(shown) = &self.positioning {
            positioning_table(shown, slip, axis);
        }
    }
}

fn station(station: &reversal::Station, print: Print) -> Station {
    let group = |group: &CoreGroup| Group {
        n: group.n,
        mean: print.value(group.mean_mm),
        s: group.s_mm.map(|s| print.value(s)),
    };
    Station {
        target: print.value(station.target.as_mm()),
        reversal: print.value(station.reversal_mm),
        plus: group(&station.plus),
        minus: group(&station.minus),
        lost_motion: Value::of_length(&station.lost_motion, print),
    }
}

fn figures(shown: &CorePositioning, print: Print) -> Positioning {
    let figures = shown.figures;
    let repeated = |one: fn(Repeated) -> f64| figures.repeated.map(|of| print.value(one(of)));
    Positioning {
        edition: EDITION.to_owned(),
        b: print.value(figures.b_mm),
        b_mean: print.value(figures.b_mean_mm),
        r: repeated(|of| of.r_mm),
        r_plus: repeated(|of| of.r_plus_mm),
        r_minus: repeated(|of| of.r_minus_mm),
        a: repeated(|of| of.a_mm),
        a_plus: repeated(|of| of.a_plus_mm),
        a_minus: repeated(|of| of.a_minus_mm),
        e: print.value(figures.e_mm),
        e_plus: print.value(figures.e_plus_mm),
        e_minus: print.value(figures.e_minus_mm),
        m: print.value(figures.m_mm),
        lead_error_per_length: shown.lead_error.as_ref().map(Value::of),
        periodic: shown.periodic.map(|periodic| Periodic {
            amplitude: Value::of_length(&periodic.amplitude, print),
            phase_deg: periodic.phase_deg,
        }),
    }
}

impl Reversal {
    fn stations_table(&self, slip: &mut Slip<'_>, axis: Axis) {
        let (print, result) = (slip.print, &self.result);
        slip.heading(&format!("Lost motion of {axis} by station, in {}", print.unit_name()));
        let spread = |s: Option<f64>| s.map_or_else(|| "-".to_owned(), |s| print.fine(s));
        let mut rows: Vec<Vec<String>> = result
            .stations
            .iter()
            .map(|station| {
                vec![
                    print.short(station.target.as_mm()),
                    print.length(station.lost_motion.value),
                    print.length(station.lost_motion.low_95()),
                    print.length(station.lost_motion.high_95()),
                    print.length(station.reversal_mm),
                    spread(station.plus.s_mm),
                    spread(station.minus.s_mm),
                    format!("{} + {}", station.plus.n, station.minus.n),
                ]
            })
            .collect();
        if rows.len() > 1 {
            let lost = &result.lost_motion;
            let numbers = [lost.value, lost.low_95(), lost.high_95()].map(|mm| print.length(mm));
            let mut row = vec!["mean".to_owned()];
            row.extend(numbers);
            rows.push(row);
        }
        let head = ["station", "lost", "95 % low", "high", "reversal", "s from +", "s from -", "readings"];
        slip.table(&head, rows);
        if let Some(along) = &result.along_travel {
            // Per 100 mm or per 10 in: a span that a person can picture.
            let (span, per) = match print.unit {
                Unit::Mm => (100.0, "100 mm"),
                Unit::Inch => (254.0, "10 in"),
            };
            let slope = along.per_length.scaled(span);
            let says =
                if along.shown { "changes along the travel" } else { "shows no change along the travel" };
            let text = format!(
                "It {says}: {} {} per {per} (95 %: {} to {}).",
                print.fine(slope.value),
                print.unit,
                print.fine(slope.low_95()),
                print.fine(slope.high_95())
            );
            slip.item("  ", &text);
        }
    }
}

fn positioning_table(shown: &CorePositioning, slip: &mut Slip<'_>, axis: Axis) {
    let (print, f) = (slip.print, shown.figures);
    slip.heading(&format!("Positioning of {axis} by {EDITION}, in {}", print.unit_name()));
    let row = |name: &str, both: f64, up: Option<f64>, down: Option<f64>| {
        let cell = |mm: Option<f64>| mm.map_or_else(|| "-".to_owned(), |mm| print.length(mm));
        vec![name.to_owned(), print.length(both), cell(up), cell(down)]
    };
    let mut rows = Vec::new();
    if let Some(of) = f.repeated {
        rows.push(row("accuracy A", of.a_mm, Some(of.a_plus_mm), Some(of.a_minus_mm)));
        rows.push(row("repeatability R", of.r_mm, Some(of.r_plus_mm), Some(of.r_minus_mm)));
    }
    rows.extend([
        row("systematic deviation E", f.e_mm, Some(f.e_plus_mm), Some(f.e_minus_mm)),
        row("mean deviation M", f.m_mm, None, None),
        row("reversal value B", f.b_mm, None, None),
        row("mean reversal value", f.b_mean_mm, None, None),
    ]);
    slip.table(&["figure", "both ways", "moving +", "moving -"], rows);
    if f.repeated.is_none() {
        slip.item(
            "  ",
            "Repeatability R and accuracy A need two runs or more; of one run, scatter is judged from target to target, \
             and neither drift nor a misread dial is told from lost motion that changes along the travel.",
        );
    }
    if let Some(lead) = shown.lead_error {
        let over = lead.scaled(shown.span_mm);
        let text = format!(
            "Lead error: {} {} over {} (95 %: {} to {}).",
            print.fine(over.value),
            print.unit,
            print.short(shown.span_mm),
            print.fine(over.low_95()),
            print.fine(over.high_95())
        );
        slip.item("  ", &text);
    }
    if let Some(periodic) = shown.periodic {
        let amplitude = periodic.amplitude;
        let text = format!(
            "Once a turn of the screw: ±{} {} (95 %: {} to {}).",
            print.fine(amplitude.value),
            print.unit,
            print.fine(amplitude.low_95()),
            print.fine(amplitude.high_95())
        );
        slip.item("  ", &text);
    }
}
