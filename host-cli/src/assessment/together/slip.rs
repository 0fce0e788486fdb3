//! The slip of several tests of one sitting: what they say together first, then each by itself.

use super::{Cause, Together, evidence};
use crate::assessment::advice::{self, Case};
use crate::assessment::slip::{self, Slip};
use crate::assessment::words;
use crate::input;
use crate::screen::{Screen, Tone};
use crate::units::{NO_BREAK, Print, decimals};
use takeup_core::measure::cause::Name;
use takeup_core::measure::decision::Answer;

/// Causes of less weight are not shown.
const LEAST_SHOWN: f64 = 0.02;

/// The slip.
#[must_use]
pub fn of(together: &Together, print: Print, screen: &Screen) -> String {
    let mut slip = Slip::new(print, screen);
    answer(&mut slip, together);
    causes(&mut slip, together);
    alone(&mut slip, together);
    next(&mut slip, together);
    slip.into_text()
}

/// The answer in one line.
fn answer(slip: &mut Slip<'_>, together: &Together) {
    let Some(first) = together.causes.first() else { return };
    let axis = together.of_machine().next().map_or_else(String::new, |test| test.axis.to_string());
    // Two faults at once share the weight: both are the answer.
    let second = together.causes.get(1).filter(|one| one.weight > 0.3 && one.name != Name::NoneShown);
    let named = match second {
        Some(second) if first.name != Name::NoneShown => format!(
            "{} ({}) and {} ({})",
            first.name.name(),
            percent(first.weight),
            second.name.name(),
            percent(second.weight)
        ),
        _ => format!("{} ({})", first.name.name(), percent(first.weight)),
    };
    let tone = match (first.name, together.is_over()) {
        (_, true) => Tone::Adverse,
        (Name::NoneShown, false) => Tone::Good,
        _ => Tone::Strong,
    };
    let tests = crate::units::counted(together.tests.len() as u64, "test");
    slip.toned_answer(tone, &format!("{axis}, by {tests} together: {named}{}.", software(first.name)));
}

fn percent(weight: f64) -> String {
    format!("{}{NO_BREAK}%", decimals(weight * 100.0, 0))
}

fn software(name: Name) -> &'static str {
    match (name, name.correctable()) {
        (Name::NoneShown, _) => "",
        (_, true) => "; software can correct it",
        (_, false) => "; software cannot correct it",
    }
}

fn causes(slip: &mut Slip<'_>, together: &Together) {
    slip.heading("Likely cause, by all tests together");
    for cause in together.causes.iter().filter(|cause| cause.weight >= LEAST_SHOWN).take(3) {
        let first = format!("  {:>3} % ", decimals(cause.weight * 100.0, 0));
        let name = cause.name;
        slip.item(&first, &format!("{}: {}{}", name.name(), advice::meaning(name), software(name)));
        of_tests(slip, together, cause);
    }
}

/// What each test says of a cause.
fn of_tests(slip: &mut Slip<'_>, together: &Together, cause: &Cause) {
    for (test, factor) in together.tests.iter().zip(&cause.factors) {
        let says = format!("{}, {}: {}", test.file, test.kind, likelier(*factor));
        slip.item("        ", &says);
        for piece in evidence(test, cause.name) {
            let text = words::evidence(piece, slip.print);
            slip.item("          - ", &text);
        }
    }
}

/// By how much a test changes the odds of a cause, in words.
fn likelier(factor: f64) -> String {
    let times = |times: f64| {
        if times > 1000.0 {
            "over 1000 times".to_owned()
        } else {
            format!("{} times", decimals(times, if times < 10.0 { 1 } else { 0 }))
        }
    };
    if factor >= 1.1 {
        format!("{} likelier by it", times(factor))
    } else if factor <= 1.0 / 1.1 {
        format!("{} less likely by it", times(1.0 / factor))
    } else {
        "says nothing for or against".to_owned()
    }
}

fn alone(slip: &mut Slip<'_>, together: &Together) {
    slip.heading("Each test by itself");
    for test in &together.tests {
        let cause = test.found.causes.first().map_or_else(String::new, |cause| {
            format!("; alone: {} ({})", cause.cause.name(), percent(cause.weight))
        });
        let aside = match test.found.set_aside.len() {
            0 => String::new(),
            n => format!("; {n} of {} readings set aside", test.readings_mm.len()),
        };
        let text = slip::one_line(test, slip.print);
        slip.item("  ", &format!("{}, {}: {text}{cause}{aside}.", test.file, test.kind));
    }
}

fn next(slip: &mut Slip<'_>, together: &Together) {
    // The worst answer of all that decide.
    let answers: Vec<Answer> =
        together.tests.iter().filter_map(|test| test.found.decision.as_ref()).map(|d| d.answer).collect();
    let answer =
        [Answer::Over, Answer::Undecided, Answer::Within].into_iter().find(|answer| answers.contains(answer));
    let stations = together.tests.iter().find(|test| !test.found.part.findings().stations().is_empty());
    let case = Case {
        answer,
        cycles: None,
        cause: together.causes.first().map(|cause| cause.name),
        test: together.next,
        lost_at_stations: stations.and_then(|test| test.found.part.findings().lost_motion()),
    };
    let table = stations.map_or_else(String::new, |test| {
        let command =
            format!("takeup table build {} -o {}.table", input::quoted(&test.file), test.axis.key());
        command.replace(' ', &NO_BREAK.to_string())
    });
    slip.heading("What to do next");
    for (number, step) in (1..).zip(case.steps(&table)) {
        slip.item(&format!("  {number}. "), &step);
    }
    if let Some(caution) = case.caution() {
        slip.item("  ", caution);
    }
    slip.line("");
    slip.item(
        "",
        "Assumed: the same faults in all tests, each of any size at its own place. \"Likelier by it\" is what a test does to \
         the odds that the others leave. The numbers of one test: takeup assess FILE.",
    );
}
