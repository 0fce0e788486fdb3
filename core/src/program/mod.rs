//! Milling programs: read, rewritten for lost motion, and replayed on a slack machine.
//!
//! The language is the common core of ISO 6983-1 and RS-274-D as NISTIR 6556 (RS274/NGC) describes
//! it. A line of bytes goes in; nothing is allocated and nothing is remembered that does not fit
//! in a small structure, so that a program may be longer than any memory.
//!
//! - [`number`]: the numbers of words, exact and with the style they were written in.
//! - [`words`]: a line taken apart into words, comments and marks.
//! - [`exposure`]: what a given slack would do to a program.
//! - [`replay`]: two programs on a slack machine, and how far the tool is from the path intended.
//! - [`modal`] and [`arc`]: the modal state and the arcs of the rewriter, which `replay` does not share.
//! - [`rewrite`]: a program corrected for the lost motion of the machine.

pub mod arc;
pub mod exposure;
pub mod modal;
pub mod number;
pub mod replay;
pub mod rewrite;
pub mod words;

pub use number::{Integers, Number, Point};
pub use words::{Fault, FaultKind, Span, Token, Word, Words};
