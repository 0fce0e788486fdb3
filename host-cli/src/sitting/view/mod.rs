//! A sitting on a whole terminal: what to do now and the dial in letters that are read from two metres.
//!
//! It is drawn on standard error, so that the answer can go to a file. Nothing is told by colour alone.

mod draw;
mod recent;

use self::recent::Recent;
use super::feed::{Feed, Halt, News, Sent};
use super::{Sitting, SoFar};
use crate::context::Context;
use crate::refusal::Refusal;
use crate::screen::Tone;
use crate::units::LengthArg;
use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use ratatui::crossterm::terminal::{
    BeginSynchronizedUpdate, EndSynchronizedUpdate, EnterAlternateScreen, LeaveAlternateScreen,
    disable_raw_mode, enable_raw_mode,
};
use ratatui::crossterm::{cursor, execute, queue};
use std::io::{self, BufWriter, Stderr};
use std::time::{Duration, Instant};
use takeup_core::length::Length;

/// How long a key is waited for before the feed is looked at again.
const TICK: Duration = Duration::from_millis(40);

/// The longest entry.
const LONGEST: usize = 14;

/// What the screen is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    /// The cautions, before the first move.
    Cautions,
    /// A reading is to be taken.
    Reading,
    /// All are taken.
    Complete,
    /// The keys and the cautions, over whatever was there.
    Help,
}

/// What is on the screen besides the sitting itself.
#[derive(Debug)]
struct Shown {
    stage: Stage,
    /// What is being typed.
    entry: String,
    /// What the indicator shows.
    dial: Option<Length>,
    /// What the person does to take a reading.
    hint: &'static str,
    message: Option<(Tone, String)>,
    /// What speaks against the reading that came last: it is to be read again.
    doubt: Option<String>,
    /// Whether what moved the axis has stopped, and was not allowed to go on since.
    stopped: bool,
    /// Whether it can go on here, once it is seen to.
    goes_on: bool,
    /// What the feed wants to be seen to before it begins.
    cautions: Vec<String>,
    /// Whether the axis is moved by the feed.
    moved_by_feed: bool,
    so_far: Option<SoFar>,
    colours: bool,
}

/// How a view was left.
enum Left {
    Complete,
    Paused,
}

/// Takes the readings that are left.
///
/// # Errors
/// When it is paused, the terminal fails, or a reading cannot be written.
pub fn run(sitting: &mut Sitting<'_>, feed: Option<&mut dyn Feed>, ctx: &Context) -> Result<(), Refusal> {
    let refuse = |error: io::Error| {
        Refusal::new(
            Refusal::io("the terminal", "use", &error).to_string(),
            "Give the same command again to go on, with --plain if the terminal cannot do it.",
        )
    };
    let mut raw = Raw::enter().map_err(refuse)?;
    let mut view = View {
        shown: Shown {
            stage: Stage::Cautions,
            entry: String::new(),
            dial: None,
            hint: feed
                .as_ref()
                .map_or(Some("type the reading, Enter takes it"), |feed| feed.hint())
                .unwrap_or(""),
            message: None,
            doubt: None,
            stopped: false,
            goes_on: true,
            cautions: feed.as_ref().map_or_else(Vec::new, |feed| feed.cautions()),
            moved_by_feed: feed.as_ref().is_some_and(|feed| feed.moves_axis()),
            so_far: sitting.so_far(),
            colours: ctx.side_screen().colours(),
        },
        behind: Stage::Reading,
        aimed: None,
        waited: None,
        recent: Recent::default(),
    };
    let left = view.go(sitting, feed, &mut raw, &refuse);
    drop(raw);
    match left? {
        Left::Complete => Ok(()),
        Left::Paused => Err(sitting.paused()),
    }
}

/// The terminal taken over, and given back however the view ends.
struct Raw {
    terminal: Terminal<CrosstermBackend<BufWriter<Stderr>>>,
}

impl Raw {
    fn enter() -> io::Result<Self> {
        enable_raw_mode()?;
        let entered = execute!(io::stderr(), EnterAlternateScreen, cursor::Hide)
            .and_then(|()| Terminal::new(CrosstermBackend::new(BufWriter::new(io::stderr()))));
        match entered {
            Ok(terminal) => Ok(Self { terminal }),
            Err(error) => {
                let _ = disable_raw_mode();
                Err(error)
            }
        }
    }

    /// Draws the screen, marked as one update: a terminal that knows the mark never shows half of it.
    fn draw(&mut self, shown: &Shown, sitting: &Sitting<'_>) -> io::Result<()> {
        queue!(self.terminal.backend_mut(), BeginSynchronizedUpdate)?;
        let drawn = self.terminal.draw(|frame| draw::all(frame, shown, sitting)).map(|_| ());
        // Whatever came of it: a terminal that waits for the end of an update shows nothing.
        execute!(self.terminal.backend_mut(), EndSynchronizedUpdate)?;
        drawn
    }
}

impl Drop for Raw {
    fn drop(&mut self) {
        // Whoever has pulled the plug has no terminal to be given back.
        let _ = execute!(io::stderr(), LeaveAlternateScreen, cursor::Show);
        let _ = disable_raw_mode();
    }
}

struct View {
    shown: Shown,
    /// What the help covers.
    behind: Stage,
    /// The row that the feed was told of.
    aimed: Option<usize>,
    /// The seconds left of a pause when it was looked at last.
    waited: Option<u64>,
    recent: Recent,
}

impl View {
    fn go(
        &mut self,
        sitting: &mut Sitting<'_>,
        mut feed: Option<&mut dyn Feed>,
        raw: &mut Raw,
        refuse: &dyn Fn(io::Error) -> Refusal,
    ) -> Result<Left, Refusal> {
        let mut draw = true;
        loop {
            if draw {
                raw.draw(&self.shown, sitting).map_err(refuse)?;
            }
            // A pause is counted down.
            let waited = sitting.waiting().map(|(_, seconds)| seconds);
            draw = waited != self.waited;
            self.waited = waited;
            if event::poll(TICK).map_err(refuse)? {
                draw = true;
                if let Event::Key(key) = event::read().map_err(refuse)?
                    && key.kind != KeyEventKind::Release
                {
                    let halts =
                        matches!(key.code, KeyCode::Enter | KeyCode::Char(' ' | 'p' | 'P' | 'q' | 'Q'))
                            || key.modifiers.contains(KeyModifiers::CONTROL);
                    if halts && feed.as_deref_mut().is_some_and(|feed| feed.halt()) {
                        self.halted(Halt { reason: "as you wished".to_owned(), goes_on: true });
                        if matches!(key.code, KeyCode::Enter | KeyCode::Char(' ')) {
                            continue;
                        }
                    }
                    if let Some(left) = self.key(key, sitting)? {
                        return Ok(left);
                    }
                }
            }
            if let Some(feed) = feed.as_deref_mut() {
                draw |= self.feed(feed, sitting)?;
            }
        }
    }

    /// Looks at what the feed has to tell; whether there was anything.
    fn feed(&mut self, feed: &mut dyn Feed, sitting: &mut Sitting<'_>) -> Result<bool, Refusal> {
        // Bounded, so that a feed that talks without end leaves the keys working.
        for count in 0..64 {
            // Nothing moves before the cautions are read.
            if self.shown.stage == Stage::Reading
                && self.aimed != Some(sitting.next_row())
                && let Some(stop) = sitting.stop()
            {
                let told = feed.aim(stop)?;
                self.aimed = Some(sitting.next_row());
                if let Some(News::Halted(halt)) = told {
                    self.halted(halt);
                    return Ok(true);
                }
            }
            match feed.news(Duration::ZERO) {
                None => return Ok(count > 0),
                Some(News::Shows { value, sent }) => {
                    self.shown.dial = Some(value);
                    self.recent.shows(value, Instant::now());
                    match (sent, self.shown.stage) {
                        (Sent::Meant(time_s), Stage::Reading) => self.reading(value, time_s, sitting)?,
                        (Sent::OfRow { row, ago_s }, _) => self.of_row(row, value, ago_s, sitting)?,
                        (Sent::Meant(_) | Sent::Shown, _) => {}
                    }
                }
                Some(News::Halted(halt)) => self.halted(halt),
                Some(News::Says(text)) => self.say(Tone::Caution, text),
                Some(News::Ended(refusal)) => return Err(refusal),
            }
        }
        Ok(true)
    }

    fn say(&mut self, tone: Tone, text: impl Into<String>) {
        self.shown.message = Some((tone, text.into()));
    }

    /// Keeps a reading, or asks for it again.
    fn reading(
        &mut self,
        value: Length,
        time_s: Option<f64>,
        sitting: &mut Sitting<'_>,
    ) -> Result<(), Refusal> {
        self.shown.entry.clear();
        if let Some(doubt) = sitting.doubt(value) {
            self.shown.doubt = Some(doubt);
            self.say(Tone::Adverse, "READ AGAIN? The same once more is kept.");
            return Ok(());
        }
        let row = sitting.next_row();
        sitting.take(value, time_s)?;
        self.say(Tone::Good, format!("row {row}: {} is kept", sitting.shown(value)));
        self.changed(sitting);
        Ok(())
    }

    /// Keeps the reading of a row: what has moved there has moved on, and cannot be asked to look again.
    fn of_row(
        &mut self,
        row: u32,
        value: Length,
        ago_s: f64,
        sitting: &mut Sitting<'_>,
    ) -> Result<(), Refusal> {
        let doubt = sitting.doubt_of_row(row, value);
        let missed = sitting.missed();
        let Some(kept) = sitting.take_row(row, value, ago_s)? else { return Ok(()) };
        match doubt {
            Some(doubt) => self.say(Tone::Caution, format!("row {row}: {doubt}; kept as it is")),
            None if sitting.missed() > missed => self.say(Tone::Caution, kept),
            None => self.say(Tone::Good, kept),
        }
        self.changed(sitting);
        Ok(())
    }

    /// What moved the axis has stopped: back to the cautions, which must be seen to again.
    fn halted(&mut self, Halt { reason, goes_on }: Halt) {
        self.aimed = None;
        self.shown.stage = Stage::Cautions;
        (self.shown.stopped, self.shown.goes_on) = (true, goes_on);
        self.say(Tone::Adverse, format!("STOPPED: {reason}"));
    }

    /// The readings have changed.
    fn changed(&mut self, sitting: &Sitting<'_>) {
        self.aimed = None;
        self.shown.doubt = None;
        self.shown.so_far = sitting.so_far();
        self.shown.stage = if sitting.stop().is_some() { Stage::Reading } else { Stage::Complete };
    }

    fn key(&mut self, key: KeyEvent, sitting: &mut Sitting<'_>) -> Result<Option<Left>, Refusal> {
        let control = key.modifiers.contains(KeyModifiers::CONTROL);
        let code = match key.code {
            KeyCode::Char(letter) => KeyCode::Char(letter.to_ascii_lowercase()),
            other => other,
        };
        match (self.shown.stage, code) {
            (_, KeyCode::Char('c' | 'd')) if control => return Ok(Some(Left::Paused)),
            (_, KeyCode::Char(_)) if control => {}
            (_, KeyCode::Char('p' | 'q')) => return Ok(Some(Left::Paused)),
            (Stage::Help, _) => self.shown.stage = self.behind,
            (Stage::Cautions, KeyCode::Enter) if self.shown.goes_on => {
                self.shown.stopped = false;
                self.changed(sitting);
            }
            (Stage::Cautions, _) => {}
            (stage, KeyCode::Char('?' | 'h')) => (self.behind, self.shown.stage) = (stage, Stage::Help),
            (_, KeyCode::Char('u')) => match sitting.undo()? {
                Some(row) => {
                    let shown = sitting.shown(row.value);
                    self.say(Tone::Caution, format!("{shown} is taken back; R puts it back"));
                    self.changed(sitting);
                }
                None => self.say(Tone::Caution, "there is no reading to take back"),
            },
            (_, KeyCode::Char('r')) => match sitting.redo()? {
                Some(row) => {
                    let shown = sitting.shown(row.value);
                    self.say(Tone::Good, format!("{shown} is put back"));
                    self.changed(sitting);
                }
                None => self.say(Tone::Caution, "there is no reading to put back"),
            },
            (Stage::Complete, KeyCode::Enter) => return Ok(Some(Left::Complete)),
            (Stage::Complete, _) => {}
            // What moves the axis reads it too: nothing is typed or taken from it on the way.
            (Stage::Reading, KeyCode::Enter | KeyCode::Char('0'..='9')) if self.shown.moved_by_feed => {
                self.say(Tone::Caution, "the box reads by itself; Space stops it");
            }
            (Stage::Reading, KeyCode::Enter) => self.enter(sitting)?,
            (Stage::Reading, KeyCode::Backspace) => drop(self.shown.entry.pop()),
            (Stage::Reading, KeyCode::Esc) => self.shown.entry.clear(),
            (Stage::Reading, KeyCode::Char(letter)) => {
                let number = letter.is_ascii_digit() || "+-.,".contains(letter);
                // The letters of mm and in, after a number.
                let unit = "min".contains(letter) && !self.shown.entry.is_empty();
                if (number || unit) && self.shown.entry.len() < LONGEST {
                    self.shown.entry.push(letter);
                } else if !letter.is_whitespace() {
                    self.say(Tone::Caution, format!("\"{letter}\" does nothing here; ? shows the keys"));
                }
            }
            (Stage::Reading, _) => {}
        }
        Ok(None)
    }

    /// Takes what was typed, else what the indicator shows.
    fn enter(&mut self, sitting: &mut Sitting<'_>) -> Result<(), Refusal> {
        if self.shown.entry.is_empty() {
            return match self.shown.dial {
                Some(_) if self.recent.moves(Instant::now()) => {
                    self.say(Tone::Caution, "the dial still moves: wait until it stands, then Enter");
                    Ok(())
                }
                Some(value) => self.reading(value, None, sitting),
                None => {
                    self.say(Tone::Caution, "no number yet");
                    Ok(())
                }
            };
        }
        match self.shown.entry.parse::<LengthArg>() {
            Ok(value) => self.reading(value.length(sitting.plan.unit), None, sitting),
            Err(reason) => {
                self.shown.entry.clear();
                self.say(Tone::Caution, format!("{reason}; type it again"));
                Ok(())
            }
        }
    }
}
