//! Outputs appear whole or not at all, and inputs are never touched.

use super::readings::sheet;
use std::fs;
use takeup_tests::Folder;
use takeup_tests::boxes::wait_until;

#[test]
fn an_output_is_never_an_input() {
    let folder = Folder::new();
    folder.write("a.csv", sheet());
    folder.takeup("table build a.csv -o a.csv").done().refused(&["a.csv", "same file"]);
    folder.takeup("table build a.csv -o ./a.csv").done().refused(&["same file"]);
    fs::hard_link(folder.file("a.csv"), folder.file("b.csv")).expect("a link");
    folder.takeup("table build a.csv -o b.csv").done().refused(&["same file"]);
    assert_eq!(folder.read("a.csv"), sheet());
}

#[test]
fn an_output_replaces_its_target_in_one_step() {
    let folder = Folder::new();
    folder.write("a.csv", sheet());
    folder.write("mill.table", "an older one");
    folder.takeup("table build a.csv -o mill.table").done().exit(0);
    folder.takeup("table show mill.table").done().exit(0);
    // A target that cannot be built leaves the old one alone.
    let before = fs::read(folder.file("mill.table")).expect("the table");
    folder.write("none.csv", sheet().replace("0.20", "0.25").replace("0.19", "0.24"));
    folder.takeup("table build none.csv -o mill.table").done().refused(&["none.csv"]);
    assert_eq!(fs::read(folder.file("mill.table")).expect("the table"), before);
    assert_eq!(folder.names(), ["a.csv", "mill.table", "none.csv"]);
}

#[test]
fn places_that_cannot_be_written_are_named() {
    let folder = Folder::new();
    folder.write("a.csv", sheet());
    fs::create_dir(folder.file("sub")).expect("a folder");
    folder.takeup("table build a.csv -o sub").done().refused(&["sub", "folder"]);
    folder.takeup("table build a.csv -o absent/mill.table").done().refused(&["absent/mill.table", "no such"]);
    folder
        .takeup("routine reversal --axis z --station 0 -o a.nc --sheet absent/a.csv")
        .done()
        .refused(&["absent"]);
    assert_eq!(folder.names(), ["a.csv", "sub"], "a program without its sheet");
    folder.takeup("assess -").stdin("").done().refused(&["standard input", "empty"]);
    folder.takeup("table build - - -o mill.table").stdin(sheet()).done().refused(&["read only once"]);
}

#[cfg(unix)]
#[test]
fn permissions_and_links_of_the_target_are_kept() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let folder = Folder::new();
    folder.write("a.csv", sheet());
    let target = folder.write("real.table", "an older one");
    fs::set_permissions(&target, fs::Permissions::from_mode(0o640)).expect("a mode");
    symlink("real.table", folder.file("link.table")).expect("a link");
    folder.takeup("table build a.csv -o link.table").done().exit(0);
    assert!(fs::symlink_metadata(folder.file("link.table")).expect("the link").is_symlink());
    assert_eq!(fs::metadata(&target).expect("the table").permissions().mode() & 0o777, 0o640);
    fs::set_permissions(&target, fs::Permissions::from_mode(0o440)).expect("a mode");
    folder.takeup("table build a.csv -o real.table").done().refused(&["read-only"]);
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_and_a_device_are_no_surprise() {
    let folder = Folder::new();
    folder.write("a.csv", sheet());
    folder.takeup("table build a.csv -o /dev/full").done().refused(&["/dev/full", "cannot write"]);
    folder.takeup("table build a.csv -o /dev/null").done().exit(0);
    assert!(!fs::metadata("/dev/null").expect("the device").is_file());
}

#[cfg(target_os = "linux")]
#[test]
fn a_killed_command_leaves_nothing_behind() {
    use std::io::Write;
    use std::process::Stdio;
    let folder = Folder::new();
    for target in [None, Some("an older one")] {
        if let Some(text) = target {
            folder.write("out.nc", text);
        }
        let before = folder.names();
        let mut child = folder
            .takeup("rewrite - -o out.nc --play z=0.1 --clear-z 5")
            .command()
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("takeup starts");
        let mut stdin = child.stdin.take().expect("a pipe");
        // More than any buffer on the way; it knows the clear height, and writes while it reads.
        let line = b"G1 X10 Y10 F300\n".repeat(200_000);
        stdin
            .write_all(b"G21 G90\nG0 Z5\n")
            .and_then(|()| stdin.write_all(&line))
            .expect("a program in the pipe");
        let written = || -> u64 {
            let told = fs::read_to_string(format!("/proc/{}/io", child.id())).expect("what it has done");
            let line = told.lines().find_map(|line| line.strip_prefix("wchar: ")).expect("what it wrote");
            line.trim().parse().expect("a number")
        };
        wait_until("it is in the midst of writing", || written() > 1_000_000);
        child.kill().expect("it can be killed");
        child.wait().expect("an end");
        assert_eq!(folder.names(), before);
        if let Some(text) = target {
            assert_eq!(folder.read("out.nc"), text);
        }
    }
}
