//! `compare`: the contract, and the answers.

use super::assessment;
use takeup_tests::{Finished, Folder};

fn compare(before: (f64, f64), after: (f64, f64), options: &str) -> Finished {
    let folder = Folder::new();
    folder.write("before.json", assessment(before.0, before.1).to_string());
    folder.write("after.json", assessment(after.0, after.1).to_string());
    folder.takeup(&format!("compare before.json after.json {options}")).done()
}

#[test]
fn repaired_and_good() {
    let document = compare((0.118, 0.002), (0.021, 0.001), "--limit 0.05 --json").exit(0).json();
    assert_eq!(document["schema"], "takeup.comparison/1");
    assert_eq!(document["axis"], "Z");
    assert_eq!(document["change_answer"], "reduced");
    assert_eq!(document["after"]["answer"], "within");
    let value = |part: &str, end: &str| document[part][end].as_f64().unwrap();
    assert!((value("change", "value") + 0.097).abs() < 1e-12);
    // Welch by hand: u = √(2² + 1²) µm, 25/(16/8 + 1/8) = 11.76 degrees of freedom, t = 2.184 (table, interpolated).
    let half = value("change", "high_95") - value("change", "value");
    assert!((half - 2.184 * 0.001 * 5.0_f64.sqrt()).abs() < 3e-6, "{half}");
    assert!((value("repeatability_ratio", "value") - 0.5).abs() < 1e-12);
    // F(0.975; 16, 16) = 2.76 (printed table, recalled from memory): ends 0.5/√2.76 and 0.5·√2.76.
    assert!((value("repeatability_ratio", "low_95") - 0.5 / 2.76_f64.sqrt()).abs() < 1e-3);
    assert!((value("repeatability_ratio", "high_95") - 0.5 * 2.76_f64.sqrt()).abs() < 1e-3);
}

#[test]
fn adverse_answers_exit_1() {
    assert_eq!(compare((0.02, 0.001), (0.08, 0.001), "--json").exit(1).json()["change_answer"], "increased");
    let over = compare((0.2, 0.001), (0.08, 0.001), "--limit 0.05 --json").exit(1).json();
    assert_eq!((&over["change_answer"], &over["after"]["answer"]), (&"reduced".into(), &"over".into()));
    let same = compare((0.02, 0.001), (0.021, 0.001), "--json").exit(0).json();
    assert_eq!(same["change_answer"], "no-change-shown");
    assert!(same.get("after").is_none());
}

#[test]
fn words_put_the_answer_first() {
    let run = compare((0.118, 0.002), (0.021, 0.001), "--limit 0.05").exit(0);
    assert!(
        run.stdout.starts_with("Axis Z: lost motion is reduced and is now within the limit of 0.050 mm."),
        "{run:?}"
    );
    let inches = compare((0.118, 0.002), (0.021, 0.001), "--units in --limit 0.002 --json").exit(0).json();
    assert_eq!(inches["units"], "in");
    assert!((inches["change"]["value"].as_f64().unwrap() + 0.097 / 25.4).abs() < 1e-9);
}

#[test]
fn a_loss_that_has_turned_is_no_missing_change() {
    let run = compare((0.051, 0.001), (-0.05, 0.001), "").exit(0);
    assert!(
        run.stdout.starts_with("Axis Z: lost motion is as large as before, the OTHER WAY.")
            && run.stdout.contains("Look at what was set"),
        "{run:?}"
    );
}

#[test]
fn the_change_and_the_limit_make_one_sentence() {
    let first = |before: f64, after: f64, limit: f64| {
        let run = compare((before, 0.001), (after, 0.001), &format!("--limit {limit}"));
        let sentence = run.stdout.split("\n\n").next().unwrap_or("").replace('\n', " ");
        sentence.trim_start_matches("Axis Z: ").to_owned()
    };
    let limit = "the limit of 0.050 mm.";
    assert_eq!(first(0.02, 0.08, 0.05), format!("lost motion has INCREASED, and it is OVER {limit}"));
    assert_eq!(first(0.02, 0.03, 0.05), format!("lost motion has INCREASED, but it is still within {limit}"));
    assert_eq!(first(0.20, 0.08, 0.05), format!("lost motion is reduced, but it is still OVER {limit}"));
    assert_eq!(first(0.08, 0.08, 0.05), format!("no change of lost motion is shown; it is OVER {limit}"));
    assert_eq!(first(0.02, 0.02, 0.05), format!("no change of lost motion is shown; it is within {limit}"));
}

#[test]
fn only_common_stations_count() {
    let folder = Folder::new();
    let mut before = assessment(0.10, 0.001);
    // One station more, where the loss is twice as large: it must not look like a change.
    let mut third = before["stations"][0].clone();
    third["target"] = (-80.0).into();
    third["lost_motion"]["value"] = 0.2.into();
    before["stations"].as_array_mut().unwrap().push(third);
    before["lost_motion"]["value"] = (0.4 / 3.0).into();
    folder.write("before.json", before.to_string());
    folder.write("after.json", assessment(0.10, 0.001).to_string());
    let document = folder.takeup("compare before.json after.json --json").done().exit(0).json();
    assert_eq!(document["change_answer"], "no-change-shown");
    assert!(document["change"]["value"].as_f64().unwrap().abs() < 1e-12);
    let mut after = assessment(0.10, 0.001);
    after["stations"].as_array_mut().unwrap().truncate(1);
    folder.write("after.json", after.to_string());
    let told = folder.takeup("compare before.json after.json").done().exit(0).stdout;
    assert!(told.contains("compared at the 1 station that both have"), "{told}");
}

#[test]
fn what_cannot_be_compared_is_refused() {
    let folder = Folder::new();
    let mut other = assessment(0.02, 0.001);
    other["axis"] = "X".into();
    folder.write("x.json", other.to_string());
    folder.write("z.json", assessment(0.02, 0.001).to_string());
    folder.takeup("compare x.json z.json").done().refused(&["axis X", "axis Z"]);
    folder.write("rubbish.json", "[1, 2");
    folder.takeup("compare rubbish.json z.json").done().refused(&["rubbish.json", "JSON"]);
    folder.takeup("compare none.json z.json").done().refused(&["none.json"]);
    let mut without = assessment(0.02, 0.001);
    without.as_object_mut().unwrap().remove("lost_motion");
    folder.write("w.json", without.to_string());
    folder.takeup("compare w.json z.json").done().refused(&["w.json", "no lost motion"]);
    assert_eq!(folder.takeup("compare x.json z.json --json").done().refusal()["schema"], "takeup.refusal/1");
}

#[test]
fn paired_where_the_stations_take_to_it_differently() {
    let folder = Folder::new();
    let at = |lost: [f64; 4]| {
        let mut document = assessment(0.1, 0.001);
        let station = document["stations"][0].clone();
        let stations = (0_i32..).zip(lost).map(|(i, lost)| {
            let mut station = station.clone();
            station["target"] = (-20.0 * f64::from(i)).into();
            station["lost_motion"]["value"] = lost.into();
            station
        });
        document["stations"] = stations.collect::<Vec<_>>().into();
        document["lost_motion"]["value"] = (lost.iter().sum::<f64>() / 4.0).into();
        document.to_string()
    };
    folder.write("before.json", at([0.1, 0.1, 0.1, 0.1]));
    folder.write("alike.json", at([0.021, 0.020, 0.019, 0.020]));
    folder.write("unlike.json", at([0.010, 0.030, 0.010, 0.030]));
    let alike = folder.takeup("compare before.json alike.json --json").done().exit(0).json();
    assert_eq!(alike["model"], "welch");
    let unlike = folder.takeup("compare before.json unlike.json --json").done().exit(0).json();
    assert_eq!(unlike["model"], "paired");
    // By hand: changes -0.09, -0.07, -0.09, -0.07, s = 0.011547, t(3) = 3.182 (printed table): ± 0.01837.
    let half = unlike["change"]["high_95"].as_f64().unwrap() - unlike["change"]["value"].as_f64().unwrap();
    assert!((half - 3.182 * 0.011547 / 2.0).abs() < 1e-5, "{half}");
    let words = folder.takeup("compare before.json unlike.json").done().exit(0).stdout;
    assert!(words.contains("differs along the travel"), "{words}");
}
