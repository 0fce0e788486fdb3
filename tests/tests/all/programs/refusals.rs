//! Programs that cannot be rewritten: told by line and word, the same again, and no file is left.

use std::ffi::OsString;

use takeup_core::program::words::Span;
use takeup_tests::Folder;
use takeup_tests::judged::Job;
use takeup_tests::programs::{CONSTRUCTS, refused};

use super::over_seeds;

fn word(text: &str, line: u64, span: Option<Span>) -> Option<&str> {
    let line = text.lines().nth(usize::try_from(line).ok()?.checked_sub(1)?)?;
    line.get(span?.start..span?.end)
}

#[test]
fn constructs_are_refused_by_line_and_word_and_the_same_again() {
    over_seeds(0..4_000, |seed| {
        let (text, construct, line) = refused(seed);
        let job = Job { widths: [40, 50, 60], ..Job::of_seed(seed) };
        let first = job.rewritten(&text).err();
        let Some(refusal) = first else { return Err(format!("{construct:?} is not refused\n{text}")) };
        let named = word(&text, refusal.line, refusal.word);
        if (refusal.line, named) != (line, Some(construct.word)) {
            return Err(format!("{refusal:?} names {named:?}, expected line {line}, {construct:?}\n{text}"));
        }
        if refusal.reason.way_out().is_empty() || job.rewritten(&text).err() != first {
            return Err(format!("not the same refusal again, or no way out: {refusal:?}\n{text}"));
        }
        Ok(())
    });
}

#[test]
fn a_refusal_leaves_no_file() {
    // The command within this process: a process for each would only cost time.
    let folder = Folder::new();
    let (program, out) = (folder.file("in.nc"), folder.file("out.nc"));
    let arguments: Vec<OsString> = ["takeup", "rewrite", "--play", "x=0.04,y=0.05,z=0.06"]
        .map(OsString::from)
        .into_iter()
        .chain([program.clone().into(), "-o".into(), out.into()])
        .collect();
    let mut seen = std::collections::BTreeSet::new();
    for seed in 0..300 {
        let (text, construct, line) = refused(seed);
        std::fs::write(&program, &text).expect("written");
        let cli = takeup_cli::args::parse(&arguments).expect("arguments");
        let ctx = takeup_cli::context::Context::new(&cli.global);
        let result = cli.command.run(&ctx);
        assert!(result.is_err(), "seed {seed}: {construct:?} in line {line} is not refused\n{text}");
        assert_eq!(folder.names(), ["in.nc"], "seed {seed}: {construct:?}");
        assert_eq!(std::fs::read_to_string(&program).expect("read"), text, "seed {seed}");
        seen.insert(construct.line);
    }
    assert_eq!(seen.len(), CONSTRUCTS.len(), "every construct was met");
}
