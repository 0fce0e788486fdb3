//! The log: what it keeps, what it refuses, and that nothing acknowledged is ever lost.

mod book;
mod comparison;
mod faults;
mod killed;
mod kinds;

use serde_json::{Value, json};

/// The document of an assessment: lost motion at two stations, in millimetres.
pub fn assessment(lost: f64, u: f64) -> Value {
    // Student's t for 8 degrees of freedom (JCGM 100, table G.2, recalled from memory).
    let part = |value: f64| {
        json!({ "value": value, "standard_uncertainty": u, "dof": 8.0,
                "low_95": value - 2.306 * u, "high_95": value + 2.306 * u })
    };
    let station = |target: f64| {
        json!({ "target": target, "reversal": -lost,
                "plus": { "n": 5, "mean": 0.0, "s": 2.0 * u }, "minus": { "n": 5, "mean": lost, "s": 2.0 * u },
                "lost_motion": part(lost) })
    };
    json!({ "schema": "takeup.assessment/1", "axis": "Z", "routine": "reversal", "units": "mm",
            "readings": { "used": 20, "set_aside": 0 }, "set_aside": [],
            "stations": [station(0.0), station(-40.0)], "lost_motion": part(lost), "budget": [], "causes": [] })
}
