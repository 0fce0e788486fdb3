//! How fast large programs are rewritten and replayed, beside peers on the same files.
//!
//! `rewrite` and `replay` run as whole processes, from file to file, in the release build. The peers: the
//! `gcode` crate, which only parses the text in memory, in both of its lines: 0.7 by its visitor that
//! allocates nothing and, on the first tenth of the text, into its own tree; 0.6 by its iterator. And a loop that
//! finds the line ends and copies the lines, from file to file.
//!
//! Rates are by the clock, from the start of the process to its end, the wait until the disk has the whole program
//! included. `rewrite` writes on a thread of its own, nothing else here runs on more than one. The processor time, user and
//! system together, which a busy machine changes little, stands beside it, with its own ratio.

use std::fmt::Write as _;
use std::fs::File;
use std::hint::black_box;
use std::io::{BufRead, BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Size of the surfacing program.
const SURFACING: usize = 200_000_000;
/// Size of the program of arcs.
const ARCS: usize = 50_000_000;

/// A surfacing program: passes along X that rise and fall, with a lift and a step over after each.
fn surfacing(bytes: usize) -> String {
    let mut text = String::with_capacity(bytes + 20_000);
    text.push_str("G21 G90 G17\nG0 X0 Y0 Z5\n");
    let mut pass = 0;
    while text.len() < bytes {
        let _ = writeln!(text, "G0 Y{}.{:03}\nZ2\nG1 Z-1.000 F800", pass / 1000, pass % 1000);
        for i in 0..400_i32 {
            let fall = 250 * (i % 40 - 20).abs() + (i * 37 + pass) % 41;
            let _ = writeln!(
                text,
                "X{}.{:03} Y{}.{:03} Z-{}.{:03}",
                i / 4,
                i % 4 * 250,
                pass / 1000,
                pass % 1000,
                1 + fall / 1000,
                fall % 1000
            );
        }
        text.push_str("G0 Z5\n");
        pass += 1;
    }
    text.push_str("M30\n");
    text
}

/// Pockets of quarter circles, by centre and by radius, and helices down into them.
fn arcs(bytes: usize) -> String {
    let mut text = String::with_capacity(bytes + 20_000);
    text.push_str("G21 G90 G17\nG0 X0 Y0 Z5\n");
    let mut place = 0;
    while text.len() < bytes {
        let (x, y) = (place % 100 * 20, place / 100 * 20);
        let _ = writeln!(text, "G0 X{x}. Y{y}.\nZ2\nG1 Z0. F300");
        for turn in 1..=10 {
            let _ = writeln!(text, "G2 X{x}. Y{y}. I5. J0. Z-{}.{:03} F600", turn / 2, turn % 2 * 500);
        }
        for ring in 1..=40 {
            let r = f64::from(ring) * 0.2;
            let (x, y) = (f64::from(x) - r, f64::from(y));
            let _ = writeln!(
                text,
                "G1 X{x:.3} Y{y:.3}\nG3 X{:.3} Y{:.3} R{r:.3}\nX{:.3} Y{y:.3} I0. J{r:.3}\nX{:.3} Y{:.3} R{r:.3}\nX{x:.3} Y{y:.3} I0. J-{r:.3}",
                x + r,
                y - r,
                x + 2.0 * r,
                x + r,
                y + r,
            );
        }
        text.push_str("G0 Z5\n");
        place += 1;
    }
    text.push_str("M30\n");
    text
}

/// The release build beside this one's.
fn takeup() -> PathBuf {
    let folder = std::env::current_exe().ok().and_then(|exe| exe.ancestors().nth(2).map(Path::to_path_buf));
    folder.expect("the folder of the release build").join("takeup")
}

/// The largest resident memory of a process so far (kB).
fn peak_kb(pid: u32) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// The state of a process and its processor time so far (proc(5), fields 3, 14 and 15; a tick is 10 ms).
fn state(pid: &str) -> Option<(char, Duration)> {
    let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).ok()?;
    let (_, rest) = stat.rsplit_once(") ")?;
    let fields: Vec<&str> = rest.split(' ').collect();
    let ticks: u64 = fields.get(11)?.parse::<u64>().ok()? + fields.get(12)?.parse::<u64>().ok()?;
    Some((rest.chars().next()?, Duration::from_millis(10 * ticks)))
}

/// What a piece of work took.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Cost {
    clock: Duration,
    processor: Duration,
    peak_kb: Option<u64>,
}

/// Runs a process to its end.
fn run(arguments: &[&str]) -> Cost {
    let begin = Instant::now();
    let mut command = Command::new(takeup());
    let spawned =
        command.args(arguments).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn();
    let mut child: Child = spawned.expect("the release build of takeup: tests/bench builds it");
    let (mut peak, mut processor) = (None, Duration::ZERO);
    // Until it has ended and is not yet waited for: its times are whole then.
    loop {
        peak = peak_kb(child.id()).max(peak);
        let now = state(&child.id().to_string());
        processor = now.map_or(processor, |(_, time)| time);
        if now.is_none_or(|(state, _)| state == 'Z') {
            break;
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    let clock = begin.elapsed();
    let status = child.wait().expect("a child");
    assert!(status.code().is_some_and(|code| code < 2), "{arguments:?}: {status}");
    Cost { processor, clock, peak_kb: peak }
}

/// Does a piece of work in this process.
fn here(work: impl FnOnce()) -> Cost {
    let now = || state("self").map_or(Duration::ZERO, |(_, time)| time);
    let (begin, before) = (Instant::now(), now());
    work();
    Cost { processor: now().saturating_sub(before), clock: begin.elapsed(), peak_kb: None }
}

/// What the visitor of the `gcode` crate is given: it only counts, so that nothing is optimised away.
#[derive(Default)]
struct Count(u64);

impl gcode::core::Diagnostics for Count {}

impl gcode::core::ProgramVisitor for Count {
    fn start_block(&mut self) -> gcode::core::ControlFlow<impl gcode::core::BlockVisitor + '_> {
        gcode::core::ControlFlow::Continue(Words(self))
    }
}

struct Words<'c>(&'c mut Count);

impl gcode::core::Diagnostics for Words<'_> {}

impl gcode::core::BlockVisitor for Words<'_> {
    fn word_address(&mut self, _: char, value: gcode::core::Value<'_>, _: gcode::core::Span) {
        black_box(value);
        self.0.0 += 1;
    }

    fn start_general_code(
        &mut self,
        _: gcode::core::Number,
    ) -> gcode::core::ControlFlow<impl gcode::core::CommandVisitor + '_> {
        gcode::core::ControlFlow::Continue(Words(self.0))
    }
}

impl gcode::core::CommandVisitor for Words<'_> {
    fn argument(&mut self, _: char, value: gcode::core::Value<'_>, _: gcode::core::Span) {
        black_box(value);
        self.0.0 += 1;
    }
}

/// What the 0.6 line of the `gcode` crate makes of a text, counted.
fn iterated(text: &str) -> u64 {
    gcode_0_6::parse(text).map(|code| black_box(&code).arguments().len() as u64).sum()
}

/// Finds the line ends and copies the lines, from file to file.
fn copy_lines(from: &Path, to: &Path) {
    let mut reader = BufReader::with_capacity(64 * 1024, File::open(from).expect("the program"));
    let mut writer = BufWriter::with_capacity(64 * 1024, File::create(to).expect("a file"));
    let mut line = Vec::new();
    while reader.read_until(b'\n', &mut line).expect("a line") > 0 {
        writer.write_all(&line).expect("written");
        line.clear();
    }
    writer.flush().expect("written");
}

/// The best of three.
fn best(mut once: impl FnMut() -> Cost) -> Cost {
    let first = once();
    first.min(once()).min(once())
}

/// Prints what a piece of work took, and how many times faster `rewrite` is, by the clock and by processor time.
fn row(what: &str, megabytes: f64, cost: Cost, rewrite: Option<(f64, f64)>) -> (f64, f64) {
    let rate = |time: Duration| megabytes / time.as_secs_f64().max(0.005);
    let (clock, processor) = (rate(cost.clock), rate(cost.processor));
    let peak = cost.peak_kb.map_or(String::new(), |peak| peak.to_string());
    let ratios = rewrite.map_or(String::new(), |(by_clock, by_processor)| {
        format!("{:.2} ({:.2})", by_clock / clock, by_processor / processor)
    });
    let [seconds, used] = [cost.clock, cost.processor].map(|time| time.as_secs_f64());
    println!("{what:<38} {seconds:>7.2} {used:>7.2} {clock:>8.1} {peak:>8} {ratios:>14}");
    (clock, processor)
}

fn table(name: &str, text: &str, folder: &Path) {
    let size = text.len() as f64 / 1e6;
    let (original, corrected) = (folder.join("original.nc"), folder.join("corrected.nc"));
    std::fs::write(&original, text).expect("written");
    let (from, to) = (original.to_str().expect("text"), corrected.to_str().expect("text"));
    println!("\n{name}, {size:.0} MB in {} lines", text.lines().count());
    let head = ["clock", "CPU", "MB/s", "peak kB", "rewrite, times"];
    println!("{:<38} {:>7} {:>7} {:>8} {:>8} {:>14}", "", head[0], head[1], head[2], head[3], head[4]);
    let cost = best(|| {
        // A file that is there would have to be taken away first.
        drop(std::fs::remove_file(&corrected));
        run(&["rewrite", from, "-o", to, "--play", "z=0.12"])
    });
    let rewrite = Some(row("takeup rewrite --play z=0.12", size, cost, None));
    let visited = best(|| {
        here(|| {
            let mut count = Count::default();
            gcode::core::parse(text, &mut count);
            assert!(black_box(count.0) > 1000);
        })
    });
    row("gcode 0.7.0 visitor, text in memory", size, visited, rewrite);
    let part =
        text.get(..text.len() / 10).and_then(|part| part.rsplit_once('\n')).map_or("", |(part, _)| part);
    let parsed =
        best(|| here(|| assert!(gcode::parse(part).is_ok_and(|tree| black_box(tree).blocks.len() > 100))));
    row("gcode 0.7.0 tree, a tenth of the text", part.len() as f64 / 1e6, parsed, rewrite);
    let iterated = best(|| here(|| assert!(iterated(text) > 1000)));
    row("gcode 0.6.1 iterator, text in memory", size, iterated, rewrite);
    let copy = folder.join("copy.nc");
    let copied = best(|| {
        drop(std::fs::remove_file(&copy));
        here(|| copy_lines(&original, &copy))
    });
    row("lines found and copied, file to file", size, copied, rewrite);
    let all = "x=0.08,y=0.06,z=0.12";
    row("takeup rewrite, all three axes", size, run(&["rewrite", from, "-o", to, "--play", all]), None);
    row("takeup replay, all three axes", size, run(&["replay", from, to, "--play", all]), None);
}

fn main() {
    // `cargo test --benches` only looks whether it builds.
    if !std::env::args().any(|argument| argument == "--bench") {
        return;
    }
    let part = std::env::var("TAKEUP_BENCH_PART").ok().and_then(|part| part.parse().ok()).unwrap_or(1).max(1);
    let folder = tempfile::tempdir().expect("a folder");
    table("Three-axis surfacing", &surfacing(SURFACING / part), folder.path());
    table("Arcs", &arcs(ARCS / part), folder.path());
}
