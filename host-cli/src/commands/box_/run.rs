//! `box run`: the box moves the axis through a test and reads; the readings become a file.

use super::{on, open};
use crate::assessment::document::Document;
use crate::assessment::{self, slip};
use crate::context::Context;
use crate::exit::Outcome;
use crate::input;
use crate::key_args::KeyArgs;
use crate::pace_args::PaceArgs;
use crate::plan_args::{self, Of, positioning, returns, small_steps, warming};
use crate::probe_box::{Arming, Heard, Job, Session, Trouble};
use crate::refusal::Refusal;
use crate::sitting::plan::Plan;
use crate::sitting::{Sitting, head};
use crate::units::{Print, word};
use std::io::{self, IsTerminal, Write};
use std::path::PathBuf;
use std::time::{Duration, Instant};
use takeup_core::length::Length;
use takeup_core::link::Ended;
use takeup_core::link::message::{Correction, StopCause};
use takeup_core::measure::routine;

/// Arguments of `box run`.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE_REVERSAL)]
pub struct Args {
    /// The kind of test
    #[command(subcommand)]
    kind: Kind,
}

#[derive(Debug, clap::Subcommand)]
enum Kind {
    /// At each station, arrive from + and from - in turn
    #[command(long_about = long_about("reversal"), override_usage = "takeup box run reversal [OPTIONS] --box <PORT> --station <AT> -o <FILE>", after_help = EXAMPLE_REVERSAL)]
    Reversal(Of<plan_args::PlanArgs, Running>),
    /// Targets over the travel, runs up and runs down
    #[command(long_about = long_about("positioning"), override_usage = "takeup box run positioning [OPTIONS] --box <PORT> --target <AT> -o <FILE>", after_help = EXAMPLE_POSITIONING)]
    Positioning(Of<positioning::PlanArgs, Running>),
    /// A staircase of small steps up, then down, then up
    #[command(long_about = long_about("small-steps"), override_usage = "takeup box run small-steps [OPTIONS] --box <PORT> --start <AT> -o <FILE>", after_help = EXAMPLE_SMALL_STEPS)]
    SmallSteps(Of<small_steps::PlanArgs, Running>),
    /// Many lifts and returns to one mark, some after a pause
    #[command(long_about = long_about("return"), override_usage = "takeup box run return [OPTIONS] --box <PORT> --mark <AT> -o <FILE>", after_help = EXAMPLE_RETURN)]
    Return(Of<returns::PlanArgs, Running>),
    /// One place over time, the axis working between readings
    #[command(long_about = long_about("warm-up"), override_usage = "takeup box run warm-up [OPTIONS] --box <PORT> --mark <AT> -o <FILE>", after_help = EXAMPLE_WARM_UP)]
    WarmUp(Of<warming::PlanArgs, Running>),
}

const EXAMPLE_REVERSAL: &str = "Example:\n  takeup box run reversal --box /dev/ttyACM0 --axis z --station 0,-40 \\\n    \
                                --stands-at 0 -o z.csv";
const EXAMPLE_POSITIONING: &str = "Example:\n  takeup box run positioning --box /dev/ttyACM0 --axis x --from 0 --to 400 \\\n    \
                                   --stands-at 0 -o x.csv";
const EXAMPLE_SMALL_STEPS: &str = "Example:\n  takeup box run small-steps --box /dev/ttyACM0 --axis z --start -40 \\\n    \
                                   --stands-at 0 -o z.csv";
const EXAMPLE_RETURN: &str = "Example:\n  takeup box run return --box /dev/ttyACM0 --axis z --mark -40 \\\n    \
                              --stands-at 0 -o z.csv";

const EXAMPLE_WARM_UP: &str = "Example:\n  takeup box run warm-up --box /dev/ttyACM0 --axis z --mark -40 --stroke 50 \\\n    \
                               --stands-at 0 -o z.csv\n\n\
                               The indicator follows every stroke: a scale, or a stroke within a dial's travel.";

fn long_about(kind: &str) -> String {
    format!(
        "Let the box run a {kind} test: it moves the axis and reads its indicator.\n\n\
         Nothing moves before the axis, the range and the speed were shown and \"arm\" was typed. The box stops the \
         axis within 50 ms when this program ends or the cable is pulled, when the emergency stop is pressed, and \
         when the indicator leaves its range or does not follow; then it must be armed again. After a pulled cable \
         the test goes on where it was. Every reading is on disk before the next is taken; at the end they are \
         assessed."
    )
}

/// How it is run, whatever the test.
#[derive(Debug, clap::Args)]
struct Running {
    /// Serial port of the box, or tcp:HOST:PORT
    #[arg(id = "probe_box", long = "box", value_name = "PORT")]
    port: String,
    /// Readings file to write; it must not exist yet
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    #[command(flatten)]
    pace: PaceArgs,
    /// Correct the places by the table in the box, to see what it leaves
    #[arg(long)]
    corrected: bool,
    /// Seconds to wait for a cable that was pulled
    #[arg(long, value_name = "SECONDS", default_value_t = 120)]
    patience: u16,
    /// What is known of the indicator and the machine
    #[command(flatten)]
    keys: KeyArgs,
}

/// Runs the test.
///
/// # Errors
/// When it is not run to its end; the readings taken until then are kept.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let (plan, running) = match &args.kind {
        Kind::Reversal(of) => (Plan::of_reversal(&of.plan.planned(ctx)?)?, &of.how),
        Kind::Positioning(of) => {
            let pitch = of.how.keys.pitch(ctx.units());
            (Plan::of_positioning(&of.plan.planned(pitch, ctx)?)?, &of.how)
        }
        Kind::SmallSteps(of) => (Plan::of_small_steps(&of.plan.planned(ctx)?), &of.how),
        Kind::Return(of) => (Plan::of_returns(&of.plan.planned(ctx)?), &of.how),
        Kind::WarmUp(of) => (Plan::of_warming(&of.plan.planned(ctx)?)?, &of.how),
    };
    let pace = running.pace.pace(plan.unit)?;
    let job = Job::of(&plan, pace).ok_or_else(|| Trouble::OtherKinds.refusal(&running.port))?;
    let correction = if running.corrected { Correction::Table } else { Correction::Off };
    let job = Job { correction, ..job };
    Test { plan: &plan, job: &job, stands_at: pace.stands_at, running, ctx }.run()
}

struct Test<'a> {
    plan: &'a Plan,
    job: &'a Job,
    stands_at: Option<Length>,
    running: &'a Running,
    ctx: &'a Context,
}

/// How far it came.
enum End {
    Done,
    /// The link is gone, or was too long; it can be taken up again.
    Unplugged(Trouble),
    Failed(Trouble),
}

impl Test<'_> {
    fn run(&self) -> Result<Outcome, Refusal> {
        let Running { output, port, keys, .. } = self.running;
        if input::is_dash(output) {
            return Err(Refusal::new("readings cannot go to standard output", "Name a file with -o."));
        }
        if output.exists() {
            return Err(Refusal::new(
                "the file is there already, and the indicator may have been set anew since",
                "Name another file with -o.",
            )
            .path(output));
        }
        keys.keys(self.plan.unit)?;
        self.ctx.take_stdin()?;
        let mut session = open(port)?;
        if let Some(at) = self.stands_at {
            session.stands(at).map_err(on(port))?;
        }
        // Before anything is written: what the box would refuse, it refuses here.
        let mut confirmed = self.arm(&mut session)?.map_err(on(port))?;
        let about = session.capabilities();
        let head = head(self.plan, keys, Some(about.count), Some(&self.job.taken_by(about)))?;
        let mut sitting = Sitting::open(output, &head, self.plan, keys, self.ctx)?;
        let began = Instant::now();
        loop {
            match self.take(&mut session, &mut sitting, began)? {
                End::Done => break,
                End::Failed(trouble) => return Err(self.ended(&trouble, &sitting)),
                End::Unplugged(trouble) => {
                    session = self.taken_up_again(session, trouble, &mut confirmed, &sitting)?;
                }
            }
        }
        drop((session, sitting));
        let print = Print { unit: self.plan.unit };
        let assessed = assessment::of_file(output, |units| keys.keys(units), self.ctx)?;
        let outcome = if assessed.is_over() { Outcome::Adverse } else { Outcome::Good };
        self.ctx.answer(
            &Document::of(&assessed, print),
            || slip::of(&assessed, print, self.ctx.screen()),
            outcome,
        )
    }

    /// Shows what will move, asks, and arms. Gives the number of the session, or the trouble with it; a refusal is final.
    fn arm(&self, session: &mut Session) -> Result<Result<u16, Trouble>, Refusal> {
        let port = &self.running.port;
        let unit = self.plan.unit;
        let about = session.capabilities().clone();
        let state = match session.state() {
            Ok(state) => state,
            Err(trouble) => return Ok(Err(trouble)),
        };
        let stands = state.position.ok_or_else(|| {
            let refusal = takeup_core::link::message::Refusal::NoPosition;
            Trouble::Refused(refusal).refusal(port)
        })?;
        if !about.kinds.has(self.job.routine.kind()) {
            return Err(Trouble::OtherKinds.refusal(port));
        }
        if about.axis != self.job.axis {
            return Err(Refusal::new(
                format!("the box drives axis {}, not {}", about.axis, self.job.axis),
                "Name the axis that it is wired to, or set the box up for the other.",
            )
            .file(port));
        }
        let arming =
            Arming::of(self.job, &about, stands).map_err(|bad| plan_args::refused_plan(bad, unit))?;
        let at = |length| format!("{}{}", arming.axis, word(length, unit));
        if arming.low < about.low || arming.high > about.high {
            return Err(Refusal::new(
                format!(
                    "the test moves from {} to {} {unit}, the box allows {} to {}",
                    at(arming.low),
                    at(arming.high),
                    at(about.low),
                    at(about.high)
                ),
                "Choose places within its limits, or widen them by \"takeup box set\".",
            )
            .file(port));
        }
        let works = (self.plan.kind == routine::Kind::WarmUp).then_some(WORKS);
        for caution in CAUTIONS.into_iter().chain(works) {
            self.ctx.note(&format!("caution: {caution}"));
        }
        self.ctx.note(&format!(
            "the box will move {} from {} to {} {unit}, at {} {unit}/s at most; now it stands at {} {unit}",
            arming.axis,
            at(arming.low),
            at(arming.high),
            word(arming.speed, unit),
            at(stands),
        ));
        self.confirmed()?;
        Ok(session.arm(&arming).map(|()| state.sessions))
    }

    /// Waits for the word.
    fn confirmed(&self) -> Result<(), Refusal> {
        let end = if io::stdin().is_terminal() { " " } else { "\n" };
        let _ = write!(io::stderr(), "Type \"arm\" to let it move, anything else to leave it:{end}");
        let _ = io::stderr().flush();
        let mut line = Vec::new();
        let found = input::read_line(&mut io::stdin().lock(), &mut line, 1024);
        if matches!(found, Ok(true)) && String::from_utf8_lossy(&line).trim().eq_ignore_ascii_case("arm") {
            return Ok(());
        }
        Err(Refusal::new("not armed: nothing was moved", "Type \"arm\" when everything is clear."))
    }

    /// Runs from the first row that is not taken yet.
    fn take(&self, session: &mut Session, sitting: &mut Sitting<'_>, began: Instant) -> Result<End, Refusal> {
        let next = u32::try_from(sitting.next_row()).unwrap_or(u32::MAX);
        if sitting.stop().is_none() {
            return Ok(End::Done);
        }
        // Times go on from before a pulled cable.
        let offset_s = began.elapsed().as_secs_f64();
        if let Err(trouble) = session.run(self.job, next) {
            return Ok(sorted(trouble));
        }
        loop {
            match session.hear(Duration::from_millis(100)) {
                Ok(Some(Heard::Reading(reading))) => {
                    let expected = sitting.stop().map(|stop| (stop.row, stop.target, stop.approach));
                    if expected != Some((reading.row, Some(reading.target), Some(reading.approach))) {
                        return Ok(End::Failed(Trouble::OtherPlan));
                    }
                    sitting.take(reading.value, Some(offset_s + reading.time_s))?;
                    self.show(sitting, reading.value);
                }
                Ok(Some(Heard::Finished)) => {
                    return Ok(match sitting.stop() {
                        None => End::Done,
                        Some(_) => End::Failed(Trouble::Unexpected),
                    });
                }
                // Nobody here asks for a stop but the session, when it finds itself alone.
                Ok(Some(Heard::Stopped(StopCause::Asked))) => return Ok(sorted(Trouble::NobodyListened)),
                Ok(Some(Heard::Stopped(cause))) => return Ok(sorted(Trouble::Stopped(cause))),
                Ok(Some(Heard::Sample(_)) | None) => {}
                Err(trouble) => return Ok(sorted(trouble)),
            }
        }
    }

    fn show(&self, sitting: &Sitting<'_>, value: Length) {
        if !self.ctx.shows_progress() {
            return;
        }
        let print = Print { unit: self.plan.unit };
        let (taken, all) = (sitting.taken(), self.plan.stops.len());
        let _ = writeln!(io::stderr(), "  reading {taken} of {all}: {}", print.with_unit(value.as_mm()));
    }

    /// Waits for the box to come back, and arms it again; as often as the line needs.
    fn taken_up_again(
        &self,
        mut session: Session,
        mut trouble: Trouble,
        confirmed: &mut u16,
        sitting: &Sitting<'_>,
    ) -> Result<Session, Refusal> {
        loop {
            session = self.plugged_again(session, &trouble, sitting)?;
            let again = self.as_it_was(&mut session, confirmed, sitting)?;
            let armed = match again {
                Ok(()) => self.arm(&mut session).map_err(|refusal| self.kept(&refusal, sitting))?,
                Err(trouble) => Err(trouble),
            };
            match armed.map_err(sorted) {
                Ok(_) => return Ok(session),
                Err(End::Unplugged(again)) => trouble = again,
                Err(End::Failed(trouble)) => return Err(self.ended(&trouble, sitting)),
                Err(End::Done) => return Err(self.ended(&Trouble::Unexpected, sitting)),
            }
        }
    }

    /// Waits for the box to come back.
    fn plugged_again(
        &self,
        session: Session,
        trouble: &Trouble,
        sitting: &Sitting<'_>,
    ) -> Result<Session, Refusal> {
        drop(session);
        let way_out = match trouble {
            Trouble::NobodyListened => trouble.way_out(),
            _ => "Check the cable.",
        };
        self.ctx.note(&format!(
            "{trouble}; {} of {} readings are kept, and the axis stands. {way_out}",
            sitting.taken(),
            self.plan.stops.len(),
        ));
        let start = Instant::now();
        let patience = Duration::from_secs(self.running.patience.into());
        loop {
            match Session::open(&self.running.port) {
                Ok(session) => return Ok(session),
                Err(again) if start.elapsed() > patience => return Err(self.ended(&again, sitting)),
                Err(_) => std::thread::sleep(Duration::from_millis(250)),
            }
        }
    }

    /// Sees that the box is as it was, or gives the trouble with the line; a refusal is final.
    fn as_it_was(
        &self,
        session: &mut Session,
        confirmed: &mut u16,
        sitting: &Sitting<'_>,
    ) -> Result<Result<(), Trouble>, Refusal> {
        let state = match session.state() {
            Ok(state) => state,
            Err(trouble) => return Ok(Err(trouble)),
        };
        if state.sessions <= *confirmed {
            return Err(self.ended(&Trouble::StartedAnew, sitting));
        }
        if state.position.is_none() {
            let why = Refusal::new(
                "the box does not know any more where the axis stands",
                "Begin again with another file, and --stands-at.",
            );
            return Err(self.kept(&why, sitting));
        }
        *confirmed = state.sessions;
        Ok(Ok(()))
    }

    fn ended(&self, trouble: &Trouble, sitting: &Sitting<'_>) -> Refusal {
        self.kept(&trouble.refusal(&self.running.port), sitting)
    }

    /// A refusal that says what was kept.
    fn kept(&self, refusal: &Refusal, sitting: &Sitting<'_>) -> Refusal {
        let (taken, all) = (sitting.taken(), self.plan.stops.len());
        Refusal::new(
            format!("{refusal}; {taken} of {all} readings are kept in {}", sitting.name()),
            refusal.way_out().unwrap_or("Begin again with another file."),
        )
    }
}

/// What can be taken up again, and what cannot.
fn sorted(trouble: Trouble) -> End {
    match trouble {
        Trouble::Port(_)
        | Trouble::NobodyListened
        | Trouble::Stopped(StopCause::LinkLost)
        | Trouble::Ended(Ended::Silent { .. } | Ended::NotAcknowledged { .. } | Ended::Closed) => {
            End::Unplugged(trouble)
        }
        Trouble::NoAnswer
        | Trouble::Ended(_)
        | Trouble::Refused(_)
        | Trouble::Stopped(_)
        | Trouble::OtherKinds
        | Trouble::StartedAnew
        | Trouble::Unexpected
        | Trouble::OtherPlan => End::Failed(trouble),
    }
}

const CAUTIONS: [&str; 5] = [
    "spindle off and locked out; nothing but the indicator near the table",
    "hand on the emergency stop; nobody reaches in while drives are live",
    "indicator clear before any long move, and more free travel than two overruns",
    "a vertical axis is held by its brake or a block before anything that holds it is loosened",
    "the maker's manual, local rules and qualified people come first",
];
/// What holds besides where the axis works.
const WORKS: &str = "the axis works to and fro by itself for a long time: stay with it, guards closed";
