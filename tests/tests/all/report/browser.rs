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
/// The height of the lower of the two, Letter.
const PAPER: f64 = 934.0;

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

/// A page of each other kind of test is looked at in these: they differ in their plot alone.
const FEW: [usize; 3] = [1, 2, 4];

/// Looks at every piece of text: is it within the page, its plot and whatever clips it; do labels of a plot overlap; is it large
/// enough; does it stand out from what is behind it (WCAG 2, AA: 4.5, large text 3). And does every line of a plot (3).
const LOOK: &str = include_str!("look.js");

/// On paper: what must not be torn is told so and fits a page, no heading is left behind, every plot is there.
const TORN: &str = include_str!("torn.js");

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

/// A page and how it is looked at.
struct Page {
    name: &'static str,
    file: PathBuf,
    /// Indices of [`VIEWS`].
    views: &'static [usize],
    /// Most sheets of paper.
    sheets: usize,
}

const ALL: &[usize] = &[0, 1, 2, 3, 4, 5, 6, 7];

/// The pages: a machine with alarm, events and several axes; one session; a positioning test; a program; inches; and each kind
/// of test that has a plot of its own, taken on the simulated axis.
fn pages(folder: &Folder) -> Vec<Page> {
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
    for (plan, file) in [
        ("small-steps --axis z --start -40 --expected 0.1 --limit 0.05", "steps.csv"),
        ("return --axis z --mark -40 --lift 20", "returns.csv"),
        ("push-pull --axis z --force 150 --balance 300", "pushes.csv"),
        ("warm-up --axis z --mark -40 --stroke 50", "warm.csv"),
        ("indicator --axis z", "dial.csv"),
    ] {
        let run = folder.takeup(&format!("measure {plan} --simulate --plain -o {file}")).done();
        assert!(matches!(run.status.code(), Some(0 | 1)), "{run:?}");
        folder.takeup(&format!("log add {file} --machine drilling-mill --log kinds.db")).done().exit(0);
    }
    // A coupling that works loose: the alarm stands, and the day is told on which the limit is reached.
    for week in 0..16_u32 {
        let luck = f64::from((week * 7) % 5) - 2.0;
        folder
            .write("s.json", assessment(0.02 + 0.0015 * f64::from(week) + 0.0004 * luck, 0.001).to_string());
        let taken = format!("2026-{:02}-{:02}", 1 + week / 4, 2 + 7 * (week % 4));
        folder.takeup(&format!("log add s.json --taken {taken} --log loose.db")).done().exit(0);
    }
    let page = |arguments: &str, name: &'static str, views: &'static [usize], sheets: usize| {
        let run = folder.takeup(&format!("report {arguments} -o {name}.html")).done();
        assert!(matches!(run.status.code(), Some(0 | 1)), "{run:?}");
        Page { name, file: folder.file(&format!("{name}.html")), views, sheets }
    };
    let proof = "--program shop/core-box.nc shop/core-box-corrected.nc --table shop/mill.table";
    vec![
        page("--log l.db --limit 0.05 --program shop/core-box.nc", "machine", ALL, 7),
        page("--log loose.db --limit 0.05", "alarm", ALL, 3),
        page("shop/z-before.csv", "session", ALL, 2),
        page("x.csv", "positioning", ALL, 2),
        page(proof, "program", ALL, 2),
        page("shop/z-before.csv --units in", "inches", ALL, 2),
        page("steps.csv", "take-up", ALL, 2),
        page("returns.csv", "returns", &FEW, 2),
        page("pushes.csv", "pushes", &FEW, 2),
        page("warm.csv", "warm-up", &FEW, 2),
        page("dial.csv", "indicator", &FEW, 2),
        page("--log kinds.db", "kinds", &FEW, 4),
    ]
}

#[test]
fn legible_on_every_screen_and_on_paper() {
    let folder = Folder::new();
    let mut browser = Browser::start();
    let mut all = Vec::new();
    println!("page          view          texts  smallest px  lowest contrast");
    for Page { name, file, views, sheets } in pages(&folder) {
        std::fs::copy(&file, kept(&format!("{name}.html"))).expect("a copy");
        for view in views.iter().map(|index| VIEWS[*index]) {
            let (faults, found) = look(&mut browser, &file, view);
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
            if view.medium == Medium::Print {
                let torn = browser.evaluate(&format!("({TORN})({PAPER})"));
                all.extend(torn.as_array().expect("faults").iter().map(|fault| format!("{name}: {fault}")));
            }
        }
        for (paper, width, height) in [("a4", 8.27, 11.69), ("letter", 8.5, 11.0)] {
            let printed = browser.pdf(width, height);
            keep(&format!("{name}-{paper}.pdf"), &printed);
            let used = sheets_of(&printed);
            println!("{name:<12}  {paper:<12}  {used} sheets");
            if used == 0 || used > sheets {
                all.push(format!("{name} {paper}: {used} sheets, {sheets} at most"));
            }
        }
    }
    assert!(all.is_empty(), "{} faults:\n{}", all.len(), all.join("\n"));
}

/// The sheets of a PDF: Chromium writes the objects of its pages plainly, one key a line.
fn sheets_of(base64: &str) -> usize {
    let bytes = base64::engine::general_purpose::STANDARD.decode(base64).expect("base64");
    bytes.split(|byte| *byte == b'\n').filter(|line| line.ends_with(b"/Type /Page")).count()
}

/// The script of the page: what the marks say under the plot, by mouse, finger and keys, and the trend in part.
#[test]
fn the_script_reads_the_marks_out_and_looks_closer_at_a_trend() {
    let folder = Folder::new();
    for week in 0..30 {
        let taken = format!("2026-{:02}-{:02}", 1 + week / 4, 1 + 7 * (week % 4));
        folder.write("s.json", assessment(0.02 + 0.0005 * f64::from(week), 0.001).to_string());
        folder.takeup(&format!("log add s.json --taken {taken} --log l.db")).done().exit(0);
    }
    folder.takeup("log note spring --event repair --at 2026-05-10 --log l.db").done().exit(0);
    folder.takeup("report --log l.db --limit 0.05 -o r.html").done();
    let file = folder.file("r.html");
    let mut browser = Browser::start();
    let clean = |browser: &mut Browser, when: &str| {
        let found = browser.evaluate(LOOK);
        assert_eq!(found["faults"], json!([]), "{when}");
    };
    assert_eq!(browser.open(&file, VIEWS[2]), Vec::<String>::new());
    let first = "document.querySelector('svg[data-days]')";
    let readout = format!("{first}.nextElementSibling.textContent");
    let middle = |browser: &mut Browser, of: &str| {
        let found = browser.evaluate(&format!(
            "(() => {{ const e = {of}; e.scrollIntoView({{ block: 'center' }}); const b = e.getBoundingClientRect(); \
             return [b.x + b.width / 2, b.y + b.height / 2]; }})()"
        ));
        (found[0].as_f64().expect("a place"), found[1].as_f64().expect("a place"))
    };
    let mark = |n: usize| format!("{first}.querySelectorAll('.point')[{n}]");
    let title = |browser: &mut Browser, n: usize| {
        browser.evaluate(&format!("{}.querySelector('title').textContent", mark(n)))
    };
    // The mouse, three pixels off the mark.
    let (x, y) = middle(&mut browser, &mark(7));
    browser.call("Input.dispatchMouseEvent", json!({ "type": "mouseMoved", "x": x + 3.0, "y": y }));
    let expected = title(&mut browser, 7);
    assert!(expected.as_str().is_some_and(|words| words.contains("2026-02-22: 0.024 mm")), "{expected}");
    assert_eq!(browser.evaluate(&readout), expected);
    keep("script-readout.png", &browser.screenshot());
    clean(&mut browser, "with a readout");
    // The keys.
    let press = |browser: &mut Browser, key: &str| {
        let text = if key.len() == 1 { key } else { "" };
        for what in ["keyDown", "keyUp"] {
            browser.call("Input.dispatchKeyEvent", json!({ "type": what, "key": key, "text": text }));
        }
    };
    browser.evaluate(&format!("{first}.focus()"));
    press(&mut browser, "ArrowRight");
    assert_eq!(browser.evaluate(&readout), title(&mut browser, 8));
    press(&mut browser, "Home");
    assert_eq!(browser.evaluate(&readout), title(&mut browser, 0));
    // Closer, by the button: fewer marks in sight, other dates below, the readout of what is in sight.
    let in_sight = format!(
        "(() => {{ const [l, r] = {first}.dataset.area.split(' ').map(Number); const box = {first}.getBoundingClientRect(); \
         const px = box.width / {first}.viewBox.baseVal.width; return [...{first}.querySelectorAll('.point')].filter(m => \
         {{ const b = m.getBoundingClientRect(), x = b.x + b.width / 2 - box.x; return x >= l * px - 1 && x <= r * px + 1; \
         }}).length; }})()"
    );
    let dates = format!(
        "[...{first}.querySelectorAll('text')].map(t => t.textContent).filter(t => /[A-Z][a-z][a-z]/.test(t)).join()"
    );
    let (all, before) = (browser.evaluate(&in_sight), browser.evaluate(&dates));
    assert_eq!(all, 30);
    let button = |name: &str| format!("document.querySelector('.zoom button[aria-label={name:?}]')");
    let click = |browser: &mut Browser, name: &str| {
        let (x, y) = middle(browser, &button(name));
        for what in ["mousePressed", "mouseReleased"] {
            let event = json!({ "type": what, "x": x, "y": y, "button": "left", "clickCount": 1 });
            browser.call("Input.dispatchMouseEvent", event);
        }
    };
    click(&mut browser, "Closer");
    click(&mut browser, "Closer");
    let (some, after) = (browser.evaluate(&in_sight), browser.evaluate(&dates));
    assert!(some.as_i64().is_some_and(|some| (5..=10).contains(&some)), "{some} of 30 in sight");
    assert_ne!(before, after);
    clean(&mut browser, "closer");
    keep("script-closer.png", &browser.screenshot());
    // By the keys to the end, which comes into sight.
    browser.evaluate(&format!("{first}.focus()"));
    press(&mut browser, "End");
    assert_eq!(browser.evaluate(&readout), title(&mut browser, 29));
    let last = browser
        .evaluate(&format!("{}.getBoundingClientRect().x < {first}.getBoundingClientRect().right", mark(29)));
    assert_eq!(last, true);
    press(&mut browser, "0");
    assert_eq!((browser.evaluate(&in_sight), browser.evaluate(&dates)), (all, before));
    // A finger.
    browser.call("Emulation.setTouchEmulationEnabled", json!({ "enabled": true }));
    assert_eq!(browser.open(&file, VIEWS[1]), Vec::<String>::new());
    let (x, y) = middle(&mut browser, &mark(12));
    browser.call(
        "Input.dispatchTouchEvent",
        json!({ "type": "touchStart", "touchPoints": [{ "x": x, "y": y }] }),
    );
    browser.call("Input.dispatchTouchEvent", json!({ "type": "touchEnd", "touchPoints": [] }));
    assert_eq!(browser.evaluate(&readout), title(&mut browser, 12));
    click(&mut browser, "Closer");
    clean(&mut browser, "closer on a phone");
    keep("script-phone.png", &browser.screenshot());
}

/// Whatever got into the page, no other script runs.
#[test]
fn no_other_script_runs() {
    let folder = Folder::new();
    folder.write("a.json", assessment(0.118, 0.002).to_string());
    folder.takeup("report a.json -o a.html").done().exit(0);
    let page = folder.read("a.html");
    let bad = "<script>document.title = 'taken'</script><img src='data:,' onerror=\"document.title = 'taken'\"></main>";
    let file = folder.write("bad.html", page.replace("</main>", bad));
    let mut browser = Browser::start();
    let complaints = browser.open(&file, VIEWS[2]).join("; ");
    assert!(complaints.contains("Content Security Policy"), "{complaints}");
    assert_ne!(browser.evaluate("document.title"), "taken");
    // Ours does.
    assert_eq!(browser.evaluate("document.querySelectorAll('.readout').length > 0"), true);
}

#[test]
fn everything_can_be_read_without_the_script() {
    let folder = Folder::new();
    folder.takeup("demo shop").done().exit(0);
    folder.takeup("report --log shop/shop.log -o r.html").done().exit(0);
    let mut browser = Browser::start();
    let file = folder.file("r.html");
    let seen =
        "[document.querySelectorAll('.readout').length, document.querySelectorAll('svg.plot .point').length]";
    browser.open(&file, VIEWS[0]);
    let with = browser.evaluate(seen);
    assert!(with[0].as_i64() > Some(0), "{with}");
    let page = folder.read("r.html");
    let (before, rest) = page.split_once("<script>").expect("a script");
    let after = rest.split_once("</script>").expect("its end").1;
    let bare = folder.write("bare.html", format!("{before}{after}"));
    let (faults, found) = look(&mut browser, &bare, VIEWS[0]);
    assert_eq!(faults, Vec::<String>::new());
    assert!(found["texts"].as_i64() > Some(40), "{found}");
    assert_eq!(browser.evaluate(seen), json!([0, with[1]]), "the same marks, no readout");
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
