//! The command `exposure`: documents, advice, drawings, refusals.

use takeup_tests::{Finished, Folder};

/// Fourteen cuts side by side, with a lift between each and the next; two of the ways are long.
fn lifted() -> String {
    let mut program = String::from("G21 G90\nG0 Z5\nX0 Y0\n");
    for i in 0..14 {
        let far = if i % 5 == 4 { 40 * i } else { 0 };
        program += &format!("G0 X{far} Y{}\nG1 Z-1 F200\nX{}\nG0 Z5\n", 8 * i + far, far + 20);
    }
    program + "M30\n"
}

#[test]
fn lifts_and_steps_are_told_in_the_document() {
    let folder = Folder::new();
    folder.write(
        "wave.nc",
        "G21 G90\nG0 Z5\nX0 Y0\nG1 Z-1 F200\nX10 Z0\nX20 Z-1\nG0 Z5\nX24\nG1 Z-1\nX30\nG0 Z5\nM30\n",
    );
    let run = folder.takeup("exposure wave.nc --play z=0.12 --json").done().exit(0);
    let document = run.json();
    assert_eq!(document["schema"], "takeup.exposure/1");
    assert_eq!(document["units"], "mm");
    assert_eq!((document["lines"].as_u64(), document["cutting_moves"].as_u64()), (Some(12), Some(5)));
    assert_eq!((document["lifts"].as_u64(), document["near_lifts"].as_u64()), (Some(1), Some(1)));
    let link = &document["links"][0];
    assert_eq!((link["left_line"].as_u64(), link["back_line"].as_u64()), (Some(6), Some(9)), "{run:?}");
    assert!((link["distance"].as_f64().unwrap() - 4.0).abs() < 1e-9, "{run:?}");
    let z = &document["axes"]["z"];
    assert_eq!(
        (z["reversals_in_cut"].as_u64(), z["reversals_in_rapid"].as_u64()),
        (Some(2), Some(3)),
        "{run:?}"
    );
    assert!((z["largest_step"].as_f64().unwrap() - 0.12).abs() < 1e-9, "{run:?}");
    assert!(document["axes"].get("x").is_none());
    assert_eq!(
        (document["worst"][0]["line"].as_u64(), &document["worst"][0]["axis"]),
        (Some(5), &"z".into())
    );
    assert_eq!(document["worst"][0]["at"].as_array().map(Vec::len), Some(3));
}

#[test]
fn advice_names_the_lifts_that_could_be_kept_down() {
    let folder = Folder::new();
    folder.write("lifted.nc", lifted());
    let advice = |near: &str| {
        let run =
            folder.takeup(&format!("exposure lifted.nc --play z=0.1 --near {near} --json")).done().exit(0);
        run.json()["advice"].to_string()
    };
    assert!(advice("6mm").contains("No correction is needed"), "{}", advice("6mm"));
    let near = advice("30mm");
    assert!(near.contains("9 of 13 lifts rejoin within 30 mm: keep the tool down there. Lines "), "{near}");
}

#[test]
fn a_lift_less_is_counted_where_two_cuts_are_linked() {
    let folder = Folder::new();
    folder.write("lifted.nc", lifted());
    folder.write("linked.nc", lifted().replace("G0 Z5\nG0 X0 Y8\nG1 Z-1 F200\n", "Y8\n"));
    let lifts = |name: &str| {
        let run = folder.takeup(&format!("exposure {name} --play z=0.1 --json")).done().exit(0);
        run.json()["lifts"].as_u64().unwrap()
    };
    assert_eq!((lifts("lifted.nc"), lifts("linked.nc")), (13, 12));
}

#[test]
fn programs_of_one_part_are_put_in_order() {
    let folder = Folder::new();
    folder.write("lifted.nc", lifted());
    folder.write("linked.nc", lifted().replace("G0 Z5\nG0 X0 Y8\nG1 Z-1 F200\n", "Y8\n"));
    let zigzag = lifted().replace("G1 Z-1 F200\n", "G1 Z-1 F200\nG91 X3 Z-.1\nX3 Z.1\nX-6\nG90\n");
    folder.write("zigzag.nc", zigzag);
    let run = |arguments: &str| folder.takeup(&format!("exposure {arguments}")).done();
    let words = |run: &Finished| run.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    let three = "zigzag.nc lifted.nc linked.nc --play z=0.1";
    let said = run(three).exit(0);
    let first = said.stdout.lines().next().unwrap_or_default().to_owned();
    assert_eq!(first, "Least exposed: linked.nc: 12 lifts, lifted.nc has 13.", "{said:?}");
    let document = run(&format!("{three} --json")).exit(0).json();
    assert_eq!((&document["schema"], &document["units"]), (&"takeup.exposure-order/1".into(), &"mm".into()));
    let programs = document["programs"].as_array().unwrap();
    let order: Vec<_> =
        programs.iter().map(|it| (it["program"].as_str().unwrap(), it["place"].as_u64().unwrap())).collect();
    assert_eq!(order, [("linked.nc", 1), ("lifted.nc", 2), ("zigzag.nc", 3)]);
    // Each has what it has by itself.
    let alone = run("zigzag.nc --play z=0.1 --json").exit(0).json();
    for (key, value) in alone.as_object().unwrap() {
        assert!(["schema", "units"].contains(&key.as_str()) || programs[2][key] == *value, "{key}");
    }
    // As good as each other; less lifts, but a step where the other leaves none; very different lengths.
    let alike = run("lifted.nc lifted.nc --play z=0.1").exit(0);
    assert!(words(&alike).contains("no step in any of them. As good as each other: lifted.nc, lifted.nc."));
    folder.write("wave.nc", "G21 G90\nG0 Z5\nX0 Y0\nG1 Z-1 F200\nX10 Z0\nX20 Z-1\nG0 Z5\nM30\n");
    let doubtful = run("lifted.nc wave.nc --play z=0.1").exit(0);
    let words = words(&doubtful);
    assert!(words.starts_with("Least exposed: wave.nc: 0 lifts, lifted.nc has 13. In lifted.nc"), "{words}");
    assert!(words.contains("this slack leaves no step, for all its lifts."), "{words}");
    assert!(words.contains("They cut very different lengths"), "{words}");
}

#[test]
fn several_programs_that_cannot_be_put_in_order_are_refused() {
    let folder = Folder::new();
    folder.write("lifted.nc", lifted());
    folder.write("loop.nc", "G0 X1\nG1 X#2\n");
    let refusal = |arguments: &str| folder.takeup(&format!("exposure {arguments} --json")).done().refusal();
    let of_one = refusal("lifted.nc loop.nc --play z=0.1");
    assert_eq!((&of_one["file"], &of_one["line"]), (&"loop.nc".into(), &2.into()));
    folder.write("words.nc", "G21\n(M6 T1)\n");
    for programs in ["words.nc", "lifted.nc words.nc"] {
        assert_eq!(refusal(&format!("{programs} --play z=0.1"))["file"], "words.nc");
    }
    let drawn = refusal("lifted.nc lifted.nc --play z=0.1 --plot view.svg");
    assert_eq!(drawn["reason"], "--plot draws one program");
    assert!(!folder.names().contains(&"view.svg".to_owned()));
}

#[test]
fn a_plan_view_is_drawn_and_a_refusal_draws_none() {
    let folder = Folder::new();
    folder.write("lifted.nc", lifted());
    folder.takeup("exposure lifted.nc --play z=0.1 --plot view.svg").done().exit(0);
    let svg = folder.read("view.svg");
    for part in ["<title", "<desc", "13 lifts", "lift, from the cut left to the next"] {
        assert!(svg.contains(part), "{part}\n{svg}");
    }
    folder.write("loop.nc", "G0 X1\nG1 X#2\n");
    let refusal = folder.takeup("exposure loop.nc --play z=0.1 --json --plot none.svg").done().refusal();
    assert_eq!(refusal["line"], 2);
    assert!(!folder.names().contains(&"none.svg".to_owned()));
}
