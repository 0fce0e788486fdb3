//! Arcs along a table, and arcs of several turns, judged by the replay.

use super::judged::replayed;
use super::*;

/// A table of X alone, with its lost motion at some places.
fn along_x(stations: &[(f64, f64)]) -> Table {
    let at = |(place, lost): &(f64, f64)| {
        Station::of_lost_motion(mm(*place), mm(*lost), Length::ZERO, Direction::Plus)
    };
    let stations: Vec<Station> = stations.iter().map(at).collect();
    let x = AxisTable::new(Direction::Plus, &stations).ok();
    Table { axes: PerAxis { x, y: None, z: None }, ..Table::EMPTY }
}

/// Z with its lost motion at some places, and X with the same everywhere.
fn along_z(x: f64, stations: &[(f64, f64)]) -> Table {
    let at = |(place, lost): &(f64, f64)| {
        Station::of_lost_motion(mm(*place), mm(*lost), Length::ZERO, Direction::Minus)
    };
    let stations: Vec<Station> = stations.iter().map(at).collect();
    let z = AxisTable::new(Direction::Minus, &stations).ok();
    Table { axes: PerAxis { z, ..table(x, 0.0, 0.0).axes }, ..Table::EMPTY }
}

/// The places and centres of the arcs of a program, in absolute coordinates: start, end, centre.
fn arcs(program: &str) -> Vec<[(f64, f64); 3]> {
    let (mut modal, mut at, mut found) = (Modal::new(Unit::Mm, Integers::Units), (0.0, 0.0), Vec::new());
    for line in program.lines() {
        let (mut end, mut centre) = (at, at);
        for token in Words::new(line.as_bytes()).flatten() {
            let Token::Word(word) = token else { continue };
            let value = word.number.value();
            match word.letter {
                b'G' => _ = modal.apply(word.number.tenths().unwrap()),
                b'X' => end.0 = value,
                b'Y' => end.1 = value,
                b'I' => centre.0 += value,
                b'J' => centre.1 += value,
                _ => {}
            }
        }
        if modal.motion.is_arc() {
            found.push([at, end, centre]);
        }
        at = end;
    }
    found
}

#[test]
fn an_arc_of_a_few_thousandths_does_not_become_a_circle() {
    // The lost motion falls by half of the travel, going down: a thousandth becomes nothing.
    let table = along_x(&[(0.0, 0.5), (1.0, 1.0)]);
    for (start, micrometres) in (495..=500).flat_map(|start| (1..40).map(move |chord| (start, chord))) {
        let (from, half) = (f64::from(start) / 1e3, f64::from(micrometres) / 2e3);
        let to = from - 2.0 * half;
        let program =
            std::format!("G0 X1 Y0\nG1 X{from:.3} F100\nG3 X{to:.3} Y0 I-{half:.4} J0\nG1 X0 Y-1\n");
        let text = body(&program, &table);
        let found = arcs(&text);
        assert!(!found.is_empty());
        for [start, end, _] in found {
            let chord = (end.0 - start.0).hypot(end.1 - start.1);
            assert!(chord > 0.000_9 && end.0 <= start.0, "{micrometres}: {program}{text}");
        }
    }
}

#[test]
fn a_helix_follows_a_table_of_its_third_axis() {
    let table = along_z(0.0, &[(-8.0, 0.3), (-5.0, 0.1), (5.0, 0.1)]);
    let program = "G0 X0 Y0 Z5\nG1 Z-10 F100\nG2 X0 Y0 I10 J0 Z2\nG3 X5 Y5 R5 Z-9\nG0 Z9\n";
    let (text, report) = replayed(program, &table, &Settings::DEFAULT);
    assert!(report.before.max_mm > 0.2 && report.after.max_mm < 0.001_1, "{report:?}\n{text}");
    // The turns of the circle and the words of the rest stay.
    assert!(text.lines().filter(|line| line.contains("I")).count() > 2, "{text}");
    let mut rewriter = Rewriter::new(&table, &Settings::DEFAULT);
    let mut told = |line: &str| rewriter.line(line.as_bytes(), &mut |_| {});
    for line in ["G0 X0 Y0 Z5", "G1 Z-10 F100"] {
        told(line).unwrap();
    }
    let note = told("G2 X0 Y0 I10 J0 Z2 A90").unwrap();
    assert_eq!(note.along_travel, Some(AlongTravel::Rotary));
    let unknown = rewrite("G0 Z5\nG1 Z-9 F9\nG2 X0 Y0 I10 J0 Z2\n", &table, &Settings::DEFAULT);
    assert_eq!(unknown.unwrap_err().reason, Reason::ArcFromUnknown);
}

#[test]
fn an_arc_of_several_turns_becomes_one_after_the_other() {
    let uniform = table(0.08, 0.06, 0.12);
    let tables = [uniform, along_z(0.08, &[(-8.0, 0.3), (-5.0, 0.1), (5.0, 0.1)])];
    for (table, arc) in tables.iter().flat_map(|table| {
        [
            "G2 X0 Y0 I10 J0 Z3 P3",
            "G3 X6.5 Y6.5 I6.5 J0 Z-14 P2",
            "G2 X20 Y0 I10 J-3 P12",
            "G91 G3 X5 I2.5 Z7 P4",
        ]
        .map(|arc| (table, arc))
    }) {
        let program = std::format!("G0 X0 Y0\nZ5\nG1 Z-10 F100\n{arc}\nG90 G1 X25\nG0 Z9\n");
        let (text, report) = replayed(&program, table, &Settings::DEFAULT);
        assert!(report.before.max_mm > 0.05, "{report:?}");
        assert!(report.after.max_mm < 0.001_6 && report.missing == 0, "{report:?}\n{program}\n{text}");
        assert!(text.lines().any(|line| line.ends_with(" P1")), "{text}");
    }
    let x = table(0.1, 0.0, 0.0);
    for arc in ["G2 X10 R5 P2", "G2 I5 P0", "G2 I5 P1.5", "G64 P2 G2 I5", "G2 I5 P20000", "M62 P3 G2 I5"] {
        let program = std::format!("G0 X0 Y0\nZ5\nG1 Z-1 F9\n{arc}\n");
        let refusal = rewrite(&program, &x, &Settings::DEFAULT).unwrap_err();
        assert_eq!((refusal.line, refusal.reason), (4, Reason::Turns), "{arc}");
    }
    // Each piece has its share of the time.
    let text = body("G0 X0 Y0\nZ5\nG93 G1 Z-1 F9\nG2 X10 Y0 I5 J0 F3 P2\n", &x);
    let minutes: f64 = text
        .lines()
        .skip_while(|line| !line.contains("G2"))
        .filter(|line| line.contains('I') || line.contains('J'))
        .map(|line| 1.0 / line.split_once('F').unwrap().1.split(' ').next().unwrap().parse::<f64>().unwrap())
        .sum();
    assert!((minutes - 1.0 / 3.0).abs() < 1e-5, "{minutes}\n{text}");
}

#[test]
fn an_arc_that_does_not_name_its_third_axis_does_not_tell_where_that_is() {
    let table = table(0.08, 0.06, 0.12);
    // Z is never told, or not again behind a tool change that may have taken it elsewhere.
    for before in ["G0 X1 Y9\n", "G0 X1 Y9 Z5\nG1 Z-1 F99\nX0\nG0 Z5\nM6 T2\nG0 X1 Y9\n"] {
        for unit in ["G21\n", "G20\n"] {
            let program =
                std::format!("{unit}{before}G2 X1 Y9 I5 J0 F99\nG1 X5\nY2\nG0 X9 Y9\nG1 X0\nG0 X2\n");
            let (text, report) = replayed(&program, &table, &Settings::DEFAULT);
            let (seated, flat) = text.split_once("\nG2 ").unwrap();
            assert!(flat.matches("G2").count() > 2 && !flat.contains('Z'), "{text}");
            assert_eq!(seated.contains('Z'), before.contains('Z'), "{text}");
            assert!(report.untold.is_none() && report.missing == 0, "{report:?}\n{text}");
        }
    }
    // A helix from such a place cannot be divided, for its third axis would have to be on its way.
    for before in ["", "G0 Z5\nG1 Z-1 F99\nG0 Z5\nM6 T2\n"] {
        let helix = |z: &str| std::format!("{before}G0 X1 Y9{z}\nG2 X1 Y9 I5 J0 Z-3 F99\n");
        let refusal = rewrite(&helix(""), &table, &Settings::DEFAULT).unwrap_err();
        assert_eq!(refusal.reason, Reason::ArcFromUnknown);
        let (text, ..) = rewrite(&helix(" Z5"), &table, &Settings::DEFAULT).unwrap();
        let mut climbs = text.lines().filter(|line| line.starts_with("G2"));
        assert!(climbs.all(|line| line.contains('Z')) && text.matches("G2").count() > 3, "{text}");
    }
}

#[test]
fn an_arc_sends_no_axis_of_its_plane_to_where_a_tool_change_may_not_have_left_it() {
    let before = "G0 X5 Y1 Z5\nG1 Z-1 F99\nX6\nG0 Z5\nM6 T2\n";
    let program = |x: &str| std::format!("{before}G0 Z3{x}\nG1 Z-1\nG3 J4 F99\n");
    for table in [table(0.0, 0.1, 0.0), table(0.1, 0.0, 0.0)] {
        let refusal = rewrite(&program(""), &table, &Settings::DEFAULT).unwrap_err();
        assert_eq!((refusal.line, refusal.reason), (8, Reason::ArcFromUnknown));
        let (text, report) = replayed(&program(" X6 Y1"), &table, &Settings::DEFAULT);
        assert!(report.untold.is_none() && report.after.max_mm < 0.001_6, "{report:?}\n{text}");
    }
    // Where nothing is divided the program's own words send it nowhere.
    assert!(rewrite(&program(""), &table(0.0, 0.0, 0.1), &Settings::DEFAULT).is_ok());
}

#[test]
fn words_before_a_divided_arc_act_once() {
    let program = "G0 X0 Y0 Z5\nG1 Z-1 F99\nN7 M3 S900 G2 X10 I5 M8\n";
    let (text, _, _) = rewrite(program, &table(0.0, 0.1, 0.0), &Settings::DEFAULT).unwrap();
    let parts: Vec<&str> = text.lines().skip(4).collect();
    let once = |word: &str| parts.iter().filter(|part| part.contains(word)).count() == 1;
    assert!(["M3", "S900", "M8", "N7"].into_iter().all(once), "{text}");
    assert!(parts.iter().any(|first| first.ends_with(" M3 S900 M8")), "{text}");
    assert!(parts.last().is_some_and(|last| last.starts_with("N7 G2 ")), "{text}");
}
