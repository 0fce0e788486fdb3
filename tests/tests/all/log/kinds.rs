//! `compare` of tests that give no lost motion: each by what its kind gives.

use super::assessment;
use serde_json::{Value, json};
use std::fmt::Write as _;
use takeup_tests::dialling::Dialling;
use takeup_tests::pushing::Pushing;
use takeup_tests::returning::Returning;
use takeup_tests::warming::Warming;
use takeup_tests::{Finished, Folder};

/// The readings files of each kind, simulated under a seed.
fn returns(sitting: &Returning, seed: u64) -> String {
    let mut text =
        "# axis: Z\n# routine: return\n# units: mm\n# resolution: 0.001\ntarget,approach,cycle,reading,time\n"
            .to_owned();
    for r in sitting.readings(seed) {
        let _ = writeln!(text, "-40,-,{},{:.3},{}", r.lift, r.value_mm, r.time_s.unwrap_or(0.0));
    }
    text
}

fn warm_up(warming: &Warming, seed: u64) -> String {
    let mut text =
        "# axis: Z\n# routine: warm-up\n# units: mm\n# resolution: 0.001\ntime,reading\n".to_owned();
    for r in warming.readings(seed) {
        let _ = writeln!(text, "{},{:.3}", r.time_s, r.value_mm);
    }
    text
}

fn push_pull(pushing: &Pushing, seed: u64) -> String {
    let mut text =
        "# axis: Z\n# routine: push-pull\n# units: mm\n# resolution: 0.001\nforce,reading\n".to_owned();
    for r in pushing.readings(seed) {
        let _ = writeln!(text, "{},{:.4}", r.force_n, r.value_mm);
    }
    text
}

fn indicator(dialling: &Dialling, seed: u64) -> String {
    let mut text =
        "# axis: Z\n# routine: indicator\n# units: mm\n# resolution: 0.001\napproach,reading\n".to_owned();
    for r in dialling.readings(seed) {
        let approach = r.approach.expect("an approach").sign();
        let _ = writeln!(text, "{approach},{:.3}", r.value_mm);
    }
    text
}

const STIFF: Pushing =
    Pushing { resolution_mm: 0.001, noise_mm: 0.001, force_noise_n: 1.0, ..Pushing::USUAL };

fn compare(before: &str, after: &str, options: &str) -> Finished {
    let folder = Folder::new();
    folder.write("before.csv", before);
    folder.write("after.csv", after);
    folder.takeup(&format!("compare before.csv after.csv {options}")).done()
}

fn of<'a>(document: &'a Value, quantity: &str) -> &'a Value {
    let rows = document["quantities"].as_array().expect("quantities");
    rows.iter().find(|row| row["quantity"] == quantity).unwrap_or_else(|| panic!("{quantity}: {document}"))
}

/// The answer first, nothing wider than 80 columns.
fn told(run: &Finished, first: &str) {
    let paragraph = run.stdout.split("\n\n").next().unwrap_or("").replace('\n', " ");
    assert_eq!(paragraph, first, "{}", run.stdout);
    for line in run.stdout.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    assert!(run.stdout.contains("\nNext: "), "{}", run.stdout);
}

#[test]
fn returns_slip_less() {
    let before = returns(&Returning { noise_mm: 0.004, ..Returning::USUAL }, 1);
    let after = returns(&Returning { slip_mm: 0.0, noise_mm: 0.001, ..Returning::USUAL }, 2);
    let run = compare(&before, &after, "--limit 0.002").exit(0);
    told(
        &run,
        "Axis Z: slip per lift is reduced and is now within the limit of 0.0020 mm. Scatter of a return is reduced.",
    );
    let document = compare(&before, &after, "--limit 0.002 --json").exit(0).json();
    assert_eq!((&document["schema"], &document["quantity"]), (&"takeup.comparison/1".into(), &"slip".into()));
    assert_eq!((&document["change_answer"], &document["model"]), (&"reduced".into(), &"welch".into()));
    assert_eq!(document["after"]["answer"], "within");
    assert_eq!(of(&document, "drift")["change_answer"], "no-change-shown");
    let (low, high) = (&document["change"]["low_95"], &document["change"]["high_95"]);
    assert!(low.as_f64().unwrap() < 0.01 && 0.01 < high.as_f64().unwrap(), "{document}");
    let ratio = &document["repeatability_ratio"];
    assert_eq!(ratio, &of(&document, "return-scatter")["ratio"]);
    assert!(ratio["low_95"].as_f64().unwrap() < 0.25 && ratio["high_95"].as_f64().unwrap() < 0.7, "{ratio}");
    // The other way round it is worse, and that is an adverse answer.
    let run = compare(&after, &before, "").exit(1);
    told(&run, "Axis Z: slip per lift has INCREASED. Scatter of a return has INCREASED.");
    let inches = compare(&before, &after, "--units in --json").exit(0).json();
    let ratio = inches["change"]["value"].as_f64().unwrap() / document["change"]["value"].as_f64().unwrap();
    assert!((ratio * 25.4 - 1.0).abs() < 1e-9, "{inches}");
}

#[test]
fn returns_without_pauses_are_compared_by_what_they_tell() {
    let even = |slip_mm, seed| {
        let text = returns(&Returning { slip_mm, ..Returning::USUAL }, seed);
        // Nobody wrote the times down.
        text.lines()
            .map(|line| match line.rsplit_once(',') {
                Some((row, _)) => format!("{row}\n"),
                None => format!("{line}\n"),
            })
            .collect::<String>()
    };
    let run = compare(&even(0.01, 1), &even(0.0, 2), "").exit(0);
    told(&run, "Axis Z: slip with drift per return is reduced.");
    assert!(run.stdout.contains("not told apart"), "{}", run.stdout);
    // One with times, one without: what is in both, and what is not.
    let run = compare(&returns(&Returning::USUAL, 1), &even(0.01, 2), "").exit(0);
    let words = run.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.starts_with("Axis Z: no change of scatter of a return is shown."), "{words}");
    assert!(
        words.contains("not compared: slip per lift, drift, which only the test before gives"),
        "{words}"
    );
}

#[test]
fn growth_pushes_and_the_indicator() {
    let warm = |amplitude_mm, seed| warm_up(&Warming { amplitude_mm, ..Warming::USUAL }, seed);
    let run = compare(&warm(0.06, 1), &warm(0.02, 2), "--limit 0.03").exit(0);
    told(&run, "Axis Z: growth is reduced and is now within the limit of 0.030 mm.");
    let straight = warm_up(&Warming { span_s: 600.0, ..Warming::USUAL }, 3);
    compare(&warm(0.06, 1), &straight, "").refused(&["after.csv", "no growth", "until the curve bends"]);

    let push = |clearance_mm, stiffness_n_per_mm, seed| {
        push_pull(&Pushing { clearance_mm, stiffness_n_per_mm, ..STIFF }, seed)
    };
    let run = compare(&push(0.08, 8000.0, 1), &push(0.01, 8000.0, 2), "--limit 0.05").exit(0);
    told(&run, "Axis Z: clearance under load is reduced and is now within the limit of 0.050 mm.");
    // Softer is worse, though the clearance is gone.
    let run = compare(&push(0.08, 8000.0, 1), &push(0.01, 4000.0, 2), "").exit(1);
    told(&run, "Axis Z: clearance under load is reduced. Stiffness has DECREASED.");
    let run = compare(&push(0.08, 4000.0, 1), &push(0.08, 8000.0, 2), "").exit(0);
    told(&run, "Axis Z: no change of clearance under load is shown. Stiffness has grown.");
    let inches = compare(&push(0.08, 4000.0, 1), &push(0.08, 8000.0, 2), "--units in --json").exit(0).json();
    let stiffness = of(&inches, "stiffness")["before"]["value"].as_f64().unwrap();
    assert!((3000.0..5000.0).contains(&stiffness), "always N/mm: {stiffness}");

    let dial = |hysteresis_mm, noise_mm, seed| {
        indicator(&Dialling { hysteresis_mm, noise_mm, ..Dialling::USUAL }, seed)
    };
    let run = compare(&dial(0.003, 0.001, 1), &dial(0.012, 0.001, 2), "--limit 0.005").exit(1);
    told(&run, "Axis Z: hysteresis of the indicator has INCREASED, and it is OVER the limit of 0.005 mm.");
    let document = compare(&dial(0.003, 0.001, 1), &dial(0.003, 0.004, 2), "--json").exit(1).json();
    assert_eq!(document["quantity"], "hysteresis");
    assert_eq!(of(&document, "indicator-scatter")["change_answer"], "increased");
}

#[test]
fn by_hand() {
    let folder = Folder::new();
    let part =
        |value: f64, u: f64, dof: f64| json!({ "value": value, "standard_uncertainty": u, "dof": dof });
    let document = |slip: Value, scatter: Value| {
        let mut document = assessment(0.0, 0.001);
        let fields = document.as_object_mut().unwrap();
        fields.remove("lost_motion");
        fields.remove("stations");
        document["routine"] = "return".into();
        document["drift"] = json!({ "per_cycle": slip, "scatter": scatter });
        document.to_string()
    };
    // χ² of 9 degrees of freedom: 5 % lie below 3.325 (NIST/SEMATECH e-Handbook, table 1.3.6.7.4, recalled from memory).
    // With so few the upper side of an even interval of 95 % is all there is: s (1 ± 0.645), t(9) = 2.262.
    let scatter = |s: f64| part(s, s * ((9.0_f64 / 3.325).sqrt() - 1.0) / 2.262, 9.0);
    folder.write("b.json", document(part(-0.003, 0.0003, 4.0), scatter(0.002)));
    folder.write("a.json", document(part(-0.010, 0.0004, 9.0), scatter(0.004)));
    let found = folder.takeup("compare b.json a.json --json").done().exit(1).json();
    assert_eq!(found["change_answer"], "increased");
    // Welch by hand: u = 0.5 µm, 625/(81/4 + 256/9) = 12.83 degrees of freedom, t = 2.163 (table, interpolated).
    let half = found["change"]["high_95"].as_f64().unwrap() - found["change"]["value"].as_f64().unwrap();
    assert!((half - 2.163 * 0.0005).abs() < 2e-6, "{half}");
    assert!((found["change"]["value"].as_f64().unwrap() + 0.007).abs() < 1e-12);
    // F(0.975; 9, 9) = 4.03 (printed table, recalled from memory).
    let ratio = &found["repeatability_ratio"];
    assert!((ratio["value"].as_f64().unwrap() - 2.0).abs() < 1e-9);
    assert!((ratio["low_95"].as_f64().unwrap() - 2.0 / 4.03_f64.sqrt()).abs() < 0.02, "{ratio}");
    assert!((ratio["high_95"].as_f64().unwrap() - 2.0 * 4.03_f64.sqrt()).abs() < 0.06, "{ratio}");
}

#[test]
fn small_steps_tell_the_parts_and_do_not_judge_them() {
    let folder = Folder::new();
    let part = |value: f64| {
        json!({ "value": value, "standard_uncertainty": 0.001, "dof": 20.0,
                "low_95": value - 0.0021, "high_95": value + 0.0021 })
    };
    let document = |dead: f64, wind: f64| {
        let mut document = assessment(dead + wind, 0.001);
        document.as_object_mut().unwrap().remove("stations");
        document["routine"] = "small-steps".into();
        document["take_up"] = json!({ "dead_band": part(dead), "wind_up": part(wind) });
        document.to_string()
    };
    folder.write("b.json", document(0.09, 0.01));
    folder.write("a.json", document(0.01, 0.03));
    folder.write("z.json", assessment(0.1, 0.001).to_string());
    let run = folder.takeup("compare b.json a.json --limit 0.05").done().exit(0);
    told(&run, "Axis Z: lost motion is reduced and is now within the limit of 0.050 mm.");
    assert!(run.stdout.contains("  dead band\n") && run.stdout.contains("  wind-up\n"), "{}", run.stdout);
    // Lost motion is lost motion, however it was found.
    let mixed = folder.takeup("compare z.json a.json --json").done().exit(0).json();
    assert_eq!((&mixed["quantity"], &mixed["change_answer"]), (&"lost-motion".into(), &"reduced".into()));
}

#[test]
fn kinds_that_measure_different_things_are_refused() {
    let folder = Folder::new();
    folder.write("r.csv", returns(&Returning::USUAL, 1));
    folder.write("i.csv", indicator(&Dialling::USUAL, 1));
    folder.write("z.json", assessment(0.1, 0.001).to_string());
    for (pair, words) in [
        ("z.json r.csv", ["reversal", "return", "one kind"]),
        ("r.csv z.json", ["return", "reversal", "one kind"]),
        ("i.csv r.csv", ["indicator", "return", "one kind"]),
    ] {
        folder.takeup(&format!("compare {pair}")).done().refused(&words);
    }
}

#[test]
fn a_sitting_is_compared_with_one_of_its_kind() {
    let folder = Folder::new();
    folder.write("z.json", assessment(0.1, 0.001).to_string());
    let measure = "measure return --axis z --mark -40 --simulate --plain";
    folder.takeup(&format!("{measure} -o a.csv --compare z.json")).done().refused(&["reversal", "return"]);
    folder.takeup(&format!("{measure} -o a.csv --log l.db")).done().exit(0);
    let run = folder.takeup(&format!("{measure} --seed 2 -o b.csv --compare a.csv")).done();
    assert!(run.stdout.contains("Compared with a.csv\n\nAxis Z: no change of slip per lift"), "{run:?}");
    let document = folder.takeup(&format!("{measure} --seed 3 -o c.csv --log l.db --json")).done().json();
    assert_eq!(document["comparison"]["quantity"], "slip", "{document}");
}
