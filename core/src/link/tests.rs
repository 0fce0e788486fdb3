//! Golden bytes both ways, the decoder on anything, and the rules of a session one by one.

use super::endpoint::{BEAT_US, PATIENCE_US, REPEAT_US, SILENCE_US, SendError};
use super::frame::{Collector, Damage, Frame, Kind, MAX_FRAME, MAX_WIRE};
use super::message::{Armed, Button, Correction, MAX_PART, PLACES_PART, State, StopCause};
use super::settings::Setting;
use super::*;
use crate::axis::{Axis, Direction};
use crate::length::Length;
use crate::measure::routine::Kind as Test;
use proptest::prelude::*;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::{format, string::String, vec, vec::Vec};

const SESSION: u16 = 0x1234;

fn mm(value: f64) -> Length {
    Length::from_mm(value).unwrap()
}

fn capabilities() -> Capabilities {
    Capabilities {
        name: "box".try_into().unwrap(),
        axis: Axis::Z,
        low: mm(-100.0),
        high: mm(0.0),
        most_speed: mm(50.0).counts(),
        count: mm(0.001),
        most_readings: 200,
        kinds: Kinds::of(&[Test::Reversal, Test::Positioning]),
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect::<Vec<_>>().join(" ")
}

fn collect(bytes: &[u8]) -> Vec<Result<Frame, Damage>> {
    let mut collector = Collector::new();
    bytes.iter().filter_map(|&b| collector.push(b)).collect()
}

fn frame(kind: Kind, number: u16, payload: &[u8]) -> Frame {
    Frame { kind, session: SESSION, number, payload: heapless::Vec::from_slice(payload).unwrap() }
}

/// The frame gives the bytes, the bytes give the frame, and the specification shows them.
/// The bytes were made by an encoder of its own (Python: struct, zlib.crc32, COBS and varints by hand).
fn golden(frame: &Frame, bytes: &str) {
    assert_eq!(hex(&frame.encode()), bytes);
    let raw: Vec<u8> = bytes.split(' ').map(|b| u8::from_str_radix(b, 16).unwrap()).collect();
    assert_eq!(collect(&raw), [Ok(frame.clone())]);
    assert!(include_str!("SPEC.md").contains(&format!("`{bytes}`")), "SPEC.md lacks {bytes}");
}

fn golden_message<M>(message: &M, number: u16, bytes: &str)
where
    M: Serialize + DeserializeOwned + PartialEq + core::fmt::Debug,
{
    let mut room = [0; MAX_PAYLOAD];
    let payload = postcard::to_slice(message, &mut room).unwrap();
    golden(&frame(Kind::Data, number, payload), bytes);
    assert_eq!(postcard::from_bytes::<M>(payload).as_ref(), Ok(message));
}

#[test]
fn golden_bytes() {
    golden(&frame(Kind::Hello, 0, &[3, 0]), "04 01 34 12 01 02 03 05 50 06 fd 95 00");
    let mut welcome = vec![3, 0];
    let mut room = [0; MAX_PAYLOAD];
    welcome.extend_from_slice(postcard::to_slice(&capabilities(), &mut room).unwrap());
    golden(
        &frame(Kind::Welcome, 0, &welcome),
        "04 02 34 12 01 02 03 0b 03 62 6f 78 02 ff a7 d6 b9 07 10 80 94 eb dc 03 a0 9c 01 c8 01 03 67 fc 2e de 00",
    );
    golden_message(
        &ToBox::Arm { axis: Axis::Z, low: mm(-50.0), high: mm(0.0), speed: mm(5.0).counts() },
        0,
        "04 03 34 12 01 01 07 02 ff 93 eb dc 03 09 80 c2 d7 2f 91 25 1c 37 00",
    );
    golden(&frame(Kind::Ack, 1, &[]), "05 04 34 12 01 05 74 78 52 4a 00");
    golden_message(
        &ToBox::Places { first: 0, at: [mm(0.0), mm(-40.0)].into_iter().collect() },
        1,
        "05 03 34 12 01 02 02 02 02 0a ff 8f bc fd 02 e0 d6 d8 0e 00",
    );
    golden_message(
        &ToBox::Run {
            routine: Routine::Reversal { cycles: 5, overrun: mm(1.0) },
            settle_ms: 500,
            from_row: 1,
            correction: Correction::Off,
        },
        2,
        "05 03 34 12 02 02 03 09 05 80 da c4 09 f4 03 01 05 3b bc e5 7e 00",
    );
    golden_message(
        &ToBox::Run {
            routine: Routine::SmallSteps { step: mm(0.01), steps: 30, cycles: 3, overrun: mm(1.0) },
            settle_ms: 500,
            from_row: 7,
            correction: Correction::Table,
        },
        5,
        "05 03 34 12 05 14 03 02 c0 9a 0c 1e 03 80 da c4 09 f4 03 07 01 1a 5c 02 2a 00",
    );
    golden_message(
        &ToBox::Run {
            routine: Routine::Return { lift: mm(-5.0), returns: 20, pause_every: 5, pause_s: 300 },
            settle_ms: 500,
            from_row: 1,
            correction: Correction::Off,
        },
        6,
        "05 03 34 12 06 0e 03 03 ff c1 d7 2f 14 05 ac 02 f4 03 01 05 5f 92 71 4a 00",
    );
    golden_message(
        &ToBox::Run {
            routine: Routine::WarmUp { stroke: mm(50.0), readings: 19, work_s: 300 },
            settle_ms: 500,
            from_row: 1,
            correction: Correction::Off,
        },
        7,
        "05 03 34 12 07 0e 03 04 80 94 eb dc 03 13 ac 02 f4 03 01 05 5a 66 99 69 00",
    );
    golden_message(
        &ToBox::Set(Setting::Step(mm(-0.0005))),
        3,
        "05 03 34 12 03 09 0a 06 8f 4e 60 fe 99 ee 00",
    );
    golden_message(
        &ToHost::Reading {
            row: 1,
            target: mm(0.0),
            cycle: 1,
            approach: Direction::Plus,
            counts: -118,
            spread: 1,
            time_ms: 2500,
        },
        2,
        "05 03 34 12 02 03 05 01 02 01 0a eb 01 01 c4 13 84 53 c3 d6 00",
    );
    golden_message(&ToHost::Stopped(StopCause::LinkLost), 3, "05 03 34 12 03 07 01 01 83 ea e6 55 00");
    let state = State {
        position: Some(mm(-12.5)),
        armed: Armed::No,
        emergency: Button::Free,
        table: Some(0xcbf4_3926),
        sessions: 3,
    };
    golden_message(
        &ToHost::State(state),
        4,
        "05 03 34 12 04 07 08 01 ff e4 9a 77 01 0c 01 a6 f2 d0 df 0c 03 46 07 80 e1 00",
    );
    golden(&frame(Kind::Bye, 0, &[]), "04 05 34 12 01 05 85 60 29 6e 00");
}

/// The longest of everything fits: no room is too small by a byte.
#[test]
fn the_longest_messages_fit() {
    let far = Length::from_counts(i64::MIN);
    let mut room = [0; MAX_PAYLOAD];
    let longest = Capabilities {
        name: "abcdefghijklmnop".try_into().unwrap(),
        low: far,
        high: far,
        most_speed: i64::MIN,
        count: far,
        most_readings: u16::MAX,
        ..capabilities()
    };
    assert!(postcard::to_slice(&longest, &mut room[2..]).is_ok());
    let arm = ToBox::Arm { axis: Axis::Z, low: far, high: far, speed: i64::MIN };
    assert!(postcard::to_slice(&arm, &mut room).is_ok());
    let at = heapless::Vec::from_slice(&[far; PLACES_PART]).unwrap();
    assert!(postcard::to_slice(&ToBox::Places { first: u8::MAX, at }, &mut room).is_ok());
    let reading = ToHost::Reading {
        row: u32::MAX,
        target: far,
        cycle: u16::MAX,
        approach: Direction::Minus,
        counts: i32::MIN,
        spread: u16::MAX,
        time_ms: u32::MAX,
    };
    assert!(postcard::to_slice(&reading, &mut room).is_ok());
    let bytes = heapless::Vec::from_slice(&[0xff; MAX_PART]).unwrap();
    assert!(postcard::to_slice(&ToBox::TablePart { offset: u16::MAX, bytes }, &mut room).is_ok());
    assert_eq!(frame(Kind::Data, u16::MAX, &[0xff; MAX_PAYLOAD]).encode().len(), MAX_WIRE);
    assert_eq!(MAX_FRAME, 105, "as section 3 says");
}

#[test]
fn damage_is_named() {
    let good = frame(Kind::Ack, 0, &[]).encode();
    let mut flipped = good.clone();
    flipped[1] ^= 0x40;
    assert!(matches!(collect(&flipped)[..], [Err(Damage::Checksum { .. })]));
    assert_eq!(collect(&[2, 7, 0]), [Err(Damage::TooShort { found: 1 })]);
    assert_eq!(collect(&[9, 7, 0]), [Err(Damage::Stuffing)]);
    let long: Vec<u8> = [7; 4096].into_iter().chain([0]).chain(good.iter().copied()).collect();
    assert_eq!(collect(&long), [Err(Damage::TooLong), Ok(frame(Kind::Ack, 0, &[]))]);
    assert_eq!(collect(&[0, 0, 0]), []);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn anything_is_collected_without_panic_and_a_frame_after_it_arrives(
        mut rubbish in prop::collection::vec(any::<u8>(), 0..600), payload in prop::collection::vec(any::<u8>(), 0..=MAX_PAYLOAD),
    ) {
        rubbish.push(0);
        let sent = frame(Kind::Data, 5, &payload);
        rubbish.extend_from_slice(&sent.encode());
        prop_assert_eq!(collect(&rubbish).pop(), Some(Ok(sent)));
    }

    #[test]
    fn messages_of_any_bytes_do_not_panic(bytes in prop::collection::vec(any::<u8>(), 0..MAX_PAYLOAD)) {
        let _ = postcard::from_bytes::<ToBox>(&bytes);
        let _ = postcard::from_bytes::<ToHost>(&bytes);
        let _ = postcard::from_bytes::<Capabilities>(&bytes);
    }

    // Whole frames with any content, in any order, at either end: no panic, and no message before a session.
    #[test]
    fn any_frames_are_taken(
        frames in prop::collection::vec((0..=7u8, 0..3u16, 0..3u16, prop::collection::vec(any::<u8>(), 0..12)), 0..60),
        host in any::<bool>(),
    ) {
        let side = if host { Side::Host { session: 1 } } else { Side::Box(capabilities()) };
        let mut end: Endpoint<ToBox, ToHost> = Endpoint::new(side);
        let mut open = false;
        for (kind, session, number, payload) in frames {
            let kinds = [Kind::Hello, Kind::Welcome, Kind::Data, Kind::Ack, Kind::Bye];
            let kind = kinds[usize::from(kind) % 5];
            let payload = heapless::Vec::from_slice(&payload).unwrap();
            for byte in (Frame { kind, session, number, payload }).encode() {
                match end.receive(byte, 0) {
                    Some(Event::Opened) => open = true,
                    Some(Event::Ended(_)) => open = false,
                    Some(Event::Message(_)) => prop_assert!(open),
                    Some(Event::Delivered) => prop_assert!(false, "nothing was sent"),
                    None => {}
                }
            }
            let _ = end.poll(0, &mut |_| {});
        }
    }
}

type Host = Endpoint<ToBox, ToHost>;
type Box = Endpoint<ToHost, ToBox>;

/// Carries what one end has to say to the other, over a perfect line.
fn carry<O, I>(from: &mut Endpoint<O, I>, to: &mut Endpoint<I, O>, now: u64) -> Vec<Event<O>>
where
    O: Serialize + DeserializeOwned,
    I: Serialize + DeserializeOwned,
{
    let mut line = Vec::new();
    let _ = from.poll(now, &mut |bytes| line.extend_from_slice(bytes));
    line.into_iter().filter_map(|byte| to.receive(byte, now)).collect()
}

fn session() -> (Host, Box) {
    let (mut host, mut the_box) =
        (Host::new(Side::Host { session: SESSION }), Box::new(Side::Box(capabilities())));
    assert_eq!(host.send(&ToBox::Stop), Err(SendError::NoSession));
    assert_eq!(carry(&mut host, &mut the_box, 0), [Event::Opened]);
    assert_eq!(carry(&mut the_box, &mut host, 0), [Event::Opened]);
    assert_eq!(host.peer(), Some(&capabilities()));
    (host, the_box)
}

#[test]
fn a_message_arrives_once_although_its_ack_is_lost() {
    let (mut host, mut the_box) = session();
    host.send(&ToBox::Stop).unwrap();
    assert_eq!(host.send(&ToBox::Stop), Err(SendError::Busy));
    assert_eq!(carry(&mut host, &mut the_box, 1), [Event::Message(ToBox::Stop)]);
    let _ = the_box.poll(1, &mut |_| {}); // the ack is lost; the next is sent unasked, and lost too
    let _ = the_box.poll(1 + BEAT_US, &mut |_| {});
    assert_eq!(carry(&mut host, &mut the_box, 1 + REPEAT_US), []); // the repetition is no new message
    assert_eq!(carry(&mut the_box, &mut host, 1 + REPEAT_US), [Event::Delivered]);
    assert!(host.is_ready());
}

/// An ack that is lost costs no repetition of the message: the sign of life acknowledges as well.
#[test]
fn the_sign_of_life_acknowledges() {
    let (mut host, mut the_box) = session();
    host.send(&ToBox::Stop).unwrap();
    assert_eq!(carry(&mut host, &mut the_box, 1), [Event::Message(ToBox::Stop)]);
    let _ = the_box.poll(1, &mut |_| {}); // the ack is lost
    assert_eq!(carry(&mut the_box, &mut host, 1 + BEAT_US), [Event::Delivered]);
}

#[test]
fn a_welcome_is_repeated_until_the_host_has_it() {
    let (mut host, mut the_box) =
        (Host::new(Side::Host { session: SESSION }), Box::new(Side::Box(capabilities())));
    assert_eq!(carry(&mut host, &mut the_box, 0), [Event::Opened]);
    let _ = the_box.poll(0, &mut |_| {}); // the welcome is lost
    assert_eq!(carry(&mut the_box, &mut host, REPEAT_US), [Event::Opened]);
    assert_eq!(carry(&mut host, &mut the_box, REPEAT_US), []);
    let mut after = Vec::new();
    let _ = the_box.poll(3 * REPEAT_US, &mut |bytes| after.extend_from_slice(bytes));
    assert_eq!(collect(&after), [Ok(frame(Kind::Ack, 0, &[]))]);
}

#[test]
fn what_is_never_acknowledged_ends_the_session() {
    let (mut host, _) = session();
    host.send(&ToBox::Stop).unwrap();
    let (mut now, mut ended) = (0, None);
    while ended.is_none() {
        now += BEAT_US;
        // The box is heard, but hears nothing itself: it goes on awaiting message 0.
        for byte in frame(Kind::Ack, 0, &[]).encode() {
            assert_eq!(host.receive(byte, now), None);
        }
        ended = host.poll(now, &mut |_| {});
    }
    let Some(Event::Ended(Ended::NotAcknowledged { for_us })) = ended else { panic!("{ended:?}") };
    assert!((PATIENCE_US..PATIENCE_US + REPEAT_US + BEAT_US).contains(&for_us), "{for_us}");
}

#[test]
fn silence_ends_a_session_and_a_beat_prevents_it() {
    let (mut host, mut the_box) = session();
    let mut now = 0;
    while now < 3 * SILENCE_US {
        now += BEAT_US;
        assert_eq!(carry(&mut host, &mut the_box, now), []);
        assert_eq!(the_box.silence_us(now), Some(0));
        assert_eq!(carry(&mut the_box, &mut host, now), []);
    }
    let ended = the_box.poll(now + SILENCE_US, &mut |_| {});
    assert_eq!(ended, Some(Event::Ended(Ended::Silent { for_us: SILENCE_US })));
    assert!(!the_box.is_open());
}

#[test]
fn another_version_is_named() {
    let mut host = Host::new(Side::Host { session: SESSION });
    let welcome = frame(Kind::Welcome, 0, &[9, 0]).encode();
    let events: Vec<_> = welcome.iter().filter_map(|&b| host.receive(b, 0)).collect();
    assert_eq!(events, [Event::Ended(Ended::OtherVersion { found: 9 })]);
    let mut the_box = Box::new(Side::Box(capabilities()));
    let hello = frame(Kind::Hello, 0, &[9, 0]).encode();
    assert!(hello.iter().all(|&b| the_box.receive(b, 0).is_none()));
    let mut answer = Vec::new();
    let _ = the_box.poll(0, &mut |bytes| answer.extend_from_slice(bytes));
    assert_eq!(collect(&answer)[0].as_ref().unwrap().payload[..2], PROTOCOL.to_le_bytes());
}

#[test]
fn a_new_session_begins_afresh_and_the_old_one_is_not_heard() {
    let (mut host, mut the_box) = session();
    host.send(&ToBox::Stop).unwrap();
    let mut old = Vec::new();
    let _ = host.poll(1, &mut |bytes| old.extend_from_slice(bytes));
    let mut next = Host::new(Side::Host { session: SESSION + 1 });
    assert_eq!(carry(&mut next, &mut the_box, 2), [Event::Opened]);
    assert!(old.iter().all(|&b| the_box.receive(b, 2).is_none()));
    assert_eq!(carry(&mut the_box, &mut next, 2), [Event::Opened]);
    next.close();
    assert_eq!(carry(&mut next, &mut the_box, 3), [Event::Ended(Ended::Closed)]);
}

/// A line that brings everything late and twice: what was obeyed is not obeyed again.
#[test]
fn the_bytes_of_a_session_that_is_over_open_nothing() {
    let (mut host, mut the_box) = session();
    let mut recorded = Vec::new();
    // From the hello of a host like it to the end of its session.
    let mut same: Host = Endpoint::new(Side::Host { session: SESSION });
    same.poll(0, &mut |bytes| recorded.extend_from_slice(bytes));
    host.send(&ToBox::Ask).unwrap();
    host.poll(3_000, &mut |bytes| recorded.extend_from_slice(bytes));
    host.close();
    host.poll(3_000, &mut |bytes| recorded.extend_from_slice(bytes));
    let replay = |the_box: &mut Box, now_us: u64| -> Vec<Event<ToBox>> {
        recorded.iter().filter_map(|byte| the_box.receive(*byte, now_us)).collect()
    };
    assert_eq!(replay(&mut the_box, 3_000), [Event::Message(ToBox::Ask), Event::Ended(Ended::Closed)]);
    assert_eq!(replay(&mut the_box, 4_000), []);
    // Nor while or after other sessions, as long as their number is kept.
    for other in 1..8 {
        let mut hello = frame(Kind::Hello, 0, &PROTOCOL.to_le_bytes());
        hello.session = SESSION + other;
        let opened = hello.encode().iter().find_map(|byte| the_box.receive(*byte, 5_000));
        assert_eq!(opened, Some(Event::Opened));
        assert_eq!(replay(&mut the_box, 5_000), []);
        assert!(the_box.is_open());
    }
    // It is answered all the same, as every hello.
    let mut answer = Vec::new();
    the_box.poll(6_000, &mut |bytes| answer.extend_from_slice(bytes));
    assert!(collect(&answer).iter().flatten().any(|frame| frame.kind == Kind::Welcome));
}

#[test]
fn numbers_go_round_without_a_doubled_message() {
    let (mut host, mut the_box) = session();
    for i in 0..70_000_u32 {
        let message = ToBox::Monitor { period_ms: (i % 999) as u16 };
        host.send(&message).unwrap();
        assert_eq!(carry(&mut host, &mut the_box, u64::from(i)), [Event::Message(message)]);
        assert_eq!(carry(&mut the_box, &mut host, u64::from(i)), [Event::Delivered]);
    }
}
