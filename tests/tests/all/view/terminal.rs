//! A real terminal around the program: what it shows is read back from its cells.

use portable_pty::{Child, CommandBuilder, ExitStatus, MasterPty, PtySize, native_pty_system};
use std::ffi::OsStr;
use std::io::{Read, Write};
use std::num::NonZero;
use std::process::Command;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use takeup_tests::Run;

/// Long enough for a busy machine; a healthy one needs a fraction of a second.
const PATIENCE: Duration = Duration::from_secs(30);

pub struct Terminal {
    master: Option<Box<dyn MasterPty + Send>>,
    keyboard: Option<Box<dyn Write + Send>>,
    child: Box<dyn Child + Send + Sync>,
    seen: Arc<Mutex<Seen>>,
}

/// The marks around what is drawn at once: between them the screen is half the old one, half the new.
const UPDATE: [&[u8]; 2] = [b"\x1b[?2026h", b"\x1b[?2026l"];

struct Seen {
    parser: vt100::Parser,
    raw: Vec<u8>,
    /// What was on the screen when it was last whole.
    whole: String,
}

impl Seen {
    fn process(&mut self, bytes: &[u8]) {
        let old = self.raw.len();
        self.raw.extend_from_slice(bytes);
        let last = |mark: &[u8]| {
            self.raw.windows(mark.len()).rposition(|window| window == mark).map_or(0, |at| at + mark.len())
        };
        let [begun, ended] = UPDATE.map(last);
        let whole = if begun > ended { begun.max(old) } else { self.raw.len() };
        self.parser.process(&self.raw[old..whole]);
        if whole > old {
            self.whole = self.parser.screen().contents();
        }
        self.parser.process(&self.raw[whole..]);
    }
}

fn size(columns: u16, rows: u16) -> PtySize {
    PtySize { rows, cols: columns, pixel_width: 0, pixel_height: 0 }
}

fn some(cells: u16) -> NonZero<u16> {
    NonZero::new(cells).expect("a terminal has cells")
}

impl Terminal {
    /// Starts a run in a terminal of a size.
    pub fn start(run: &Run, columns: u16, rows: u16) -> Self {
        let command = run.command();
        Self::start_command(&command, command.get_program(), columns, rows)
    }

    /// Starts a program with the arguments, the folder and the environment of a command.
    pub fn start_command(command: &Command, program: impl AsRef<OsStr>, columns: u16, rows: u16) -> Self {
        let mut builder = CommandBuilder::new(program);
        builder.args(command.get_args());
        builder.cwd(command.get_current_dir().expect("a folder"));
        builder.env("TERM", "xterm-256color");
        for (key, value) in command.get_envs() {
            match value {
                Some(value) => builder.env(key, value),
                None => builder.env_remove(key),
            }
        }
        let pair = native_pty_system().openpty(size(columns, rows)).expect("a terminal");
        let child = pair.slave.spawn_command(builder).expect("takeup starts");
        drop(pair.slave);
        let mut screen = pair.master.try_clone_reader().expect("its screen");
        let seen = Arc::new(Mutex::new(Seen {
            parser: vt100::Parser::new(some(rows), some(columns), 0),
            raw: Vec::new(),
            whole: String::new(),
        }));
        let writer = Arc::clone(&seen);
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(read @ 1..) = screen.read(&mut bytes) {
                writer.lock().expect("the screen").process(&bytes[..read]);
            }
        });
        let keyboard = pair.master.take_writer().expect("its keyboard");
        Self { master: Some(pair.master), keyboard: Some(keyboard), child, seen }
    }

    /// A sitting in a terminal of 80 columns, its cautions seen to.
    #[track_caller]
    pub fn begun(run: &Run) -> Self {
        let mut terminal = Self::start(run, 80, 24);
        terminal.wait_for("I have seen to it");
        terminal.press_for("\r", " reading ");
        terminal
    }

    /// Types readings in millimetres, each kept before the next.
    #[track_caller]
    pub fn take(&mut self, first_row: usize, readings: &[f64]) {
        for (row, reading) in (first_row..).zip(readings) {
            self.press_for(&format!("{reading}\r"), &format!("row {row}: {reading:.3} is kept"));
        }
    }

    /// Presses keys.
    pub fn press(&mut self, keys: &str) {
        let keyboard = self.keyboard.as_mut().expect("a keyboard");
        keyboard.write_all(keys.as_bytes()).and_then(|()| keyboard.flush()).expect("keys are pressed");
    }

    /// What is on the screen, never half an update.
    pub fn screen(&self) -> String {
        self.seen.lock().expect("the screen").whole.clone()
    }

    /// All that was ever sent to it.
    pub fn raw(&self) -> String {
        String::from_utf8_lossy(&self.seen.lock().expect("the screen").raw).into_owned()
    }

    /// Waits until the screen is as wanted, and gives it.
    #[track_caller]
    pub fn wait_until(&self, what: &str, wanted: impl Fn(&str) -> bool) -> String {
        let begun = Instant::now();
        loop {
            let screen = self.screen();
            if wanted(&screen) {
                return screen;
            }
            assert!(begun.elapsed() < PATIENCE, "{what} does not come:\n{screen}");
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// Waits for a text.
    #[track_caller]
    pub fn wait_for(&self, text: &str) -> String {
        self.wait_until(&format!("{text:?}"), |screen| screen.contains(text))
    }

    /// Waits for texts on one screen, which comes in parts.
    #[track_caller]
    pub fn wait_for_all(&self, texts: &[&str]) -> String {
        self.wait_until(&format!("{texts:?}"), |screen| texts.iter().all(|text| screen.contains(text)))
    }

    /// Presses keys and waits for a text that was not there.
    #[track_caller]
    pub fn press_for(&mut self, keys: &str, text: &str) -> String {
        self.press(keys);
        self.wait_for(text)
    }

    /// Gives the terminal another size.
    pub fn resize(&self, columns: u16, rows: u16) {
        let mut seen = self.seen.lock().expect("the screen");
        seen.parser.screen_mut().set_size(some(rows), some(columns));
        seen.whole = seen.parser.screen().contents();
        drop(seen);
        self.master.as_ref().expect("a terminal").resize(size(columns, rows)).expect("another size");
    }

    /// Closes the terminal as a closed laptop or a cut line does.
    pub fn hang_up(&mut self) {
        self.keyboard = None;
        self.master = None;
    }

    /// Kills the program.
    pub fn kill(&mut self) {
        self.child.kill().expect("it can be killed");
        self.child.wait().expect("it ends");
    }

    /// Waits for the end, and gives the exit code.
    #[track_caller]
    pub fn end(&mut self) -> u32 {
        let begun = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("its state") {
                return ExitStatus::exit_code(&status);
            }
            assert!(begun.elapsed() < PATIENCE, "it does not end:\n{}", self.screen());
            std::thread::sleep(Duration::from_millis(10));
        }
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A serial line without a wire: what is sent at this end is read at the port.
pub struct Line {
    wire: Box<dyn Write + Send>,
    /// The port's name.
    pub port: String,
    _pair: portable_pty::PtyPair,
}

impl Line {
    pub fn new() -> Self {
        let pair = native_pty_system().openpty(size(80, 24)).expect("a line");
        let port = pair.master.tty_name().expect("its name").to_string_lossy().into_owned();
        let wire = pair.master.take_writer().expect("its wire");
        Self { wire, port, _pair: pair }
    }

    /// The indicator sends.
    pub fn send(&mut self, text: &str) {
        self.wire.write_all(text.as_bytes()).and_then(|()| self.wire.flush()).expect("it is sent");
    }
}
