//! What must hold for any bytes; called by the fuzzer, and by the tests on seeds and their mutations.

use crate::rewriting;
use takeup_core::axis::{Direction, PerAxis};
use takeup_core::correct::{AxisTable, Table};
use takeup_core::length::Length;
use takeup_core::link::frame::{Collector, Frame, Kind};
use takeup_core::link::{Capabilities, Endpoint, Event, Side, ToBox, ToHost};
use takeup_core::program::replay::{AxisSlack, Replay, Settings, Source, Want};
use takeup_core::program::rewrite::{self, Rewriter};
use takeup_core::program::{Token, Words};
use takeup_core::slack::Play;

/// Programs of more bytes only cost time.
const MOST_BYTES: usize = 4096;

fn lines(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    bytes.get(..MOST_BYTES).unwrap_or(bytes).split_inclusive(|byte| *byte == b'\n')
}

/// Words lie in their line, in order, and do not overlap; after a fault nothing comes.
pub fn reader(bytes: &[u8]) {
    for line in lines(bytes) {
        let (mut end, mut faulty) = (0, false);
        for token in Words::new(line) {
            assert!(!faulty, "a token after a fault");
            let span = match token {
                Ok(Token::Word(word)) => word.span,
                Ok(Token::Comment(span) | Token::BlockDelete(span) | Token::Percent(span)) => span,
                Err(_) => {
                    faulty = true;
                    continue;
                }
            };
            assert!(span.start >= end && span.end > span.start && span.end <= line.len(), "{span:?}");
            end = span.end;
        }
    }
}

fn table(counts: i64) -> Table {
    let mut table = Table::EMPTY;
    let of = |seat| AxisTable::uniform(seat, Length::from_counts(counts)).ok();
    table.axes = PerAxis { x: of(Direction::Plus), y: None, z: of(Direction::Minus) };
    table
}

fn rewritten(bytes: &[u8], counts: i64) -> Option<Vec<u8>> {
    let table = table(counts);
    let begin = || Rewriter::new(&table, &rewrite::Settings::DEFAULT);
    let (mut rewriter, mut out) = (begin(), Vec::new());
    let by_lines = lines(bytes)
        .try_for_each(|line| rewriter.line(line, &mut |part| out.extend_from_slice(part)).map(drop))
        .map(|()| (out, *rewriter.counts()));
    let mut rewriter = begin();
    let by_strides = rewriting::rewritten(&mut rewriter, bytes.get(..MOST_BYTES).unwrap_or(bytes))
        .map(|(out, _)| (out, *rewriter.counts()));
    assert_eq!(by_strides, by_lines, "the short way differs from the long one");
    by_lines.ok().map(|(out, _)| out)
}

/// Without lost motion a program is copied or refused; with it, nothing panics.
pub fn rewriter(bytes: &[u8]) {
    if let Some(copy) = rewritten(bytes, 0) {
        assert_eq!(copy, bytes.get(..MOST_BYTES).unwrap_or(bytes));
    }
    let _ = rewritten(bytes, 1_200_000);
}

/// Any program against its rewriting, or against itself, gives figures that are numbers in order.
pub fn replay(bytes: &[u8]) {
    let other = rewritten(bytes, 1_200_000).unwrap_or_else(|| bytes.to_vec());
    let play = |seat| Play::new(0.12, seat).map_or(AxisSlack::NONE, |play| AxisSlack::of_play(&play));
    let slack = PerAxis { x: play(Direction::Plus), y: AxisSlack::NONE, z: play(Direction::Minus) };
    let mut replay = Box::new(Replay::new(Settings::new(slack)));
    let (mut first, mut second) = (lines(bytes), other.split_inclusive(|byte| *byte == b'\n'));
    // A cycle may be repeated without end: the fuzzer looks for wrong steps, not for long ways.
    let mut lines_left = 2 * MOST_BYTES;
    loop {
        let (source, line) = match replay.advance(&mut |_| {}) {
            Err(_) => return,
            Ok(Want::Done) => break,
            Ok(Want::Line(Source::Original)) => (Source::Original, first.next()),
            Ok(Want::Line(Source::Rewritten)) => (Source::Rewritten, second.next()),
        };
        lines_left = lines_left.saturating_sub(1);
        match line {
            Some(line) if lines_left > 0 => {
                if replay.read(source, line).is_err() {
                    return;
                }
            }
            _ => replay.end(source),
        }
    }
    let report = replay.report(0.005);
    for figures in [report.before, report.after] {
        assert!(figures.max_mm >= 0.0 && figures.mean_mm <= figures.max_mm * (1.0 + 1e-9), "{report:?}");
        assert!(figures.p99_mm <= figures.max_mm, "{report:?}");
    }
}

/// Bytes of a line at either end: no panic, nothing before a session, and a frame after them arrives. The first
/// byte chooses the end; bytes above 253 let time pass, so that repetition and silence are reached.
pub fn link(bytes: &[u8]) {
    let Some((first, bytes)) = bytes.split_first() else { return };
    let mut collector = Collector::new();
    for &byte in bytes {
        let _ = collector.push(byte);
    }
    let _ = collector.push(0);
    let sent = Frame { kind: Kind::Ack, session: 7, number: 1, payload: Default::default() };
    let found = sent.encode().iter().find_map(|&byte| collector.push(byte));
    assert_eq!(found, Some(Ok(sent)), "a frame after rubbish");
    if first % 2 == 0 {
        hears::<ToBox, ToHost>(Side::Host { session: 0 }, bytes);
    } else {
        let length = Length::from_counts(10_000);
        let capabilities = Capabilities {
            name: Default::default(),
            axis: takeup_core::axis::Axis::Z,
            low: Length::ZERO,
            high: length,
            most_speed: 1,
            count: length,
            most_readings: 1,
            kinds: Default::default(),
        };
        hears::<ToHost, ToBox>(Side::Box(capabilities), bytes);
    }
}

fn hears<Out, In>(side: Side, bytes: &[u8])
where
    Out: serde::Serialize,
    In: serde::de::DeserializeOwned,
{
    let mut end: Endpoint<Out, In> = Endpoint::new(side);
    let (mut now, mut open) = (0, false);
    for &byte in bytes {
        let mut events = Vec::new();
        if byte > 253 {
            now += if byte == 254 { 5_000 } else { 600_000 };
        } else {
            events.extend(end.receive(byte, now));
        }
        events.extend(end.poll(now, &mut |frame| assert!(frame.ends_with(&[0]) || frame == [0])));
        for event in events {
            match event {
                Event::Opened => open = true,
                Event::Ended(_) => open = false,
                Event::Message(_) => assert!(open, "a message outside a session"),
                Event::Delivered => panic!("nothing was sent"),
            }
        }
        assert_eq!(end.is_open(), open);
    }
}
