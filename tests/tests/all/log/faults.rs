//! Disk full, read-only, locked, damaged, older, newer, foreign: a clear error, and nothing changed.

use super::{assessment, killed::older};
use rusqlite::Connection;
use std::os::unix::process::CommandExt;
use std::process::Output;
use takeup_tests::{Folder, Run};

fn log_with_one() -> Folder {
    let folder = Folder::new();
    folder.write("a.json", assessment(0.02, 0.001).to_string());
    folder.write("b.json", assessment(0.03, 0.001).to_string());
    folder.takeup("log add a.json --log l.db").done().exit(0);
    folder.takeup("log add b.json --log other.db").done().exit(0);
    folder.takeup("log export -o b.jsonl --log other.db").done().exit(0);
    std::fs::remove_file(folder.file("other.db")).unwrap();
    folder
}

/// Runs every command that writes; each must refuse with these words and leave every byte as it was.
#[track_caller]
fn refused_and_unchanged(folder: &Folder, words: &[&str]) {
    let before = std::fs::read(folder.file("l.db")).unwrap();
    let names = folder.names();
    for command in
        ["log add b.json --log l.db", "log note spring --log l.db", "log import b.jsonl --log l.db"]
    {
        folder.takeup(command).done().refused(words);
        assert!(before == std::fs::read(folder.file("l.db")).unwrap(), "{command} changed the file");
        assert_eq!(names, folder.names(), "{command} left something behind");
    }
}

#[test]
fn newer_older_foreign_and_damaged() {
    let folder = log_with_one();
    let good = std::fs::read(folder.file("l.db")).unwrap();

    older(&folder.file("l.db"));
    refused_and_unchanged(&folder, &["older version 1", "log migrate"]);
    folder.takeup("log list --log l.db").done().refused(&["older version 1"]);
    folder.takeup("log migrate --log l.db").done().exit(0);
    folder.takeup("log add b.json --log l.db").done().exit(0);

    folder.write("l.db", &good);
    Connection::open(folder.file("l.db")).unwrap().execute_batch("PRAGMA user_version = 99").unwrap();
    refused_and_unchanged(&folder, &["newer version 99"]);
    folder.takeup("log migrate --log l.db").done().refused(&["newer version 99"]);

    std::fs::remove_file(folder.file("l.db")).unwrap();
    Connection::open(folder.file("l.db")).unwrap().execute_batch("CREATE TABLE parts (name TEXT)").unwrap();
    refused_and_unchanged(&folder, &["not a log"]);

    folder.write("l.db", "G0 Z5\nG1 Z-1 F100\n".repeat(100));
    refused_and_unchanged(&folder, &["not a log"]);

    // The page of the table overwritten, the header left whole.
    let mut damaged = good.clone();
    let page = usize::from(u16::from_be_bytes([good[16], good[17]]));
    damaged[page..2 * page].fill(0xa5);
    folder.write("l.db", damaged);
    refused_and_unchanged(&folder, &["damaged"]);
}

#[test]
fn a_file_in_which_no_log_was_begun() {
    let folder = Folder::new();
    folder.write("a.json", assessment(0.02, 0.001).to_string());
    folder.write("l.db", "");
    // Nor is it called whole: it may be what is left of one.
    for command in ["log check --log l.db", "log list --log l.db", "log trend --log l.db"] {
        folder.takeup(command).done().refused(&["no log was begun", "log add"]);
    }
    assert_eq!(folder.read("l.db"), "", "looking changes nothing");
    folder.takeup("log add a.json --log l.db").done().exit(0);
    let check = folder.takeup("log check --log l.db").done().exit(0);
    assert_eq!(check.stdout, "the log is whole: 1 entry\n");
    folder.takeup("log check --log none.db").done().refused(&["no log here yet"]);
    assert!(!folder.file("none.db").exists());
}

#[test]
fn a_log_begun_by_several_at_once_has_the_entries_of_all() {
    let folder = Folder::new();
    for i in 0..4 {
        folder.write(&format!("{i}.json"), assessment(0.02 + 0.001 * f64::from(i), 0.001).to_string());
    }
    for round in 0..5 {
        let log = format!("l{round}.db");
        let start = |i| folder.takeup(&format!("log add {i}.json --log {log}")).command().spawn().unwrap();
        let running: Vec<_> = (0..4).map(start).collect();
        for mut child in running {
            assert!(child.wait().unwrap().success(), "round {round}");
        }
        let check = folder.takeup(&format!("log check --log {log} --json")).done().exit(0).json();
        assert_eq!(check["entries"], 4, "round {round}");
    }
    // Nothing else is left in the folder.
    assert_eq!(folder.names().len(), 4 + 5, "{:?}", folder.names());
}

#[test]
fn check_finds_what_was_altered_by_hand() {
    let folder = log_with_one();
    Connection::open(folder.file("l.db"))
        .unwrap()
        .execute_batch("DROP TRIGGER entry_stays; UPDATE entry SET body = replace(body, '0.02', '0.01')")
        .unwrap();
    let found = folder.takeup("log check --log l.db --json").done().exit(1).json();
    let faults: Vec<_> =
        found["faults"].as_array().unwrap().iter().map(|fault| fault.as_str().unwrap()).collect();
    assert!(faults.iter().any(|fault| fault.contains("digest")), "{faults:?}");
    assert!(faults.iter().any(|fault| fault.contains("changed")), "{faults:?}");
}

#[test]
fn entries_cannot_be_changed_or_deleted() {
    let folder = log_with_one();
    let db = Connection::open(folder.file("l.db")).unwrap();
    for change in ["DELETE FROM entry", "UPDATE entry SET machine = 'other'"] {
        let error = db.execute_batch(change).unwrap_err().to_string();
        assert!(error.contains("only appends"), "{error}");
    }
}

#[test]
fn locked_by_another_program() {
    let folder = log_with_one();
    let before = std::fs::read(folder.file("l.db")).unwrap();
    let other = Connection::open(folder.file("l.db")).unwrap();
    other.execute_batch("BEGIN EXCLUSIVE").unwrap();
    // The file is not read meanwhile: closing it would give up this process's locks on it.
    for command in ["log add b.json --log l.db", "log import b.jsonl --log l.db", "log list --log l.db"] {
        folder.takeup(command).done().refused(&["another program"]);
    }
    other.execute_batch("ROLLBACK").unwrap();
    assert!(before == std::fs::read(folder.file("l.db")).unwrap(), "the log changed");
    folder.takeup("log add b.json --log l.db").done().exit(0);
}

#[test]
fn folder_that_may_not_be_written() {
    let folder = log_with_one();
    let before = std::fs::read(folder.file("l.db")).unwrap();
    let run = folder.takeup("log add b.json --log l.db");
    let output = as_nobody(&folder, &run, 0o555);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    let message = String::from_utf8_lossy(&output.stderr);
    assert!(message.contains("may not be written") || message.contains("cannot be opened"), "{message}");
    let output = as_nobody(&folder, &folder.takeup("log add b.json --log new.db"), 0o555);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(before == std::fs::read(folder.file("l.db")).unwrap());
    assert_eq!(folder.names(), ["a.json", "b.json", "b.jsonl", "l.db"]);
}

/// Runs as a user whom permissions bind; the superuser may write anywhere.
fn as_nobody(folder: &Folder, run: &Run, mode: u32) -> Output {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    let set = |mode| std::fs::set_permissions(folder.path(), std::fs::Permissions::from_mode(mode)).unwrap();
    set(mode);
    let mut command = run.command();
    // The program may lie in a folder that this user cannot enter: it gets a copy.
    let copy =
        tempfile::Builder::new().permissions(std::fs::Permissions::from_mode(0o755)).tempdir().unwrap();
    let program = copy.path().join("takeup");
    std::fs::copy(takeup_tests::takeup_binary(), &program).unwrap();
    let mut own = std::process::Command::new(program);
    own.current_dir(folder.path()).args(command.get_args());
    if std::fs::metadata("/proc/self").is_ok_and(|me| me.uid() == 0) {
        own.uid(65_534).gid(65_534);
    }
    command = own;
    let output = command.output().unwrap();
    set(0o755);
    output
}

#[test]
fn disk_full() {
    // A limit on the size of files is what a full disk looks like to the program, on any machine.
    let folder = log_with_one();
    let before = std::fs::read(folder.file("l.db")).unwrap();
    let big: Vec<_> = (0..400)
        .map(|i| {
            folder.write(&format!("s{i}.json"), assessment(0.0001 * f64::from(i + 400), 0.001).to_string())
        })
        .collect();
    let names: Vec<_> =
        big.iter().map(|path| path.file_name().unwrap().to_string_lossy().into_owned()).collect();
    let blocks = before.len().div_ceil(1024) + 8;
    let limited = |log: &str| {
        let script =
            format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" log add {} --log {log}", names.join(" "));
        std::process::Command::new("bash")
            .args(["-c", &script])
            .arg(takeup_tests::takeup_binary())
            .current_dir(folder.path())
            .output()
            .unwrap()
    };
    let output = limited("l.db");
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    let message = String::from_utf8_lossy(&output.stderr);
    assert!(message.contains("disk"), "{message}");
    folder.takeup("log check --log l.db").done().exit(0);
    assert!(before == std::fs::read(folder.file("l.db")).unwrap(), "the log changed");
    assert!(!folder.file("l.db-journal").exists());
}

/// A disk that is really full: a small file system in memory, where this user may mount one.
#[test]
fn file_system_without_room() {
    let folder = log_with_one();
    folder.takeup("log export -o b.jsonl --log l.db").done().exit(0);
    folder.takeup("log add b.json --log more.db").done().exit(0);
    folder.takeup("log export -o more.jsonl --log more.db").done().exit(0);
    folder.write("old.db", std::fs::read(folder.file("l.db")).unwrap());
    older(&folder.file("old.db"));
    std::fs::create_dir(folder.file("disk")).unwrap();
    let script = r#"
        mount -t tmpfs -o size=160k none disk || exit 77
        cp l.db old.db disk/
        cat /dev/zero > disk/fill 2>/dev/null
        cp disk/l.db l.before; cp disk/old.db old.before; ls -A disk > names.before
        while read -r arguments; do
            "$0" $arguments > out 2> err; code=$?
            echo "$code $arguments: $(head -n 1 err)"
            cmp -s disk/l.db l.before && cmp -s disk/old.db old.before || echo "CHANGED by $arguments"
            ls -A disk | cmp -s - names.before || echo "LEFT by $arguments: $(ls -A disk)"
        done <<'END'
log add b.json --log disk/l.db
log note spring --log disk/l.db
log import more.jsonl --log disk/l.db
log migrate --log disk/old.db
log add b.json --log disk/new.db
log export -o disk/x.jsonl --log l.db
report --log l.db -o disk/r.html
END
        rm disk/fill
        "$0" log add b.json --log disk/l.db > /dev/null && "$0" log check --log disk/l.db
    "#;
    let output = std::process::Command::new("unshare")
        .args(["-Urm", "bash", "-c", script])
        .arg(takeup_tests::takeup_binary())
        .current_dir(folder.path())
        .output();
    let Ok(output) = output.map_err(|error| println!("no unshare here: {error}")) else { return };
    let told = String::from_utf8_lossy(&output.stdout);
    println!("{told}{}", String::from_utf8_lossy(&output.stderr));
    if told.is_empty() {
        // Anything else than being forbidden is a failure of what this test is about.
        let why = String::from_utf8_lossy(&output.stderr);
        assert!(why.contains("unshare") || why.contains("mount"), "{output:?}");
        println!("nothing may be mounted here: only the limit on the size of files was tried");
        return;
    }
    let refusals: Vec<_> = told.lines().filter(|line| line.starts_with("2 ")).collect();
    assert_eq!(refusals.len(), 7, "seven refusals were expected");
    for line in refusals {
        assert!(line.contains("disk") && line.contains("takeup: "), "{line}");
    }
    assert!(!told.contains("CHANGED") && !told.contains("LEFT"), "something changed");
    assert!(told.contains("the log is whole: 2 entries"), "with room again the session is taken");
}
