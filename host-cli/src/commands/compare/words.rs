//! A comparison for people: the answer first.

use super::rows::{Difference, Row};
use super::{Basis, Comparison};
use crate::context::Context;
use crate::log::quantity::{Better, Quantity};
use crate::log::words::sentence;
use crate::units::counted;
use std::fmt::Write as _;
use takeup_core::measure::Kind;
use takeup_core::measure::decision::Answer as Decision;
use takeup_core::trend::compare::{Answer, Ratio};

pub(super) fn of(comparison: &Comparison<'_>, ctx: &Context) -> String {
    let Some((main, others)) = comparison.rows.split_first() else { return String::new() };
    let mut first =
        format!("Axis {}: {}{}.", comparison.after.axis(), changed(main), good(comparison, main, ctx));
    for row in others.iter().filter(|row| row.counts()) {
        first.push(' ');
        first.push_str(&sentence(&changed(row)));
    }
    let mut text = ctx.screen().wrap(&first, "");
    text.push_str("\n\n");
    // Lost motion alone needs no heading.
    let alone = |row: &Row| matches!(row.quantity, Quantity::LostMotion | Quantity::Repeatability);
    let headed = !comparison.rows.iter().all(alone);
    for row in &comparison.rows {
        numbers(&mut text, row, headed, comparison, ctx);
    }
    for line in remarks(comparison) {
        text.push_str(&ctx.screen().wrap(&format!("  {line}"), "  "));
        text.push('\n');
    }
    let next = ctx.screen().wrap(&format!("Next: {}", next(comparison, main)), "");
    let _ = writeln!(text, "\n{next}");
    text
}

/// How a quantity changed, as a clause.
fn changed(row: &Row) -> String {
    let what = row.quantity.words();
    match (row.answer, row.quantity.better()) {
        (Answer::Reduced, Better::Larger) => format!("{what} has DECREASED"),
        (Answer::Increased, Better::Larger) => format!("{what} has grown"),
        (Answer::Reduced, _) => format!("{what} is reduced"),
        (Answer::Increased, _) => format!("{what} has INCREASED"),
        (Answer::NoChangeShown, _) if has_turned(row) => {
            format!("{what} is as large as before, the OTHER WAY")
        }
        (Answer::NoChangeShown, _) => format!("no change of {what} is shown"),
    }
}

/// Whether a quantity has changed, and not in size: it has the other sign.
fn has_turned(row: &Row) -> bool {
    matches!(&row.difference, Difference::Change(change, _) if change.value.abs() > change.expanded_95())
        && row.answer == Answer::NoChangeShown
}

/// Whether it is good enough, as the end of a clause.
fn good(comparison: &Comparison<'_>, main: &Row, ctx: &Context) -> String {
    let (Some(decided), Some(limit)) = (&comparison.decided, comparison.limit_mm) else {
        return String::new();
    };
    let limit = main.quantity.print(ctx.lengths_of(comparison.after.unit())).with_unit(limit);
    match (decided.answer, main.answer) {
        (Decision::Within, Answer::Reduced) => format!(" and is now within the limit of {limit}"),
        (Decision::Within, Answer::Increased) => format!(", but it is still within the limit of {limit}"),
        (Decision::Within, Answer::NoChangeShown) => format!("; it is within the limit of {limit}"),
        (Decision::Over, Answer::Reduced) => format!(", but it is still OVER the limit of {limit}"),
        (Decision::Over, Answer::Increased) => format!(", and it is OVER the limit of {limit}"),
        (Decision::Over, Answer::NoChangeShown) => format!("; it is OVER the limit of {limit}"),
        (Decision::Undecided, _) => format!("; whether it is within {limit} is not decided yet"),
    }
}

fn numbers(text: &mut String, row: &Row, headed: bool, comparison: &Comparison<'_>, ctx: &Context) {
    let print = row.quantity.print(ctx.lengths_of(comparison.after.unit()));
    let indent = if headed { "    " } else { "  " };
    if headed {
        let _ = writeln!(text, "  {}", row.quantity.words());
    }
    match &row.difference {
        Difference::Change(change, _) => {
            for (name, found) in [("before", &row.before), ("after", &row.after), ("change", change)] {
                let (value, half) = (print.with_unit(found.value), print.fine(found.expanded_95()));
                let _ = writeln!(text, "{indent}{name:<7} {value:>10} ± {half} (95 %)");
            }
        }
        Difference::Ratio(ratio) => {
            if headed {
                for (name, found) in [("before", &row.before), ("after", &row.after)] {
                    let _ = writeln!(text, "{indent}{name:<7} {:>10}", print.with_unit(found.value));
                }
            }
            let _ = writeln!(text, "{indent}{}", scatter(ratio, row.answer));
        }
    }
}

fn scatter(ratio: &Ratio, answer: Answer) -> String {
    let words = match answer {
        Answer::Reduced => "it repeats better",
        Answer::Increased => "it repeats WORSE",
        Answer::NoChangeShown => "no difference shown",
    };
    format!(
        "scatter after over before: {:.2} ({:.2} to {:.2}, 95 %): {words}",
        ratio.value, ratio.low_95, ratio.high_95
    )
}

/// What the numbers rest on, where that is not plain.
fn remarks(comparison: &Comparison<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    if comparison.is_paired() {
        lines.push("the change differs along the travel: its interval is from how much".to_owned());
    }
    match comparison.pair.basis {
        Basis::SameStations => {}
        Basis::CommonStations => {
            let stations = counted(comparison.pair.stations.len() as u64, "station");
            lines.push(format!("compared at the {stations} that both have"));
        }
        Basis::DifferentPlaces => lines.push(
            "caution: no station in common; if the loss varies along the travel, that is in the change"
                .to_owned(),
        ),
    }
    for (quantities, which) in comparison.alone.iter().zip(["before", "after"]) {
        if !quantities.is_empty() {
            let names: Vec<_> = quantities.iter().map(|quantity| quantity.words()).collect();
            lines.push(format!("not compared: {}, which only the test {which} gives", names.join(", ")));
        }
    }
    let per_return = |row: &Row| row.quantity == Quantity::PerReturn;
    if comparison.rows.iter().any(per_return) {
        lines.push(
            "caution: slip and drift were not told apart; if the returns came faster or slower in one of the tests, that \
             is in the change"
                .to_owned(),
        );
    }
    lines
}

fn next(comparison: &Comparison<'_>, main: &Row) -> &'static str {
    let kind = comparison.after.kind();
    let lost = main.quantity == Quantity::LostMotion;
    let worse = comparison.rows.iter().any(Row::is_worse);
    let over = comparison.decided.as_ref().is_some_and(|decided| decided.answer == Decision::Over);
    match (kind, &comparison.decided) {
        (Some(Kind::Indicator), _) if worse || over => {
            "Have the indicator cleaned, or take another, before a machine is measured with it."
        }
        (Some(Kind::WarmUp), _) if worse => {
            "Find what heats more than before; until then warm the machine up before close work."
        }
        (Some(Kind::WarmUp), _) if over => "Warm the machine up before close work, and measure it warm.",
        _ if worse => "Find the cause before the machine is used for close work.",
        _ if over && lost => "Repair again, or correct programs for what remains; then measure again.",
        _ if over => "Repair again, then measure again: no program corrects this.",
        (_, Some(decided)) if decided.answer == Decision::Undecided => match lost {
            true => "Take more cycles before you rely on it.",
            false => "Take more readings before you rely on it.",
        },
        _ if has_turned(main) && lost => {
            "Look at what was set: where the axis fell short it now goes too far, or the other way round. Then measure \
             again."
        }
        _ if main.answer == Answer::NoChangeShown && lost => {
            "More cycles in both tests would show a smaller change."
        }
        _ if main.answer == Answer::NoChangeShown => {
            "More readings in both tests would show a smaller change."
        }
        (_, Some(_)) if lost => "Log this session, so that a return of the loss is seen early.",
        (_, Some(_)) => "Log this session, so that it is seen early if it comes back.",
        (_, None) => "Give --limit to know whether it is good enough.",
    }
}
