//! A sitting in plain lines: for pipes, for terminals that cannot do more, and for readers of the screen.

use super::Sitting;
use super::feed::{Feed, News, Sent};
use super::plan::{Act, Stop};
use crate::context::Context;
use crate::input::{self, LineError};
use crate::refusal::Refusal;
use crate::units::{LengthArg, counted};
use std::io::{self, Write};
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::time::Duration;
use takeup_core::axis::Direction;
use takeup_core::length::Length;

/// Who is at the other end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Company {
    /// A person, who can be asked to look again.
    Person,
    /// A file or a pipe: whatever it says next is the next reading.
    Nobody,
}

/// Takes the readings that are left, from a keyboard or from a feed.
///
/// # Errors
/// When it is paused or a reading cannot be written.
pub fn run(
    sitting: &mut Sitting<'_>,
    feed: Option<&mut dyn Feed>,
    company: Company,
    ctx: &Context,
) -> Result<(), Refusal> {
    begin(sitting, feed.as_deref(), ctx);
    match feed {
        Some(feed) => fed(sitting, feed, company, ctx),
        None => typed(sitting, company, ctx),
    }
}

fn begin(sitting: &Sitting<'_>, feed: Option<&dyn Feed>, ctx: &Context) {
    ctx.note(&format!("{} readings of {}", sitting.plan.stops.len(), sitting.plan.axis));
    for caution in sitting.cautions() {
        ctx.note(&format!("caution: {caution}"));
    }
    match feed {
        None => ctx.note(
            "type each reading; u takes the last one back, r puts it back, q pauses, ? says this again",
        ),
        Some(feed) if feed.moves_axis() => ctx.note("the box moves and reads; Enter stops it, q pauses"),
        Some(feed) => feed.hint().into_iter().for_each(|hint| ctx.note(hint)),
    }
    if sitting.taken() > 0 {
        ctx.note(&format!(
            "going on after {} in {}",
            counted(sitting.taken() as u64, "reading"),
            sitting.name()
        ));
    }
}

/// What is to be done for a reading, in one line.
#[must_use]
pub fn prompt(sitting: &Sitting<'_>, stop: &Stop) -> String {
    let plan = sitting.plan;
    let mut text = format!("row {}", stop.row);
    if let Some(cycle) = stop.cycle {
        text.push_str(&format!(", cycle {cycle}"));
    }
    let moves: Vec<_> = stop
        .acts
        .iter()
        .map(|act| match act {
            Act::Go(to) | Act::Arrive(to) => format!("{}{}", plan.axis, plan.word(*to)),
            Act::Pause(_) | Act::Work(_) | Act::Push(_) | Act::Face(_) => {
                plan.words(*act, stop.approach).to_lowercase().replace(" n", " N")
            }
        })
        .collect();
    text.push_str(&format!(": {}", moves.join(" then ")));
    match stop.approach.filter(|_| stop.target.is_some()) {
        Some(Direction::Plus) => text.push_str(", arriving from below"),
        Some(Direction::Minus) => text.push_str(", arriving from above"),
        None => {}
    }
    text
}

/// Tells where the readings point, when a cycle is whole: with half of it the estimate would only wander.
fn so_far(sitting: &Sitting<'_>, ctx: &Context) {
    if sitting.taken().is_multiple_of(2)
        && sitting.stop().is_some()
        && let Some(so_far) = sitting.so_far()
    {
        let more = so_far.more.map_or_else(String::new, |more| format!("; {more}"));
        ctx.note(&format!("so far {}{more}", so_far.line));
    }
}

fn typed(sitting: &mut Sitting<'_>, company: Company, ctx: &Context) -> Result<(), Refusal> {
    let mut stdin = io::stdin().lock();
    let mut line = Vec::new();
    while let Some(stop) = sitting.stop() {
        let asked = format!("{}. Reading ({}): ", prompt(sitting, stop), sitting.plan.unit);
        // What is typed ends the line of a person; nobody's answers are not to be seen.
        let _ = match company {
            Company::Person => write!(io::stderr(), "{asked}"),
            Company::Nobody => writeln!(io::stderr(), "{}", asked.trim_end()),
        };
        match input::read_line(&mut stdin, &mut line, 1024) {
            Ok(true) => {}
            Ok(false) => return Err(sitting.paused()),
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
            "u" | "U" => step_back(sitting, "u", ctx)?,
            "r" | "R" => step_back(sitting, "r", ctx)?,
            "q" | "Q" => return Err(sitting.paused()),
            "?" => begin(sitting, None, ctx),
            number => match number.parse::<LengthArg>() {
                Ok(value) => {
                    let value = value.length(sitting.plan.unit);
                    if let Some(doubt) = doubt(sitting, value, company, ctx) {
                        ctx.note(&format!("{doubt}: read again; type it once more to keep it"));
                        continue;
                    }
                    sitting.take(value, None)?;
                    so_far(sitting, ctx);
                }
                Err(reason) => ctx.note(&format!("{reason}; type it again")),
            },
        }
    }
    Ok(())
}

/// Whether to ask again, with the reason. Where nobody can answer it is only said.
fn doubt(sitting: &mut Sitting<'_>, value: Length, company: Company, ctx: &Context) -> Option<String> {
    let doubt = sitting.doubt(value)?;
    if company == Company::Nobody {
        ctx.note(&format!("row {}: {doubt}; kept as it is", sitting.next_row()));
        return None;
    }
    Some(doubt)
}

/// What is typed while a feed is read, line by line.
fn typed_lines() -> Receiver<String> {
    let (sender, lines) = channel();
    std::thread::spawn(move || {
        let mut line = Vec::new();
        while input::read_line(&mut io::stdin().lock(), &mut line, 1024).is_ok_and(|more| more)
            && sender.send(String::from_utf8_lossy(&line).trim().to_lowercase()).is_ok()
        {}
    });
    lines
}

/// Waits until a person allows motion, having been told what it will be.
fn allow(
    sitting: &Sitting<'_>,
    feed: &mut dyn Feed,
    typed: Option<&Receiver<String>>,
    ctx: &Context,
) -> Result<(), Refusal> {
    for caution in feed.cautions() {
        ctx.note(&format!("caution: {caution}"));
    }
    loop {
        ctx.note("type arm to let it move, q to leave");
        // Nothing is missed meanwhile: what does not move sends nothing that counts.
        match typed.and_then(|lines| lines.recv().ok()).as_deref() {
            Some("arm") => return Ok(()),
            Some("q") | None => return Err(sitting.paused()),
            Some(_) => {}
        }
    }
}

/// Takes the last reading back, or puts it back, and says so.
fn step_back(sitting: &mut Sitting<'_>, word: &str, ctx: &Context) -> Result<(), Refusal> {
    let (moved, done, nothing) = match word {
        "u" => (sitting.undo()?, "is taken back", "there is no reading to take back"),
        _ => (sitting.redo()?, "is put back", "there is no reading to put back"),
    };
    match moved {
        Some(row) => ctx.note(&format!("{} {done}", sitting.shown(row.value))),
        None => ctx.note(nothing),
    }
    Ok(())
}

fn fed(
    sitting: &mut Sitting<'_>,
    feed: &mut dyn Feed,
    company: Company,
    ctx: &Context,
) -> Result<(), Refusal> {
    const WAIT: Duration = Duration::from_millis(100);
    // Without a person lines are waited for only where nothing goes on without them.
    let needs_word = feed.moves_axis() || feed.is_watched();
    let typed = (needs_word || company == Company::Person).then(typed_lines);
    let mut allowed = !feed.moves_axis();
    let mut shown = None;
    while let Some(stop) = sitting.stop() {
        // A feed that needs nobody needs no telling either.
        if feed.hint().is_some() {
            ctx.note(&prompt(sitting, stop));
        }
        let row = sitting.next_row();
        let mut first = if allowed { feed.aim(stop)? } else { None };
        while sitting.next_row() == row {
            if !allowed {
                allow(sitting, feed, typed.as_ref(), ctx)?;
                allowed = true;
                first = sitting.stop().map_or(Ok(None), |stop| feed.aim(stop))?;
            }
            let mut meant = None;
            match first.take().or_else(|| feed.news(WAIT)) {
                Some(News::Shows { value, sent: Sent::OfRow { row, ago_s } }) => {
                    if let Some(kept) = sitting.take_row(row, value, ago_s)? {
                        ctx.note(&kept);
                        so_far(sitting, ctx);
                    }
                    continue;
                }
                Some(News::Halted(halt)) => {
                    ctx.note(&halt.reason);
                    if !halt.goes_on {
                        return Err(sitting.paused());
                    }
                    allowed = false;
                }
                Some(News::Shows { value, sent: Sent::Meant(time_s) }) => meant = Some((value, time_s)),
                Some(News::Shows { value, .. }) => shown = Some(value),
                Some(News::Says(text)) => ctx.note(&text),
                Some(News::Ended(refusal)) => {
                    ctx.note(&sitting.progress());
                    return Err(refusal);
                }
                None => {}
            }
            let line = match typed.as_ref().map(Receiver::try_recv) {
                Some(Ok(line)) => Some(line),
                // Nobody will ever say that what is shown is a reading.
                Some(Err(TryRecvError::Disconnected)) if feed.is_watched() => return Err(sitting.paused()),
                Some(Err(_)) | None => None,
            };
            // Whatever is typed stops what moves the axis: it goes on only when it is armed again.
            if line.is_some() && feed.halt() {
                ctx.note("stopped");
                allowed = false;
            }
            match line.as_deref() {
                Some(word @ ("u" | "r")) => step_back(sitting, word, ctx)?,
                Some("q") => return Err(sitting.paused()),
                // What moves the axis reads it too: nothing is taken from it on the way.
                Some(_) if feed.moves_axis() => {}
                Some("") => meant = meant.or(shown.map(|value| (value, None))),
                Some(_) => ctx.note("Enter takes what is shown, u takes the last one back, q pauses"),
                None => {}
            }
            if let Some((value, time_s)) = meant {
                if let Some(doubt) = doubt(sitting, value, company, ctx) {
                    ctx.note(&format!("{doubt}: read again; the same once more is kept"));
                    continue;
                }
                sitting.take(value, time_s)?;
                if feed.hint().is_some() {
                    let kept = sitting.shown(value);
                    ctx.note(&format!("row {row}: {kept} is kept"));
                    so_far(sitting, ctx);
                }
            }
        }
    }
    Ok(())
}
