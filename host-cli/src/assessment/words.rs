//! Evidence, misreads and decisions in words, with their numbers in the units of the person.

use crate::units::{Print, decimals};
use takeup_core::axis::Axis;
use takeup_core::measure::Estimate;
use takeup_core::measure::cause::Evidence;
use takeup_core::measure::decision::{Answer, Decision, More};
use takeup_core::measure::reversal::{Misread, Station};

/// What a reading that was set aside probably is.
#[must_use]
pub fn misread(probably: Misread, print: Print) -> String {
    let off = |micrometres: i16| {
        let mm = f64::from(micrometres) / 1000.0;
        format!("{}{} {}", if mm > 0.0 { "+" } else { "" }, print.length(mm), print.unit)
    };
    match probably {
        Misread::Sign => "far from its fellows; with the other sign it would fit".to_owned(),
        Misread::Digit { off_um } => format!("far from its fellows; one digit seems off, by {}", off(off_um)),
        Misread::Revolution { off_um } => {
            format!("far from its fellows; the revolutions of the dial seem miscounted, by {}", off(off_um))
        }
        Misread::Swapped { with } => {
            format!("far from its fellows; it would fit exchanged with row {}", u32::from(with) + 1)
        }
        Misread::Unexplained => "far from its fellows".to_owned(),
    }
}

/// An estimate with its unit and interval.
#[must_use]
pub fn with_interval(estimate: &Estimate, print: Print) -> String {
    format!(
        "{} {} (95 %: {} to {})",
        print.length(estimate.value),
        print.unit,
        print.length(estimate.low_95()),
        print.length(estimate.high_95())
    )
}

/// A length of time as people say it.
#[must_use]
pub fn duration(seconds: f64) -> String {
    if seconds < 120.0 {
        format!("{} s", decimals(seconds, 0))
    } else if seconds < 10_800.0 {
        format!("{} min", decimals(seconds / 60.0, 0))
    } else {
        format!("{} h", decimals(seconds / 3600.0, 1))
    }
}

/// A small estimate with its interval, without its unit.
#[must_use]
pub fn fine_with_interval(estimate: &Estimate, print: Print) -> String {
    format!(
        "{} (95 %: {} to {})",
        print.fine(estimate.value),
        print.fine(estimate.low_95()),
        print.fine(estimate.high_95())
    )
}

/// The lost motion of an axis in one line, without a full stop.
#[must_use]
pub fn lost_motion(lost: &Estimate, axis: Axis, print: Print) -> String {
    let unit = print.unit;
    let shown = lost.value.abs() > lost.expanded_95();
    let value = print.length(lost.value.abs());
    let (low, high) = (print.length(lost.low_95()), print.length(lost.high_95()));
    match (shown, lost.value >= 0.0) {
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
    }
}

/// A piece of evidence, in numbers that a person can check.
#[must_use]
pub fn evidence(evidence: &Evidence, print: Print) -> String {
    let fine = |mm: f64| format!("{} {}", print.fine(mm), print.unit);
    match *evidence {
        Evidence::LostMotionShown(lost) => {
            format!("lost motion is shown: {}, the interval leaves out 0", with_interval(&lost, print))
        }
        Evidence::LostMotionNotShown(lost) => {
            format!("lost motion is not shown: {}, the interval holds 0", with_interval(&lost, print))
        }
        Evidence::NegativeLostMotion(lost) => {
            format!(
                "lost motion is negative: {}; after a reversal the axis moves too far",
                with_interval(&lost, print)
            )
        }
        Evidence::Repeats { s_mm } => format!("readings repeat: standard deviation {}", fine(s_mm)),
        // A cause that hardly weighs may name a scatter that is none.
        Evidence::DoesNotRepeat { s_mm, indicator_mm } if s_mm <= indicator_mm => format!(
            "readings scatter no more than the indicator explains: standard deviation {}, indicator {}",
            fine(s_mm),
            fine(indicator_mm)
        ),
        Evidence::DoesNotRepeat { s_mm, indicator_mm } => format!(
            "readings scatter: standard deviation {}, of which the indicator explains {}",
            fine(s_mm),
            fine(indicator_mm)
        ),
        Evidence::SameAlongTravel { difference_mm, expanded_mm } => format!(
            "the same along the travel: stations differ by {}, up to {} could be chance",
            fine(difference_mm),
            fine(expanded_mm)
        ),
        Evidence::DiffersAlongTravel { difference_mm, expanded_mm } => format!(
            "differs along the travel: stations differ by {}, only {} could be chance",
            fine(difference_mm),
            fine(expanded_mm)
        ),
        Evidence::Drifted { over_test_mm } => {
            format!("the place drifted by {} from the first reading to the last", fine(over_test_mm))
        }
        Evidence::WithinHysteresis { hysteresis_mm } => {
            format!("the indicator's own hysteresis of {} could explain it", fine(hysteresis_mm))
        }
        Evidence::SetAside { count, of } => format!("{count} of {of} readings were set aside as misread"),
        Evidence::LeadError { per_length, span_mm } => {
            let over = per_length.scaled(span_mm);
            format!(
                "the axis gains {} over {} {} (95 %: {} to {})",
                fine(over.value),
                print.short(span_mm),
                print.unit,
                print.fine(over.low_95()),
                print.fine(over.high_95())
            )
        }
        Evidence::PeriodicError(amplitude) => format!(
            "an error of ±{} repeats with every turn of the screw (95 %: {} to {})",
            fine(amplitude.value),
            print.fine(amplitude.low_95()),
            print.fine(amplitude.high_95())
        ),
        Evidence::UnderLoad { clearance, least_n, most_n } => format!(
            "between {} and {} N the axis steps by {}",
            decimals(least_n, 0),
            decimals(most_n, 0),
            with_interval(&clearance, print)
        ),
        Evidence::Grew { seen, span_s } => {
            format!("the place moved by {} in {}", with_interval(&seen, print), duration(span_s))
        }
        Evidence::DialLags(hysteresis) => {
            format!("on a reversal the dial itself lags by {}", with_interval(&hysteresis, print))
        }
        Evidence::DeadBand(gap) => format!("nothing moves for {}", with_interval(&gap, print)),
        Evidence::WindUp(wound) => {
            format!("then the table follows late, by {} in the end", with_interval(&wound, print))
        }
        Evidence::HoldsAndJumps { held, of, jump_mm } => {
            format!("the table held at {held} of {of} steps, and jumped by {} on average", fine(jump_mm))
        }
        Evidence::SlipPerLift(slip) => {
            format!("slip per lift, in {}: {}", print.unit_name(), fine_with_interval(&slip, print))
        }
        Evidence::SlipDiffers { s_mm } => {
            format!("what is lost differs from lift to lift: standard deviation {}", fine(s_mm))
        }
        Evidence::DriftPerHour(drift) => {
            format!("drift per hour, in {}: {}", print.unit_name(), fine_with_interval(&drift, print))
        }
        Evidence::TrendPerReturn(trend) => {
            format!(
                "off more at each return, in {}: {}",
                print.unit_name(),
                fine_with_interval(&trend, print)
            )
        }
        Evidence::NotTold { from } => format!("this test cannot tell it from {}", from.name()),
    }
}

/// Why a decision is as it is.
#[must_use]
pub fn why(decision: &Decision, stations: &[Station], print: Print) -> String {
    let size = |station: &Station| station.lost_motion.value.abs();
    let unit = print.unit;
    let limit = print.length(decision.limit_mm);
    let about = |station: &Station, sign: char| {
        format!(
            "at {} the size {} {sign} U {}",
            print.short(station.target.as_mm()),
            print.length(size(station)),
            print.fine(station.lost_motion.expanded_95())
        )
    };
    match decision.answer {
        Answer::Over => stations
            .iter()
            .max_by(|a, b| {
                let low = |s: &Station| size(s) - s.lost_motion.expanded_95();
                low(a).total_cmp(&low(b))
            })
            .map_or_else(String::new, |worst| {
                format!("{} is above the limit {limit} {unit}", about(worst, '-'))
            }),
        Answer::Within => stations
            .iter()
            .max_by(|a, b| {
                let high = |s: &Station| size(s) + s.lost_motion.expanded_95();
                high(a).total_cmp(&high(b))
            })
            .map_or_else(String::new, |worst| {
                format!("{} does not exceed the limit {limit} {unit}", about(worst, '+'))
            }),
        Answer::Undecided => undecided(decision, print),
    }
}

/// Why nothing is decided yet, and what would decide.
#[must_use]
pub fn undecided(decision: &Decision, print: Print) -> String {
    let limit = format!("{} {}", print.length(decision.limit_mm), print.unit);
    match decision.more {
        Some(More::Cycles(1)) => {
            format!("the limit {limit} lies inside the interval; one more cycle is expected to decide")
        }
        Some(More::Cycles(cycles)) => {
            format!("the limit {limit} lies inside the interval; {cycles} more cycles are expected to decide")
        }
        Some(More::IndicatorTooCoarse { target, distance_mm, remaining_mm }) => format!(
            "more cycles cannot decide: at {} the limit is {} {} away, but ± {} of the indicator and its set-up \
             would remain however often it is read",
            print.short(target.as_mm()),
            print.fine(distance_mm),
            print.unit,
            print.fine(remaining_mm)
        ),
        Some(More::TooCloseToLimit { target, distance_mm }) => format!(
            "at {} the value is only {} {} from the limit {limit}: more cycles than anybody would take",
            print.short(target.as_mm()),
            decimals(print.value(distance_mm), 6),
            print.unit
        ),
        None => format!("the limit {limit} lies inside the interval"),
    }
}
