//! One block: the words of a line, sorted by letter, with the G and M codes as lists.

use super::refusal::{Reason, Refusal};
use crate::program::{Number, Span, Token, Word, Words};
use heapless::Vec;

/// Most G words, and most M words, that one block may have.
const MOST_CODES: usize = 16;

/// The words of a line.
#[derive(Clone, Debug)]
pub struct Block {
    words: [Option<Word>; 26],
    /// Where a word of polar coordinates stands.
    pub polar: Option<Span>,
    /// G codes in tenths, with their place.
    pub g: Vec<(i64, Span), MOST_CODES>,
    /// M codes, with their place.
    pub m: Vec<(i64, Span), MOST_CODES>,
    /// The line is `%`.
    pub percent: bool,
    /// The line starts with `/`, and the digit of its switch.
    pub block_delete: Option<u8>,
}

impl Block {
    /// Reads a line.
    ///
    /// # Errors
    /// [`Refusal`] for what is no word, a letter that stands twice, a code that is no code.
    pub fn read(line: u64, bytes: &[u8]) -> Result<Self, Refusal> {
        let mut block = Self {
            words: [None; 26],
            polar: None,
            g: Vec::new(),
            m: Vec::new(),
            percent: false,
            block_delete: None,
        };
        for token in Words::new(bytes) {
            match token {
                Err(fault) => {
                    return Err(Refusal { line, word: fault.span, reason: Reason::Spelling(fault.kind) });
                }
                Ok(Token::Word(word)) => {
                    block.add(word).map_err(|reason| Refusal { line, word: word.span, reason })?;
                }
                Ok(Token::Percent(_)) => block.percent = true,
                Ok(Token::BlockDelete(span)) => {
                    let digit = span.of(bytes).last().copied().filter(u8::is_ascii_digit);
                    block.block_delete = Some(digit.unwrap_or(b'1'));
                }
                Ok(Token::Comment(_)) => {}
            }
        }
        Ok(block)
    }

    fn add(&mut self, word: Word) -> Result<(), Reason> {
        match word.letter {
            b'G' => {
                let code = word.number.tenths().ok_or(Reason::BadNumber(b'G'))?;
                self.g.push((code, word.span)).map_err(|_| Reason::Conflict)
            }
            b'M' => {
                // Codes in tenths, as for G: some controls have M codes with a point.
                let code = word.number.tenths().ok_or(Reason::BadNumber(b'M'))?;
                self.m.push((code, word.span)).map_err(|_| Reason::Conflict)
            }
            b'@' | b'^' => {
                self.polar = self.polar.or(Some(word.span));
                Ok(())
            }
            letter => {
                let Some(slot) = letter.checked_sub(b'A').and_then(|i| self.words.get_mut(usize::from(i)))
                else {
                    return Ok(()); // a program number written with a colon
                };
                match slot.replace(word) {
                    // No matter here: numbers of tools, offsets and lines, and speeds.
                    Some(_) if !b"DEHNOST".contains(&letter) => Err(Reason::Twice(letter)),
                    _ => Ok(()),
                }
            }
        }
    }

    /// Whether the line has no words.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.polar.is_none()
            && self.g.is_empty()
            && self.m.is_empty()
            && self.words.iter().all(Option::is_none)
    }

    /// The number of a letter.
    #[must_use]
    pub fn number(&self, letter: u8) -> Option<Number> {
        self.word(letter).map(|word| word.number)
    }

    /// The word of a letter.
    #[must_use]
    pub fn word(&self, letter: u8) -> Option<Word> {
        let index = letter.checked_sub(b'A')?;
        self.words.get(usize::from(index)).copied().flatten()
    }

    /// Whether the block has any of some letters.
    #[must_use]
    pub fn has_any(&self, letters: &[u8]) -> bool {
        letters.iter().any(|letter| self.word(*letter).is_some())
    }
}
