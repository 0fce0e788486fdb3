//! The emulated board as a process: the host's line and the bench on its serial ports, and its time as it is granted.

use super::board;
use std::io::{ErrorKind, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// No step of a test takes longer than this, even on a busy machine.
pub const PATIENCE: Duration = Duration::from_secs(120);

pub struct Emulator {
    process: Child,
    /// The line to the host; reads do not wait.
    pub line: UnixStream,
    /// The bench (`bench.rs` of the emulated program).
    pub bench: UnixStream,
    /// How many bytes the box was told.
    told: u32,
    _folder: tempfile::TempDir,
}

impl Drop for Emulator {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

fn connect(path: &Path) -> UnixStream {
    let start = Instant::now();
    loop {
        match UnixStream::connect(path) {
            Ok(stream) => return stream,
            Err(error) => assert!(start.elapsed() < PATIENCE, "{}: {error}", path.display()),
        }
        std::thread::sleep(Duration::from_millis(20));
    }
}

impl Emulator {
    /// Starts a program.
    pub fn start(program: &str) -> Self {
        let elf = board::program(program);
        let folder = tempfile::tempdir().unwrap();
        let path = |name| folder.path().join(name);
        let serial = |name| format!("unix:{},server=on,wait=off", path(name).display());
        let process = Command::new("qemu-system-arm")
            .args(["-machine", "mps2-an386", "-cpu", "cortex-m4", "-display", "none", "-monitor", "none"])
            .args(["-icount", "shift=4", "-semihosting-config", "enable=on,target=native"])
            .args(["-serial", &serial("host"), "-serial", &serial("bench"), "-kernel"])
            .arg(elf)
            .stdin(Stdio::null())
            .spawn()
            .expect("qemu-system-arm starts: install Debian's qemu-system-arm");
        let (line, bench) = (connect(&path("host")), connect(&path("bench")));
        line.set_nonblocking(true).unwrap();
        bench.set_read_timeout(Some(PATIENCE)).unwrap();
        Self { process, line, bench, told: 0, _folder: folder }
    }

    /// Sends bytes to the box, and waits until it has taken them, or was started anew; no time passes for it meanwhile.
    pub fn tell(&mut self, mut bytes: &[u8]) {
        let before = self.told;
        while !bytes.is_empty() {
            match self.line.write(bytes) {
                Ok(written) => {
                    self.told = self.told.wrapping_add(written as u32);
                    bytes = &bytes[written..];
                }
                Err(error) => {
                    assert_eq!(error.kind(), ErrorKind::WouldBlock, "the line to the emulator: {error}")
                }
            }
            let start = Instant::now();
            loop {
                let taken = self.ask(b'#')[0] as u32;
                if taken < before {
                    self.told = taken;
                    return;
                }
                if taken >= self.told {
                    break;
                }
                assert!(start.elapsed() < PATIENCE, "the box does not take what it is told");
            }
        }
    }

    /// The numbers that the bench answers to a letter.
    pub fn ask(&mut self, letter: u8) -> Vec<i64> {
        self.bench.write_all(&[letter]).unwrap();
        let mut line = Vec::new();
        let mut byte = [0];
        while byte != *b"\n" {
            self.bench.read_exact(&mut byte).unwrap();
            if !matches!(byte[0], b'.' | b'!') {
                line.push(byte[0]);
            }
        }
        let text = String::from_utf8(line).unwrap();
        text.split_whitespace().map(|word| word.parse().unwrap()).collect()
    }

    /// Tells the bench to let the box's time go on, by `g` or `G`, and waits until it has.
    pub fn grant(&mut self, letter: u8) {
        self.bench.write_all(&[letter]).unwrap();
        let mut byte = [0];
        // A start in between has forgotten the grant.
        while !matches!(byte[0], b'.' | b'!') {
            self.bench.read_exact(&mut byte).unwrap();
        }
    }
}
