//! `measure`: readings taken one by one, each on disk before the next is asked for.
//!
//! The readings file is the only state: a line that ends is an accepted reading, a line that does
//! not end was never acknowledged and is taken again. So the same command goes on after a pause, a
//! crash or a power cut exactly where it was.

use crate::assessment::document::Document;
use crate::assessment::{self, slip};
use crate::context::Context;
use crate::exit::Outcome;
use crate::input::{self, LineError};
use crate::output;
use crate::plan_args::{PlanArgs, Planned};
use crate::readings::Sheet;
use crate::readings::keys::Keys;
use crate::refusal::Refusal;
use crate::units::{LengthArg, Print, decimals};
use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use takeup_core::axis::Direction;
use takeup_core::length::Length;
use takeup_core::measure::routine::{Step, Stop};
use takeup_core::slack::simulated::{Dial, Faults, Noise, SimulatedAxis};

/// Arguments of `measure`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The kind of test
    #[command(subcommand)]
    kind: Kind,
}

#[derive(Debug, clap::Subcommand)]
enum Kind {
    /// At each station, arrive from + and from - in turn
    #[command(long_about = LONG_ABOUT)]
    Reversal(Reversal),
}

const LONG_ABOUT: &str = "Take the readings of a reversal test, one after another.\n\n\
    For each reading it says where to move the axis and waits for a number, in --units. \"u\" takes the last \
    reading back, \"q\" pauses; the same command goes on where it was, after a crash too. Every reading is on \
    disk before the next is asked for. At the end they are assessed.";

/// Arguments of `measure reversal`.
#[derive(Debug, clap::Args)]
#[command(
    override_usage = "takeup measure reversal [OPTIONS] --axis <AXIS> --station <AT> -o <FILE>",
    after_help = "Example:\n  takeup measure reversal --axis z --station 0 --station -40 -o z.csv"
)]
struct Reversal {
    /// Where and how often
    #[command(flatten)]
    plan: PlanArgs,
    /// Readings file to write, or to go on with
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// Readings are typed, one number a line (the default)
    #[arg(long, conflicts_with = "simulate")]
    typed: bool,
    /// Read a simulated axis instead, to try it out
    #[arg(long)]
    simulate: bool,
    /// Lost motion of the simulated axis [default: 0.12 mm]
    #[arg(long, value_name = "LENGTH", requires = "simulate")]
    simulated_loss: Option<LengthArg>,
    /// Seed of the simulated axis
    #[arg(long, value_name = "NUMBER", default_value_t = 1, requires = "simulate")]
    seed: u64,
    /// Lost motion allowed
    #[arg(long, value_name = "LENGTH")]
    limit: Option<LengthArg>,
    /// Smallest step in which the indicator is read
    #[arg(long, value_name = "LENGTH")]
    resolution: Option<LengthArg>,
}

/// Takes the readings.
///
/// # Errors
/// When it is paused, or the file holds another test, or cannot be written.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let Kind::Reversal(args) = &args.kind;
    let planned = args.plan.planned(ctx)?;
    if input::is_dash(&args.output) {
        return Err(Refusal::new("readings cannot go to standard output", "Name a file with -o."));
    }
    let mut source = source(args, &planned, ctx)?;
    let head = head(args, &planned);
    let mut record = Record::open(&args.output, &head, &planned, ctx)?;
    let stops: Vec<Stop> = planned.plan()?.stops().collect();
    begin(&record, &planned, stops.len(), ctx);
    while let Some(&stop) = stops.get(record.taken()) {
        match source.next(stop, &planned)? {
            Entry::Reading { value, time_s } => {
                record.append(stop, value, time_s, &planned)?;
                // Both approaches of a cycle are in; with one of them the estimate would only wander.
                if !args.simulate && record.taken().is_multiple_of(2) && record.taken() < stops.len() {
                    so_far(&args.output, &planned, ctx);
                }
            }
            Entry::Undo => {
                if !record.undo()? {
                    ctx.note("there is no reading to take back");
                }
            }
            Entry::Pause => {
                let (taken, all) = (record.taken(), stops.len());
                return Err(Refusal::new(
                    format!("paused: {taken} of {all} readings are taken, and kept"),
                    "Give the same command again to go on.",
                )
                .path(&args.output));
            }
        }
    }
    drop(record);
    let print = Print { unit: planned.unit };
    let assessed = assessment::of_file(&args.output, |_| Ok(Keys::default()), ctx)?;
    ctx.answer(
        &Document::of(&assessed, print),
        || slip::of(&assessed, print, ctx.screen()),
        if assessed.is_over() { Outcome::Adverse } else { Outcome::Good },
    )
}

/// What stands above the first row of a new file.
fn head(args: &Reversal, planned: &Planned) -> String {
    let mut head = planned.keys();
    let mut length = |key: &str, arg: Option<LengthArg>| {
        if let Some(arg) = arg {
            head.push_str(&format!("# {key}: {}\n", planned.word(arg.length(planned.unit))));
        }
    };
    length("limit", args.limit);
    length("resolution", args.resolution);
    if args.simulate {
        head.push_str(&format!("# Simulated axis, seed {}\n", args.seed));
    }
    head.push_str(&format!("# taken: {}\n", jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ")));
    head.push_str("row,cycle,target,approach,reading,time\n");
    head
}

/// Tells the person where the readings point, as soon as they do.
fn so_far(path: &Path, planned: &Planned, ctx: &Context) {
    // Too little to say anything yet is no news.
    let Ok(assessed) = assessment::of_file(path, |_| Ok(Keys::default()), ctx) else { return };
    ctx.note(&format!("so far {}", slip::one_line(&assessed, Print { unit: planned.unit })));
}

/// What can be typed, whatever is asked for.
const KEYS: &str = "type each reading; u takes the last one back, q pauses";

fn begin(record: &Record, planned: &Planned, all: usize, ctx: &Context) {
    let (low, high) = planned.travel();
    let axis = planned.axis;
    ctx.note(&format!(
        "{all} readings, the command runs from {axis}{} to {axis}{} {}",
        planned.word(low),
        planned.word(high),
        planned.unit
    ));
    ctx.note("caution: spindle off and locked out, hand on the emergency stop, nobody reaches in");
    ctx.note(KEYS);
    if record.taken() > 0 {
        ctx.note(&format!("going on after {} readings in {}", record.taken(), record.name));
    }
}

/// The readings file while it grows.
struct Record {
    name: String,
    file: File,
    /// Where each accepted row begins, and after them the end of the file.
    begins: Vec<u64>,
    /// The time that the file gives for its first reading.
    began: jiff::Timestamp,
    /// The latest time in the file, seconds since then.
    latest_s: f64,
}

impl Record {
    /// Opens a file and finds how far it got, or begins it.
    fn open(path: &Path, head: &str, planned: &Planned, ctx: &Context) -> Result<Self, Refusal> {
        if !path.exists() {
            output::write(path, head.as_bytes(), ctx)?;
        }
        let name = path.display().to_string();
        let refuse = |error: io::Error| Refusal::io(&name, "write", &error);
        let file = OpenOptions::new().append(true).open(path).map_err(refuse)?;
        if file.try_lock().is_err() {
            return Err(
                Refusal::new("another takeup measure is writing it", "End that one first.").file(&name)
            );
        }
        let bytes = input::read(path, crate::readings::MOST_BYTES, ctx)?;
        let whole = bytes.iter().rposition(|byte| *byte == b'\n').map_or(0, |end| end + 1);
        let accepted = bytes.get(..whole).unwrap_or_default();
        let mut record =
            Self { name, file, begins: Vec::new(), began: jiff::Timestamp::now(), latest_s: 0.0 };
        record.begins = record.check(accepted, planned)?;
        if whole < bytes.len() {
            // A row without its end was being written when the power went; it was never acknowledged.
            record.file.set_len(whole as u64).map_err(|error| record.refusal(&error))?;
        }
        Ok(record)
    }

    /// Checks that the file is of this test, row by row, and gives where its rows begin.
    fn check(&mut self, accepted: &[u8], planned: &Planned) -> Result<Vec<u64>, Refusal> {
        let name = self.name.clone();
        let other = |line: u64, what: &str| {
            Refusal::new(
                format!("the file holds another test: {what}"),
                "Name another file with -o, or give the command that began this one.",
            )
            .file(&name)
            .line(line)
        };
        let mut at = 0_u64;
        let mut begins = Vec::new();
        let mut header_line = None;
        for (line, text) in (1..).zip(accepted.split_inclusive(|byte| *byte == b'\n')) {
            if header_line.is_some() {
                begins.push(at);
            } else if text.starts_with(b"row,cycle,target,approach,reading,time") {
                header_line = Some(line);
            } else if let Some(taken) = text.strip_prefix(b"# taken: ") {
                let taken = String::from_utf8_lossy(taken);
                self.began = taken.trim().parse().unwrap_or(self.began);
            }
            at += text.len() as u64;
        }
        let Some(header_line) = header_line else {
            return Err(other(1, "it has not the header that \"takeup measure\" writes"));
        };
        if begins.is_empty() {
            begins.push(at);
            return Ok(begins);
        }
        let sheet = Sheet::parse(accepted, &self.name, planned.unit)?;
        if sheet.keys.axis != Some(planned.axis) || sheet.units != planned.unit {
            return Err(other(1, "its axis or its units differ"));
        }
        let readings = sheet.reversal_readings()?;
        if readings.len() != begins.len() {
            return Err(other(header_line, "it has lines between its rows"));
        }
        let mut stops = planned.plan()?.stops();
        for (reading, row) in readings.iter().zip(&sheet.rows) {
            let fits = stops.next().is_some_and(|stop| {
                (stop.target, stop.approach, stop.cycle) == (reading.target, reading.approach, reading.cycle)
            });
            if !fits {
                return Err(other(row.line, "this row is not in the plan"));
            }
        }
        self.latest_s = sheet.rows.last().and_then(|row| row.time_s).unwrap_or(0.0);
        begins.push(at);
        Ok(begins)
    }

    fn refusal(&self, error: &io::Error) -> Refusal {
        Refusal::io(&self.name, "write", error)
    }

    /// How many readings are taken.
    fn taken(&self) -> usize {
        self.begins.len().saturating_sub(1)
    }

    /// Writes a reading, and returns when it is on the disk.
    fn append(
        &mut self,
        stop: Stop,
        value: Length,
        time_s: Option<f64>,
        planned: &Planned,
    ) -> Result<(), Refusal> {
        let clock_s = (jiff::Timestamp::now() - self.began).as_secs_f64();
        // A clock that was set back must not make a file that cannot be read.
        let time_s = time_s.unwrap_or(clock_s).max(self.latest_s);
        self.latest_s = time_s;
        let row = format!("{},{},{}\n", planned.row(stop), planned.word(value), decimals(time_s, 1));
        self.file
            .write_all(row.as_bytes())
            .and_then(|()| self.file.sync_data())
            .map_err(|error| self.refusal(&error))?;
        let end = self.begins.last().copied().unwrap_or(0);
        self.begins.push(end + row.len() as u64);
        Ok(())
    }

    /// Takes the last reading back; `false` if there is none.
    fn undo(&mut self) -> Result<bool, Refusal> {
        if self.taken() == 0 {
            return Ok(false);
        }
        self.begins.pop();
        let end = self.begins.last().copied().unwrap_or(0);
        self.file.set_len(end).and_then(|()| self.file.sync_data()).map_err(|error| self.refusal(&error))?;
        Ok(true)
    }
}

/// What comes next.
enum Entry {
    /// A reading; the time of day counts where the source gives no time.
    Reading {
        value: Length,
        time_s: Option<f64>,
    },
    Undo,
    Pause,
}

/// Where readings come from.
enum Source<'a> {
    Typed(&'a Context),
    Simulated(Box<Simulated>),
}

struct Simulated {
    axis: SimulatedAxis,
    dial: Dial,
    noise: Noise,
    /// Readings yet to come, the first one last.
    to_come: Vec<Step>,
    time_s: f64,
}

fn source<'a>(args: &Reversal, planned: &Planned, ctx: &'a Context) -> Result<Source<'a>, Refusal> {
    if !args.simulate {
        ctx.take_stdin()?;
        return Ok(Source::Typed(ctx));
    }
    let clearance_mm = args.simulated_loss.map_or(0.12, |loss| loss.mm(planned.unit));
    if !(0.0..=10.0).contains(&clearance_mm) {
        return Err(Refusal::new("--simulated-loss is out of range", "Give 0 to 10 mm."));
    }
    let reference = planned.axis.usual_seat();
    let faults = Faults { reference, clearance_mm, ..Faults::default() };
    let mut to_come: Vec<Step> = planned.plan()?.steps().collect();
    to_come.reverse();
    Ok(Source::Simulated(Box::new(Simulated {
        axis: SimulatedAxis::new(faults, 0.0, reference),
        dial: Dial { resolution_mm: 0.001, noise_mm: 0.001, ..Dial::default() },
        noise: Noise::new(args.seed),
        to_come,
        time_s: 0.0,
    })))
}

impl Source<'_> {
    fn next(&mut self, stop: Stop, planned: &Planned) -> Result<Entry, Refusal> {
        match self {
            Source::Typed(ctx) => typed(stop, planned, ctx),
            Source::Simulated(simulated) => Ok(simulated.read(stop)),
        }
    }
}

impl Simulated {
    /// Carries the plan out up to a stop; those before it were read by the command that this one goes on with.
    fn read(&mut self, stop: Stop) -> Entry {
        while let Some(step) = self.to_come.pop() {
            match step {
                Step::Move { to, .. } => {
                    self.time_s += 2.0;
                    self.axis.move_to_mm(to.as_mm(), self.time_s, &mut self.noise);
                }
                Step::Read(at) => {
                    self.time_s += 3.0;
                    let position = self.axis.wait_until(self.time_s);
                    let value = self.dial.read_mm(position, &mut self.noise);
                    if at == stop {
                        let value = Length::from_mm(value).unwrap_or_default();
                        return Entry::Reading { value, time_s: Some(self.time_s) };
                    }
                }
            }
        }
        Entry::Pause
    }
}

/// Asks a person, until there is a number or a command.
fn typed(stop: Stop, planned: &Planned, ctx: &Context) -> Result<Entry, Refusal> {
    let axis = planned.axis;
    let (side, beyond) = match stop.approach {
        Direction::Plus => ("below", stop.target.saturating_sub(planned.overrun)),
        Direction::Minus => ("above", stop.target.saturating_add(planned.overrun)),
    };
    let mut stdin = io::stdin().lock();
    let mut line = Vec::new();
    loop {
        let _ = write!(
            io::stderr(),
            "row {}, cycle {}: {axis}{} then {axis}{}, arriving from {side}. Reading ({}): ",
            stop.row,
            stop.cycle,
            planned.word(beyond),
            planned.word(stop.target),
            planned.unit
        );
        match input::read_line(&mut stdin, &mut line, 1024) {
            Ok(true) => {}
            Ok(false) => return Ok(Entry::Pause),
            Err(LineError::TooLong(_)) => {
                return Err(Refusal::new(
                    "a line of more than 1024 bytes was typed",
                    "Type one number a line.",
                ));
            }
            Err(LineError::Io(error)) => return Err(Refusal::io(input::STDIN_NAME, "read", &error)),
        }
        let text = String::from_utf8_lossy(&line);
        match text.trim() {
            "" => {}
            "u" | "U" => return Ok(Entry::Undo),
            "q" | "Q" => return Ok(Entry::Pause),
            number => match number.parse::<LengthArg>() {
                Ok(value) => {
                    return Ok(Entry::Reading { value: value.length(planned.unit), time_s: None });
                }
                Err(reason) => ctx.note(&format!("{reason}; type it again")),
            },
        }
    }
}
