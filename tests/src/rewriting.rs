//! Programs rewritten as the command rewrites them.

use takeup_core::program::rewrite::{Refusal, Rewriter};

/// The rewritten text, and the lines at which a cut begins unseated.
///
/// # Errors
/// What the rewriter refuses.
pub fn rewritten(rewriter: &mut Rewriter<'_>, text: &[u8]) -> Result<(Vec<u8>, Vec<usize>), Refusal> {
    let (mut out, mut unseated, mut rest) = (Vec::new(), Vec::new(), text);
    loop {
        let mut sink = |part: &[u8]| out.extend_from_slice(part);
        rest = &rest[rewriter.strides(rest, &mut sink)..];
        let Some(line) = rest.split_inclusive(|byte| *byte == b'\n').next() else {
            return Ok((out, unseated));
        };
        if rewriter.line(line, &mut sink)?.unseated.is_some() {
            unseated.push(rewriter.counts().lines_in as usize);
        }
        rest = &rest[line.len()..];
    }
}
