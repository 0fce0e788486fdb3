//! What an assessment says of an axis, read back from its JSON document, for tables and comparisons.

use takeup_core::{axis::Axis, correct::build::Measured, length::Length, length::Unit, measure::Estimate};

use crate::assessment::Assessed;
use crate::assessment::document::{Document, SCHEMA};
use crate::refusal::{Refusal, clip};

/// The lost motion of an axis at its stations, and how it repeats.
#[derive(Clone, Debug)]
pub struct AxisResult {
    /// The machine, if it was named.
    pub machine: Option<String>,
    /// The axis.
    pub axis: Axis,
    /// Lost motion per station.
    pub stations: Vec<Measured>,
    /// Sum of squared deviations of the readings from their means (mm²), and its degrees of freedom.
    pub scatter: (f64, f64),
    /// The likeliest cause, if it cannot be corrected by software.
    pub not_correctable: Option<String>,
}

/// Readings that were just assessed.
///
/// # Errors
/// When the kind of test gives no lost motion per station.
pub fn of(assessed: &Assessed) -> Result<AxisResult, Refusal> {
    let findings = assessed.found.part.findings();
    let (s, dof) = findings.repeatability_mm().ok_or_else(|| no_stations(assessed.kind.name()))?;
    let stations = findings.stations().iter();
    Ok(AxisResult {
        machine: assessed.keys.machine.clone(),
        axis: assessed.axis,
        stations: stations.map(|s| Measured { position: s.target, lost: s.lost_motion }).collect(),
        scatter: (dof * s * s, dof),
        not_correctable: assessed
            .found
            .causes
            .first()
            .filter(|likely| !likely.cause.correctable())
            .map(|likely| likely.cause.name().to_owned()),
    })
}

fn no_stations(routine: &str) -> Refusal {
    let reason = format!("an assessment of {} holds no lost motion at stations", clip(routine));
    Refusal::new(reason, "Assess the readings of a reversal test.")
}

/// Reads the document of `assess --json`.
///
/// # Errors
/// When it is no such document, of another version, or of a routine that gives no lost motion per station.
pub fn from_json(text: &[u8]) -> Result<AxisResult, Refusal> {
    const WAY_OUT: &str = "Give readings (CSV), or what \"takeup assess --json\" printed.";
    let refuse = |reason: String| Refusal::new(reason, WAY_OUT);
    let document: Document = serde_json::from_slice(text).map_err(|error| {
        refuse(format!("this is not an assessment: {error}")).line(error.line().max(1) as u64)
    })?;
    if document.schema != SCHEMA {
        return Err(refuse(format!("schema {} was found, {SCHEMA} was expected", document.schema)));
    }
    let unit = Unit::from_symbol(&document.units)
        .ok_or_else(|| refuse(format!("units {} were found, mm or in was expected", document.units)))?;
    let mut letters = document.axis.chars();
    let axis = match (letters.next().and_then(Axis::from_letter), letters.next()) {
        (Some(axis), None) => axis,
        _ => return Err(refuse(format!("axis {} was found, X, Y or Z was expected", document.axis))),
    };
    if document.stations.is_empty() {
        return Err(no_stations(&document.routine));
    }
    let mut result = AxisResult {
        machine: document.machine,
        axis,
        stations: Vec::new(),
        scatter: (0.0, 0.0),
        not_correctable: document.causes.first().filter(|c| !c.correctable).map(|c| c.cause.clone()),
    };
    for station in &document.stations {
        let position = Length::from_unit(station.target, unit)
            .ok_or_else(|| refuse(format!("target {} is beyond any machine", station.target)))?;
        let lost = Estimate {
            value: station.lost_motion.value * unit.as_mm(),
            standard_uncertainty: station.lost_motion.standard_uncertainty.unwrap_or(f64::NAN) * unit.as_mm(),
            // An endless number of degrees of freedom has no place in JSON and is absent there.
            dof: station.lost_motion.dof.unwrap_or(f64::INFINITY),
        };
        if !(lost.standard_uncertainty >= 0.0 && lost.dof > 0.0) {
            return Err(refuse(format!("the uncertainty at target {} is not one", station.target)));
        }
        result.stations.push(Measured { position, lost });
        for group in [&station.plus, &station.minus] {
            if let Some(s) = group.s {
                let dof = f64::from(group.n.saturating_sub(1));
                result.scatter.0 += dof * (s * unit.as_mm()).powi(2);
                result.scatter.1 += dof;
            }
        }
    }
    Ok(result)
}

#[cfg(test)]
mod tests {
    use super::*;

    const INCHES: &str = r#"{"schema": "takeup.assessment/1", "axis": "Z", "routine": "reversal", "units": "in",
        "stations": [{"target": -2, "reversal": -0.004, "plus": {"n": 3, "mean": 0, "s": 0.0001},
        "minus": {"n": 3, "mean": 0.004, "s": 0.0003}, "lost_motion": {"value": 0.004,
        "standard_uncertainty": 0.0002, "low_95": 0.003, "high_95": 0.005}}],
        "causes": [{"cause": "slip", "weight": 0.9, "correctable": false, "evidence": []}]}"#;

    #[test]
    fn an_assessment_in_inches_becomes_millimetres() {
        let read = from_json(INCHES.as_bytes()).unwrap();
        assert_eq!((read.axis, read.stations[0].position.as_mm()), (Axis::Z, -50.8));
        let lost = read.stations[0].lost;
        assert!((lost.value - 0.1016).abs() < 1e-12 && lost.dof.is_infinite(), "{lost:?}");
        // 2 (0.1² + 0.3²) · 1e-6 in², 4 degrees of freedom
        assert!((read.scatter.0 - 0.2e-6 * 25.4 * 25.4).abs() < 1e-12 && read.scatter.1 == 4.0);
        assert_eq!(read.not_correctable.as_deref(), Some("slip"));
    }

    #[test]
    fn other_documents_are_told_apart() {
        let reason = |text: &str| from_json(text.as_bytes()).unwrap_err().to_string();
        assert!(reason("{}").contains("not an assessment"));
        assert!(reason(&INCHES.replace("assessment/1", "assessment/9")).contains("assessment/9"));
        assert!(reason(&INCHES.replace("\"in\"", "\"ell\"")).contains("ell"));
        assert!(reason(&INCHES.replace("\"Z\"", "\"ZZ\"")).contains("X, Y or Z"));
        assert!(reason(&INCHES.replace("0.0002", "-1")).contains("uncertainty"));
    }
}
