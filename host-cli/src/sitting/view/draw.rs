//! How the view looks. Every line has its place for the terminal that there is: what to do now and the dial
//! as large as they fit, the rest in plain letters.

use super::{Shown, Stage};
use crate::screen::Tone;
use crate::sitting::Sitting;
use crate::sitting::plan::{Act, Stop, clock};
use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::style::{Color, Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Wrap};
use takeup_core::axis::Direction;
use takeup_core::measure::Kind;
use tui_big_text::{BigText, PixelSize};

/// A text in large letters: how they are drawn, and the cells that one takes.
#[derive(Clone, Copy)]
struct Size {
    pixels: PixelSize,
    columns: u16,
    rows: u16,
}

const SIZES: [Size; 3] = [
    Size { pixels: PixelSize::Full, columns: 8, rows: 8 },
    Size { pixels: PixelSize::HalfHeight, columns: 8, rows: 4 },
    Size { pixels: PixelSize::Quadrant, columns: 4, rows: 4 },
];

/// The largest letters in which lines of text fit, each in so many rows.
fn fitting(lines: &[String], columns: u16, rows: u16) -> Option<Size> {
    let letters = lines.iter().map(|line| line.chars().count()).max().unwrap_or(0);
    let letters = u16::try_from(letters).unwrap_or(u16::MAX);
    SIZES.into_iter().find(|size| size.rows <= rows && letters.saturating_mul(size.columns) <= columns)
}

/// Hands out the lines of the screen from the top.
struct Page<'f, 'b> {
    frame: &'f mut Frame<'b>,
    left: Rect,
    colours: bool,
}

impl Page<'_, '_> {
    /// The next rows; fewer where the screen ends.
    fn rows(&mut self, rows: u16) -> Rect {
        let rows = rows.min(self.left.height);
        let area = Rect { height: rows, ..self.left };
        self.left.y += rows;
        self.left.height -= rows;
        area
    }

    fn line(&mut self, line: Line<'_>) {
        let area = self.rows(1);
        self.frame.render_widget(Paragraph::new(line), area);
    }

    fn text(&mut self, text: &str, style: Style) {
        self.line(Line::styled(format!(" {text}"), style));
    }

    /// A paragraph behind a mark.
    fn hanging(&mut self, mark: &str, text: &str, tone: Style) {
        let width = usize::from(self.left.width).saturating_sub(mark.len() + 1).max(1);
        for (index, line) in textwrap::wrap(text, width).iter().enumerate() {
            let mark = if index == 0 { mark.to_owned() } else { " ".repeat(mark.len()) };
            self.line(Line::from(vec![Span::styled(mark, tone), Span::raw(line.to_string())]));
        }
    }

    /// A heading with a rule to the edge.
    fn rule(&mut self, heading: &str) {
        let used = heading.chars().count() + 4;
        let rest = usize::from(self.left.width).saturating_sub(used);
        self.line(Line::from(vec![
            Span::raw("─ "),
            Span::styled(heading.to_owned(), Style::new().add_modifier(Modifier::BOLD)),
            Span::raw(format!(" {}", "─".repeat(rest + 1))),
        ]));
    }

    /// Lines in large letters, all of one size, each in at most so many rows; in plain ones where they do
    /// not fit.
    fn big(&mut self, lines: &[String], rows: u16, style: Style) {
        let Some(size) = fitting(lines, self.left.width, rows) else {
            for line in lines {
                self.text(line, style.add_modifier(Modifier::BOLD));
            }
            return;
        };
        for line in lines {
            let area = self.rows(size.rows);
            let letters = u16::try_from(line.chars().count()).unwrap_or(u16::MAX);
            // In line with the plain text, where there is a column to spare.
            let margin = u16::from(letters.saturating_mul(size.columns) < area.width);
            let area = Rect { x: area.x + margin, width: area.width - margin, ..area };
            // The struck zero of these letters is too near to an 8 for a dial.
            let line = line.replace('0', "O");
            let big =
                BigText::builder().pixel_size(size.pixels).style(style).lines(vec![line.into()]).build();
            self.frame.render_widget(big, area);
        }
    }

    fn tone(&self, tone: Tone) -> Style {
        let bold = Style::new().add_modifier(Modifier::BOLD);
        match tone {
            _ if !self.colours => bold,
            Tone::Good => bold.fg(Color::Green),
            Tone::Adverse => bold.fg(Color::Red),
            Tone::Caution => bold.fg(Color::Yellow),
            Tone::Strong => bold,
        }
    }
}

/// Draws everything.
pub(super) fn all(frame: &mut Frame<'_>, shown: &Shown, sitting: &Sitting<'_>) {
    let left = frame.area();
    let mut page = Page { frame, left, colours: shown.colours };
    match shown.stage {
        Stage::Cautions => cautions(&mut page, shown, sitting),
        Stage::Help => help(&mut page, sitting),
        Stage::Reading | Stage::Complete => reading(&mut page, shown, sitting),
    }
}

fn cautions(page: &mut Page<'_, '_>, shown: &Shown, sitting: &Sitting<'_>) {
    let tone = page.tone(Tone::Caution);
    let (title, title_tone) =
        if shown.stopped { ("STOPPED", page.tone(Tone::Adverse)) } else { ("BEFORE IT MOVES", tone) };
    // What it all waits for is the last to fall off a small screen, why it has stopped the last but one.
    page.left.height = page.left.height.saturating_sub(1);
    if page.left.height >= 23 {
        page.rows(1);
        page.big(&[title.to_owned()], 4, title_tone);
        page.rows(1);
    } else {
        page.text(title, title_tone);
    }
    if let Some((tone, text)) = &shown.message {
        let tone = page.tone(*tone);
        page.hanging(" ", text, tone);
        page.rows(1);
    }
    for caution in shown.cautions.iter().chain(&sitting.cautions()) {
        page.hanging(" ! ", caution, tone);
    }
    page.rows(1);
    if sitting.taken() > 0 {
        let text = format!(
            "Going on: {} of {} readings are in {}.",
            sitting.taken(),
            sitting.plan.stops.len(),
            sitting.name()
        );
        page.text(&text, page.tone(Tone::Strong));
    }
    let keys = match (shown.goes_on, shown.moved_by_feed) {
        (false, _) => "P: pause",
        (true, true) => "Enter: I have seen to it, ARM THE BOX   P: pause",
        (true, false) => "Enter: I have seen to it   P: pause",
    };
    page.left.height += 1;
    page.text(keys, page.tone(Tone::Strong));
}

/// Every key, and what it does.
const KEYS: [(&str, &str); 9] = [
    ("0-9 . - +", "type a reading; end it with mm or in to give it in that unit"),
    ("Backspace", "take back the last letter typed;  Esc: all of them"),
    ("Enter", "take the reading: the one typed, else the one the dial shows"),
    ("U", "undo: take the last reading back, and read it again"),
    ("R", "redo: put back the reading that was taken back"),
    ("P or Q", "pause: every reading is on disk; the same command goes on"),
    ("Space", "stop a probe box that moves the axis, as Enter does; then arm it again"),
    ("? or H", "this page"),
    ("Ctrl-C", "pause, as P"),
];

fn help(page: &mut Page<'_, '_>, sitting: &Sitting<'_>) {
    page.rule("keys");
    for (key, does) in KEYS {
        page.line(Line::from(vec![
            Span::styled(format!(" {key:<11}"), Style::new().add_modifier(Modifier::BOLD)),
            Span::raw(does),
        ]));
    }
    page.rule("cautions");
    let area = page.rows(u16::MAX);
    let text = format!("{}\n\nAny key: back to the readings", sitting.cautions().join("\n"));
    page.frame.render_widget(Paragraph::new(text).wrap(Wrap { trim: true }), area);
}

fn reading(page: &mut Page<'_, '_>, shown: &Shown, sitting: &Sitting<'_>) {
    /// Lines that are always there: head, bar, three rules, message, two of readings, estimate, more, two of keys.
    const ALWAYS: u16 = 12;
    /// Enough below the message for the estimate in large letters, four lines of readings, and the rest.
    const LARGE_SO_FAR: u16 = 14;
    let room = page.left.height.saturating_sub(ALWAYS);
    // The dial first; what to do now with what is left.
    let dial_rows = match room {
        16.. => 8,
        6.. => 4,
        _ => 1,
    };
    let do_rows = (room.saturating_sub(dial_rows) / 2).min(8);
    head(page, sitting);
    match sitting.stop() {
        Some(stop) => {
            let strong = page.tone(Tone::Strong);
            if let Some(doubt) = &shown.doubt {
                page.rule(doubt);
                page.big(&["READ AGAIN?".to_owned()], do_rows, page.tone(Tone::Adverse));
            } else {
                let (how, moves) = match sitting.waiting() {
                    Some((Act::Work(_), left)) => {
                        ("let the axis work to and fro over its way", vec![format!("WORK {}", clock(left))])
                    }
                    Some((_, left)) => ("leave everything as it is", vec![format!("WAIT {}", clock(left))]),
                    None => (do_now(stop, shown, sitting), moves(stop, sitting)),
                };
                page.rule(how);
                page.big(&moves, do_rows, strong);
            }
            page.rule(&format!("dial, {}: {}", sitting.plan.unit, shown.hint));
            page.big(&[dial(shown, sitting)], dial_rows, strong);
        }
        None => {
            page.rule("done");
            let good = page.tone(Tone::Good);
            page.big(&["ALL READ".to_owned(), "ENTER: RESULT".to_owned()], do_rows, good);
        }
    }
    let message = shown.message.as_ref();
    let style = message.map_or(Style::new(), |(tone, _)| page.tone(*tone));
    page.text(message.map_or("", |(_, text)| text.as_str()), style);
    // Where the screen is tall, where the readings point is read from afar too.
    let short = shown.so_far.as_ref().and_then(|so_far| so_far.short.as_ref());
    let tone = page.tone(Tone::Strong);
    if let Some(short) = short.filter(|_| page.left.height >= LARGE_SO_FAR) {
        page.rule(&format!("so far, {}, 95 % of such intervals hold the true value", sitting.plan.unit));
        page.big(std::slice::from_ref(short), 4, tone);
    }
    page.rule("readings so far");
    let below = 4;
    let rows = page.left.height.saturating_sub(below);
    let lines = readings(sitting, usize::from(rows), usize::from(page.left.width));
    let area = page.rows(rows);
    page.frame.render_widget(Paragraph::new(lines.join("\n")), area);
    let (line, more) = match &shown.so_far {
        Some(so_far) => {
            (format!("So far {}", so_far.line), so_far.more.as_deref().unwrap_or("no limit is given"))
        }
        None => ("So far too little for an estimate".to_owned(), "more readings are needed"),
    };
    so_far(page, &line, more);
    keys(page, shown, sitting);
}

/// Where the readings point, and what more of them would do, in two lines: the second takes what the first has no room for.
fn so_far(page: &mut Page<'_, '_>, line: &str, more: &str) {
    let strong = page.tone(Tone::Strong);
    let lines = textwrap::wrap(line, usize::from(page.left.width).saturating_sub(1).max(1));
    let first = lines.first().map_or("", |line| line.as_ref());
    page.text(first, strong);
    let rest = lines.get(1..).unwrap_or_default().join(" ");
    if rest.is_empty() {
        page.text(more, Style::new());
    } else {
        page.line(Line::from(vec![Span::styled(format!(" {rest}"), strong), Span::raw(format!("; {more}"))]));
    }
}

fn head(page: &mut Page<'_, '_>, sitting: &Sitting<'_>) {
    let (row, all) = (sitting.next_row(), sitting.plan.stops.len());
    let mut text = format!("{} {} test", sitting.plan.axis, sitting.plan.kind);
    if let Some(stop) = sitting.stop() {
        text.push_str(&format!("   reading {row} of {all}"));
        if let Some(cycle) = stop.cycle {
            text.push_str(&format!("   cycle {cycle}"));
        }
    } else {
        text.push_str(&format!("   {} readings", sitting.taken()));
    }
    if sitting.missed() > 0 {
        text.push_str(&format!("   {} missed", sitting.missed()));
    }
    let room = usize::from(page.left.width).saturating_sub(text.chars().count() + 3);
    // The end of a long name tells more than its beginning.
    let name: Vec<char> = sitting.name().chars().collect();
    let name: String = name.get(name.len().saturating_sub(room)..).unwrap_or_default().iter().collect();
    let style = page.tone(Tone::Strong);
    page.text(&format!("{text} {name:>room$}"), style);
    let width = usize::from(page.left.width).saturating_sub(2);
    let full = (width * (row - 1)).checked_div(all).unwrap_or(0);
    page.text(&format!("{}{}", "▪".repeat(full), "·".repeat(width.saturating_sub(full))), Style::new());
}

/// How to go about it.
fn do_now(stop: &Stop, shown: &Shown, sitting: &Sitting<'_>) -> &'static str {
    if shown.moved_by_feed {
        return "the box does this now, and reads when it stands still: hands off";
    }
    let before = sitting.rows().next_back().map(|(before, _)| before.target);
    let new_zero = match sitting.plan.kind {
        Kind::PushPull | Kind::Indicator => return "do now, and read when it stands still",
        Kind::Reversal => before != Some(stop.target),
        _ => before.is_none(),
    };
    if new_zero {
        "do now: indicator clear, move, set the indicator, read when it stands still"
    } else {
        "do now, and read when it stands still"
    }
}

/// What to do now, a line each; a pause is over when this is shown.
fn moves(stop: &Stop, sitting: &Sitting<'_>) -> Vec<String> {
    let acts = stop.acts.iter().filter(|act| !matches!(act, Act::Pause(_) | Act::Work(_)));
    acts.map(|act| sitting.plan.words(*act, stop.approach)).collect()
}

/// What is typed, else what the indicator shows.
fn dial(shown: &Shown, sitting: &Sitting<'_>) -> String {
    if !shown.entry.is_empty() {
        return format!("{}_", shown.entry);
    }
    match shown.dial {
        Some(value) => sitting.shown(value),
        None => "_".to_owned(),
    }
}

/// The readings, in at most so many lines.
fn readings(sitting: &Sitting<'_>, most: usize, width: usize) -> Vec<String> {
    match sitting.plan.kind {
        Kind::Reversal | Kind::Positioning | Kind::Indicator => by_place(sitting, most, width),
        _ => in_turn(sitting, most, width),
    }
}

/// The latest readings, one after another.
fn in_turn(sitting: &Sitting<'_>, most: usize, width: usize) -> Vec<String> {
    let values: Vec<_> = sitting.rows().map(|(_, row)| sitting.shown(row.value)).collect();
    // Even columns, as many readings as surely fit.
    let column = values.iter().map(|value| value.chars().count() + 2).max().unwrap_or(2);
    let in_line = (width.saturating_sub(2) / column).max(1);
    let lines: Vec<_> = values
        .chunks(in_line)
        .map(|chunk| chunk.iter().map(|value| format!("{value:>column$}")).collect::<String>())
        .collect();
    lines.get(lines.len().saturating_sub(most)..).unwrap_or_default().to_vec()
}

/// The readings by place and approach: those of this place first, then those of the place before it.
fn by_place(sitting: &Sitting<'_>, most: usize, width: usize) -> Vec<String> {
    let place = |stop: &Stop| (stop.target, stop.approach);
    let mut groups: Vec<(&Stop, Vec<String>)> = Vec::new();
    for (stop, row) in sitting.rows() {
        let shown = sitting.shown(row.value);
        match groups.iter_mut().find(|(first, _)| place(first) == place(stop)) {
            Some((_, values)) => values.push(shown),
            None => groups.push((stop, vec![shown])),
        }
    }
    let here = sitting.stop().map(|stop| stop.target);
    let mut places: Vec<_> = groups.iter().map(|(stop, _)| stop.target).collect();
    places.dedup();
    let age = |target| places.iter().rev().position(|place| *place == target);
    groups.sort_by_key(|(stop, _)| {
        (Some(stop.target) != here, age(stop.target), stop.approach == Some(Direction::Minus))
    });
    groups
        .iter()
        .take(most)
        .map(|(stop, values)| {
            let at = stop
                .target
                .map_or(String::new(), |at| format!("{}{}", sitting.plan.axis, sitting.plan.word(at)));
            let way = match stop.approach {
                Some(Direction::Plus) => " moving +",
                Some(Direction::Minus) => " moving -",
                None => "",
            };
            let label = format!(" {at}{way}:");
            let mut line = String::new();
            // The latest ones, where not all fit.
            for value in values.iter().rev() {
                if label.chars().count() + line.chars().count() + value.chars().count() + 2 > width {
                    break;
                }
                line.insert_str(0, &format!(" {value}"));
            }
            format!("{label}{line}")
        })
        .collect()
}

fn keys(page: &mut Page<'_, '_>, shown: &Shown, sitting: &Sitting<'_>) {
    let redo = sitting.to_redo();
    let bold = Style::new().add_modifier(Modifier::BOLD);
    let redo = if redo > 0 { format!("R redo ({redo})") } else { "R redo".to_owned() };
    let (first, second) = if shown.stage == Stage::Complete {
        ("Enter  show the result".to_owned(), format!("U undo   {redo}   P pause   ? help"))
    } else if shown.moved_by_feed {
        ("Space or Enter  STOP THE BOX".to_owned(), format!("U undo   {redo}   P pause   ? help"))
    } else {
        (
            "0-9 . - type   Backspace, Esc erase   Enter take".to_owned(),
            format!("U undo   {redo}   P pause   ? help"),
        )
    };
    page.text(&first, bold);
    page.text(&second, bold);
}
