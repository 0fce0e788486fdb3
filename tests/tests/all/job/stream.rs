//! A program far larger than the memory allowed goes through `rewrite`, from a file and through pipes.

use std::fs::File;
use std::io::{BufWriter, Read, Write};
use std::process::{Child, Stdio};

use takeup_tests::Folder;

/// The size of the program.
const BYTES: u64 = 200_000_000;
/// The most memory that `rewrite` may ever hold (kB).
const MOST_KB: u64 = 32 * 1024;

/// A surfacing program: passes along X that rise and fall, with a lift and a step over after each.
fn write_program(to: impl Write) {
    let mut out = BufWriter::with_capacity(1 << 20, to);
    let head = "G21 G90 G17\nG0 X0 Y0 Z5\n";
    out.write_all(head.as_bytes()).expect("written");
    let (mut written, mut pass) = (head.len() as u64, 0_u32);
    while written < BYTES {
        let mut text = format!("G0 Y{}.{:03}\nZ2\nG1 Z-1.000 F800\n", pass / 1000, pass % 1000);
        for i in 0..400 {
            let fall = 250 * (i % 40_i32 - 20).abs();
            text.push_str(&format!(
                "X{}.{:03} Z-{}.{:03}\n",
                i / 4,
                i % 4 * 250,
                1 + fall / 1000,
                fall % 1000
            ));
        }
        text.push_str("G0 Z5\n");
        out.write_all(text.as_bytes()).expect("written");
        written += text.len() as u64;
        pass += 1;
    }
    out.write_all(b"M30\n").expect("written");
    out.flush().expect("written");
}

/// The largest resident memory of a process so far (kB); `None` once it has ended.
fn peak_kb(pid: u32) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// Waits for the end and gives the largest memory seen on the way.
fn watch(mut child: Child) -> u64 {
    let mut peak = 0;
    loop {
        peak = peak_kb(child.id()).map_or(peak, |now| now.max(peak));
        if let Some(status) = child.try_wait().expect("a child") {
            assert!(status.success(), "{status}");
            return peak;
        }
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
}

#[test]
fn two_hundred_megabytes_need_no_more_memory_than_two() {
    let folder = Folder::new();
    write_program(File::create(folder.file("long.nc")).expect("a file"));
    let run = folder.takeup("rewrite long.nc -o out.nc --play z=0.12");
    let child = run.command().stdin(Stdio::null()).stdout(Stdio::null()).spawn().expect("takeup");
    let peak = watch(child);
    assert!(peak > 0 && peak < MOST_KB, "{peak} kB");

    // Through pipes, and the same bytes come out.
    let run = folder.takeup("rewrite - -o - --play z=0.12");
    let mut command = run.command();
    let input = File::open(folder.file("long.nc")).expect("the program");
    let mut child =
        command.stdin(input).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("takeup");
    let mut pipe = child.stdout.take().expect("a pipe");
    let file = folder.file("out.nc");
    let reader = std::thread::spawn(move || {
        let mut expected = File::open(file).expect("the rewritten program");
        let (mut got, mut want) = (vec![0; 1 << 20], vec![0; 1 << 20]);
        let mut total = 0_u64;
        loop {
            let n = pipe.read(&mut got).expect("the pipe");
            if n == 0 {
                break;
            }
            expected.read_exact(&mut want[..n]).expect("as long as the file");
            assert!(got[..n] == want[..n], "the pipe differs from the file near byte {total}");
            total += n as u64;
        }
        assert_eq!(expected.read(&mut want).expect("the file"), 0, "the pipe ended early");
        total
    });
    let peak = watch(child);
    assert!(peak > 0 && peak < MOST_KB, "{peak} kB");
    assert!(reader.join().expect("no difference") > BYTES);
}
