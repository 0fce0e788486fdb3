//! The program killed at 200 random moments each while adding, importing and migrating; while measuring: `cli::measure`.

use super::assessment;
use rusqlite::Connection;
use std::io::Read;
use std::path::Path;
use std::process::Stdio;
use std::time::{Duration, Instant};
use takeup_tests::{Folder, Run};

const KILLS: usize = 200;

/// Moments from a fixed seed: SplitMix64 (Steele, Lea and Flood 2014).
struct Moments {
    state: u64,
    span: Duration,
    acknowledged: usize,
}

impl Moments {
    /// Spread over what an undisturbed run takes, with some room.
    fn new(seed: u64, undisturbed: Run) -> Self {
        let start = Instant::now();
        undisturbed.done().exit(0);
        Self { state: seed, span: start.elapsed().mul_f64(1.2), acknowledged: 0 }
    }

    fn draw(&mut self) -> Duration {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        self.span.mul_f64(((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64)
    }

    /// Starts a run and kills it at the next moment; whether it had acknowledged by then.
    fn kill(&mut self, run: &Run) -> bool {
        let mut child = run
            .command()
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("takeup starts");
        std::thread::sleep(self.draw());
        let _ = child.kill();
        let mut out = String::new();
        child.stdout.take().expect("a pipe").read_to_string(&mut out).expect("text");
        child.wait().expect("it ends");
        // A whole line: the acknowledgement was written after the commit.
        let acknowledged = out.ends_with('\n');
        self.acknowledged += usize::from(acknowledged);
        // The machine may be busier than it was at first, or less so: about two in five are to be acknowledged.
        self.span = self.span.mul_f64(if acknowledged { 0.97 } else { 1.02 });
        acknowledged
    }

    /// They must fall on both sides of the commit, or a test shows nothing.
    #[track_caller]
    fn on_both_sides(&self) {
        println!("{} of {KILLS} acknowledged", self.acknowledged);
        assert!(
            (KILLS / 10..KILLS * 9 / 10).contains(&self.acknowledged),
            "{} acknowledged",
            self.acknowledged
        );
    }
}

fn entries(log: &Path) -> i64 {
    let db = Connection::open(log).expect("the log opens");
    db.query_row("SELECT COUNT(*) FROM entry", [], |row| row.get(0)).expect("entries")
}

#[test]
fn adding_loses_nothing_acknowledged() {
    let folder = Folder::new();
    folder.write("warm.json", assessment(0.5, 0.001).to_string());
    let mut moments = Moments::new(1, folder.takeup("log add warm.json --log l.db"));
    let mut acknowledged = vec![0.5];
    for i in 0..KILLS {
        let value = 0.001 * (i + 1) as f64;
        folder.write("s.json", assessment(value, 0.001).to_string());
        if moments.kill(&folder.takeup("log add s.json --log l.db")) {
            acknowledged.push(value);
        }
    }
    folder.takeup("log check --log l.db").done().exit(0);
    let list = folder.takeup("log list --log l.db --json").done().exit(0).json();
    let kept: Vec<f64> = list["entries"]
        .as_array()
        .unwrap()
        .iter()
        .map(|entry| entry["lost_motion"]["value"].as_f64().unwrap())
        .collect();
    for value in &acknowledged {
        assert_eq!(kept.iter().filter(|kept| (**kept - value).abs() < 1e-9).count(), 1, "{value} of seed 1");
    }
    moments.on_both_sides();
}

/// Into a new log and, every other time, into one that has an entry of its own already.
#[test]
fn importing_is_all_or_nothing() {
    let folder = Folder::new();
    for i in 0..12 {
        folder.write(&format!("s{i}.json"), assessment(0.001 * f64::from(i + 1), 0.001).to_string());
    }
    let files: Vec<_> = (0..12).map(|i| format!("s{i}.json")).collect();
    folder.takeup(&format!("log add {} --log a.db", files.join(" "))).done().exit(0);
    folder.takeup("log export -o b.jsonl --log a.db").done().exit(0);
    folder.write("own.json", assessment(0.5, 0.001).to_string());
    folder.takeup("log add own.json --log own.db").done().exit(0);
    let own = std::fs::read(folder.file("own.db")).unwrap();
    let mut moments = Moments::new(2, folder.takeup("log import b.jsonl --log warm.db"));
    for i in 0..KILLS {
        let log = folder.file("l.db");
        let _ = std::fs::remove_file(&log);
        let _ = std::fs::remove_file(folder.file("l.db-journal"));
        let before = if i % 2 == 0 { 0 } else { 1 };
        if before == 1 {
            folder.write("l.db", &own);
        }
        let acknowledged = moments.kill(&folder.takeup("log import b.jsonl --log l.db"));
        if !log.exists() {
            // Cut off before it began.
            assert!(!acknowledged && before == 0, "moment {i} of seed 2");
            continue;
        }
        let check = folder.takeup("log check --log l.db --json").done().exit(0).json();
        let kept = check["entries"].as_u64().unwrap();
        assert!(
            kept == before + 12 || (kept == before && !acknowledged),
            "moment {i} of seed 2: {kept} entries, acknowledged: {acknowledged}"
        );
        // What was cut off is made good by the next run.
        let again = folder.takeup("log import b.jsonl --log l.db --json").done().exit(0).json();
        assert_eq!(again["known"], kept - before, "moment {i} of seed 2");
        assert_eq!(entries(&log), before as i64 + 12, "moment {i} of seed 2");
    }
    moments.on_both_sides();
}

#[test]
fn migrating_keeps_every_entry() {
    let folder = Folder::new();
    folder.write("a.json", assessment(0.02, 0.001).to_string());
    folder.write("b.json", assessment(0.03, 0.001).to_string());
    folder.takeup("log add a.json b.json --log new.db").done().exit(0);
    older(&folder.file("new.db"));
    let old = std::fs::read(folder.file("new.db")).unwrap();
    folder.write("warm.db", &old);
    let mut moments = Moments::new(3, folder.takeup("log migrate --log warm.db"));
    for i in 0..KILLS {
        let log = folder.write("l.db", &old);
        let _ = std::fs::remove_file(folder.file("l.db-journal"));
        let acknowledged = moments.kill(&folder.takeup("log migrate --log l.db"));
        let after = folder.takeup("log migrate --log l.db --json").done().exit(0).json();
        assert!(!acknowledged || after["from"] == 2, "moment {i} of seed 3");
        assert_eq!(entries(&log), 2, "moment {i} of seed 3");
        folder.takeup("log check --log l.db").done().exit(0);
    }
    moments.on_both_sides();
}

/// Turns a log into one of version 1, as the first program wrote it.
pub fn older(log: &Path) {
    let db = Connection::open(log).expect("the log opens");
    db.execute_batch("DROP INDEX entry_in_time; DROP INDEX correction_of; PRAGMA user_version = 1;")
        .expect("older");
}
