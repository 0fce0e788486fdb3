//! From places to steps and back, exactly; the compensation table on the way.

use super::settings::Settings;
use takeup_core::axis::Direction;
use takeup_core::correct::AxisTable;
use takeup_core::length::Length;
use takeup_core::link::message::Correction;

/// Where step 0 is, once a person has said where the axis stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// Nobody has, or steps may have been lost since.
    Unknown,
    /// Step 0 is at this position.
    At(Length),
}

impl Origin {
    /// The origin that puts a step at a position.
    #[must_use]
    pub fn of(position: Length, step: i32, settings: &Settings) -> Self {
        way(step, settings).and_then(|way| position.checked_sub(way)).map_or(Origin::Unknown, Origin::At)
    }

    /// The position of a step.
    #[must_use]
    pub fn position(self, step: i32, settings: &Settings) -> Option<Length> {
        let Origin::At(zero) = self else { return None };
        zero.checked_add(way(step, settings)?)
    }

    /// The step nearest to a position.
    #[must_use]
    pub fn step(self, position: Length, settings: &Settings) -> Option<i32> {
        let Origin::At(zero) = self else { return None };
        let (away, step) = (position.checked_sub(zero)?.counts(), settings.step.counts());
        // Halves are rounded away from 0.
        let half = step.saturating_abs() / 2;
        let rounded = if away < 0 { away.checked_sub(half)? } else { away.checked_add(half)? };
        i32::try_from(rounded.checked_div(step)?).ok()
    }
}

/// The way of some steps.
#[must_use]
pub fn way(steps: i32, settings: &Settings) -> Option<Length> {
    i64::from(steps).checked_mul(settings.step.counts()).map(Length::from_counts)
}

/// The command that brings the axis to a place: the table corrects for the seat on which it arrives.
#[must_use]
pub fn command(
    place: Length,
    before: Option<Length>,
    correction: Correction,
    table: Option<&AxisTable>,
) -> Option<Length> {
    match (correction, table) {
        (Correction::Off, _) => Some(place),
        (Correction::Table, None) => None,
        (Correction::Table, Some(table)) => {
            let seat = match before {
                Some(before) if place > before => Direction::Plus,
                Some(before) if place < before => Direction::Minus,
                Some(_) | None => table.reference(),
            };
            place.checked_add(table.correction(place, seat))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_step_is_found_again_at_its_position(
            at in -1_000_000_000..1_000_000_000_i64, stands in -100_000..100_000_i32,
            step in prop_oneof![-200_000..=-100_i64, 100..=200_000_i64], to in -100_000..100_000_i32,
        ) {
            let settings = Settings { step: Length::from_counts(step), ..Settings::CAREFUL };
            let origin = Origin::of(Length::from_counts(at), stands, &settings);
            prop_assert_eq!(origin.position(stands, &settings), Some(Length::from_counts(at)));
            let place = origin.position(to, &settings).unwrap();
            prop_assert_eq!(origin.step(place, &settings), Some(to));
            // Between two steps the nearer one.
            let near = place.saturating_add(Length::from_counts(step.abs() / 2 - 1));
            prop_assert_eq!(origin.step(near, &settings), Some(to));
        }
    }

    #[test]
    fn what_cannot_be_reached_is_no_step() {
        let settings = Settings::CAREFUL;
        let far = Length::from_counts(i64::MAX);
        assert_eq!(Origin::Unknown.step(Length::ZERO, &settings), None);
        assert_eq!(Origin::At(Length::ZERO).step(far, &settings), None);
        assert_eq!(Origin::At(Length::from_counts(-2)).step(far, &settings), None);
    }
}
