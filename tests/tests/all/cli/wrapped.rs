//! Dials that go round, and scales that are warm, through `assess`.

use serde_json::Value;
use takeup_core::measure::Kind;
use takeup_core::slack::simulated::{Dial, Faults, Noise};
use takeup_tests::dialling::Dialling;
use takeup_tests::faulty;
use takeup_tests::pushing::Pushing;
use takeup_tests::returning::Returning;
use takeup_tests::sitting::Sitting;
use takeup_tests::staircase::Staircase;
use takeup_tests::warming::Warming;
use takeup_tests::{Finished, Folder};

/// A row: what stands before the reading, the reading in mm, what stands behind it.
type Row = (String, f64, String);

fn sheet(kind: &str, before: &str, behind: &str, rows: &[Row], noted: impl Fn(f64) -> f64) -> String {
    let mut text =
        format!("# axis: Z\n# routine: {kind}\n# resolution: 0.001\n# pitch: 5\n{before}reading{behind}\n");
    for (front, reading, back) in rows {
        text.push_str(&format!("{front}{:.3}{back}\n", noted(*reading)));
    }
    text
}

/// Simulated tests of every kind, the zero of the dial anywhere.
fn tests(seed: u64) -> Vec<(&'static str, &'static str, &'static str, Vec<Row>)> {
    let none = String::new;
    let sitting = Sitting { cycles: 4, ..Sitting::USUAL }.readings(seed);
    let reversal =
        sitting.iter().map(|r| (format!("{},{},", r.target.as_mm(), r.approach), r.value_mm, none()));
    let faults = Faults { clearance_mm: 0.05, lead_error: 1e-4, ..Faults::default() };
    let dial = Dial { resolution_mm: 0.001, noise_mm: 0.002, ..Dial::default() };
    let scale = faulty::readings(Kind::Positioning, faults, dial, &mut Noise::new(seed));
    let scale = scale.iter().map(|r| (format!("{},{},", r.target.as_mm(), r.approach), r.value_mm, none()));
    // Steps that go round the dial twice.
    let steps = Staircase { step_mm: 0.08, clearance_mm: 0.12, ..Staircase::USUAL }.readings(seed);
    let steps = steps.iter().map(|r| (format!("{},{},", r.target.as_mm(), r.approach), r.value_mm, none()));
    // In all the drive slips by more than a revolution.
    let returns = Returning { slip_mm: 0.08, ..Returning::USUAL }.readings(seed);
    let returns =
        returns.iter().map(|r| ("0,-,".to_owned(), r.value_mm, format!(",{}", r.time_s.unwrap_or(0.0))));
    let warming = Warming::USUAL.readings(seed);
    let warming = warming.iter().map(|r| (none(), r.value_mm, format!(",{}", r.time_s)));
    let pushes = Pushing::USUAL.readings(seed);
    let pushes = pushes.iter().map(|r| (none(), r.value_mm, format!(",{}", r.force_n)));
    let face = Dialling::USUAL.readings(seed);
    let face = face.iter().map(|r| (format!("{},", r.approach.unwrap()), r.value_mm, none()));
    vec![
        ("reversal", "target,approach,", "", reversal.collect()),
        ("positioning", "target,approach,", "", scale.collect()),
        ("small-steps", "target,approach,", "", steps.collect()),
        ("return", "target,approach,", ",time", returns.collect()),
        ("warm-up", "", ",time", warming.collect()),
        ("push-pull", "", ",force", pushes.collect()),
        ("indicator", "approach,", "", face.collect()),
    ]
}

/// Every number of a document, but for those of weights and misreads.
fn numbers(document: &Value) -> Vec<f64> {
    match document {
        Value::Number(number) => vec![number.as_f64().unwrap()],
        Value::Array(all) => all.iter().flat_map(numbers).collect(),
        Value::Object(all) => {
            let kept =
                all.iter().filter(|(name, _)| !["causes", "dial", "set_aside"].contains(&name.as_str()));
            kept.flat_map(|(_, value)| numbers(value)).collect()
        }
        _ => vec![],
    }
}

fn same(one: &Finished, other: &Finished) {
    let (one, other) = (numbers(&one.json()), numbers(&other.json()));
    assert_eq!(one.len(), other.len());
    for (a, b) in one.iter().zip(&other) {
        assert!((a - b).abs() <= 1e-6 * b.abs().max(1e-3), "{a} is not {b}:\n{one:?}\n{other:?}");
    }
}

#[test]
fn a_dial_that_goes_round_is_understood_by_the_plan() {
    let folder = Folder::new();
    for (kind, before, behind, rows) in tests(3) {
        // The zero of the dial is within the readings.
        let off = 1.0 - rows[rows.len() / 2].1.rem_euclid(1.0);
        let counted = sheet(kind, before, behind, &rows, |mm| mm + off);
        let noted = sheet(kind, before, behind, &rows, |mm| (mm + off + 1e-9).rem_euclid(1.0));
        assert_ne!(counted, noted);
        folder.write("counted.csv", &counted);
        folder.write("noted.csv", &noted);
        let by_hand = folder.takeup("assess counted.csv --json").done().exit(0);
        let by_plan = folder.takeup("assess noted.csv --json --revolution 1").done().exit(0);
        same(&by_plan, &by_hand);
        assert!(by_plan.json()["dial"]["readings"].as_u64().unwrap() > 0, "{kind}: {by_plan:?}");
        assert!(by_hand.json().get("dial").is_none());
        let slip = folder.takeup("assess noted.csv --revolution 1").done().exit(0).stdout;
        assert!(slip.contains("The dial goes round every 1.000 mm"), "{slip}");
    }
}

#[test]
fn a_dial_in_inches_goes_round_too_and_what_was_counted_is_refused() {
    let folder = Folder::new();
    let row = |reading: f64| format!("0,-,{:.4}\n0,+,{:.4}\n", reading, (reading + 0.096) % 0.1);
    let rows: String = [0.0012, 0.001, 0.0014, 0.0011].map(row).concat();
    let text = format!(
        "# axis: Z\n# routine: reversal\n# units: in\n# revolution: 0.1\ntarget,approach,reading\n{rows}"
    );
    folder.write("z.csv", &text);
    let document = folder.takeup("assess z.csv --json").done().exit(0).json();
    let lost = document["lost_motion"]["value"].as_f64().unwrap();
    assert!((lost - 0.004).abs() < 1e-4, "{document}");
    assert!((document["dial"]["revolution"].as_f64().unwrap() - 0.1).abs() < 1e-12);
    folder.write("z.csv", text.replace("0,-,0.0010", "0,-,0.1010"));
    folder.takeup("assess z.csv").done().refused(&["z.csv:8", "beyond one revolution"]);
    folder.takeup("assess z.csv --revolution 0").done().refused(&["--revolution", "above 0"]);
}

/// A scale of steel at a temperature reads short on an axis that is right.
fn warm(celsius: f64) -> String {
    let mut text =
        "# axis: X\n# routine: positioning\n# resolution: 0.001\ntarget,approach,reading,temperature\n"
            .to_owned();
    for run in 0..3 {
        let mut targets = [0.0, 57.0, 121.0, 188.0, 243.0, 300.0].map(|target| (target, '+')).to_vec();
        targets.extend([300.0, 243.0, 188.0, 121.0, 57.0, 0.0].map(|target| (target, '-')));
        for (row, (target, sign)) in targets.into_iter().enumerate() {
            let wander = 0.001 * f64::from((row as i32 * 7 + run) % 3 - 1);
            let shown = target / (1.0 + 11.5e-6 * (celsius - 20.0)) + wander;
            text.push_str(&format!("{target},{sign},{shown:.3},{celsius}\n"));
        }
    }
    text
}

#[test]
fn a_warm_scale_is_corrected_to_20_degrees() {
    let folder = Folder::new();
    folder.write("x.csv", warm(26.0));
    let lead = |command: &str| {
        let run = folder.takeup(command).done().exit(0);
        let lead = run.json()["positioning"]["lead_error_per_length"].clone();
        ["value", "low_95", "high_95"].map(|name| lead[name].as_f64().unwrap())
    };
    let [plain, _, high] = lead("assess x.csv --json");
    assert!((plain + 11.5e-6 * 6.0).abs() < 3e-6 && high < 0.0, "{plain} to {high}");
    let [right, low, high] = lead("assess x.csv --json --expansion 11.5");
    assert!(right.abs() < 3e-6 && low < 0.0 && high > 0.0, "{right}: {low} to {high}");
    // By hand: 6 degrees times 2 millionths, and 11.5 millionths times half a degree, both rectangular.
    let u = (6.0_f64 * 2e-6).hypot(11.5e-6 * 0.5) / 3.0_f64.sqrt();
    assert!((high - low) / 2.0 > 1.9 * u, "{low} to {high}, {u}");
    let slip = folder.takeup("assess x.csv --expansion 11.5").done().exit(0).stdout;
    assert!(slip.contains("Corrected to 20 °C") && slip.contains("0.0207 mm"), "{slip}");
    let slip = folder.takeup("assess x.csv").done().exit(0).stdout;
    assert!(slip.contains("--expansion"), "{slip}");
    folder.write("x.csv", warm(26.0).replacen(",26\n", ",\n", 1));
    folder.takeup("assess x.csv --expansion 11.5").done().refused(&["x.csv", "temperature"]);
    folder.write("z.csv", super::readings::sheet());
    folder.takeup("assess z.csv --expansion 11.5").done().refused(&["z.csv", "positioning"]);
}

#[test]
fn a_shop_that_gets_warmer_is_pointed_out() {
    let folder = Folder::new();
    let rows = |last: f64| {
        let mut text = "# axis: Z\n# routine: reversal\ntarget,approach,reading,temperature\n".to_owned();
        for row in 0..4 {
            let celsius = 20.0 + last * f64::from(row) / 3.0;
            text.push_str(&format!("0,-,0.25{row},{celsius:.1}\n0,+,0.20{row},{celsius:.1}\n"));
        }
        text
    };
    for (by, pointed_out) in [(0.4, false), (1.8, true)] {
        folder.write("z.csv", rows(by));
        let slip = folder.takeup("assess z.csv").done().exit(0).stdout;
        assert_eq!(slip.contains("It changed by"), pointed_out, "{slip}");
    }
}
