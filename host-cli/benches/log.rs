//! Prints how long `log trend` and `report` take on a log of 100 machines with 500 sessions of 50 readings each.
//!
//! `cargo bench -p takeup-cli --bench log`

use serde_json::json;
use std::process::Command;
use std::time::Instant;
use takeup_cli::log::{assessment::Assessment, entry::Entry, store::Store};

const MACHINES: usize = 100;
const SESSIONS: usize = 500;
const READINGS: usize = 50;

fn main() {
    let folder = tempfile::tempdir().expect("a folder");
    let log = folder.path().join("l.db");
    let mut store = Store::open_or_create(&log).expect("a log");
    let readings = format!("target,approach,reading\n{}", "0,+,0.0012\n0,-,0.0511\n".repeat(READINGS / 2));
    let start = Instant::now();
    for machine in 0..MACHINES {
        let entries: Vec<_> = (0..SESSIONS)
            .map(|i| {
                let value = 0.02 + 1e-6 * ((i * 7919) % 1000) as f64;
                let lost = json!({ "value": value, "standard_uncertainty": 0.001, "dof": 8.0 });
                let group = json!({ "n": 25, "mean": 0.0, "s": 0.002 });
                let document = json!({ "schema": "takeup.assessment/1", "axis": "Z", "routine": "reversal", "units": "mm",
                    "stations": [{ "target": 0.0, "plus": group, "minus": group, "lost_motion": lost }], "lost_motion": lost });
                let taken = jiff::Timestamp::from_second(1_600_000_000 + 604_800 * i as i64 / 2).expect("a time");
                let assessment = Assessment::from_value(document).expect("an assessment");
                Entry::session(&assessment, Some(&readings), &format!("mill {machine}"), Some(taken), taken)
            })
            .collect();
        store.append(&entries).expect("appended");
    }
    drop(store);
    println!(
        "{} entries written in {:.1} s, {} MB",
        MACHINES * SESSIONS,
        start.elapsed().as_secs_f64(),
        std::fs::metadata(&log).map_or(0, |file| file.len()) / 1_000_000
    );
    let timed = |name: &str, goal: f64, arguments: &[&str]| {
        let start = Instant::now();
        let run = Command::new(env!("CARGO_BIN_EXE_takeup"))
            .current_dir(folder.path())
            .args(arguments)
            .output()
            .expect("a run");
        let took = start.elapsed().as_secs_f64();
        println!(
            "{name:<10} {took:.3} s, {:.2} of the {goal} s allowed, exit {:?}",
            took / goal,
            run.status.code()
        );
    };
    timed("log trend", 0.3, &["log", "trend", "--log", "l.db", "--machine", "mill 42", "--limit", "0.05"]);
    timed(
        "report",
        2.0,
        &["report", "--log", "l.db", "--machine", "mill 42", "--limit", "0.05", "-o", "r.html"],
    );
}
