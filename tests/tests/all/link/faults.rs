//! Two ends and a seeded line between them. Whatever the line does, what arrives is what was sent, once and
//! in order; a session that does not complete says why.

use std::collections::BTreeMap;
use takeup_core::axis::{Axis, Direction};
use takeup_core::length::Length;
use takeup_core::link::{Capabilities, Ended, Endpoint, Event, Kinds, Side, ToBox, ToHost};
use takeup_core::measure::routine::Kind;
use takeup_core::slack::simulated::Noise;

/// One byte at 115 200 baud, ten bits each.
const BYTE_US: u64 = 87;
const MESSAGES: u32 = 60;
const MOST_DELAY_US: f64 = 4000.0;

/// The probability of each fault, for each byte.
#[derive(Clone, Copy, Debug, Default)]
struct Rates {
    flip: f64,
    lose: f64,
    double: f64,
    delay: f64,
}

/// One direction of the line.
struct Line {
    rates: Rates,
    noise: Noise,
    free_us: u64,
    /// By the time of arrival, then by the order of sending.
    arriving: BTreeMap<(u64, u64), u8>,
    sent: u64,
}

impl Line {
    fn new(rates: Rates, seed: u64) -> Self {
        Self { rates, noise: Noise::new(seed), free_us: 0, arriving: BTreeMap::new(), sent: 0 }
    }

    fn send(&mut self, bytes: &[u8], now: u64) {
        let noise = &mut self.noise;
        for &byte in bytes {
            self.free_us = self.free_us.max(now) + BYTE_US;
            let byte = if noise.chance(self.rates.flip) { byte ^ (1 << (noise.bits() % 8)) } else { byte };
            if noise.chance(self.rates.lose) {
                continue;
            }
            let copies = if noise.chance(self.rates.double) { 2 } else { 1 };
            for _ in 0..copies {
                let delayed = noise.chance(self.rates.delay);
                let late = if delayed { noise.between(0.0, MOST_DELAY_US) as u64 } else { 0 };
                self.sent += 1;
                self.arriving.insert((self.free_us + late, self.sent), byte);
            }
        }
    }

    fn arrived(&mut self, now: u64) -> Vec<u8> {
        let later = self.arriving.split_off(&(now + 1, 0));
        std::mem::replace(&mut self.arriving, later).into_values().collect()
    }
}

#[derive(Debug, PartialEq)]
enum Outcome {
    Complete,
    Ended(Ended),
}

fn reading(row: u32) -> ToHost {
    ToHost::Reading {
        row,
        target: Length::from_mm(-40.0).unwrap(),
        cycle: 1,
        approach: Direction::Minus,
        counts: -(row as i32) * 7,
        spread: 1,
        time_ms: row * 1000,
    }
}

fn request(i: u32) -> ToBox {
    ToBox::Monitor { period_ms: i as u16 }
}

/// Both ends send their messages at the same time, each as fast as the link takes them.
fn run(rates: Rates, seed: u64) -> Outcome {
    let capabilities = Capabilities {
        name: "box".try_into().unwrap(),
        axis: Axis::Z,
        low: Length::from_mm(-100.0).unwrap(),
        high: Length::ZERO,
        most_speed: 1,
        count: Length::from_mm(0.001).unwrap(),
        most_readings: 200,
        kinds: Kinds::of(&Kind::ALL),
    };
    let session = (seed % 65_536) as u16;
    let mut host: Endpoint<ToBox, ToHost> = Endpoint::new(Side::Host { session });
    let mut the_box: Endpoint<ToHost, ToBox> = Endpoint::new(Side::Box(capabilities));
    let (mut down, mut up) = (Line::new(rates, seed), Line::new(rates, seed ^ 0x5555_0000));
    let (mut at_box, mut at_host) = (0, 0);
    let (mut from_host, mut from_box) = (0, 0);
    let mut ended = None;
    for now in (0..60_000_000).step_by(1000) {
        let mut box_events: Vec<_> =
            down.arrived(now).into_iter().filter_map(|b| the_box.receive(b, now)).collect();
        let mut host_events: Vec<_> =
            up.arrived(now).into_iter().filter_map(|b| host.receive(b, now)).collect();
        host_events.extend(host.poll(now, &mut |bytes| down.send(bytes, now)));
        box_events.extend(the_box.poll(now, &mut |bytes| up.send(bytes, now)));
        for event in box_events {
            match event {
                Event::Message(message) => {
                    assert_eq!(
                        message,
                        request(at_box),
                        "seed {seed}, {rates:?}: a wrong or doubled request"
                    );
                    at_box += 1;
                }
                Event::Ended(why) => ended = ended.or(Some(why)),
                Event::Opened | Event::Delivered => {}
            }
        }
        for event in host_events {
            match event {
                Event::Message(message) => {
                    assert_eq!(
                        message,
                        reading(at_host),
                        "seed {seed}, {rates:?}: a wrong or doubled reading"
                    );
                    at_host += 1;
                }
                Event::Ended(why) => ended = ended.or(Some(why)),
                Event::Opened | Event::Delivered => {}
            }
        }
        if let Some(why) = ended {
            return Outcome::Ended(why);
        }
        if at_box == MESSAGES && at_host == MESSAGES {
            return Outcome::Complete;
        }
        if host.is_ready() && from_host < MESSAGES {
            host.send(&request(from_host)).unwrap();
            from_host += 1;
        }
        if the_box.is_ready() && from_box < MESSAGES {
            the_box.send(&reading(from_box)).unwrap();
            from_box += 1;
        }
    }
    panic!("seed {seed}, {rates:?}: neither complete nor ended after a minute")
}

/// How many of the sessions complete; prints why the first other ended.
fn complete(what: &str, rates: Rates, sessions: u64) -> u64 {
    let outcomes: Vec<_> = (0..sessions).map(|seed| run(rates, seed)).collect();
    let done = outcomes.iter().filter(|o| **o == Outcome::Complete).count() as u64;
    let other = outcomes.iter().find(|o| **o != Outcome::Complete);
    println!("{what}: {done} of {sessions} sessions complete; first other: {other:?}");
    done
}

#[test]
fn a_perfect_line_completes_every_session() {
    assert_eq!(complete("perfect", Rates::default(), 20), 20);
}

#[test]
fn each_fault_alone_in_two_of_a_hundred_bytes_completes() {
    let none = Rates::default();
    for (what, rates) in [
        ("flipped", Rates { flip: 0.02, ..none }),
        ("lost", Rates { lose: 0.02, ..none }),
        ("doubled", Rates { double: 0.02, ..none }),
        ("delayed", Rates { delay: 0.02, ..none }),
    ] {
        assert_eq!(complete(what, rates, 100), 100, "{what}");
    }
}

/// Up to eight faults in a hundred bytes: not one wrong or doubled message (asserted in `run`), and what does
/// not complete has ended with a reason.
#[test]
fn all_faults_together_deliver_nothing_wrong() {
    for (rate, least) in [(0.001, 100), (0.005, 100), (0.01, 100), (0.02, 95)] {
        let rates = Rates { flip: rate, lose: rate, double: rate, delay: rate };
        let done = complete(&format!("all four at {rate}"), rates, 100);
        assert!(done >= least, "{rate}: {done}");
    }
}

/// A cable that is pulled: the host comes to know, with the reason.
#[test]
fn a_dead_line_ends_with_silence() {
    let outcome = run(Rates { lose: 1.0, ..Rates::default() }, 1);
    assert!(matches!(outcome, Outcome::Ended(Ended::Silent { .. })), "{outcome:?}");
}
