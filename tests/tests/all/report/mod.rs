//! The report: one page that needs nothing else, safe whatever the files say, legible in light and dark.

mod browser;

use crate::log::assessment;
use takeup_tests::Folder;

fn page(limit: &str, code: i32) -> String {
    let folder = Folder::new();
    for week in 0..8 {
        let mut document = assessment(0.020 + 0.003 * f64::from(week), 0.001);
        document["causes"] = serde_json::json!([{ "cause": "clearance", "weight": 1.0, "correctable": true, "evidence": ["<img src=x onerror=alert(1)>"] }]);
        folder.write("s.json", document.to_string());
        let day = 1 + 3 * week;
        folder
            .takeup_args([
                "log",
                "add",
                "s.json",
                "--machine",
                "mill <b>&\"",
                "--log",
                "l.db",
                "--taken",
                &format!("2026-03-{day:02}"),
            ])
            .done()
            .exit(0);
    }
    folder
        .takeup_args([
            "log",
            "note",
            "<script>alert(1)</script>",
            "--machine",
            "mill <b>&\"",
            "--at",
            "2026-03-10",
            "--log",
            "l.db",
        ])
        .done()
        .exit(0);
    folder.takeup(&format!("report --log l.db -o r.html --limit {limit}")).done().exit(code);
    folder.read("r.html")
}

#[test]
fn verdict_first_and_everything_escaped() {
    let page = page("0.1", 1);
    // The one script is the page's own, named to the browser by its digest: see `no_other_script_runs`.
    let (page, script) = page.split_once("<script>").expect("a script");
    assert!(
        script.trim_end().ends_with("</script>\n</body>\n</html>")
            && script.matches("</script>").count() == 1
    );
    for hostile in ["<script", "<img", "<b>", "onerror=\""] {
        assert!(!page.contains(hostile), "{hostile} got through");
    }
    assert!(page.contains("&lt;script&gt;"), "the note is gone");
    let place = |text: &str| page.find(text).unwrap_or_else(|| panic!("{text:?} is not on the page"));
    assert!(place("class=\"verdict bad\"") < place("<svg") && place("<svg") < place("Cautions"));
    assert_eq!(page.matches("<svg").count(), page.matches("role=\"img\" aria-label=\"").count());
}

#[test]
fn needs_nothing_from_anywhere() {
    let page = page("0.1", 1);
    for link in ["src=\"", "@import", "url(", "<link rel=\"stylesheet", "<iframe"] {
        assert!(!page.contains(link), "{link} on the page");
    }
    // The one address there is names the SVG language and is never fetched.
    let addresses: Vec<_> = page.match_indices("://").map(|(at, _)| &page[at - 5..at + 24]).collect();
    assert!(addresses.iter().all(|address| address.contains("www.w3.org")), "{addresses:?}");
}

#[test]
fn the_charts_are_drawn_with_their_design_and_the_alarm_is_marked() {
    let page = page("0.1", 1).replace('\u{a0}', " ");
    let figure = |title: &str| {
        let from =
            page.find(&format!("<h3>{title}</h3>")).unwrap_or_else(|| panic!("{title} is not on the page"));
        page[from..].split("</figure>").next().unwrap()
    };
    let charts = figure("Lost motion: how near an alarm");
    // Eight sessions, of which the first has nothing to be held against; two charts.
    assert_eq!(charts.matches("class=\"point\"").count(), 14);
    for words in
        ["CUSUM k 0.5 h 6.85", "EWMA weight 0.2 width 3.51", "3000 sessions", "lasting shift of 1 standard"]
    {
        assert!(charts.contains(words), "{words}: {charts}");
    }
    // Those beyond their limit are those of which the trend says that the alarm stands, once it does.
    let beyond = |text: &str| {
        let share = text.split(" at ").nth(1)?.split(" of its limit").next()?.parse::<f64>().ok()?;
        (share.abs() > 1.0).then(|| text[..10].to_owned())
    };
    let first = charts.split("<title>").skip(1).find_map(beyond).expect("an alarm");
    let over_time = figure("Lost motion over time");
    let alarmed: Vec<_> =
        over_time.split("<title>").skip(1).filter(|title| title.contains("%), alarm</title>")).collect();
    assert_eq!(alarmed[0][..10], first);
    let red = over_time.matches("<polygon").count();
    assert_eq!(red, alarmed.len(), "a triangle for each");
    assert!(over_time.contains(&format!("an alarm stands at {red} of them")), "{over_time}");

    // Nothing to hold a single session against: no charts.
    let folder = Folder::new();
    folder.write("s.json", assessment(0.02, 0.001).to_string());
    folder.takeup("log add s.json --taken 2026-03-02 --log l.db").done().exit(0);
    folder.takeup("report --log l.db -o r.html").done().exit(0);
    let page = folder.read("r.html").replace('\u{a0}', " ");
    assert!(!page.contains("how near an alarm") && page.contains("1 session, 2026-03-02."), "{page}");
}

/// WCAG 2 contrast ratio of two colours written as #rgb or #rrggbb.
fn contrast(a: &str, b: &str) -> f64 {
    let luminance = |colour: &str| {
        let digits = colour.trim_start_matches('#');
        let wide: String =
            if digits.len() == 3 { digits.chars().flat_map(|c| [c, c]).collect() } else { digits.into() };
        let part = |at: usize| {
            let value = f64::from(u8::from_str_radix(&wide[at..at + 2], 16).expect("a colour")) / 255.0;
            if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(0) + 0.7152 * part(2) + 0.0722 * part(4)
    };
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn every_text_colour_stands_out_from_the_paper() {
    // WCAG 2 known ratios: black on white 21, #777 on white 4.48.
    assert!((contrast("#000", "#fff") - 21.0).abs() < 1e-9);
    assert!((contrast("#777777", "#ffffff") - 4.48).abs() < 0.01);
    let page = page("0.1", 1);
    let mut schemes = 0;
    for line in page.lines().filter(|line| line.contains("--paper:")) {
        let colour = |name: &str| {
            let from = line.find(&format!("--{name}: ")).expect("a colour") + name.len() + 4;
            line[from..].split(';').next().expect("a colour").trim()
        };
        for name in ["ink", "soft", "first", "second", "limit", "good"] {
            let ratio = contrast(colour("paper"), colour(name));
            println!("{name:<7} {} on {}: {ratio:.1}", colour(name), colour("paper"));
            assert!(ratio >= 4.5, "{name}: {ratio} in {line}");
        }
        schemes += 1;
    }
    assert_eq!(schemes, 3, "light, dark and print");
}

#[test]
fn one_session_and_refusals() {
    let folder = Folder::new();
    folder.write("a.json", assessment(0.118, 0.002).to_string());
    folder.takeup("report a.json --limit 0.05 -o a.html").done().exit(1);
    assert!(
        folder.read("a.html").contains("OVER the limit of 0.050\u{a0}mm: axis Z of mill loses 0.118\u{a0}mm"),
        "no verdict"
    );
    folder.takeup("report a.json -o b.html").done().exit(0);
    folder.takeup("report --log none.db -o c.html").done().refused(&["no log here yet"]);
    folder.takeup("report a.json -o a.json").done().refused(&["a.json"]);
    assert!(!folder.file("c.html").exists());
}

#[test]
fn the_page_says_what_to_do_next_as_the_slip_does() {
    let folder = Folder::new();
    let simulate = "measure reversal --axis z --station 0 --station -40 --simulate --json -o z.csv";
    folder.takeup(simulate).done().exit(0);
    for (limit, exit) in [(0.05, 1), (0.3, 0)] {
        let slip = folder.takeup(&format!("assess z.csv --limit {limit}")).done().exit(exit).stdout;
        folder.takeup(&format!("report z.csv --limit {limit} -o z.html")).done().exit(exit);
        let page = folder.read("z.html").replace('\u{a0}', " ").replace("&#x27;", "'");
        let steps = slip.split("What to do next\n").nth(1).expect("steps").split("\n\n").next().unwrap();
        let steps = steps.split_whitespace().collect::<Vec<_>>().join(" ");
        // Between its numbers; the command that builds the table names the file on the slip only.
        let steps: Vec<_> =
            steps.split(|c: char| c.is_ascii_digit()).map(|step| step.trim_matches(['.', ' '])).collect();
        let steps: Vec<_> =
            steps.into_iter().filter(|step| !step.contains("-o z") && step.len() > 3).collect();
        assert!(!steps.is_empty(), "{slip}");
        for step in steps {
            assert!(page.contains(step), "{step:?} is not on the page");
        }
    }
}

#[test]
fn no_flag_is_passed_over_in_silence() {
    let folder = Folder::new();
    folder.write("a.json", assessment(0.118, 0.002).to_string());
    folder.write("box.nc", "G21 G90\nG0 Z5\nX0 Y0\nG1 Z-1 F200\nX10\nG0 Z5\nM30\n");
    folder.takeup("log add a.json --machine mill --log l.db").done().exit(0);
    for (flags, words) in [
        ("a.json --play z=0.1", ["no program", "--program"]),
        ("--log l.db --play z=0.1", ["no program", "--program"]),
        ("a.json --log l.db", ["--log", "--machine"]),
        ("--program box.nc --play z=0.1 --log l.db", ["--log", "--machine"]),
        ("--program box.nc --play z=0.1 --limit 0.1", ["--limit", "--tolerance"]),
    ] {
        folder.takeup(&format!("report {flags} -o r.html")).done().refused(&words);
        assert!(!folder.file("r.html").exists());
    }
    let both = "report --log l.db --machine mill --program box.nc --play z=0 --limit 0.2 -o r.html";
    folder.takeup(both).done().exit(0);
}
