//! Emphasis and line width. Colour and wrapping are for terminals only: a pipe gets plain lines.

use crate::units::{NO_BREAK, tight};
use std::io::IsTerminal;

/// What a piece of text means to the person who reads it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// Nothing to worry about.
    Good,
    /// Calls for action.
    Adverse,
    /// Not known yet, or to be looked at.
    Caution,
    /// Stands out without a judgement: headings and answers.
    Strong,
}

/// What one stream is connected to, looked at once.
#[derive(Clone, Copy, Debug)]
pub struct Screen {
    terminal: bool,
    colour: bool,
    width: usize,
    height: Option<usize>,
}

/// The width that lines are laid out for where the terminal does not say (or there is none).
pub const USUAL_WIDTH: usize = 80;

impl Screen {
    /// The screen behind standard output.
    #[must_use]
    pub fn of_stdout() -> Self {
        Self::of(std::io::stdout().is_terminal())
    }

    /// The screen behind standard error.
    #[must_use]
    pub fn of_stderr() -> Self {
        Self::of(std::io::stderr().is_terminal())
    }

    fn of(terminal: bool) -> Self {
        let forbidden = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty())
            || std::env::var_os("TERM").is_some_and(|value| value == "dumb");
        let size = terminal_size::terminal_size();
        let width = size.map_or(USUAL_WIDTH, |(width, _)| usize::from(width.0));
        let height = size.map(|(_, height)| usize::from(height.0)).filter(|_| terminal);
        Self { terminal, colour: terminal && !forbidden, width: width.clamp(40, 100), height }
    }

    /// Whether a person looks at it directly.
    #[must_use]
    pub fn is_terminal(&self) -> bool {
        self.terminal
    }

    /// Whether colour may be used on it.
    #[must_use]
    pub fn colours(&self) -> bool {
        self.colour
    }

    /// How many lines a person sees at once; none where it is no terminal.
    #[must_use]
    pub fn height(&self) -> Option<usize> {
        self.height
    }

    /// The text with its tone, if colour may be used.
    #[must_use]
    pub fn paint(&self, tone: Tone, text: &str) -> String {
        use anstyle::{AnsiColor, Style};
        if !self.colour {
            return text.to_owned();
        }
        let style = Style::new().bold();
        let style = match tone {
            Tone::Good => style.fg_color(Some(AnsiColor::Green.into())),
            Tone::Adverse => style.fg_color(Some(AnsiColor::Red.into())),
            Tone::Caution => style.fg_color(Some(AnsiColor::Yellow.into())),
            Tone::Strong => style,
        };
        format!("{style}{text}{style:#}")
    }

    /// A paragraph broken into lines, every line but the first indented; without what could disturb a terminal.
    #[must_use]
    pub fn wrap(&self, text: &str, indent: &str) -> String {
        let width = if self.terminal { self.width } else { USUAL_WIDTH };
        // At spaces only: a name of a file or an option is not torn at its hyphens.
        let options = textwrap::Options::new(width)
            .subsequent_indent(indent)
            .break_words(false)
            .word_separator(textwrap::WordSeparator::AsciiSpace)
            .word_splitter(textwrap::WordSplitter::NoHyphenation);
        textwrap::fill(&tight(&harmless_lines(text)), options).replace(NO_BREAK, " ")
    }
}

/// Text from a file or of its name, without what could disturb a terminal.
#[must_use]
pub fn harmless(text: &str) -> String {
    text.replace(char::is_control, "?")
}

/// As [`harmless`], of several lines.
#[must_use]
pub fn harmless_lines(text: &str) -> String {
    text.replace(|c: char| c.is_control() && c != '\n', "?")
}

/// A table without rules: headings and numbers to the right, the first column to the left; [`harmless`] cells.
#[must_use]
pub fn table(head: &[&str], rows: Vec<Vec<String>>) -> String {
    use comfy_table::{CellAlignment, Table, presets};
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header(head.to_vec());
    table.add_rows(rows.iter().map(|row| row.iter().map(|cell| harmless(cell))));
    for column in table.column_iter_mut().skip(1) {
        column.set_cell_alignment(CellAlignment::Right);
    }
    let mut text = String::new();
    for line in table.lines() {
        text.push(' ');
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_file_or_its_name_holds_disturbs_no_terminal() {
        let screen = Screen { terminal: false, colour: false, width: USUAL_WIDTH, height: None };
        assert_eq!(screen.wrap("a\u{1b}[31mb\tc\nd\u{9b}e", ""), "a?[31mb?c\nd?e");
        let rows = vec![vec!["a\u{1b}b\nc".to_owned(), "1".to_owned()]];
        assert!(table(&["name", "n"], rows).contains(" a?b?c"));
    }

    #[test]
    fn a_number_stays_on_the_line_of_its_unit() {
        let screen = Screen { terminal: false, colour: false, width: USUAL_WIDTH, height: None };
        for pad in 0..80 {
            let text =
                format!("{} z-after.csv loses 0.116 mm on reversal (95 %: 0.108 to 0.124)", "x".repeat(pad));
            let wrapped = screen.wrap(&text, "  ");
            assert!(
                ["0.116 mm", "(95 %:", "z-after.csv"].iter().all(|whole| wrapped.contains(whole)),
                "{wrapped}"
            );
            assert!(wrapped.lines().all(|line| line.chars().count() <= USUAL_WIDTH), "{wrapped}");
        }
    }
}
