//! An assessment as a slip of paper: the answer first, then the numbers, then what to do next.

use super::advice::{self, Case};
use super::document::cycles_to_decide;
use super::{Assessed, words};
use crate::input;
use crate::screen::{Screen, Tone, table};
use crate::units::{NO_BREAK, Print, decimals};
use std::fmt::Write;
use takeup_core::measure::Kind;
use takeup_core::measure::cause::Name;
use takeup_core::measure::decision::{Answer, More};

/// The slip of a test.
#[must_use]
pub fn of(assessed: &Assessed, print: Print, screen: &Screen) -> String {
    let mut slip = Slip::new(print, screen);
    slip.answer(assessed);
    assessed.found.part.findings().numbers(&mut slip, assessed.axis);
    slip.dial(assessed);
    slip.temperature(assessed);
    slip.set_aside(assessed);
    slip.budget(assessed);
    slip.causes(assessed);
    slip.next(assessed);
    slip.text
}

/// The answer in one line, in the units of the person.
#[must_use]
pub fn one_line(assessed: &Assessed, print: Print) -> String {
    let begin = assessed.found.part.findings().answer(assessed.axis, print);
    let end = match &assessed.found.decision {
        None => String::new(),
        Some(decision) => {
            let limit = print.with_unit(decision.limit_mm);
            match decision.answer {
                Answer::Within => format!(": within the limit of {limit}"),
                Answer::Over => format!(": OVER the limit of {limit}"),
                Answer::Undecided => format!(": against the limit of {limit} UNDECIDED"),
            }
        }
    };
    format!("{begin}{end}")
}

/// The decision, if there is one, and the interval of the lost motion, in as few letters as say it.
#[must_use]
pub fn in_short(assessed: &Assessed, print: Print) -> Option<String> {
    let lost = assessed.found.part.findings().lost_motion()?;
    let interval = format!("{} TO {}", print.length(lost.low_95()), print.length(lost.high_95()));
    let Some(decision) = &assessed.found.decision else { return Some(format!("LOST {interval}")) };
    Some(match (decision.answer, decision.more) {
        (Answer::Within, _) => format!("WITHIN: {interval}"),
        (Answer::Over, _) => format!("OVER: {interval}"),
        (Answer::Undecided, Some(More::Cycles(1))) => format!("1 MORE CYCLE: {interval}"),
        (Answer::Undecided, Some(More::Cycles(n))) => format!("{n} MORE CYCLES: {interval}"),
        (Answer::Undecided, _) => format!("UNDECIDED: {interval}"),
    })
}

/// A slip while it is written.
#[derive(Debug)]
pub struct Slip<'a> {
    text: String,
    /// How lengths are printed.
    pub print: Print,
    screen: &'a Screen,
}

impl<'a> Slip<'a> {
    /// An empty slip.
    #[must_use]
    pub fn new(print: Print, screen: &'a Screen) -> Self {
        Self { text: String::new(), print, screen }
    }

    /// What is written on it.
    #[must_use]
    pub fn into_text(self) -> String {
        self.text
    }

    /// A line as it stands.
    pub fn line(&mut self, text: &str) {
        self.text.push_str(text);
        self.text.push('\n');
    }

    /// An empty line and a heading.
    pub fn heading(&mut self, text: &str) {
        self.toned_heading(Tone::Strong, text);
    }

    fn toned_heading(&mut self, tone: Tone, text: &str) {
        let text = self.screen.paint(tone, text);
        self.line("");
        self.line(&text);
    }

    /// A paragraph that hangs below its first characters.
    pub fn item(&mut self, first: &str, text: &str) {
        let indent = " ".repeat(first.chars().count());
        let text = self.screen.wrap(&format!("{first}{text}"), &indent);
        self.line(&text);
    }

    /// A table: the first column to the left, the others to the right.
    pub fn table(&mut self, head: &[&str], rows: Vec<Vec<String>>) {
        self.text.push_str(&table(head, rows));
    }

    /// The answer, which comes first.
    pub fn toned_answer(&mut self, tone: Tone, text: &str) {
        let text = self.screen.wrap(text, "  ");
        let text: Vec<_> = text.lines().map(|line| self.screen.paint(tone, line)).collect();
        self.line(&text.join("\n"));
    }

    fn answer(&mut self, assessed: &Assessed) {
        let decision = assessed.found.decision.as_ref();
        let tone = match decision.map(|decision| decision.answer) {
            None => Tone::Strong,
            Some(Answer::Within) => Tone::Good,
            Some(Answer::Over) => Tone::Adverse,
            Some(Answer::Undecided) => Tone::Caution,
        };
        self.toned_answer(tone, &format!("{}.", one_line(assessed, self.print)));
        if let Some(decision) = decision {
            let why = assessed.found.part.findings().why(decision, self.print);
            self.item("  ", &format!("{why}."));
        }
    }

    /// What was done to a dial whose revolutions nobody counted.
    fn dial(&mut self, assessed: &Assessed) {
        let Some(unwrapped) = assessed.unwrapped else { return };
        let print = self.print;
        let (turn, all) = (print.with_unit(unwrapped.revolution_mm), assessed.readings_mm.len());
        self.line("");
        let text = match unwrapped.readings {
            0 => format!("The dial goes round every {turn}; by the plan it did not pass its zero."),
            n => format!(
                "The dial goes round every {turn}: by the plan {n} of {all} readings {} taken one revolution on or \
                 back, or more.",
                if n == 1 { "was" } else { "were" }
            ),
        };
        self.item("", &text);
    }

    /// What the person wrote down of the temperature, and what that does to the readings.
    fn temperature(&mut self, assessed: &Assessed) {
        let all = &assessed.temperatures_c;
        let (Some(first), Some(last)) = (all.first(), all.last()) else { return };
        let least = all.iter().copied().fold(f64::INFINITY, f64::min);
        let most = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let [first, last, low, high] = [*first, *last, least, most].map(|c| decimals(c, 1));
        let text = if low == high {
            format!("Temperature: {first} °C throughout.")
        } else {
            format!("Temperature: {first} °C at first, {last} °C in the end, between {low} and {high} °C.")
        };
        self.line("");
        self.item("", &text);
        let print = self.print;
        if let Some(at_20) = &assessed.at_20 {
            let (over, u) = at_20.over_span_mm();
            self.item(
                "",
                &format!(
                    "Corrected to 20 °C: the scale grows by {} millionths per °C, so {} {unit} were added over {} {unit}, with \
                     a standard uncertainty of {} {unit} that the lead error carries.",
                    decimals(at_20.per_degree * 1e6, 1),
                    print.fine(over),
                    print.short(at_20.span_mm),
                    print.fine(u),
                    unit = print.unit
                ),
            );
        } else if most - least >= MATTERS_C {
            let text = format!(
                "It changed by {} °C meanwhile: a machine grows by about 0.01 mm per metre and °C, and part of what drifts is \
                 that. Warm up, or wait until the shop is steady.",
                decimals(most - least, 1)
            );
            self.item("", &text);
        } else if assessed.kind == Kind::Positioning && (0.5 * (most + least) - 20.0).abs() >= MATTERS_C {
            self.item(
                "",
                "Lead error and A, E, M hold at this temperature. --expansion corrects them to 20 °C, if it is the \
                 scale's: 11.5 for steel.",
            );
        }
    }

    fn set_aside(&mut self, assessed: &Assessed) {
        let (print, set_aside) = (self.print, &assessed.found.set_aside);
        if set_aside.is_empty() {
            return;
        }
        let title = format!("Set aside: {} of {} readings", set_aside.len(), assessed.readings_mm.len());
        self.toned_heading(Tone::Caution, &title);
        for aside in set_aside {
            let reading = assessed.readings_mm.get(usize::from(aside.index)).copied().unwrap_or(0.0);
            let first = format!("  row {} ", u32::from(aside.index) + 1);
            self.item(
                &first,
                &format!("reads {}: {}", print.length(reading), words::misread(aside.probably, print)),
            );
        }
    }

    fn budget(&mut self, assessed: &Assessed) {
        let print = self.print;
        let Some(main) = assessed.found.part.findings().main() else { return };
        if assessed.found.budget.is_empty() {
            return;
        }
        self.heading("What the uncertainty is made of");
        let rows = assessed
            .found
            .budget
            .iter()
            .map(|part| {
                vec![part.source.name().to_owned(), print.part(part.standard_uncertainty), freedom(part.dof)]
            })
            .chain(std::iter::once(vec![
                "combined".to_owned(),
                print.fine(main.standard_uncertainty),
                freedom(main.dof),
            ]))
            .collect();
        let standard = format!("standard, {}", print.unit);
        self.table(&["source", &standard, "degrees of freedom"], rows);
        let keys = &assessed.keys;
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

    fn causes(&mut self, assessed: &Assessed) {
        let print = self.print;
        if assessed.found.causes.is_empty() {
            return;
        }
        self.heading("Likely cause");
        for cause in assessed.found.causes.iter().filter(|cause| cause.weight >= 0.02).take(3) {
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

    fn next(&mut self, assessed: &Assessed) {
        let findings = assessed.found.part.findings();
        let decision = assessed.found.decision.as_ref();
        let cause = assessed.found.causes.first();
        let case = Case {
            answer: decision.map(|decision| decision.answer),
            cycles: decision.and_then(cycles_to_decide).map(u64::from),
            causes: &cause.map(|cause| cause.cause).into_iter().collect::<Vec<_>>(),
            test: cause.and_then(|cause| cause.next),
            lost_at_stations: findings.lost_motion().filter(|_| !findings.stations().is_empty()),
        };
        let mut steps = findings.next(self.print);
        // What came through a pipe has no name to be given again.
        let again = match assessed.file.as_str() {
            input::STDIN_NAME => "READINGS".to_owned(),
            file => input::quoted(file),
        };
        let command = format!("takeup table build {again} -o {}.table", assessed.axis.key());
        // A command torn over two lines is not copied whole.
        steps.extend(case.steps(&command.replace(' ', &NO_BREAK.to_string())));
        // A key that was mistyped is a comment: without this nobody would miss the decision.
        if decision.is_none() && !findings.stations().is_empty() {
            steps.push(
                "Give the loss allowed (--limit, or \"# limit:\" in the file) to know whether it is good enough."
                    .to_owned(),
            );
        }
        if !steps.is_empty() {
            self.heading("What to do next");
        }
        for (number, step) in (1..).zip(steps) {
            let first = format!("  {number}. ");
            self.item(&first, &step);
        }
        if let Some(caution) = case.caution() {
            self.item("  ", caution);
        }
        let _ = writeln!(self.text);
        let of = assessed.keys.machine.as_deref().map_or(String::new(), |machine| format!(" of {machine}"));
        let (used, file) = (assessed.found.used, &assessed.file);
        self.item(
            "",
            &format!(
                "From {used} readings{of} in {file}. Intervals hold the true value in 95 of 100 such tests."
            ),
        );
    }
}

/// A change of temperature below this is lost in the rest (common practice, no source).
const MATTERS_C: f64 = 1.0;

fn freedom(dof: f64) -> String {
    if dof.is_infinite() {
        "from limits".to_owned()
    } else if dof > 999.0 {
        "over 999".to_owned()
    } else {
        decimals(dof, 1)
    }
}
