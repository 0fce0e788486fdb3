//! Compensation tables that are no tables, and what they are built from.

use super::readings::sheet;
use std::fs;
use takeup_tests::Folder;

#[test]
fn what_is_no_sound_table_says_what_is_wrong() {
    let folder = Folder::new();
    folder.write("a.csv", sheet());
    folder.takeup("table build a.csv -o mill.table").done().exit(0);
    let good = fs::read(folder.file("mill.table")).expect("the table");
    let mut version = good.clone();
    version[4] = 99;
    let mut damaged = good.clone();
    let middle = good.len() / 2;
    damaged[middle] ^= 0x10;
    let cases: [(&str, Vec<u8>, &str); 7] = [
        ("empty", Vec::new(), "0"),
        ("truncated", good[..good.len() - 3].to_vec(), "bytes"),
        ("longer", [good.as_slice(), b"more"].concat(), "bytes"),
        ("version", version, "99"),
        ("damaged", damaged, "checksum"),
        ("csv", sheet().into(), "not a compensation table"),
        ("huge", vec![b'7'; 10_000_000], "longer"),
    ];
    for (name, bytes, word) in cases {
        eprintln!("case: {name}");
        folder.write("bad.table", bytes);
        for command in ["table show bad.table", "table export bad.table --csv"] {
            folder.takeup(command).done().refused(&["bad.table", word]);
        }
        let refusal = folder.takeup("table show bad.table --json").done().refusal();
        assert_eq!(refusal["file"], "bad.table");
    }
}

#[test]
fn readings_and_their_assessment_build_nearly_the_same_table() {
    let folder = Folder::new();
    folder.write("a.csv", sheet());
    let assessment = folder.takeup("assess a.csv --json --units in").done().exit(0);
    folder.write("a.json", &assessment.bytes);
    let lost = |from: &str| {
        let run = folder.takeup(&format!("table build {from} -o {from}.table --json")).done().exit(0);
        run.json()["axes"]["z"]["stations"][0]["lost_motion"].as_f64().expect("a number")
    };
    // Through inches and back: no more than the last count of 0.1 nm.
    assert!((lost("a.csv") - 0.05).abs() < 1e-9 && (lost("a.csv") - lost("a.json")).abs() < 2e-7);
}

/// As many readings as `assess` takes, and no fewer.
#[test]
fn a_table_is_built_from_as_much_as_can_be_assessed() {
    let folder = Folder::new();
    let comments = format!("# {}\n", "x".repeat(97)).repeat(50_000);
    folder.write("long.csv", format!("{comments}{}", sheet()));
    let document = folder.takeup("assess long.csv --json").done().exit(0).stdout;
    folder.write("long.json", format!("{}{document}", " ".repeat(5_000_000)));
    for file in ["long.csv", "long.json"] {
        folder.takeup(&format!("table build {file} -o z.table")).done().exit(0);
    }
}
