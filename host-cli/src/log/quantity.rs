//! What can be watched over time: which part of an assessment, in which unit, and how it is charted.

use crate::log::assessment::Assessment;
use crate::units::{LengthArg, Print, decimals};
use takeup_core::length::Unit;
use takeup_core::measure::{Estimate, Kind};
use takeup_core::trend::{Session, watch};

/// A quantity that assessments carry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub enum Quantity {
    /// Motion lost on reversal, mean over the stations
    #[default]
    LostMotion,
    /// Scatter of one reading (standard deviation)
    Repeatability,
    /// The part of lost motion in which nothing moves
    DeadBand,
    /// The elastic part of lost motion
    WindUp,
    /// Slip at each lift and return
    Slip,
    /// Drift per hour
    Drift,
    /// Slip and drift together, per return: where they were not told apart
    PerReturn,
    /// Scatter of one return (standard deviation)
    ReturnScatter,
    /// Clearance under load
    Clearance,
    /// Stiffness under load
    Stiffness,
    /// Growth by warmth, from the first reading to its end
    Growth,
    /// Growth still to come after the last reading
    GrowthLeft,
    /// Error of the screw's pitch, per length
    LeadError,
    /// Error that repeats with every turn of the screw
    PeriodicError,
    /// Hysteresis of the indicator itself
    Hysteresis,
    /// Scatter of the indicator itself (standard deviation)
    IndicatorScatter,
}

/// Which way a quantity is the better.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Better {
    /// The smaller its size.
    Smaller,
    /// The larger.
    Larger,
    /// Neither: it is a part of one that is judged as a whole.
    Part,
}

/// What a quantity is measured in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Dimension {
    Length,
    LengthPerHour,
    PerLength,
    Stiffness,
}

/// How the charts take a quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// As it is.
    Plain,
    /// Its logarithm: a standard deviation is uncertain in proportion to its size, whatever that is.
    Logarithm,
}

impl Quantity {
    /// Every quantity.
    pub const ALL: [Self; 16] = [
        Self::LostMotion,
        Self::Repeatability,
        Self::DeadBand,
        Self::WindUp,
        Self::Slip,
        Self::Drift,
        Self::PerReturn,
        Self::ReturnScatter,
        Self::Clearance,
        Self::Stiffness,
        Self::Growth,
        Self::GrowthLeft,
        Self::LeadError,
        Self::PeriodicError,
        Self::Hysteresis,
        Self::IndicatorScatter,
    ];

    /// What a kind of test gives, what it is taken for first.
    #[must_use]
    pub const fn of_kind(kind: Kind) -> &'static [Self] {
        match kind {
            Kind::Reversal => &[Self::LostMotion, Self::Repeatability],
            Kind::Positioning => {
                &[Self::LostMotion, Self::LeadError, Self::PeriodicError, Self::Repeatability]
            }
            Kind::SmallSteps => &[Self::LostMotion, Self::DeadBand, Self::WindUp],
            Kind::Return => &[Self::Slip, Self::PerReturn, Self::Drift, Self::ReturnScatter],
            Kind::PushPull => &[Self::Clearance, Self::Stiffness],
            // What is still to come depends on when the readings ended.
            Kind::WarmUp => &[Self::Growth],
            Kind::Indicator => &[Self::Hysteresis, Self::IndicatorScatter],
        }
    }

    /// Which way it is the better.
    #[must_use]
    pub const fn better(self) -> Better {
        match self {
            Self::Stiffness => Better::Larger,
            Self::DeadBand | Self::WindUp => Better::Part,
            _ => Better::Smaller,
        }
    }

    /// Its name on the command line.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::LostMotion => "lost-motion",
            Self::Repeatability => "repeatability",
            Self::DeadBand => "dead-band",
            Self::WindUp => "wind-up",
            Self::Slip => "slip",
            Self::Drift => "drift",
            Self::PerReturn => "per-return",
            Self::ReturnScatter => "return-scatter",
            Self::Clearance => "clearance",
            Self::Stiffness => "stiffness",
            Self::Growth => "growth",
            Self::GrowthLeft => "growth-left",
            Self::LeadError => "lead-error",
            Self::PeriodicError => "periodic-error",
            Self::Hysteresis => "hysteresis",
            Self::IndicatorScatter => "indicator-scatter",
        }
    }

    /// Its name in running text.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::LostMotion => "lost motion",
            Self::Repeatability => "scatter of a reading",
            Self::DeadBand => "dead band",
            Self::WindUp => "wind-up",
            Self::Slip => "slip per lift",
            Self::Drift => "drift",
            Self::PerReturn => "slip with drift per return",
            Self::ReturnScatter => "scatter of a return",
            Self::Clearance => "clearance under load",
            Self::Stiffness => "stiffness",
            Self::Growth => "growth",
            Self::GrowthLeft => "growth still to come",
            Self::LeadError => "lead error",
            Self::PeriodicError => "periodic error",
            Self::Hysteresis => "hysteresis of the indicator",
            Self::IndicatorScatter => "scatter of the indicator",
        }
    }

    /// The path within the document; none where it is worked out from several parts.
    const fn path(self) -> Option<&'static str> {
        Some(match self {
            Self::Repeatability => return None,
            Self::LostMotion => "/lost_motion",
            Self::DeadBand => "/take_up/dead_band",
            Self::WindUp => "/take_up/wind_up",
            Self::Slip => "/drift/per_cycle",
            Self::Drift => "/drift/per_hour",
            Self::PerReturn => "/drift/per_return",
            Self::ReturnScatter => "/drift/scatter",
            Self::Clearance => "/under_load/clearance",
            Self::Stiffness => "/under_load/stiffness_n_per_mm",
            Self::Growth => "/growth/amplitude",
            Self::GrowthLeft => "/growth/left",
            Self::LeadError => "/positioning/lead_error_per_length",
            Self::PeriodicError => "/positioning/periodic/amplitude",
            Self::Hysteresis => "/indicator/hysteresis",
            Self::IndicatorScatter => "/indicator/s",
        })
    }

    const fn dimension(self) -> Dimension {
        match self {
            Self::Drift => Dimension::LengthPerHour,
            Self::LeadError => Dimension::PerLength,
            Self::Stiffness => Dimension::Stiffness,
            _ => Dimension::Length,
        }
    }

    /// How the charts take it.
    #[must_use]
    pub const fn scale(self) -> Scale {
        match self {
            Self::Repeatability | Self::ReturnScatter | Self::IndicatorScatter => Scale::Logarithm,
            _ => Scale::Plain,
        }
    }

    /// What an assessment says of it, lengths in millimetres; none where it says nothing.
    #[must_use]
    pub fn of(self, assessment: &Assessment) -> Option<Estimate> {
        let Some(path) = self.path() else {
            let found = assessment.repeatability_mm().filter(|found| found.s > 0.0)?;
            // The standard uncertainty of a standard deviation: s/√(2ν), JCGM 100, E.4.3.
            let standard_uncertainty = found.s / (2.0 * found.dof).sqrt();
            return Some(Estimate { value: found.s, standard_uncertainty, dof: f64::INFINITY });
        };
        let in_length = matches!(self.dimension(), Dimension::Length | Dimension::LengthPerHour);
        assessment.estimate_at(path, if in_length { assessment.factor() } else { 1.0 })
    }

    /// The low end of what a session says of it. A standard deviation is not below 0, whatever half width an even interval
    /// has.
    #[must_use]
    pub fn low_95(self, found: &Estimate) -> f64 {
        match self.scale() {
            Scale::Plain => found.low_95(),
            Scale::Logarithm => found.low_95().max(0.0),
        }
    }

    /// What a fresh set-up adds before anything is learned, one standard deviation, in the unit of the charts: known from
    /// practice for lost motion; else as much as the first session's own uncertainty.
    #[must_use]
    pub fn set_up(self, first: &Session) -> f64 {
        match (self, self.scale()) {
            (Self::LostMotion, _) => watch::USUAL_SET_UP_MM,
            // A set-up moves all readings of a session alike: it is not in their scatter.
            (_, Scale::Logarithm) => 0.0,
            (_, Scale::Plain) => first.standard_uncertainty,
        }
    }

    /// The session that the charts take.
    #[must_use]
    pub fn session(self, day: f64, found: &Estimate) -> Session {
        match self.scale() {
            Scale::Plain => Session {
                day,
                value: found.value,
                // A session read off a coarse dial may claim no uncertainty at all; none is better known than a tenth of a
                // micrometre, or a millionth of its value.
                standard_uncertainty: found.standard_uncertainty.max(match self.dimension() {
                    Dimension::Length => 1e-4,
                    _ => 1e-6 * found.value.abs() + 1e-12,
                }),
                dof: found.dof,
            },
            Scale::Logarithm => Session {
                day,
                value: found.value.max(1e-9).ln(),
                standard_uncertainty: (found.standard_uncertainty / found.value.max(1e-9)).max(1e-3),
                dof: found.dof,
            },
        }
    }

    /// A value of the charts in the unit of the quantity.
    #[must_use]
    pub fn of_chart(self, value: f64) -> f64 {
        match self.scale() {
            Scale::Plain => value,
            Scale::Logarithm => value.exp(),
        }
    }

    /// A limit as typed: a length where the quantity is one, in `usual` without a unit; else a plain number in the unit that
    /// is printed.
    #[must_use]
    pub fn limit(self, typed: LengthArg, usual: Unit) -> f64 {
        match self.dimension() {
            Dimension::Length | Dimension::LengthPerHour => typed.mm(usual),
            Dimension::PerLength | Dimension::Stiffness => {
                let number = typed.mm(Unit::Mm);
                number / self.print(Print { unit: usual }).factor
            }
        }
    }

    /// Its key in documents, with its unit where that is not the one of the document.
    #[must_use]
    pub fn key(self) -> String {
        match self {
            Self::LeadError => "lead_error_per_length".to_owned(),
            Self::Stiffness => "stiffness_n_per_mm".to_owned(),
            _ => self.name().replace('-', "_"),
        }
    }

    /// A value in documents: a length in the unit of the document, anything else as assessments have it.
    #[must_use]
    pub fn in_document(self, found: f64, lengths: Print) -> f64 {
        match self.dimension() {
            Dimension::Length | Dimension::LengthPerHour => lengths.value(found),
            Dimension::PerLength | Dimension::Stiffness => found,
        }
    }

    /// How it is printed.
    #[must_use]
    pub fn print(self, lengths: Print) -> Printed {
        let inch = lengths.unit == Unit::Inch;
        let (factor, places, unit) = match self.dimension() {
            Dimension::Length => (lengths.value(1.0), if inch { 4 } else { 3 }, lengths.unit.symbol()),
            Dimension::LengthPerHour => {
                (lengths.value(1.0), if inch { 5 } else { 4 }, if inch { "in/h" } else { "mm/h" })
            }
            Dimension::PerLength => (1000.0, 4, if inch { "in per 1000 in" } else { "mm/m" }),
            Dimension::Stiffness => (1.0, 0, "N/mm"),
        };
        // Slips and standard deviations are smaller than what they spoil.
        let small = self.scale() == Scale::Logarithm || matches!(self, Self::Slip | Self::PerReturn);
        Printed { factor, places: places + usize::from(small), unit }
    }
}

/// How a quantity is printed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Printed {
    factor: f64,
    places: usize,
    /// The unit.
    pub unit: &'static str,
}

impl Printed {
    /// The number in the unit.
    #[must_use]
    pub fn value(self, found: f64) -> f64 {
        found * self.factor
    }

    /// As text, without the unit.
    #[must_use]
    pub fn text(self, found: f64) -> String {
        decimals(self.value(found), self.places)
    }

    /// As text with one digit more, for uncertainties; whole numbers stay whole.
    #[must_use]
    pub fn fine(self, found: f64) -> String {
        decimals(self.value(found), if self.places > 0 { self.places + 1 } else { 0 })
    }

    /// As text with two digits more, for changes per week.
    #[must_use]
    pub fn finer(self, found: f64) -> String {
        decimals(self.value(found), self.places + 2)
    }

    /// As text with the unit.
    #[must_use]
    pub fn with_unit(self, found: f64) -> String {
        format!("{} {}", self.text(found), self.unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::ValueEnum;
    use serde_json::json;

    #[test]
    fn names_are_those_of_the_command_line() {
        for quantity in Quantity::ALL {
            assert_eq!(quantity.to_possible_value().unwrap().get_name(), quantity.name());
        }
        assert_eq!(Quantity::value_variants(), Quantity::ALL);
    }

    #[test]
    fn each_is_found_where_the_document_has_it() {
        let part = json!({ "value": 0.002, "low_95": 0.001, "high_95": 0.003 });
        let stiff = json!({ "value": 5000.0, "low_95": 4000.0, "high_95": 6000.0 });
        let assessment = Assessment::from_value(json!({
            "schema": "takeup.assessment/1", "axis": "Z", "routine": "small-steps", "units": "in",
            "lost_motion": part, "take_up": { "dead_band": part, "wind_up": part },
            "drift": { "per_cycle": part, "per_hour": part, "per_return": part, "scatter": part },
            "under_load": { "clearance": part, "stiffness_n_per_mm": stiff },
            "growth": { "amplitude": part, "left": part },
            "positioning": { "lead_error_per_length": part, "periodic": { "amplitude": part } },
            "indicator": { "hysteresis": part, "s": part },
            "stations": [{ "target": 0.0, "lost_motion": part, "plus": { "n": 5, "s": 0.001 },
                           "minus": { "n": 5, "s": 0.001 } }],
        }))
        .unwrap();
        for quantity in Quantity::ALL {
            let found = quantity.of(&assessment).unwrap_or_else(|| panic!("{}", quantity.name()));
            let expected = match quantity {
                Quantity::Stiffness => 5000.0,
                Quantity::LeadError => 0.002,
                Quantity::Repeatability => 0.0254,
                _ => 0.0508,
            };
            assert!((found.value / expected - 1.0).abs() < 1e-12, "{}: {found:?}", quantity.name());
            let session = quantity.session(1.0, &found);
            assert!(session.check().is_ok());
            assert!((quantity.of_chart(session.value) / expected - 1.0).abs() < 1e-12);
        }
    }
}
