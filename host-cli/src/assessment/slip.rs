//! An assessment as a slip of paper: the answer first, then the numbers, then what to do next.

use super::document::cycles_to_decide;
use super::{Reversal, advice, words};
use crate::screen::{Screen, Tone, table};
use crate::units::{Print, decimals};
use std::fmt::Write;
use takeup_core::measure::cause::Name;
use takeup_core::measure::decision::Answer;
use takeup_core::measure::positioning::EDITION;

/// The slip of a reversal test.
#[must_use]
pub fn of_reversal(reversal: &Reversal, print: Print, screen: &Screen) -> String {
    let mut slip = Slip { text: String::new(), print, screen, reversal };
    slip.answer();
    slip.stations();
    slip.positioning();
    slip.set_aside();
    slip.budget();
    slip.causes();
    slip.next();
    slip.text
}

/// The answer in one line, in the units of the person.
#[must_use]
pub fn one_line(reversal: &Reversal, print: Print) -> String {
    let result = &reversal.result;
    let lost = &result.lost_motion;
    let (axis, unit) = (reversal.axis, print.unit);
    let shown = lost.value.abs() > lost.expanded_95();
    let value = print.length(lost.value.abs());
    let (low, high) = (print.length(lost.low_95()), print.length(lost.high_95()));
    let begin = match (shown, lost.value >= 0.0) {
        (false, _) => {
            format!(
                "{axis}: no lost motion is shown, {} {unit} (95 %: {low} to {high})",
                print.length(lost.value)
            )
        }
        (true, true) => format!("{axis} loses {value} {unit} on reversal (95 %: {low} to {high})"),
        (true, false) => {
            format!("{axis} over-corrects by {value} {unit} on reversal (lost motion, 95 %: {low} to {high})")
        }
    };
    let end = match &result.decision {
        None => String::new(),
        Some(decision) => {
            let limit = print.length(decision.limit_mm);
            match decision.answer {
                Answer::Within => format!(": within {limit}"),
                Answer::Over => format!(": OVER the limit {limit}"),
                Answer::Undecided => format!(": against {limit} UNDECIDED"),
            }
        }
    };
    format!("{begin}{end}")
}

struct Slip<'a> {
    text: String,
    print: Print,
    screen: &'a Screen,
    reversal: &'a Reversal,
}

impl Slip<'_> {
    fn line(&mut self, text: &str) {
        self.text.push_str(text);
        self.text.push('\n');
    }

    fn heading(&mut self, text: &str) {
        let text = self.screen.paint(Tone::Strong, text);
        self.line("");
        self.line(&text);
    }

    /// A paragraph that hangs below its first characters.
    fn item(&mut self, first: &str, text: &str) {
        let indent = " ".repeat(first.chars().count());
        let text = self.screen.wrap(&format!("{first}{text}"), &indent);
        self.line(&text);
    }

    fn answer(&mut self) {
        let (print, result) = (self.print, &self.reversal.result);
        let tone = match result.decision.as_ref().map(|decision| decision.answer) {
            None => Tone::Strong,
            Some(Answer::Within) => Tone::Good,
            Some(Answer::Over) => Tone::Adverse,
            Some(Answer::Undecided) => Tone::Caution,
        };
        let text = self.screen.wrap(&format!("{}.", one_line(self.reversal, print)), "  ");
        let text: Vec<_> = text.lines().map(|line| self.screen.paint(tone, line)).collect();
        self.line(&text.join("\n"));
        if let Some(decision) = &result.decision {
            let why = words::why(decision, &result.stations, print);
            self.item("  ", &format!("{why}."));
        }
    }

    fn stations(&mut self) {
        let (print, result) = (self.print, &self.reversal.result);
        self.heading(&format!("Lost motion of {} by station, in {}", self.reversal.axis, print.unit_name()));
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
        self.text.push_str(&table(&head, rows));
        if let Some(along) = &result.along_travel {
            // Per 100 mm or per 10 in: a span that a person can picture.
            let (span, per) = match print.unit {
                takeup_core::length::Unit::Mm => (100.0, "100 mm"),
                takeup_core::length::Unit::Inch => (254.0, "10 in"),
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
            self.item("  ", &text);
        }
    }

    fn positioning(&mut self) {
        let Some(shown) = &self.reversal.positioning else { return };
        let (print, f) = (self.print, shown.figures);
        self.heading(&format!(
            "Positioning of {} by {EDITION}, in {}",
            self.reversal.axis,
            print.unit_name()
        ));
        let row = |name: &str, both: f64, up: Option<f64>, down: Option<f64>| {
            let cell = |mm: Option<f64>| mm.map_or_else(|| "-".to_owned(), |mm| print.length(mm));
            vec![name.to_owned(), print.length(both), cell(up), cell(down)]
        };
        let rows = vec![
            row("accuracy A", f.a_mm, Some(f.a_plus_mm), Some(f.a_minus_mm)),
            row("repeatability R", f.r_mm, Some(f.r_plus_mm), Some(f.r_minus_mm)),
            row("systematic deviation E", f.e_mm, Some(f.e_plus_mm), Some(f.e_minus_mm)),
            row("mean deviation M", f.m_mm, None, None),
            row("reversal value B", f.b_mm, None, None),
            row("mean reversal value", f.b_mean_mm, None, None),
        ];
        self.text.push_str(&table(&["figure", "both ways", "moving +", "moving -"], rows));
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
            self.item("  ", &text);
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
            self.item("  ", &text);
        }
    }

    fn set_aside(&mut self) {
        let (print, result) = (self.print, &self.reversal.result);
        if result.set_aside.is_empty() {
            return;
        }
        let title =
            format!("Set aside: {} of {} readings", result.set_aside.len(), self.reversal.readings.len());
        self.line("");
        let title = self.screen.paint(Tone::Caution, &title);
        self.line(&title);
        for aside in &result.set_aside {
            let reading = self.reversal.readings.get(usize::from(aside.index)).map_or(0.0, |r| r.value_mm);
            let first = format!("  row {} ", u32::from(aside.index) + 1);
            self.item(
                &first,
                &format!("reads {}: {}", print.length(reading), words::misread(aside.probably, print)),
            );
        }
    }

    fn budget(&mut self) {
        let (print, result) = (self.print, &self.reversal.result);
        self.heading("What the uncertainty is made of");
        let rows = result
            .budget
            .iter()
            .map(|part| {
                vec![part.source.name().to_owned(), print.fine(part.standard_uncertainty), freedom(part.dof)]
            })
            .chain(std::iter::once(vec![
                "combined".to_owned(),
                print.fine(result.lost_motion.standard_uncertainty),
                freedom(result.lost_motion.dof),
            ]))
            .collect();
        let standard = format!("standard, {}", print.unit);
        self.text.push_str(&table(&["source", &standard, "degrees of freedom"], rows));
        let keys = &self.reversal.keys;
        let missing: Vec<_> =
            [("resolution", keys.resolution_mm), ("indicator-error", keys.indicator_error_mm)]
                .into_iter()
                .filter_map(|(key, value)| value.is_none().then_some(key))
                .collect();
        if !missing.is_empty() {
            let keys = missing.join(" and ");
            self.item("  ", &format!("Not given, so counted as 0: {keys}. The true interval is wider."));
        }
    }

    fn causes(&mut self) {
        let print = self.print;
        self.heading("Likely cause");
        for cause in self.reversal.causes.iter().filter(|cause| cause.weight >= 0.02).take(3) {
            let software = match (cause.cause, cause.cause.correctable()) {
                (Name::NoneShown, _) => "",
                (_, true) => "; software can correct it",
                (_, false) => "; software cannot correct it",
            };
            let first = format!("  {:>3} % ", decimals(cause.weight * 100.0, 0));
            self.item(&first, &format!("{}: {}{software}", cause.cause.name(), advice::meaning(cause.cause)));
            for evidence in &cause.evidence {
                self.item("        - ", &words::evidence(evidence, print));
            }
        }
    }

    fn next(&mut self) {
        self.heading("What to do next");
        let decision = self.reversal.result.decision.as_ref();
        let Some(cause) = self.reversal.causes.first() else { return };
        let mut steps = Vec::new();
        if let Some(cycles) = decision.and_then(cycles_to_decide) {
            steps.push(format!("Take {cycles} more cycles, append them to the file, and assess it again."));
        }
        let within = decision.is_some_and(|decision| decision.answer == Answer::Within);
        if within {
            if cause.cause == Name::OverCorrected {
                steps.push(advice::remedy(cause.cause).to_owned());
            }
            steps.push(
                "Nothing for now: keep this assessment, and measure again when the work shows steps."
                    .to_owned(),
            );
        } else {
            if let Some(kind) = cause.next {
                steps.push(format!("The test that would tell most is {kind}: it {}.", advice::purpose(kind)));
            }
            steps.push(advice::remedy(cause.cause).to_owned());
            let lost = &self.reversal.result.lost_motion;
            if cause.cause.correctable() && lost.value > lost.expanded_95() {
                steps.push(format!(
                    "Until it is repaired: takeup table build {} -o {}.table, and rewrite programs with it.",
                    self.reversal.file,
                    self.reversal.axis.key()
                ));
            }
        }
        for (number, step) in (1..).zip(steps) {
            let first = format!("  {number}. ");
            self.item(&first, &step);
        }
        if !within && advice::needs_a_wrench(cause.cause) {
            self.item("  ", advice::WRENCH_CAUTION);
        }
        let _ = writeln!(self.text);
        let used = self.reversal.result.used;
        let file = self.reversal.file.clone();
        let of =
            self.reversal.keys.machine.as_deref().map_or(String::new(), |machine| format!(" of {machine}"));
        self.item(
            "",
            &format!(
                "From {used} readings{of} in {file}. Intervals hold the true value in 95 of 100 such tests."
            ),
        );
    }
}

fn freedom(dof: f64) -> String {
    if dof.is_infinite() {
        "from limits".to_owned()
    } else if dof > 999.0 {
        "over 999".to_owned()
    } else {
        decimals(dof, 1)
    }
}
