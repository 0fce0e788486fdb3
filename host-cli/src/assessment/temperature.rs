//! A positioning test corrected to 20 °C, where ISO 1 has lengths hold: its scale is longer when it is warm, and then
//! shows too little.

use crate::readings::Sheet;
use crate::refusal::Refusal;
use takeup_core::measure::uncertainty::rectangular;
use takeup_core::measure::{Estimate, Kind, uncertainty};

/// What was corrected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct At20 {
    /// How much the scale grows per °C, a ratio.
    pub per_degree: f64,
    /// The mean temperature of the scale, °C.
    pub mean_c: f64,
    /// How far the readings reach, in millimetres.
    pub span_mm: f64,
    /// The standard uncertainty of the correction, per length.
    pub per_length: f64,
}

/// An expansion is known to so much per °C (JCGM 100, H.1: steel 11.5 millionths, known to 2; recalled from memory).
const EXPANSION_KNOWN_TO: f64 = 2e-6;
/// A thermometer that lies on the scale is right to half a degree (common practice, no source).
const DEGREES_KNOWN_TO: f64 = 0.5;
/// The temperature at which lengths hold, °C (ISO 1).
const REFERENCE_C: f64 = 20.0;

/// Corrects the readings of a positioning test, if the expansion of its scale is given in millionths per °C.
///
/// # Errors
/// When a temperature is missing, or the test has no long scale that grows.
pub fn to_20(sheet: &mut Sheet, kind: Kind, expansion: Option<f64>) -> Result<Option<At20>, Refusal> {
    let Some(expansion) = expansion else { return Ok(None) };
    if kind != Kind::Positioning {
        return Err(Refusal::new(
            format!("an expansion is given, but a test of the kind {kind} has no long scale that grows with temperature"),
            "Leave the expansion out; it belongs to positioning.",
        )
        .file(&sheet.file));
    }
    let temperatures = sheet
        .rows
        .iter()
        .map(|row| sheet.filled(row, "temperature", row.temperature_c))
        .collect::<Result<Vec<_>, _>>()?;
    let per_degree = expansion * 1e-6;
    let first = sheet.rows.first().map_or(0.0, |row| row.reading_mm);
    let (mut low, mut high) = (0.0_f64, 0.0_f64);
    for (row, celsius) in sheet.rows.iter_mut().zip(&temperatures) {
        let from_first = row.reading_mm - first;
        (low, high) = (low.min(from_first), high.max(from_first));
        row.reading_mm += from_first * per_degree * (celsius - REFERENCE_C);
    }
    let mean_c = temperatures.iter().sum::<f64>() / temperatures.len().max(1) as f64;
    let by_expansion = (mean_c - REFERENCE_C) * rectangular(EXPANSION_KNOWN_TO);
    let by_degrees = per_degree * rectangular(DEGREES_KNOWN_TO);
    let per_length = by_expansion.hypot(by_degrees);
    Ok(Some(At20 { per_degree, mean_c, span_mm: high - low, per_length }))
}

impl At20 {
    /// A length error per length with the uncertainty of the correction in it.
    #[must_use]
    pub fn with_uncertainty(&self, per_length: &Estimate) -> Estimate {
        let own = (per_length.standard_uncertainty, per_length.dof);
        uncertainty::combine(per_length.value, [own, (self.per_length, f64::INFINITY)])
    }

    /// What the correction adds over the span, in millimetres, and its standard uncertainty.
    #[must_use]
    pub fn over_span_mm(&self) -> (f64, f64) {
        (self.span_mm * self.per_degree * (self.mean_c - REFERENCE_C), self.span_mm * self.per_length)
    }
}
