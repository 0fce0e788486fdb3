//! Files out, which appear whole under their name or not at all; `-` is standard output.
//!
//! The bytes go into a file without a name beside the target, where the file system has such (so
//! that not even a cut of power or a killed process leaves anything behind), else into a temporary file
//! that goes away with an error. `finish` gives it the name of the target in one step.

use crate::context::Context;
use crate::input::is_dash;
use crate::refusal::Refusal;
use std::fs::{self, File};
use std::io::{self, BufWriter, Seek, Write};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// The name under which standard output appears in messages.
pub const STDOUT_NAME: &str = "standard output";

/// An output that is being written. Without [`Output::finish`] it never appears.
#[derive(Debug)]
pub struct Output {
    name: String,
    sink: Sink,
    /// Bytes written.
    written: u64,
    /// Bytes that the disk was told to take.
    #[cfg(target_os = "linux")]
    sent_off: u64,
}

#[derive(Debug)]
enum Sink {
    /// What shows bytes at once, standard output or a device: they are kept in a file without a name until all
    /// are there.
    Stream(BufWriter<File>, File),
    #[cfg(target_os = "linux")]
    Nameless(BufWriter<File>, PathBuf),
    Named(BufWriter<NamedTempFile>, PathBuf),
}

/// Checks that a command does not overwrite what it reads, nor write two things to one place.
///
/// # Errors
/// When two outputs are the same file, or an output is one of the inputs.
pub fn keep_apart(outputs: &[&Path], inputs: &[&Path]) -> Result<(), Refusal> {
    for (index, output) in outputs.iter().enumerate() {
        if !is_dash(output) && inputs.iter().any(|input| !is_dash(input) && same(input, output)) {
            return Err(Refusal::new(
                "the output is the same file as an input, which is never overwritten",
                "Give the output another name.",
            )
            .path(output));
        }
        if outputs.iter().take(index).any(|earlier| same(earlier, output)) {
            return Err(Refusal::new("two outputs go to the same place", "Give each output its own name.")
                .path(output));
        }
    }
    Ok(())
}

fn same(a: &Path, b: &Path) -> bool {
    a == b
        || same_file::is_same_file(a, b).unwrap_or(false)
        || !is_dash(a) && !is_dash(b) && place(a).is_some_and(|at| Some(at) == place(b))
}

/// The place of a file that need not be there yet, however it is spelt.
fn place(path: &Path) -> Option<PathBuf> {
    Some(fs::canonicalize(folder_of(path)).ok()?.join(path.file_name()?))
}

fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Begins an output.
///
/// # Errors
/// When it is a folder, its folder is missing or may not be written, or it is standard output and
/// that is to carry a JSON document.
pub fn create(path: &Path, ctx: &Context) -> Result<Output, Refusal> {
    let name = if is_dash(path) { STDOUT_NAME.to_owned() } else { path.display().to_string() };
    let refuse = |error: io::Error| Refusal::io(&name, "write", &error);
    if is_dash(path) {
        if ctx.json() {
            return Err(Refusal::new(
                "--json prints its document where the output \"-\" would go",
                "Write the output to a file.",
            ));
        }
        let sink = stream(stdout_as_file().map_err(refuse)?)?;
        return Ok(Output::to(name, sink));
    }
    // The name may be a link: what it points to is replaced, the link stays.
    let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let old = fs::metadata(&target).ok();
    if let Some(old) = &old {
        if old.is_dir() {
            return Err(
                Refusal::new("this is a folder, a file was expected", "Name a file in it.").path(path)
            );
        }
        if old.permissions().readonly() {
            return Err(Refusal::new(
                "the file is marked read-only and is not replaced",
                "Give the output another name, or lift the mark.",
            )
            .path(path));
        }
        if !old.is_file() {
            // A device or a pipe is written to, not replaced.
            let device = File::options().write(true).open(&target).map_err(refuse)?;
            return Ok(Output::to(name, stream(device)?));
        }
    }
    let sink = begin(folder_of(&target), &target).map_err(refuse)?;
    if let (Some(old), Some(file)) = (&old, sink.file()) {
        // Whoever could read the old file can read the new one.
        file.set_permissions(old.permissions()).map_err(refuse)?;
    }
    Ok(Output::to(name, sink))
}

fn begin(folder: &Path, target: &Path) -> io::Result<Sink> {
    #[cfg(target_os = "linux")]
    {
        use rustix::fs::{CWD, Mode, OFlags, openat};
        let flags = OFlags::TMPFILE | OFlags::WRONLY | OFlags::CLOEXEC;
        if let Ok(fd) = openat(CWD, folder, flags, Mode::from_raw_mode(0o666)) {
            return Ok(Sink::Nameless(buffered(File::from(fd)), target.to_owned()));
        }
    }
    let mut builder = tempfile::Builder::new();
    builder.prefix(".takeup-");
    #[cfg(unix)]
    {
        // As any program creates files: the person's mask decides who may read them.
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    Ok(Sink::Named(BufWriter::with_capacity(BUFFER, builder.tempfile_in(folder)?), target.to_owned()))
}

fn stream(to: File) -> Result<Sink, Refusal> {
    let kept = tempfile::tempfile().map_err(|error| Refusal::io("a temporary file", "open", &error))?;
    Ok(Sink::Stream(buffered(kept), to))
}

const BUFFER: usize = 64 * 1024;

fn buffered(file: File) -> BufWriter<File> {
    BufWriter::with_capacity(BUFFER, file)
}

/// Standard output without the line buffering that would make streams of programs slow.
fn stdout_as_file() -> io::Result<File> {
    #[cfg(unix)]
    {
        use std::os::fd::AsFd;
        Ok(File::from(io::stdout().as_fd().try_clone_to_owned()?))
    }
    #[cfg(windows)]
    {
        use std::os::windows::io::AsHandle;
        Ok(File::from(io::stdout().as_handle().try_clone_to_owned()?))
    }
}

impl Sink {
    fn file(&self) -> Option<&File> {
        match self {
            Sink::Stream(..) => None,
            #[cfg(target_os = "linux")]
            Sink::Nameless(writer, _) => Some(writer.get_ref()),
            Sink::Named(writer, _) => Some(writer.get_ref().as_file()),
        }
    }
}

impl Output {
    const fn to(name: String, sink: Sink) -> Self {
        Self {
            name,
            sink,
            written: 0,
            #[cfg(target_os = "linux")]
            sent_off: 0,
        }
    }

    /// Lets the disk begin with what was written while the rest is still being made: `finish` would else wait
    /// for all of it.
    #[cfg(target_os = "linux")]
    fn send_off(&mut self) {
        /// So much at once that the disk works in large pieces.
        const PIECE: u64 = 8 << 20;
        let piece = self.written - self.sent_off;
        if piece >= PIECE
            && let Some(file) = self.sink.file()
        {
            // Advice that cannot be followed changes nothing but the time.
            let length = std::num::NonZeroU64::new(piece);
            let _ = rustix::fs::fadvise(file, self.sent_off, length, rustix::fs::Advice::DontNeed);
            self.sent_off = self.written;
        }
    }

    /// The name in messages.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// A write that failed, as a refusal about this output.
    #[must_use]
    pub fn refusal(&self, error: &io::Error) -> Refusal {
        Refusal::io(&self.name, "write", error)
    }

    /// Makes the output appear under its name. Its bytes are on the disk when this returns.
    ///
    /// # Errors
    /// When the rest cannot be written; then the target is as it was.
    pub fn finish(self) -> Result<(), Refusal> {
        let Self { name, sink, .. } = self;
        match sink {
            Sink::Stream(writer, mut to) => unbuffered(writer).and_then(|mut kept| {
                kept.rewind()?;
                io::copy(&mut kept, &mut to).map(drop)
            }),
            #[cfg(target_os = "linux")]
            Sink::Nameless(writer, target) => unbuffered(writer).and_then(|file| name_it(&file, &target)),
            Sink::Named(writer, target) => unbuffered(writer).and_then(|file| {
                file.as_file().sync_all()?;
                file.persist(target).map(drop).map_err(|failed| failed.error)
            }),
        }
        .map_err(|error| Refusal::io(name, "write", &error))
    }
}

fn unbuffered<W: Write>(writer: BufWriter<W>) -> io::Result<W> {
    writer.into_inner().map_err(io::IntoInnerError::into_error)
}

/// Gives a nameless file the name of the target, replacing what had it.
#[cfg(target_os = "linux")]
fn name_it(file: &File, target: &Path) -> io::Result<()> {
    match link(file, target) {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
        other => return other,
    }
    // A link cannot replace a file, a rename can: so for a moment it has a name of its own.
    let mut name = target.as_os_str().to_owned();
    name.push(format!(".{}.new", std::process::id()));
    let beside = PathBuf::from(name);
    link(file, &beside)?;
    fs::rename(&beside, target).inspect_err(|_| drop(fs::remove_file(&beside)))
}

/// Gives a nameless file a name that nothing has. Its bytes are on the disk then.
#[cfg(target_os = "linux")]
fn link(file: &File, name: &Path) -> io::Result<()> {
    use rustix::fs::{AtFlags, CWD, linkat};
    use std::os::fd::AsRawFd;
    file.sync_all()?;
    let source = format!("/proc/self/fd/{}", file.as_raw_fd());
    linkat(CWD, &source, CWD, name, AtFlags::SYMLINK_FOLLOW).map_err(io::Error::from)
}

/// Makes a file appear whole under a name that nothing has. What has the name by then stays as it is.
///
/// # Errors
/// When it cannot be written; nothing is left behind then.
pub fn place_new(target: &Path, bytes: &[u8]) -> io::Result<()> {
    let placed = match begin(folder_of(target), target)? {
        #[cfg(target_os = "linux")]
        Sink::Nameless(mut writer, _) => {
            writer.write_all(bytes)?;
            link(&unbuffered(writer)?, target)
        }
        Sink::Named(mut writer, _) => {
            writer.write_all(bytes)?;
            let file = unbuffered(writer)?;
            file.as_file().sync_all()?;
            file.persist_noclobber(target).map(drop).map_err(|failed| failed.error)
        }
        // Nothing that streams is begun.
        Sink::Stream(..) => Ok(()),
    };
    match placed {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Ok(()),
        other => other,
    }
}

impl Write for Output {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = match &mut self.sink {
            Sink::Stream(writer, _) => writer.write(bytes),
            #[cfg(target_os = "linux")]
            Sink::Nameless(writer, _) => writer.write(bytes),
            Sink::Named(writer, _) => writer.write(bytes),
        }?;
        self.written += written as u64;
        #[cfg(target_os = "linux")]
        self.send_off();
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        match &mut self.sink {
            Sink::Stream(writer, _) => writer.flush(),
            #[cfg(target_os = "linux")]
            Sink::Nameless(writer, _) => writer.flush(),
            Sink::Named(writer, _) => writer.flush(),
        }
    }
}

/// Writes a whole output at once.
///
/// # Errors
/// As for [`create`] and [`Output::finish`].
pub fn write(path: &Path, bytes: &[u8], ctx: &Context) -> Result<(), Refusal> {
    let mut output = create(path, ctx)?;
    output.write_all(bytes).map_err(|error| output.refusal(&error))?;
    output.finish()
}
