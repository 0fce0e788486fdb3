//! A program through the rewriter and the replay.

use super::*;
use crate::program::replay::{AxisSlack, Replay, Report, SeatStation, Settings as Judged, Source, Want};

/// What the tool does on a machine with the lost motion of a table, under the original and the rewritten.
pub(super) fn replayed(program: &str, table: &Table, settings: &Settings) -> (String, Report) {
    let (text, _, _) = rewrite(program, table, settings).unwrap();
    let slack = PerAxis::from_fn(|axis| {
        let stations = table.axes.get(axis).iter().flat_map(|table| table.stations()).map(|s| SeatStation {
            position_mm: s.position.as_mm(),
            plus_mm: s.plus.as_mm(),
            minus_mm: s.minus.as_mm(),
        });
        AxisSlack::of_stations(stations, 0.0).unwrap()
    });
    let mut replay = Replay::new(Judged::new(slack));
    let (mut original, mut rewritten) = (program.lines(), text.lines());
    loop {
        let (source, line) = match replay.advance(&mut |_| {}).unwrap() {
            Want::Done => break,
            Want::Line(Source::Original) => (Source::Original, original.next()),
            Want::Line(Source::Rewritten) => (Source::Rewritten, rewritten.next()),
        };
        match line {
            Some(line) => replay.read(source, line.as_bytes()).unwrap(),
            None => replay.end(source),
        }
    }
    let report = replay.report(0.002);
    (text, report)
}
