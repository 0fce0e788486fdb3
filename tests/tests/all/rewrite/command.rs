//! The command: what it prints, what it refuses, what it leaves behind.

use std::io::Write;
use takeup_tests::Folder;

const CORE_BOX: &str = "%\r\nO0012 (CORE BOX)\r\nN10 G21 G90\r\nN20 G0 X0 Y0\r\nN30 Z5.\r\nN40 G1 Z-1. F200\r\n\
                        N50 X10. Z-2.\r\nN60 X20. Z-1.\r\nN70 G0 Z5.\r\nN80 M30\r\n%\r\n";

#[test]
fn no_play_leaves_every_byte() {
    let folder = Folder::new();
    folder.write("in.nc", CORE_BOX);
    folder.takeup("rewrite in.nc -o out.nc --play z=0").done().exit(0);
    assert_eq!(folder.read("out.nc"), CORE_BOX);
}

#[test]
fn the_document_counts_what_was_done() {
    let folder = Folder::new();
    folder.write("in.nc", CORE_BOX);
    let document = folder.takeup("rewrite in.nc -o out.nc --play z=0.12 --json").done().exit(0).json();
    assert_eq!(document["schema"], "takeup.rewrite/1");
    assert_eq!((&document["lines_in"], &document["take_ups"]), (&11.into(), &1.into()));
    assert_eq!(document["lines_changed"], 2);
    assert_eq!(document["unseated_cuts"].as_array().unwrap().len(), 0);
    let out = folder.read("out.nc");
    assert!(out.contains("N50 X10. Z-2.\r\nG1 Z-1.88\r\nN60 X20. Z-0.88\r\nN70 G0 Z5.12\r\n"), "{out}");
    // A corrected program is known by its mark, and is not corrected again.
    let refusal = folder.takeup("rewrite out.nc -o again.nc --play z=0.12 --json").done().exit(2).json();
    assert_eq!((&refusal["schema"], &refusal["line"]), (&"takeup.refusal/1".into(), &3.into()));
    assert!(!folder.names().contains(&"again.nc".to_owned()));
}

/// X is corrected too, so that the clear height must be found before the stream is rewritten.
#[test]
fn a_stream_is_rewritten_like_a_file() {
    let folder = Folder::new();
    let core_box = CORE_BOX.replace("N30 Z5.", "N25 Z15.\r\nN30 Z5.");
    folder.write("in.nc", &core_box);
    folder.takeup("rewrite in.nc -o from-file.nc --play x=0.1,z=0.12").done().exit(0);
    folder.takeup("rewrite - -o from-stream.nc --play x=0.1,z=0.12").stdin(core_box).done().exit(0);
    let out = folder.read("from-stream.nc");
    assert_eq!(out, folder.read("from-file.nc"));
    assert!(out.contains("N25 Z15.\r\nG0 X-0.5\r\nG0 X0.\r\nN30 Z5.\r\nN40 G1 Z-1. F200\r\n"), "{out}");
}

#[test]
fn rubbish_is_refused_and_nothing_is_written() {
    let folder = Folder::new();
    let mut long = b"G1 ".to_vec();
    long.resize(10_000_000, b'X');
    let mut file = std::fs::File::create(folder.file("long.nc")).unwrap();
    file.write_all(&long).unwrap();
    folder.write("rubbish.nc", [0x7f, b'E', b'L', b'F', 2, 1, 1, 0]);
    folder.write("empty.nc", "");
    folder.write("macro.nc", "G0 Z5\nG1 X#100\n");
    for (name, line) in [("long.nc", 1), ("rubbish.nc", 1), ("macro.nc", 2)] {
        for play in ["z=0.1", "x=0.1"] {
            let refusal = folder
                .takeup(&format!("rewrite {name} -o out.nc --play {play} --json"))
                .done()
                .exit(2)
                .json();
            assert_eq!(refusal["line"], line, "{name}");
            assert!(refusal["way_out"].is_string());
        }
    }
    folder.takeup("rewrite empty.nc -o out.nc --play z=0.1").done().exit(2);
    assert_eq!(folder.names(), ["empty.nc", "long.nc", "macro.nc", "rubbish.nc"]);
}

#[test]
fn a_program_saved_in_a_way_that_cannot_be_read_is_refused_with_the_way_to_save_it() {
    let folder = Folder::new();
    let program = "G21 G90\nG0 Z5\nX0 Y0\nG1 Z-1 F200\nX10\nG0 Z5\nM30\n";
    let wide = |mark: &[u8], order: fn(u16) -> [u8; 2]| {
        [mark.to_vec(), program.encode_utf16().flat_map(order).collect()].concat()
    };
    let returns = |text: &str| text.replace('\n', "\r").into_bytes();
    for (name, bytes, way_out) in [
        ("cr.nc", returns(program), "CR LF"),
        ("named.nc", returns(&format!("%\n{program}%\n")), "CR LF"),
        ("remark.nc", returns(&format!("; core box\n{program}")), "CR LF"),
        ("bracket.nc", returns(&format!("(core box\n{program}M0 (end)\n")), "CR LF"),
        ("little.nc", wide(&[0xff, 0xfe], u16::to_le_bytes), "not in UTF-16"),
        ("big.nc", wide(&[], u16::to_be_bytes), "zeros stand in UTF-16"),
    ] {
        folder.write(name, bytes);
        for command in ["rewrite IN -o out.nc", "exposure IN"] {
            let command = command.replace("IN", name);
            let refusal = folder.takeup(&format!("{command} --play z=0.1 --json")).done().refusal();
            let told = refusal["way_out"].as_str().unwrap_or_default();
            assert!(told.contains(way_out), "{command}: {refusal}");
        }
        if way_out == "CR LF" {
            // Without correction it is copied as it is.
            folder.takeup(&format!("rewrite {name} -o copied.nc --play z=0")).done().exit(0);
            assert_eq!(folder.read("copied.nc"), folder.read(name));
            std::fs::remove_file(folder.file("copied.nc")).unwrap();
        }
    }
    assert_eq!(folder.names().len(), 6, "something was written: {:?}", folder.names());
}

#[test]
fn strict_refuses_a_cut_from_an_unknown_seat() {
    let folder = Folder::new();
    folder.write("in.nc", "G21\nG1 X5 F100\n");
    let document = folder.takeup("rewrite in.nc -o out.nc --play z=0.1 --json").done().exit(0).json();
    assert_eq!(document["unseated_cuts"], serde_json::json!([2]));
    let refusal =
        folder.takeup("rewrite in.nc -o out2.nc --play z=0.1 --strict --json").done().exit(2).json();
    assert_eq!(refusal["line"], 2);
}

#[test]
fn more_unseated_cuts_than_are_listed_are_counted() {
    let folder = Folder::new();
    // Each hole is cut behind a tool change, which leaves X and Y unseated.
    let mut program = String::from("G21 G90\n");
    for i in 0..10_020 {
        program += &format!("T1 M6\nG0 Z5\nG0 X{} Y3\nG1 X0 Y0\n", i % 90);
    }
    folder.write("in.nc", program + "G0 Z5\nM30\n");
    let run = folder.takeup("rewrite in.nc -o out.nc --play x=0.1 --clear-z 100 --json").done().exit(0);
    let document = run.json();
    let listed = document["unseated_cuts"].as_array().map_or(0, Vec::len) as u64;
    assert_eq!(listed, 10_000);
    assert_eq!(
        document["unseated_cuts_not_listed"].as_u64(),
        Some(20),
        "{}",
        document["unseated_cuts_not_listed"]
    );
    assert_eq!(document["warnings_not_listed"].as_u64(), Some(20));
}

#[test]
fn what_a_person_must_know_of_heights_and_units_is_told() {
    let folder = Folder::new();
    let warnings = |program: &str, how: &str| {
        folder.write("in.nc", program);
        let command = format!("rewrite in.nc -o out.nc --play x=0.08,y=0.06,z=0.12 --json {how}");
        folder.takeup(&command).done().exit(0).json()["warnings"].clone()
    };
    // It feeds down from the height of its only rapid: whether that is clear only a person knows.
    let plain = "G0 X0 Y0\nZ10.\nG1 Z-1. F200\nX50.\nY20.\nG0 Z10.\nM30\n";
    let told = warnings(&format!("G21\n{plain}"), "");
    let text = "a cut begins while the seat of X is unknown; if Z 10 mm (0.39370 in) is clear of the work and its \
                clamps, say so by --clear-z";
    assert_eq!(told, serde_json::json!([{ "line": 4, "text": text }]));
    assert_eq!(warnings(&format!("G21\n{plain}"), "--clear-z 10"), serde_json::json!([]));
    let told = warnings(plain, "--clear-z 10");
    let text =
        "neither G20 nor G21 stands before this move: lengths are read in --units, mm if that is not given";
    assert_eq!(told, serde_json::json!([{ "line": 1, "text": text }]));
    // What is said stands, and what speaks against it is said too.
    let high = "G21\nG0 Z20\nX-20 Y-9\nX5 Y0\nG1 Z6 F100\nX10\nG0 Z7\nX5\nG1 Z6\nX0\nM30\n";
    let told = warnings(high, "--clear-z 4");
    let text = "the program cuts sideways up to Z 6 mm (0.23622 in), above --clear-z 4 mm (0.15748 in): between them X \
                and Y overrun in rapid all the same";
    assert_eq!(told, serde_json::json!([{ "line": 1, "text": text }]));
    assert_eq!(warnings(high, "--clear-z 7"), serde_json::json!([]));
}

#[test]
fn a_program_that_passes_the_travel_by_itself_is_told_once_for_an_axis() {
    let folder = Folder::new();
    let program = "G21 G90\nG0 X0 Y0 Z5\nX16\nX20\nX18\nG81 X12 Z-9 R2 F100\nG91 X4 L2\nG90 G80\nM30\n";
    folder.write("in.nc", program);
    let warnings = |travel: &str| {
        let command = format!("rewrite in.nc -o out.nc --play z=0.1 --json --travel {travel}");
        folder.takeup(&command).done().exit(0).json()["warnings"].clone()
    };
    let told = |line: u64, what: &str| {
        let text = format!("the program itself sends {what}: clamp the work elsewhere");
        serde_json::json!([{ "line": line, "text": text }])
    };
    // X needs no correction, but has its travel all the same. A hole is as deep as its cycle says.
    let past = "X to 20 mm (0.78740 in), past the travel limit of 15 mm (0.59055 in)";
    assert_eq!(warnings("x=0..15"), told(4, past));
    let past = "Z to -9 mm (-0.35433 in), past the travel limit of -8 mm (-0.31496 in)";
    assert_eq!(warnings("z=-8..50"), told(6, past));
    assert_eq!(warnings("x=0..20,z=-9..50"), serde_json::json!([]));
    // The last of the repeated holes is at X20.
    folder.write("in.nc", program.replace("X16\nX20\nX18\n", ""));
    let past = "X to 20 mm (0.78740 in), past the travel limit of 19 mm (0.74803 in)";
    assert_eq!(warnings("x=0..19"), told(6 - 2, past));
    // An arc bulges past it between its ends, here to the right of its start and of its end.
    for arc in ["G2 X10 Y-4 I0 J-2", "G2 X10 Y-4 R2", "G2 X10 Y0 I0 J-2", "G3 X10 Y0 I0 J-2 P2"] {
        folder.write("in.nc", format!("G21 G90\nG0 X10 Y0 Z5\nG1 Z-1 F100\n{arc}\nG0 Z5\nM30\n"));
        let past = "X to 12 mm (0.47244 in), past the travel limit of 11 mm (0.43307 in)";
        assert_eq!(warnings("x=0..11"), told(4, past), "{arc}");
        assert_eq!(warnings("x=0..12"), serde_json::json!([]), "{arc}");
    }
    folder
        .write("in.nc", "G21 G90\nG0 X10 Y0 Z5\nG1 Z-1 F100\nG3 X10 Y4 I0 J2\nG2 X10 Y8 I0 J2\nG0 Z5\nM30\n");
    let past = "X to 8 mm (0.31496 in), past the travel limit of 9 mm (0.35433 in)";
    assert_eq!(warnings("x=9..50"), told(5, past));
    // In G91 a hole is as deep as its R plane and depth together, from where the drill stands.
    folder.write("in.nc", "G21 G90\nG0 X0 Y0 Z5\nG91 G98 G81 X5 R-3 Z-11 F90\nX5\nG80\nG90 G0 Z20\nM30\n");
    let past = "Z to -9 mm (-0.35433 in), past the travel limit of -8 mm (-0.31496 in)";
    assert_eq!(warnings("z=-8..50"), told(3, past));
    assert_eq!(warnings("z=-9..50"), serde_json::json!([]));
    // Without any correction the program is not even read as one.
    folder.write("in.nc", "G21 G90\nG0 X20 Z5\nM30\n");
    let copied =
        folder.takeup("rewrite in.nc -o out.nc --play z=0 --json --travel x=0..15").done().exit(0).json();
    let copied = copied["warnings"].to_string();
    assert!(
        copied.contains("nothing is corrected") && copied.contains("--travel is not looked at"),
        "{copied}"
    );
    // Other coordinates: nothing is judged by limits that were said in those before.
    folder.write("in.nc", "G21 G90\nG0 X0 Z5\nG92 X5\nX20\nM30\n");
    assert!(!warnings("x=0..15").to_string().contains("itself"));
}
