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
        hears::<ToHost, ToBox>(Side::Box(capabilities()), bytes);
    }
}

fn capabilities() -> Capabilities {
    let length = Length::from_counts(10_000);
    Capabilities {
        name: Default::default(),
        axis: takeup_core::axis::Axis::Z,
        low: Length::ZERO,
        high: length,
        most_speed: 1,
        count: length,
        most_readings: 1,
        kinds: Default::default(),
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

/// What a bad line does to what is sent in one turn.
#[derive(Clone, Copy)]
enum Does {
    Carries,
    Drops,
    Doubles,
    Flips,
    LosesAByte,
    HoldsBack,
}

/// One direction of a bad line.
#[derive(Default)]
struct Line {
    sent: Vec<Vec<u8>>,
    held: Vec<Vec<u8>>,
}

impl Line {
    /// The bytes that arrive in this turn; what was held back arrives behind what was sent later.
    fn arrive(&mut self, does: Does, at: usize) -> Vec<u8> {
        let sent = std::mem::take(&mut self.sent);
        let mut bytes = match does {
            Does::Carries | Does::Flips | Does::LosesAByte => sent.concat(),
            Does::Drops => Vec::new(),
            Does::Doubles => [sent.concat(), sent.concat()].concat(),
            Does::HoldsBack => {
                self.held.extend(sent);
                return Vec::new();
            }
        };
        let place = at.checked_rem(bytes.len());
        match (does, place) {
            (Does::Flips, Some(place)) => bytes[place] ^= 1 << (at % 8),
            (Does::LosesAByte, Some(place)) => drop(bytes.remove(place)),
            _ => {}
        }
        bytes.extend(std::mem::take(&mut self.held).concat());
        bytes
    }
}

/// What one end has said, the other heard, and the one knows to have arrived.
#[derive(Default)]
struct Told {
    said: u16,
    heard: u16,
    delivered: u16,
}

impl Told {
    fn hear(&mut self, number: u16) {
        assert_eq!(number, self.heard, "each message once, and in order");
        self.heard += 1;
        assert!(self.heard <= self.said, "heard what was never said");
    }

    fn deliver(&mut self) {
        self.delivered += 1;
        assert!(self.delivered <= self.heard, "acknowledged before it was heard");
    }
}

/// Two ends on a line that the bytes make bad, a turn each: what one says the other hears once and in order, nothing is
/// acknowledged that was not heard, and once the line is good again all arrives, or the session has ended.
pub fn session(bytes: &[u8]) {
    let mut host: Endpoint<ToBox, ToHost> = Endpoint::new(Side::Host { session: 1 });
    let mut the_box: Endpoint<ToHost, ToBox> = Endpoint::new(Side::Box(capabilities()));
    let (mut down, mut up) = (Line::default(), Line::default());
    let (mut to_box, mut to_host) = (Told::default(), Told::default());
    let mut now = 0;
    // Three seconds of a good line, in turns of 5 ms: longer than either end waits.
    let good = std::iter::repeat_n(4, 600);
    for (index, byte) in bytes.iter().copied().take(MOST_BYTES).chain(good).enumerate() {
        let said = index < bytes.len().min(MOST_BYTES);
        let (does, us) = match byte >> 5 {
            0 | 1 => (Does::Carries, 1_000),
            2 => (Does::Drops, 1_000),
            3 => (Does::Doubles, 1_000),
            4 => (Does::Flips, 1_000),
            5 => (Does::LosesAByte, 1_000),
            6 => (Does::HoldsBack, 1_000),
            _ => (Does::Carries, 60_000),
        };
        now += us * u64::from(1 + (byte & 7));
        if said && byte & 8 != 0 && host.is_ready() {
            let message = ToBox::Monitor { period_ms: to_box.said };
            assert_eq!(host.send(&message), Ok(()));
            to_box.said += 1;
        }
        if said && byte & 16 != 0 && the_box.is_ready() {
            let message = ToHost::Started { readings: to_host.said.into() };
            assert_eq!(the_box.send(&message), Ok(()));
            to_host.said += 1;
        }
        let mut of_host: Vec<_> =
            host.poll(now, &mut |frame| down.sent.push(frame.to_vec())).into_iter().collect();
        let mut of_box: Vec<_> =
            the_box.poll(now, &mut |frame| up.sent.push(frame.to_vec())).into_iter().collect();
        of_box.extend(down.arrive(does, index).into_iter().filter_map(|byte| the_box.receive(byte, now)));
        of_host.extend(up.arrive(does, index).into_iter().filter_map(|byte| host.receive(byte, now)));
        for event in of_box {
            match event {
                Event::Opened => {}
                Event::Message(ToBox::Monitor { period_ms }) => to_box.hear(period_ms),
                Event::Message(other) => panic!("never said: {other:?}"),
                Event::Delivered => to_host.deliver(),
                Event::Ended(_) => return,
            }
        }
        for event in of_host {
            match event {
                Event::Opened => {}
                Event::Message(ToHost::Started { readings }) => {
                    to_host.hear(u16::try_from(readings).unwrap_or(u16::MAX));
                }
                Event::Message(other) => panic!("never said: {other:?}"),
                Event::Delivered => to_box.deliver(),
                Event::Ended(_) => return,
            }
        }
    }
    assert!(host.is_open() && the_box.is_open(), "a good line, and no session");
    for told in [to_box, to_host] {
        assert_eq!((told.heard, told.delivered), (told.said, told.said), "a good line, and not all arrived");
    }
}
