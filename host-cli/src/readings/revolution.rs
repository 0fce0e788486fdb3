//! A dial that is read within one revolution: 0 to 1 mm and again from 0.
//!
//! The plan says where the axis was when each reading was taken, and so where the dial should stand, but for what is
//! lost, for drift and for its zero. A reading is taken as many revolutions on as bring it nearest to that. It works
//! where all that is less than half a revolution from one reading to the next.

use super::Sheet;
use crate::refusal::Refusal;
use std::f64::consts::TAU;
use takeup_core::length::Length;
use takeup_core::measure::routine::SAME_STATION;
use takeup_core::measure::{Kind, Setup};

/// What was done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unwrapped {
    /// One revolution, in millimetres.
    pub revolution_mm: f64,
    /// Readings that were taken one revolution on or more, or back.
    pub readings: usize,
}

/// Counts the revolutions of a dial that is read within one; changes the readings.
///
/// # Errors
/// With the line, when a reading is beyond one revolution.
pub fn count(sheet: &mut Sheet, kind: Kind, setup: &Setup, revolution_mm: f64) -> Result<Unwrapped, Refusal> {
    for row in &sheet.rows {
        if row.reading_mm.abs() > revolution_mm * (1.0 + 1e-9) {
            return Err(Refusal::new(
                "this reading is beyond one revolution of the dial, so somebody has counted revolutions already",
                "Write down what the dial shows, or leave the revolution out.",
            )
            .line(row.line)
            .file(&sheet.file));
        }
    }
    // How far each reading is from where the dial should stand, but for its zero.
    let travels = matches!(kind, Kind::Positioning | Kind::SmallSteps);
    let off: Vec<(Option<Length>, f64)> = sheet
        .rows
        .iter()
        .map(|row| {
            let target = row.target.filter(|_| travels).map_or(0.0, |target| target.as_mm());
            (row.target, row.reading_mm - target / setup.motion_per_reading())
        })
        .collect();
    // A dial that is moved along has a zero at each station.
    let own_zero = |a: Option<Length>, b: Option<Length>| match (a, b) {
        (Some(a), Some(b)) if kind == Kind::Reversal => a.saturating_sub(b).saturating_abs() < SAME_STATION,
        _ => true,
    };
    let turns: Vec<f64> = if kind == Kind::Reversal {
        off.iter()
            .map(|&(target, here)| {
                let there = off.iter().filter(|other| own_zero(other.0, target)).map(|other| other.1);
                turns_to(here, centre(there, revolution_mm), revolution_mm)
            })
            .collect()
    } else {
        // What grows or slips may go round in the end: each beside those just before it, of which one may be misread.
        let mut before: Vec<f64> = Vec::new();
        off.iter()
            .map(|&(_, here)| {
                let near = match before.is_empty() {
                    true => here,
                    false => centre(before.iter().rev().take(3).copied(), revolution_mm),
                };
                let turns = turns_to(here, near, revolution_mm);
                before.push(here + turns * revolution_mm);
                turns
            })
            .collect()
    };
    // The first reading of a zero stands as it was written down.
    let mut readings = 0;
    for ((row, &own), &(target, _)) in sheet.rows.iter_mut().zip(&turns).zip(&off) {
        let first = off.iter().zip(&turns).find(|((other, _), _)| own_zero(*other, target));
        let on = own - first.map_or(own, |(_, &turns)| turns);
        row.reading_mm += on * revolution_mm;
        readings += usize::from(on != 0.0);
    }
    Ok(Unwrapped { revolution_mm, readings })
}

/// How many revolutions bring a place nearest to a centre.
fn turns_to(place: f64, centre: f64, revolution_mm: f64) -> f64 {
    ((centre - place) / revolution_mm).round()
}

/// The middle of places on a circle, near the last of those given (the direction of the mean of their unit vectors; K. V.
/// Mardia and P. E. Jupp, Directional Statistics, 2000, section 2.2; recalled from memory).
fn centre(places: impl Iterator<Item = f64>, revolution_mm: f64) -> f64 {
    let (mut sine, mut cosine, mut near) = (0.0, 0.0, 0.0);
    for place in places {
        let (s, c) = (TAU * place / revolution_mm).sin_cos();
        (sine, cosine) = (sine + s, cosine + c);
        near = place;
    }
    let angle = sine.atan2(cosine) / TAU * revolution_mm;
    angle + ((near - angle) / revolution_mm).round() * revolution_mm
}

#[cfg(test)]
mod tests {
    use super::*;
    use takeup_core::length::Unit;

    fn counted(kind: Kind, rows: &[(f64, f64)]) -> Vec<f64> {
        let mut text = "target,approach,reading\n".to_owned();
        for (target, reading) in rows {
            text.push_str(&format!("{target},+,{reading}\n"));
        }
        let mut sheet = Sheet::parse(text.as_bytes(), "a.csv", Unit::Mm).unwrap();
        count(&mut sheet, kind, &Setup::default(), 1.0).unwrap();
        sheet.rows.iter().map(|row| (row.reading_mm * 1e6).round() / 1e6).collect()
    }

    #[test]
    fn a_dial_that_passes_its_zero_stays_on_one_side() {
        let rows = [(0.0, 0.98), (0.0, 0.03), (0.0, 0.97), (0.0, 0.02), (-40.0, 0.5), (-40.0, 0.4)];
        assert_eq!(counted(Kind::Reversal, &rows), [0.98, 1.03, 0.97, 1.02, 0.5, 0.4]);
    }

    #[test]
    fn a_staircase_goes_round() {
        let rows: Vec<(f64, f64)> =
            (0..30).map(|n| (0.1 * f64::from(n), (0.1 * f64::from(n) + 0.7) % 1.0)).collect();
        let found = counted(Kind::SmallSteps, &rows);
        for (n, value) in found.iter().enumerate() {
            assert!((value - 0.7 - 0.1 * n as f64).abs() < 1e-6, "{found:?}");
        }
    }

    #[test]
    fn a_misread_dial_does_not_take_its_followers_along() {
        let rows: Vec<(f64, f64)> =
            (0..20).map(|n| (0.0, if n == 7 { 0.45 } else { (0.95 + 0.01 * f64::from(n)) % 1.0 })).collect();
        let found = counted(Kind::Return, &rows);
        for (n, value) in found.iter().enumerate().filter(|(n, _)| *n != 7) {
            assert!((value - 0.95 - 0.01 * n as f64).abs() < 1e-6, "{n}: {found:?}");
        }
    }
}
