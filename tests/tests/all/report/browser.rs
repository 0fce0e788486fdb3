//! The page in a real browser: on a phone in the shop, on a desk and on paper; dark on light and light on dark.
//!
//! Pictures and printed pages are left in the folder `report` of the target's temporary folder, for people to look at.

use crate::log::assessment;
use base64::Engine as _;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use takeup_tests::Folder;
use takeup_tests::browser::{Browser, Medium, Scheme, View};

/// A4 and Letter within margins of 16 mm, in CSS pixels of 1/96 inch.
const A4: u32 = 673;
const LETTER: u32 = 695;

const fn view(name: &'static str, width: u32, height: u32, medium: Medium, scheme: Scheme) -> View {
    let scale = if width < 600 { 2.0 } else { 1.0 };
    View { name, width, height, scale, medium, scheme }
}

const VIEWS: [View; 8] = [
    view("phone-light", 390, 844, Medium::Screen, Scheme::Light),
    view("phone-dark", 390, 844, Medium::Screen, Scheme::Dark),
    view("desk-light", 1280, 900, Medium::Screen, Scheme::Light),
    view("desk-dark", 1280, 900, Medium::Screen, Scheme::Dark),
    view("a4-light", A4, 950, Medium::Print, Scheme::Light),
    view("a4-dark", A4, 950, Medium::Print, Scheme::Dark),
    view("letter-light", LETTER, 900, Medium::Print, Scheme::Light),
    view("letter-dark", LETTER, 900, Medium::Print, Scheme::Dark),
];

/// Looks at every piece of text: is it within the page, its plot and whatever clips it; do labels of a plot overlap; is it large
/// enough; does it stand out from what is behind it (WCAG 2, AA: 4.5, large text 3). And does every line of a plot (3).
const LOOK: &str = include_str!("look.js");

fn look(browser: &mut Browser, page: &Path, view: View) -> (Vec<String>, Value) {
    let mut faults = browser.open(page, view);
    let found = browser.evaluate(LOOK);
    faults.extend(found["faults"].as_array().expect("faults").iter().map(|fault| fault.to_string()));
    (faults, found)
}

fn kept(name: &str) -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("report");
    std::fs::create_dir_all(&folder).expect("a folder");
    folder.join(name)
}

fn keep(name: &str, base64: &str) {
    let bytes = base64::engine::general_purpose::STANDARD.decode(base64).expect("base64");
    std::fs::write(kept(name), bytes).expect("a picture");
}

/// What a hostile or careless person names a machine.
const LONG: &str =
    "bed mill no. 2 of the pattern shop beside the furnace, the_one_with_the_new_coupling_on_the_knee & <b>";

/// The pages: a machine with alarm, events and several axes; one session; a positioning test; a program; inches.
fn pages(folder: &Folder) -> Vec<(&'static str, PathBuf)> {
    folder.takeup("demo shop").done().exit(0);
    let mut files = Vec::new();
    let mut add = |document: &mut Value, day: u32| {
        document["machine"] = LONG.into();
        document["taken"] = format!("2026-{:02}-{:02}T08:00:00Z", 1 + day / 28, 1 + day % 28).into();
        let name = format!("s{}.json", files.len());
        folder.write(&name, document.to_string());
        files.push(name);
    };
    for week in 0..26 {
        let grown = if week < 14 { 0.020 + 0.0007 * f64::from(week) } else { 0.015 };
        let mut document = assessment(grown, 0.001);
        document["causes"] = json!([{ "cause": "clearance", "weight": 0.9, "correctable": true, "next": "small-steps",
            "evidence": ["readings repeat: <img src=x onerror=alert(1)>"] }]);
        add(&mut document, 7 * week);
        document["axis"] = "X".into();
        document["lost_motion"]["value"] = (-0.004).into();
        add(&mut document, 7 * week);
    }
    folder.takeup(&format!("log add {} --log l.db", files.join(" "))).done().exit(0);
    let note = |text: &str, event: &str, day: &str| {
        let arguments =
            ["log", "note", text, "--event", event, "--machine", LONG, "--at", day, "--log", "l.db"];
        folder.takeup_args(arguments).done().exit(0);
    };
    note("ways oiled", "lubrication", "2026-02-20");
    note(
        "<script>alert(1)</script> coupling_clamped_by_the_new_apprentice_with_a_torque_wrench",
        "repair",
        "2026-04-10",
    );
    note("knee scraped", "adjustment", "2026-04-12");
    folder
        .takeup_args([
            "log",
            "add",
            "shop/mill.table",
            "--machine",
            LONG,
            "--log",
            "l.db",
            "--taken",
            "2026-04-11",
        ])
        .done()
        .exit(0);

    // A screw a little too short over 400 mm, five runs each way, 0.03 mm lost.
    let mut readings = "# axis: X\n# routine: positioning\n# machine: bed mill\n# limit: 0.05\n# resolution: 0.001\n# pitch: 5\n\
                        # taken: 2026-03-02T08:30:00Z\ncycle,target,approach,reading\n".to_owned();
    for cycle in 1..=5 {
        for (approach, lag) in [('+', 0.03), ('-', 0.0)] {
            for station in 0..9 {
                let station = if approach == '+' { station } else { 8 - station };
                let target = 52.5 * f64::from(station);
                let noise = 0.001 * f64::from((cycle * 7 + station * 3) % 5 - 2);
                readings += &format!("{cycle},{target},{approach},{:.3}\n", target * 0.9999 - lag + noise);
            }
        }
    }
    folder.write("x.csv", readings);
    let page = |arguments: &str, name: &'static str| {
        let run = folder.takeup(&format!("report {arguments} -o {name}.html")).done();
        assert!(matches!(run.status.code(), Some(0 | 1)), "{run:?}");
        (name, folder.file(&format!("{name}.html")))
    };
    vec![
        page("--log l.db --limit 0.05 --program shop/core-box.nc", "machine"),
        page("shop/z-before.csv", "session"),
        page("x.csv", "positioning"),
        page("--program shop/core-box.nc shop/core-box-corrected.nc --table shop/mill.table", "program"),
        page("shop/z-before.csv --units in", "inches"),
    ]
}

#[test]
fn legible_on_every_screen_and_on_paper() {
    let folder = Folder::new();
    let pages = pages(&folder);
    let mut browser = Browser::start();
    let mut all = Vec::new();
    println!("page          view          texts  smallest px  lowest contrast");
    for (name, page) in &pages {
        std::fs::copy(page, kept(&format!("{name}.html"))).expect("a copy");
        for view in VIEWS {
            let (faults, found) = look(&mut browser, page, view);
            println!(
                "{name:<12}  {:<12}  {:>5}  {:>11.1}  {:>15.2}",
                view.name,
                found["texts"].as_i64().unwrap_or(0),
                found["smallest"].as_f64().unwrap_or(0.0),
                found["contrast"].as_f64().unwrap_or(0.0)
            );
            assert!(
                found["texts"].as_i64().is_some_and(|texts| texts > 40),
                "{name} {}: nothing to see",
                view.name
            );
            keep(&format!("{name}-{}.png", view.name), &browser.screenshot());
            all.extend(faults.into_iter().map(|fault| format!("{name} {}: {fault}", view.name)));
        }
        keep(&format!("{name}-a4.pdf"), &browser.pdf(8.27, 11.69));
        keep(&format!("{name}-letter.pdf"), &browser.pdf(8.5, 11.0));
    }
    assert!(all.is_empty(), "{} faults:\n{}", all.len(), all.join("\n"));
}

/// The look finds what it is there for.
#[test]
fn the_look_sees_each_fault() {
    let folder = Folder::new();
    let mut browser = Browser::start();
    let mut faults_of = |body: &str| {
        let page = folder.write("p.html", format!("<!doctype html><meta name=viewport content='width=device-width'><body style='background:#fff'>{body}"));
        look(&mut browser, &page, VIEWS[0]).0.join("; ")
    };
    assert_eq!(faults_of("<p>well</p>"), "");
    for (body, word) in [
        (
            "<p style='white-space:nowrap'>wide wide wide wide wide wide wide wide wide wide wide wide</p>",
            "page",
        ),
        ("<p style='width:40px;overflow:hidden;white-space:nowrap'>clipped text</p>", "clipped"),
        ("<p style='color:#888'>faint</p>", "contrast"),
        ("<p style='font-size:6px'>small</p>", "small"),
        ("<svg viewBox='0 0 100 50' width=100><text x=80 y=20 fill='#000'>beyond</text></svg>", "plot"),
        (
            "<svg viewBox='0 0 300 50' width=300><text x=0 y=20>one two</text><text x=20 y=22>three</text></svg>",
            "overlap",
        ),
        ("<svg viewBox='0 0 300 50' width=300><path d='M0 0L9 9' stroke='#ddd'/></svg>", "line"),
        ("<script>console.error('oh')</script>", "oh"),
        ("<script>nonsense()</script>", "nonsense"),
        ("<img src='http://127.0.0.1:9/x.png'>", "request"),
    ] {
        let found = faults_of(body);
        assert!(found.contains(word), "{body}: {word:?} is not in {found:?}");
    }
}
