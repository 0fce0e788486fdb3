//! The slip of several tests of one sitting: what they say together first, then each by itself.

use super::{Cause, Together, evidence};
use crate::assessment::advice::{self, Case};
use crate::assessment::slip::{self, Slip};
use crate::assessment::words;
use crate::input;
use crate::screen::{Screen, Tone};
use crate::units::{NO_BREAK, Print, decimals};
use takeup_core::measure::cause::Name;
use takeup_core::measure::cause::joint::Likely;
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

/// The answer: the lost motion and the decision where a test tells them, then what is likeliest to be wrong.
fn answer(slip: &mut Slip<'_>, together: &Together) {
    let tests = format!("by {} together", crate::units::counted(together.tests.len() as u64, "test"));
    let likely = likely(together);
    let axis = together.of_machine().next().map_or_else(String::new, |test| test.axis.to_string());
    let text = match together.of_lost_motion() {
        Some(test) => format!("{}. Likeliest, {tests}: {likely}.", slip::one_line(test, slip.print)),
        None => format!("{axis}, {tests}: {likely}."),
    };
    let tone = match (together.worst(), together.likeliest()) {
        (Some(Answer::Over), _) => Tone::Adverse,
        (Some(Answer::Undecided), _) => Tone::Caution,
        (Some(Answer::Within), _) | (None, []) => Tone::Good,
        (None, _) => Tone::Strong,
    };
    slip.toned_answer(tone, &text);
}

/// What is likeliest to be there at once, with what comes second where the first is far from sure.
fn likely(together: &Together) -> String {
    let named = |likely: &Likely| {
        let mut names: Vec<&str> = likely.causes().iter().map(|name| name.name()).collect();
        let last = names.pop().unwrap_or(Name::NoneShown.name());
        let all = if names.is_empty() { last.to_owned() } else { format!("{} and {last}", names.join(", ")) };
        format!("{all} ({})", percent(likely.probability))
    };
    let Some(first) = together.likely.first() else { return String::new() };
    match together.likely.get(1) {
        Some(second) if first.probability < SURE && second.probability > OPEN => {
            format!("{}, or {}", named(first), named(second))
        }
        _ => format!("{}{}", named(first), software(first.causes())),
    }
}

/// Below this probability the likeliest is named with the second, if that has more than the other.
const SURE: f64 = 0.7;
const OPEN: f64 = 0.15;

fn percent(share: f64) -> String {
    let whole = if share > 0.995 { "over 99".to_owned() } else { decimals(share * 100.0, 0) };
    format!("{whole}{NO_BREAK}%").replace(' ', &NO_BREAK.to_string())
}

/// Whether software can correct the causes that are there.
fn software(causes: &[Name]) -> String {
    let not: Vec<&str> = causes.iter().filter(|name| !name.correctable()).map(|name| name.name()).collect();
    match (causes, not.len()) {
        ([] | [Name::NoneShown], _) => String::new(),
        ([_], 0) => "; software can correct it".to_owned(),
        ([_], _) => "; software cannot correct it".to_owned(),
        (_, 0) => "; software can correct them".to_owned(),
        (all, n) if n == all.len() => "; software cannot correct them".to_owned(),
        _ => format!("; software cannot correct {}", not.join(" and ")),
    }
}

fn causes(slip: &mut Slip<'_>, together: &Together) {
    slip.heading("What is there, by all tests together");
    let mut causes: Vec<&Cause> = together.causes.iter().filter(|cause| cause.there >= LEAST_SHOWN).collect();
    causes.sort_by(|a, b| b.there.total_cmp(&a.there));
    // All that the answer names, and three at least.
    for cause in causes.into_iter().take(together.likeliest().len().max(3)) {
        let whole = if cause.there > 0.995 { ">99".to_owned() } else { decimals(cause.there * 100.0, 0) };
        let name = cause.name;
        let text = format!("{}: {}{}", name.name(), advice::meaning(name), software(&[name]));
        slip.item(&format!("  {whole:>3} % "), &text);
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
    let stations = together.tests.iter().find(|test| !test.found.part.findings().stations().is_empty());
    let case = Case {
        answer: together.worst(),
        cycles: None,
        causes: if together.likeliest().is_empty() { &[Name::NoneShown] } else { together.likeliest() },
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
        "Per cent: how probable it is that a cause is there, alone or beside others. Assumed: the same faults in all tests, \
         each of any size at its own place. \"Likelier by it\" is what a test does to the odds that the others leave. The \
         numbers of one test: takeup assess FILE.",
    );
}
