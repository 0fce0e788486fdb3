//! The readings as they were taken, plotted. A session kept without its readings has none of these.

use crate::log::assessment::Assessment;
use crate::readings::{Row, Sheet};
use crate::refusal::Refusal;
use crate::report::page::{Figure, Key};
use crate::report::plot::{Kind, Mark, Plot, Stroke, draw};
use crate::units::Print;
use std::collections::BTreeSet;
use takeup_core::axis::Direction;
use takeup_core::length::Unit;
use takeup_core::measure::Kind as Routine;

/// The plots of the readings of a session.
///
/// # Errors
/// When a plot cannot be drawn.
pub fn figures(assessment: &Assessment, readings: &str, print: Print) -> Result<Vec<Figure>, Refusal> {
    let usual = if assessment.document()["units"] == "in" { Unit::Inch } else { Unit::Mm };
    // They were read once already; a log is no reason to refuse a page.
    let Ok(sheet) = Sheet::parse(readings.as_bytes(), "readings", usual) else { return Ok(Vec::new()) };
    let aside: BTreeSet<usize> = assessment.document()["set_aside"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|row| usize::try_from(row["row"].as_u64()?).ok()?.checked_sub(1))
        .collect();
    let of = Of { assessment, sheet: &sheet, aside, print };
    match Routine::from_name(assessment.routine()) {
        Some(Routine::Reversal | Routine::Indicator) => of.dial(),
        Some(Routine::Positioning) => of.deviations(),
        Some(Routine::SmallSteps) => of.take_up(),
        Some(Routine::Return) => of.returns(),
        Some(Routine::WarmUp) => of.over_time(),
        Some(Routine::PushPull) => of.under_load(),
        None => Ok(Vec::new()),
    }
}

struct Of<'a> {
    assessment: &'a Assessment,
    sheet: &'a Sheet,
    aside: BTreeSet<usize>,
    print: Print,
}

impl Of<'_> {
    fn kind(&self, index: usize, row: &Row) -> Kind {
        match row.approach {
            _ if self.aside.contains(&index) => Kind::Aside,
            Some(Direction::Minus) => Kind::Minus,
            _ => Kind::Plus,
        }
    }

    /// A mark with what it says when pointed at.
    fn mark(&self, index: usize, row: &Row, at: f64, value_mm: f64) -> Mark {
        let mut words = format!("row {}: reads {}", index + 1, self.print.with_unit(row.reading_mm));
        if let Some(target) = row.target {
            words.push_str(&format!(" at {}", self.print.short(target.as_mm())));
        }
        if let Some(approach) = row.approach {
            words.push_str(&format!(", approached {}", approach.sign()));
        }
        Mark { kind: self.kind(index, row), at, value: self.print.value(value_mm), words }
    }

    fn motion_mm(&self, row: &Row) -> f64 {
        let keys = &self.sheet.keys;
        let sense = if keys.sense == Some(Direction::Minus) { -1.0 } else { 1.0 };
        sense * row.reading_mm * keys.angle_deg.unwrap_or(0.0).to_radians().cos()
    }

    fn keys(&self, marks: &[Mark]) -> Vec<Key> {
        let has = |kind| marks.iter().any(|mark| mark.kind == kind);
        let mut keys = Vec::new();
        if has(Kind::Minus) {
            keys.extend(has(Kind::Plus).then(|| Key::new("plus", "●", "arrived moving +")));
            keys.push(Key::new("minus", "▲", "arrived moving -"));
        } else if has(Kind::Plus) {
            keys.push(Key::new("plus", "●", "a reading"));
        }
        keys.extend(has(Kind::Aside).then(|| Key::new("aside", "×", "set aside; at the edge if far off")));
        keys
    }

    fn figure(&self, title: &str, words: String, plot: &Plot) -> Result<Figure, Refusal> {
        let tick = |x: f64| self.print.short(x * self.print.unit.as_mm());
        let svg = draw(plot, &words, &tick).map_err(|error| Refusal::new(error, "Report this fault."))?;
        Ok(Figure { title: title.to_owned(), svg, words, keys: self.keys(&plot.marks) })
    }

    /// A value of the assessment, lengths in the printed unit.
    fn length(&self, path: &str) -> Option<f64> {
        let factor = self.assessment.factor();
        self.assessment.estimate_at(path, factor).map(|found| self.print.value(found.value))
    }

    /// What `shape` says at the places of the marks that are used, moved up or down to lie amid them.
    fn through(marks: &[Mark], shape: impl Fn(f64) -> f64) -> impl Fn(f64) -> f64 {
        let used = || marks.iter().filter(|mark| mark.kind != Kind::Aside);
        let count = used().count().max(1) as f64;
        let off = used().map(|mark| mark.value - shape(mark.at)).sum::<f64>() / count;
        move |at| shape(at) + off
    }

    /// The first reading used of each run of rows at one target.
    fn dial(&self) -> Result<Vec<Figure>, Refusal> {
        let rows = &self.sheet.rows;
        let place = |row: &Row| row.target.map(|target| (target.as_mm() * 1000.0).round() as i64);
        let zero = |of: &Row| {
            let first = rows
                .iter()
                .enumerate()
                .find(|(index, row)| place(row) == place(of) && !self.aside.contains(index));
            first.map_or(of.reading_mm, |(_, row)| row.reading_mm)
        };
        let marks: Vec<_> = rows
            .iter()
            .enumerate()
            .map(|(index, row)| self.mark(index, row, index as f64 + 1.0, row.reading_mm - zero(row)))
            .collect();
        let mut uprights = Vec::new();
        let mut stations = BTreeSet::new();
        for (index, row) in rows.iter().enumerate() {
            stations.extend(place(row));
            let before = index.checked_sub(1).and_then(|before| rows.get(before));
            if before.is_none_or(|before| place(before) != place(row))
                && let Some(target) = row.target
            {
                uprights.push((index as f64 + 0.5, format!("at {}", self.print.short(target.as_mm()))));
            }
        }
        // A test that goes from station to station in each cycle would be all lines.
        if uprights.len() > 8 || stations.len() < 2 {
            uprights.clear();
        }
        let words = match self.assessment.kind() {
            Some(Routine::Indicator) => format!(
                "{} readings of one fixed face, less the first one: a step between the two kinds of mark is what the dial itself \
                 lags by.",
                rows.len()
            ),
            _ => format!(
                "{} dial readings at {} {}, each less the first one at its station: the step between the two kinds of mark is \
                 what is lost on reversal.",
                rows.len(),
                stations.len().max(1),
                if stations.len() > 1 { "stations" } else { "station" }
            ),
        };
        let plot = Plot {
            across: "reading, in the order taken".into(),
            up: format!("dial, {}", self.print.unit),
            marks,
            uprights,
            counts: true,
            ..Plot::default()
        };
        self.figure("Dial readings by approach", words, &plot).map(|figure| vec![figure])
    }

    fn deviations(&self) -> Result<Vec<Figure>, Refusal> {
        let rows = &self.sheet.rows;
        let deviation = |row: &Row| Some(self.motion_mm(row) - row.target?.as_mm());
        let zero = rows.iter().find_map(&deviation).unwrap_or(0.0);
        let marks: Vec<_> = rows
            .iter()
            .enumerate()
            .filter_map(|(index, row)| {
                let at = self.print.value(row.target?.as_mm());
                Some(self.mark(index, row, at, deviation(row)? - zero))
            })
            .collect();
        let words = format!(
            "{} deviations from the commanded position along the travel, less the first one: the step between the two kinds \
             of mark is lost on reversal, a slope is an error of the screw's pitch.",
            marks.len()
        );
        let plot = Plot {
            across: format!("target, {}", self.print.unit),
            up: format!("deviation, {}", self.print.unit),
            marks,
            ..Plot::default()
        };
        self.figure("Deviations by approach", words, &plot).map(|figure| vec![figure])
    }

    /// Motion of the axis against motion commanded, both since the last reversal.
    fn take_up(&self) -> Result<Vec<Figure>, Refusal> {
        let rows = &self.sheet.rows;
        let (mut marks, mut longest) = (Vec::new(), 0.0_f64);
        let mut turn: Option<&Row> = None;
        let mut legs = 0;
        for (index, pair) in rows.windows(2).enumerate() {
            let [before, row] = pair else { continue };
            if before.approach != row.approach {
                turn = Some(before);
                legs += 1;
            }
            let (Some(turn), Some(target)) = (turn, row.target) else { continue };
            let Some(start) = turn.target else { continue };
            let commanded = (target.as_mm() - start.as_mm()).abs();
            let moved = (self.motion_mm(row) - self.motion_mm(turn)).abs();
            longest = longest.max(commanded);
            marks.push(self.mark(index + 1, row, self.print.value(commanded), moved));
        }
        if marks.is_empty() {
            return Ok(Vec::new());
        }
        let steps = |count: u32| (0..=count).map(move |i| longest * f64::from(i) / f64::from(count));
        let mut curves =
            vec![(Stroke::Ideal, steps(24).map(|s| (self.print.value(s), self.print.value(s))).collect())];
        let part =
            |name: &str| self.assessment.estimate_at(&format!("/take_up/{name}"), self.assessment.factor());
        let mut keys = vec![Key::new("line", "┄", "no loss")];
        if let (Some(band), Some(wind)) = (part("dead_band"), part("wind_up")) {
            let follows = |s: f64| {
                let beyond = (s - band.value).max(0.0);
                let late =
                    if wind.value > 0.0 { wind.value * (1.0 - (-beyond / wind.value).exp()) } else { 0.0 };
                (self.print.value(s), self.print.value(beyond - late))
            };
            curves.push((Stroke::Fitted, steps(96).map(follows).collect()));
            keys.push(Key::new("line", "─", "as assessed: dead band, then wind-up"));
        }
        let words = format!(
            "How far the axis moved after a reversal, against how far it was told to, over {legs} {}. Flat at first: the dead \
             band. Then late: the wind-up.",
            if legs == 1 { "reversal" } else { "reversals" }
        );
        let plot = Plot {
            across: format!("commanded since reversal, {}", self.print.unit),
            up: format!("moved, {}", self.print.unit),
            marks,
            curves,
            from_zero: true,
            ..Plot::default()
        };
        let mut figure = self.figure("Take-up curve", words, &plot)?;
        figure.keys.extend(keys);
        Ok(vec![figure])
    }

    /// Where it came back to, with slip and drift as assessed.
    fn returns(&self) -> Result<Vec<Figure>, Refusal> {
        let rows = &self.sheet.rows;
        let zero = rows.first().map_or(0.0, |row| self.motion_mm(row));
        let marks: Vec<_> = rows
            .iter()
            .enumerate()
            .map(|(index, row)| self.mark(index, row, index as f64 + 1.0, self.motion_mm(row) - zero))
            .collect();
        let hours = |at: f64| {
            let row = rows.get((at as usize).saturating_sub(1))?;
            Some((row.time_s? - rows.first()?.time_s?) / 3600.0)
        };
        let (slip, drift) = (self.length("/drift/per_cycle"), self.length("/drift/per_hour"));
        let slope = slip.or_else(|| self.length("/drift/per_return"));
        let mut curves = Vec::new();
        if let Some(slope) = slope {
            let lift = |at: f64| rows.get((at as usize).saturating_sub(1))?.cycle.map(f64::from);
            let shape =
                |at: f64| slope * lift(at).unwrap_or(at) + drift.unwrap_or(0.0) * hours(at).unwrap_or(0.0);
            let fitted = Self::through(&marks, shape);
            curves.push((Stroke::Fitted, marks.iter().map(|mark| (mark.at, fitted(mark.at))).collect()));
        }
        let words = format!(
            "{} returns in the order taken, less the first one: a slope is slip or drift, a jump in the line is drift over a pause.",
            rows.len()
        );
        let fitted = !curves.is_empty();
        let plot = Plot {
            across: "return".into(),
            up: format!("place, {}", self.print.unit),
            marks,
            curves,
            counts: true,
            ..Plot::default()
        };
        let mut figure = self.figure("Where it came back to", words, &plot)?;
        figure.keys.extend(fitted.then(|| Key::new("line", "─", "slip and drift as assessed")));
        Ok(vec![figure])
    }

    fn over_time(&self) -> Result<Vec<Figure>, Refusal> {
        let rows = &self.sheet.rows;
        let zero = rows.first().map_or(0.0, |row| self.motion_mm(row));
        let start = rows.iter().find_map(|row| row.time_s).unwrap_or(0.0);
        let marks: Vec<_> = rows
            .iter()
            .enumerate()
            .filter_map(|(index, row)| {
                Some(self.mark(index, row, (row.time_s? - start) / 60.0, self.motion_mm(row) - zero))
            })
            .collect();
        let mut curves = Vec::new();
        let found = |name: &str| self.assessment.document()["growth"][name]["value"].as_f64();
        if let (Some(growth), Some(constant)) = (self.length("/growth/amplitude"), found("time_constant_s")) {
            let last = marks.last().map_or(0.0, |mark| mark.at);
            let grown =
                Self::through(&marks, |minutes| growth * -(-60.0 * minutes / constant.max(1e-9)).exp_m1());
            let minutes = (0..=60).map(|i| last * f64::from(i) / 60.0);
            curves.push((Stroke::Fitted, minutes.map(|minutes| (minutes, grown(minutes))).collect()));
        }
        let words =
            format!("{} readings at one place while the machine worked, less the first one.", marks.len());
        let fitted = !curves.is_empty();
        let plot = Plot {
            across: "minutes".into(),
            up: format!("growth, {}", self.print.unit),
            marks,
            curves,
            counts: true,
            ..Plot::default()
        };
        let mut figure = self.figure("Growth by warmth", words, &plot)?;
        figure.keys.extend(fitted.then(|| Key::new("line", "─", "as assessed")));
        Ok(vec![figure])
    }

    fn under_load(&self) -> Result<Vec<Figure>, Refusal> {
        let rows = &self.sheet.rows;
        let zero = rows.first().map_or(0.0, |row| self.motion_mm(row));
        let marks: Vec<_> = rows
            .iter()
            .enumerate()
            .filter_map(|(index, row)| Some(self.mark(index, row, row.force_n?, self.motion_mm(row) - zero)))
            .collect();
        let words = format!(
            "{} readings under a known force, less the first one: the step in the middle is clearance, the slope is spring.",
            marks.len()
        );
        let curves = self.springs(&marks);
        let fitted = !curves.is_empty();
        let plot = Plot {
            across: "force, N".into(),
            up: format!("place, {}", self.print.unit),
            marks,
            curves,
            counts: true,
            ..Plot::default()
        };
        let mut figure = self.figure("Under load", words, &plot)?;
        figure.keys.extend(fitted.then(|| Key::new("line", "─", "as assessed: spring, clearance, spring")));
        Ok(vec![figure])
    }

    /// The two lines of a drive under load, a clearance apart, where it is known between which forces that is crossed.
    fn springs(&self, marks: &[Mark]) -> Vec<(Stroke, Vec<(f64, f64)>)> {
        let document = self.assessment.document();
        let crossed = &document["under_load"]["crossed_n"];
        let (Some(clearance), Some(stiffness), Some(below), Some(above)) = (
            self.length("/under_load/clearance"),
            document["under_load"]["stiffness_n_per_mm"]["value"].as_f64().filter(|found| *found > 0.0),
            crossed[0].as_f64(),
            crossed[1].as_f64(),
        ) else {
            return Vec::new();
        };
        let middle = 0.5 * (below + above);
        let per_newton = self.print.value(1.0 / stiffness);
        let place = Self::through(marks, |newtons| {
            newtons * per_newton + if newtons > middle { clearance } else { 0.0 }
        });
        let forces = || marks.iter().map(|mark| mark.at);
        let (least, most) = (forces().fold(below, f64::min), forces().fold(above, f64::max));
        let line = |from: f64, to: f64| (Stroke::Fitted, vec![(from, place(from)), (to, place(to))]);
        vec![line(least, below), line(above, most)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;
    use std::fmt::Write as _;

    fn plotted(routine: &str, part: &str, found: serde_json::Value, rows: &str) -> Vec<Figure> {
        let mut document =
            json!({ "schema": "takeup.assessment/1", "axis": "Z", "routine": routine, "units": "mm" });
        document[part] = found;
        let assessment = Assessment::from_value(document).unwrap();
        figures(&assessment, rows, Print { unit: Unit::Mm }).unwrap()
    }

    /// A staircase up, down and up; dead band 0.05 mm, wind-up 0.03 mm, after the model of the take-up curve.
    #[test]
    fn the_take_up_curve_starts_flat() {
        let follows = |s: f64| {
            let beyond = (s - 0.05_f64).max(0.0);
            beyond - 0.03 * (1.0 - (-beyond / 0.03).exp())
        };
        let mut rows = "target,approach,reading\n0,-,0\n".to_owned();
        for (approach, leg) in [('+', 0), ('-', 1), ('+', 2)] {
            let lost = 0.4 - follows(0.4);
            for step in 1..=20 {
                let s = 0.02 * f64::from(step);
                let (target, reading) =
                    if leg == 1 { (0.4 - s, 0.4 - lost - follows(s)) } else { (s, follows(s)) };
                let _ = writeln!(rows, "{target:.2},{approach},{reading:.5}");
            }
        }
        let value = |v: f64| json!({ "value": v, "low_95": v - 0.002, "high_95": v + 0.002 });
        let found = json!({ "dead_band": value(0.05), "wind_up": value(0.03) });
        let figures = plotted("small-steps", "take_up", found, &rows);
        assert_eq!(figures.len(), 1);
        let figure = &figures[0];
        assert!(figure.words.contains("over 3 reversals"), "{}", figure.words);
        // Sixty steps, and two curves beside them.
        assert_eq!(figure.svg.matches("class=\"point\"").count(), 60);
        assert!(figure.keys.iter().any(|key| key.words.contains("dead band")));
    }

    #[test]
    fn what_was_fitted_lies_amid_the_marks_and_is_in_the_key() {
        let mark = |kind, at, value| Mark { kind, at, value, words: String::new() };
        let marks = [mark(Kind::Plus, 1.0, 3.0), mark(Kind::Minus, 2.0, 5.0), mark(Kind::Aside, 3.0, 90.0)];
        let line = Of::through(&marks, |at| 2.0 * at);
        assert!((line(1.0) - 3.0).abs() < 1e-12 && (line(4.0) - 9.0).abs() < 1e-12);
        let value = |v: f64| json!({ "value": v, "low_95": v - 0.001, "high_95": v + 0.001 });
        let load =
            json!({ "clearance": value(0.02), "stiffness_n_per_mm": value(1e4), "crossed_n": [-10, 10] });
        let pushes = "force,reading\n-50,0\n-10,0.004\n10,0.026\n50,0.030\n";
        let drift = json!({ "per_cycle": value(-0.001), "per_hour": value(0.01) });
        let even = json!({ "per_return": value(-0.001) });
        let returns = "target,approach,cycle,time,reading\n0,-,1,0,0\n0,-,2,20,0.001\n0,-,3,40,0.002\n";
        let key = |routine, part, found, rows| {
            plotted(routine, part, found, rows)[0].keys.iter().any(|key| key.words.contains("as assessed"))
        };
        assert!(key("push-pull", "under_load", load, pushes));
        assert!(key("return", "drift", drift, returns) && key("return", "drift", even, returns));
        // Not where it is not known.
        assert!(!key("push-pull", "under_load", json!({ "clearance": value(0.02) }), pushes));
        assert!(!key("return", "drift", json!({}), returns));
    }

    #[test]
    fn every_kind_of_test_has_a_plot() {
        let growth = json!({ "amplitude": { "value": 0.02 }, "time_constant_s": { "value": 900.0 } });
        for (routine, part, found, rows, marks) in [
            ("reversal", "x", json!(0), "target,approach,reading\n0,+,1\n0,-,1.1\n-5,+,3\n-5,-,3.1\n", 4),
            ("positioning", "x", json!(0), "target,approach,reading\n0,+,0\n10,+,9.9\n10,-,10\n0,-,0.1\n", 4),
            ("return", "x", json!(0), "target,approach,reading\n0,-,0\n0,-,0.001\n0,-,0.002\n", 3),
            ("push-pull", "x", json!(0), "force,reading\n-50,0\n0,0.01\n50,0.04\n", 3),
            ("warm-up", "growth", growth, "time,reading\n0,0\n600,0.01\n1200,0.015\n", 3),
            ("indicator", "x", json!(0), "reading\n0.001\n0.002\n", 2),
        ] {
            let figures = plotted(routine, part, found, rows);
            assert_eq!(figures.len(), 1, "{routine}");
            assert_eq!(figures[0].svg.matches("class=\"point\"").count(), marks, "{routine}");
            assert!(!figures[0].keys.is_empty(), "{routine}");
        }
        // Readings that cannot be read again make no page fail.
        assert!(plotted("reversal", "x", json!(0), "nonsense").is_empty());
    }
}
