//! The test of the indicator itself: simulated truth, and its way into other budgets.

use super::sheets::{fill, refused};
use takeup_core::slack::simulated::{Dial, Noise};
use takeup_tests::Folder;
use takeup_tests::dialling::{Dialling, score};

/// Coverage 93 to 99.9 % at this number of seeds; the hysteresis no wider than 1.5 times the informed.
#[track_caller]
fn holds(dialling: Dialling) {
    let s = score(&dialling, 600);
    for (name, quantity) in [("s", s.s), ("hysteresis", s.hysteresis)] {
        let coverage = quantity.coverage();
        assert!((0.93..=0.9999).contains(&coverage), "{name} {coverage} {dialling:?}");
        assert!(quantity.given() == 1.0, "{name} {dialling:?}");
    }
    assert!(s.hysteresis.width_ratio() < 1.5, "{} {dialling:?}", s.hysteresis.width_ratio());
    let misread = dialling.misread as f64;
    assert!((s.set_aside - misread).abs() < 0.05 + 0.02 * misread, "{} {dialling:?}", s.set_aside);
}

#[test]
fn the_truth_is_held() {
    holds(Dialling::USUAL);
    holds(Dialling { cycles: 5, noise_mm: 0.002, ..Dialling::USUAL });
    holds(Dialling { misread: 2, noise_mm: 0.002, hysteresis_mm: 0.006, ..Dialling::USUAL });
}

#[test]
fn from_sheet_into_the_budget_of_a_reversal() {
    let folder = Folder::new();
    folder.takeup("routine indicator --axis z --cycles 10 -o dial.nc --sheet dial.csv").done().exit(0);
    let mut noise = Noise::new(5);
    let mut dial = Dial { resolution_mm: 0.001, noise_mm: 0.0005, hysteresis_mm: 0.004, ..Dial::default() };
    let sheet = fill(&folder.read("dial.csv"), |row| {
        // Odd rows come in rising, even ones falling.
        dial.watch(if row % 2 == 1 { -0.5 } else { 0.5 });
        vec![("reading", format!("{:.3}", dial.read_mm(0.1, &mut noise)))]
    });
    folder.write("dial.csv", sheet.replace("# resolution:", "# resolution: 0.001"));
    let document = folder.takeup("assess dial.csv --json").done().exit(0).json();
    let hysteresis = document["indicator"]["hysteresis"]["value"].as_f64().unwrap();
    assert!((hysteresis - 0.004).abs() < 0.0008, "{document}");
    assert!(document["indicator"]["s"]["value"].as_f64().unwrap() < 0.0012, "{document}");
    folder.write("dial.json", document.to_string());

    let rows: String = (0..5).map(|i| format!("0,+,0.10{i}\n0,-,0.22{i}\n")).collect();
    folder.write(
        "z.csv",
        format!("# axis: Z\n# routine: reversal\n# units: mm\ntarget,approach,reading\n{rows}"),
    );
    let lost = |flags: &str| {
        let document = folder.takeup(&format!("assess z.csv --json {flags}")).done().exit(0).json();
        let budget = document["budget"].as_array().unwrap().clone();
        let part = budget.iter().find(|part| part["source"] == "indicator hysteresis");
        let u = part.map(|part| part["standard_uncertainty"].as_f64().unwrap());
        (document["lost_motion"]["value"].as_f64().unwrap(), u)
    };
    let (bare, none) = lost("");
    assert_eq!(none, None);
    for flags in ["--indicator dial.csv", "--indicator dial.json"] {
        let (with, u) = lost(flags);
        assert!((bare - with - 0.5 * hysteresis).abs() < 1e-9, "{flags}: {bare} {with}");
        // Rectangular over the full width: half width / sqrt(3).
        assert!((u.unwrap() - 0.5 * hysteresis / 3.0_f64.sqrt()).abs() < 1e-9, "{flags}: {u:?}");
    }
    let both = "assess z.csv --indicator dial.csv --indicator-hysteresis 0.003";
    assert!(folder.takeup(both).done().exit(2).stderr.contains("--indicator-hysteresis"));
    folder.takeup("assess z.csv --indicator z.csv").done().refused(&["indicator was expected"]);
}

#[test]
fn a_file_without_approach_gives_s_and_no_hysteresis() {
    let folder = Folder::new();
    let rows = "0.100\n0.101\n0.099\n0.100\n0.102\n0.100\n";
    folder.write("dial.csv", format!("# axis: Z\n# routine: indicator\nreading\n{rows}"));
    let indicator = folder.takeup("assess dial.csv --json").done().exit(0).json()["indicator"].clone();
    // By hand: mean 0.1003, squares about it 5.33e-6, over 5.
    assert!(
        (indicator["s"]["value"].as_f64().unwrap() - (5.333e-6_f64 / 5.0).sqrt()).abs() < 1e-6,
        "{indicator}"
    );
    assert!(indicator["hysteresis"].is_null());
    folder.write(
        "z.csv",
        "# axis: Z\n# routine: reversal\ntarget,approach,reading\n0,+,0\n0,-,0.1\n0,+,0\n0,-,0.1\n",
    );
    folder.takeup("assess z.csv --indicator dial.csv").done().refused(&["no approach"]);
}

#[test]
fn too_little_is_one_clear_refusal() {
    let folder = Folder::new();
    let head = "# axis: Z\n# routine: indicator\n";
    refused(&folder, &format!("{head}reading\n0.1\n0.1\n"), "2 readings");
    refused(&folder, &format!("{head}approach,reading\n+,0.1\n+,0.1\n+,0.1\n+,0.1\n"), "in the - direction");
    refused(&folder, &format!("{head}approach,reading\n+,0.1\n,0.1\n+,0.1\n-,0.1\n"), "approach");
}
