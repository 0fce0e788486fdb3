//! Helpers shared by the checks across crates: a folder per test, and the built `takeup` run in it.

use serde_json::Value;
use std::ffi::{OsStr, OsString};
use std::fmt;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::OnceLock;

/// The `takeup` program, built once in the profile of the tests.
///
/// Cargo is asked where it put it, so that any target folder works.
pub fn takeup_binary() -> &'static Path {
    static BINARY: OnceLock<PathBuf> = OnceLock::new();
    BINARY.get_or_init(|| {
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let mut build = Command::new(cargo);
        build
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .args(["build", "--package", "takeup-cli", "--bin", "takeup"])
            .args(["--message-format", "json-render-diagnostics"]);
        if !cfg!(debug_assertions) {
            build.arg("--release");
        }
        let output = build.stderr(Stdio::inherit()).output().expect("cargo can be run");
        assert!(output.status.success(), "takeup does not build");
        String::from_utf8_lossy(&output.stdout)
            .lines()
            .filter_map(|line| serde_json::from_str::<Value>(line).ok())
            .filter_map(|message| message["executable"].as_str().map(PathBuf::from))
            .next_back()
            .expect("cargo names the executable it built")
    })
}

/// A temporary folder for one test, gone when it is dropped.
pub struct Folder {
    folder: tempfile::TempDir,
}

impl Default for Folder {
    fn default() -> Self {
        Self::new()
    }
}

impl Folder {
    /// An empty folder.
    pub fn new() -> Self {
        Self { folder: tempfile::tempdir().expect("a temporary folder can be made") }
    }

    /// The path of the folder.
    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// The path of a file in it.
    pub fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file, and gives its path.
    pub fn write(&self, name: &str, contents: impl AsRef<[u8]>) -> PathBuf {
        let path = self.file(name);
        std::fs::write(&path, contents).expect("a file can be written");
        path
    }

    /// The contents of a file as text.
    pub fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.file(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    /// The names of everything in the folder, hidden ones too, in order.
    pub fn names(&self) -> Vec<String> {
        let mut names: Vec<_> = std::fs::read_dir(self.path())
            .expect("the folder can be read")
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    /// A run of `takeup` in the folder, with arguments separated by blanks.
    pub fn takeup(&self, arguments: &str) -> Run {
        self.takeup_args(arguments.split_whitespace())
    }

    /// A run of `takeup` in the folder, with arguments one by one.
    pub fn takeup_args<S: AsRef<OsStr>>(&self, arguments: impl IntoIterator<Item = S>) -> Run {
        let arguments: Vec<OsString> = arguments.into_iter().map(|a| a.as_ref().to_owned()).collect();
        Run { folder: self.path().to_owned(), arguments, stdin: Vec::new(), environment: Vec::new() }
    }
}

/// A run to come.
#[must_use]
pub struct Run {
    folder: PathBuf,
    arguments: Vec<OsString>,
    stdin: Vec<u8>,
    environment: Vec<(String, String)>,
}

impl Run {
    /// With bytes on standard input.
    pub fn stdin(mut self, bytes: impl Into<Vec<u8>>) -> Self {
        self.stdin = bytes.into();
        self
    }

    /// With a variable of the environment.
    pub fn env(mut self, key: &str, value: &str) -> Self {
        self.environment.push((key.to_owned(), value.to_owned()));
        self
    }

    /// The command itself, to start it in some other way. Nothing of the tester's own data is seen or touched.
    pub fn command(&self) -> Command {
        let mut command = Command::new(takeup_binary());
        command
            .current_dir(&self.folder)
            .args(&self.arguments)
            .env("HOME", &self.folder)
            .env("XDG_DATA_HOME", self.folder.join(".data"))
            .env_remove("NO_COLOR")
            .envs(self.environment.iter().map(|(key, value)| (key, value)));
        command
    }

    /// Starts it, with a pipe for standard input and for each output.
    pub fn start(&self) -> Child {
        self.command()
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("takeup can be started")
    }

    /// Runs it to its end.
    pub fn done(self) -> Finished {
        let mut child = self.start();
        let mut pipe = child.stdin.take().expect("a pipe");
        let stdin = self.stdin;
        // A thread of its own, since a full pipe one way must not stop the other way.
        let writer = std::thread::spawn(move || drop(pipe.write_all(&stdin)));
        let output = child.wait_with_output().expect("takeup can be waited for");
        writer.join().expect("the writer ends");
        Finished {
            folder: self.folder,
            arguments: self.arguments,
            status: output.status,
            bytes: output.stdout.clone(),
            stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
            stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }
}

/// A run that has ended. Shown by every failure: command, folder, status, both outputs.
pub struct Finished {
    folder: PathBuf,
    arguments: Vec<OsString>,
    /// How it ended.
    pub status: ExitStatus,
    /// Standard output, byte for byte.
    pub bytes: Vec<u8>,
    /// Standard output as text.
    pub stdout: String,
    /// Standard error as text.
    pub stderr: String,
}

impl fmt::Debug for Finished {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rule = "=".repeat(70);
        writeln!(f, "\n{rule}\ncommand: takeup")?;
        for argument in &self.arguments {
            writeln!(f, "         {}", argument.to_string_lossy())?;
        }
        writeln!(f, "folder:  {}\nstatus:  {}", self.folder.display(), self.status)?;
        writeln!(f, "stdout:\n{}\nstderr:\n{}\n{rule}", self.stdout, self.stderr)
    }
}

impl Finished {
    /// Checks the exit code.
    #[track_caller]
    pub fn exit(self, code: i32) -> Self {
        assert_eq!(self.status.code(), Some(code), "exit code {self:?}");
        self
    }

    /// Standard output as one JSON document.
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.stdout).unwrap_or_else(|error| panic!("no JSON: {error} {self:?}"))
    }

    /// Checks exit code 2, and a message on standard error that contains all of the words, and nothing on
    /// standard output.
    #[track_caller]
    pub fn refused(self, words: &[&str]) -> Self {
        let run = self.exit(2);
        assert!(run.stderr.starts_with("takeup: "), "no message {run:?}");
        assert!(run.stdout.is_empty(), "output in spite of a refusal {run:?}");
        assert!(run.stderr.len() < 2_000, "a message of {} bytes {run:?}", run.stderr.len());
        for word in words {
            assert!(run.stderr.contains(word), "{word:?} is not in the message {run:?}");
        }
        run
    }

    /// As [`Finished::refused`], of a command that had told the person something before.
    #[track_caller]
    pub fn refused_after_notes(self, words: &[&str]) -> Self {
        let run = self.exit(2);
        for word in words {
            assert!(run.stderr.contains(word), "{word:?} is not in the message {run:?}");
        }
        run
    }

    /// Checks exit code 2 and a refusal document (of a run with `--json`), and gives it.
    #[track_caller]
    pub fn refusal(self) -> Value {
        let run = self.exit(2);
        let document = run.json();
        assert_eq!(document["schema"], "takeup.refusal/1", "{run:?}");
        assert!(document["reason"].is_string(), "no reason {run:?}");
        assert!(run.stderr.is_empty(), "a refusal twice {run:?}");
        document
    }
}

pub mod boxes;
pub mod browser;
pub mod dialling;
pub mod faulty;
pub mod fuzzing;
pub mod judged;
pub mod programs;
pub mod pushing;
pub mod returning;
pub mod rewriting;
pub mod scored;
pub mod sitting;
pub mod staircase;
pub mod tally;
pub mod together;
pub mod warming;

/// The code of the README is kept compiling and true.
#[cfg(doctest)]
#[doc = include_str!("../../README.md")]
pub struct Readme;
