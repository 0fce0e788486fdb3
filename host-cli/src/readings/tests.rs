use super::*;
use takeup_core::axis::Axis;
use takeup_core::measure::Kind;

const HEAD: &str = "# axis: z\n# Routine: REVERSAL\n";

fn parse(text: &str) -> Result<Sheet, Refusal> {
    Sheet::parse(text.as_bytes(), "a.csv", Unit::Mm)
}

#[track_caller]
fn refused(text: &str, begins: &str) {
    let message = parse(text).expect_err("a refusal").to_string();
    assert!(message.starts_with(begins), "{message}");
}

#[test]
fn what_spreadsheets_do_to_a_file_is_understood() {
    let text = "\u{feff}# axis: z,,\r\n\r\n# routine : Reversal,,\r\n\"# machine: mill, the old one\",,\r\n\
                NOTE, Reading ,Target,APPROACH,\r\n,,,\r\n\"two\r\nlines, 1\"\" up\",0.25, -40 ,-,\r\n\
                # in between\r\n1/2\" bar,0.2,-40,+,\r\n";
    let sheet = parse(text).unwrap();
    assert_eq!((sheet.keys.axis, sheet.keys.routine), (Some(Axis::Z), Some(Kind::Reversal)));
    assert_eq!(sheet.keys.machine.as_deref(), Some("mill, the old one"));
    let rows: Vec<_> = sheet.rows.iter().map(|row| (row.line, row.reading_mm)).collect();
    assert_eq!(rows, [(7, 0.25), (10, 0.2)]);
    assert_eq!(sheet.rows[0].target, Length::from_mm(-40.0));
}

#[test]
fn cycles_come_from_the_order_of_rows() {
    let sheet = parse("target,approach,reading\n0,+,1\n0,-,2\n5,-,3\n0.0004,+,4\n5,-,5\n0,-,6\n").unwrap();
    let cycles: Vec<_> = sheet.reversal_readings().unwrap().iter().map(|reading| reading.cycle).collect();
    assert_eq!(cycles, [1, 1, 1, 2, 2, 2]);
}

#[test]
fn the_file_says_its_units_or_the_command_line_does() {
    let body = "target,approach,reading\n1,+,0.005\n";
    let mm = Sheet::parse(format!("# units: MM\n{body}").as_bytes(), "a.csv", Unit::Inch).unwrap();
    assert_eq!((mm.units, mm.rows[0].reading_mm), (Unit::Mm, 0.005));
    let inch = Sheet::parse(format!("# limit: 0.002\n{body}").as_bytes(), "a.csv", Unit::Inch).unwrap();
    assert_eq!((inch.units, inch.rows[0].reading_mm), (Unit::Inch, 0.127));
    assert!((inch.keys.limit_mm.unwrap() - 0.0508).abs() < 1e-12);
}

#[test]
fn what_cannot_be_meant_is_refused_with_its_line() {
    let head = "target,approach,reading\n";
    refused("", "a.csv: the file is empty");
    refused("# axis: z\n", "a.csv: no header");
    refused(head, "a.csv:1: there are no readings");
    refused("target,reading,Target\n0,1,0\n", "a.csv:1: column \"target\" is there twice");
    refused("# limit: 1\n# LIMIT: 2\n", "a.csv:2: limit: is \"2\" here but \"1\" in line 1");
    refused(&format!("{HEAD}{head}0,+,0,12\n"), "a.csv:4: 4 values");
    refused(&format!("{head}0,+,\"0,12\"\n"), "a.csv:2: reading: \"0,12\" has a decimal comma");
    for text in ["NaN", "inf", "-Infinity", "1e400", "ten", "0x10"] {
        refused(&format!("{head}\n0,+,{text}\n"), &format!("a.csv:3: reading: \"{text}\" was found"));
    }
    refused(&format!("{head}0,up,1\n"), "a.csv:2: approach: \"up\"");
    refused(&format!("{head}0,+,1\n0,-,\n"), "a.csv:3: reading: nothing is filled in");
    refused(&format!("{head}1e30,+,1\n"), "a.csv:2: target: 1e30 is out of range");
    refused(&format!("# limit: -1\n{head}"), "a.csv:1: limit: -1 is out of range");
    refused(&format!("# resolution: -1\n{head}"), "a.csv:1: resolution: ");
    refused(&format!("# angle: 90\n{head}"), "a.csv:1: angle: ");
    refused(&format!("# pitch: 0\n{head}"), "a.csv:1: pitch: ");
    refused(&format!("# axis: A\n{head}"), "a.csv:1: axis: ");
    refused(&format!("# taken: yesterday\n{head}"), "a.csv:1: taken: ");
    refused("cycle,reading\n1.5,0\n", "a.csv:2: cycle: ");
    refused("cycle,reading\n0,0\n", "a.csv:2: cycle: ");
    refused("cycle,reading\n1,0\n,0\n", "a.csv:3: cycle: empty");
    refused("time,reading\n10,0\n9,0\n", "a.csv:3: time: 9 is before");
    refused("note,reading\n\"open,0\n1,1\n", "a.csv:2: a quote is opened");
    refused("target;reading\n0;1\n", "a.csv:1: column \"reading\" is missing");
}

#[test]
fn rubbish_is_refused_shortly() {
    for bytes in [vec![0xff; 1000], vec![0; 1000], vec![b'9'; 10_000_000], b"\xff\xfea\0b\0".to_vec()] {
        let refusal = Sheet::parse(&bytes, "a.csv", Unit::Mm).expect_err("a refusal");
        assert!(refusal.to_string().len() < 200, "{refusal}");
    }
}

#[test]
fn the_same_key_twice_with_the_same_value_is_one_key() {
    let text = "# limit: 0.05\n# limit: 0.050\n# note: a\n# note: b\nreading\n1\n# limit: 9\n";
    assert_eq!(parse(text).unwrap().keys.limit_mm, Some(0.05));
}

proptest::proptest! {
    // A file is understood or refused with a short message, never anything else.
    #[test]
    fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..400)) {
        if let Err(refusal) = Sheet::parse(&bytes, "a.csv", Unit::Mm) {
            proptest::prop_assert!(refusal.to_string().len() < 400);
        }
    }

    #[test]
    fn a_spoilt_sheet_is_read_or_refused(
        place in 0..120_usize,
        spoilt in "[-+,;\"#\n.0-9a-z\u{feff}\u{0}é]{0,6}",
    ) {
        let good = format!("{HEAD}# units: mm\ncycle,target,approach,reading,time\n1,-40,+,0.25,1\n1,-40,-,0.2,2\n");
        let place = place.min(good.len());
        let text = format!("{}{spoilt}{}", &good[..place], &good[place..]);
        match parse(&text).and_then(|sheet| sheet.reversal_readings()) {
            Ok(readings) => proptest::prop_assert!(readings.iter().all(|r| r.value_mm.is_finite() && r.cycle > 0)),
            Err(refusal) => proptest::prop_assert!(refusal.to_string().starts_with("a.csv"), "{refusal}"),
        }
    }
}

#[test]
fn a_key_that_is_all_but_right_is_doubted() {
    let doubts = |keys: &str| {
        let text = format!("{keys}\ntarget,approach,reading\n0,+,1\n");
        Sheet::parse(text.as_bytes(), "a.csv", Unit::Mm).unwrap().doubts
    };
    assert_eq!(doubts("# unit: in"), ["line 1: \"unit\" is no key; was \"units\" meant?"]);
    let slips = "# limits: 1\n# Indicator error: 1\n# resolutions: 1\n# axes: z";
    assert_eq!(doubts(slips).len(), 4, "{:?}", doubts(slips));
    let own = "# units: mm\n# note: x\n# time: 9\n# the machine: a mill\n# date: 1\n# tool: 2\n# http://a";
    assert_eq!(doubts(own), [""; 0]);
}
