//! Routines, and the motion in them.

use super::*;

#[test]
fn a_routine_gives_the_lost_motion_of_the_axis() {
    let world = world(0.12);
    let mut rig = Rig::new(&world);
    rig.arm();
    assert_eq!(rig.reversal(), ToHost::Started { readings: 12 });
    let readings = rig.readings();
    let setup = Setup { resolution_mm: COUNT_MM, ..Setup::default() };
    let found = assess::<4>(&readings[..], &setup).unwrap().lost_motion;
    assert!((found.value - 0.12).abs() < 0.001, "{found:?}");
}

/// What runs away by itself is seen as soon as its words are away by the bound.
#[test]
fn a_scale_that_runs_away_stops() {
    let world = world(0.1);
    let mut rig = Rig::of(&world, world.scale_probe(vec![0xff; MEMORY].leak()));
    rig.stands(0.0);
    rig.pass(50_000);
    assert_eq!(rig.arm_to(-5.0, 5.0, 4.0), ToHost::Armed);
    rig.world.wrong.set(Wrong::RunningAway);
    // A tenth of a millimetre with each word, the bound is 0.4 mm.
    rig.pass(7 * SCALE_PERIOD_US);
    assert_eq!(rig.heard, [ToHost::Stopped(StopCause::NotFollowing)]);
    assert!(!rig.probe.is_armed());
}

/// A word every 20 ms; without one it stops before 50 ms are over.
#[test]
fn a_scale_that_falls_silent_stops() {
    let world = world(0.1);
    let mut rig = Rig::of(&world, world.scale_probe(vec![0xff; MEMORY].leak()));
    rig.stands(0.0);
    rig.pass(50_000);
    assert_eq!(rig.arm_to(-5.0, 5.0, 4.0), ToHost::Armed);
    assert_eq!(rig.reversal(), ToHost::Started { readings: 12 });
    rig.pass(50_000);
    let (before, fault_us) = (world.steps(), world.now_us.get());
    rig.world.wrong.set(Wrong::Failed);
    rig.pass(200_000);
    assert_eq!(rig.heard, [ToHost::Stopped(StopCause::IndicatorFault)]);
    assert_ne!(world.steps(), before, "it was moving");
    let until_us = world.last_step_us.get() - fault_us;
    assert!(until_us <= 50_000, "{until_us}");
    assert!(!rig.probe.is_armed());
}

/// The same box with the other indicator: coarser, and a word every 20 ms.
#[test]
fn a_digital_scale_does_as_well() {
    let world = world(0.12);
    let mut rig = Rig::of(&world, world.scale_probe(vec![0xff; MEMORY].leak()));
    rig.stands(0.0);
    rig.pass(50_000);
    // So fast that more than half of what it may lag would pass unseen.
    assert_eq!(rig.arm_to(-5.0, 5.0, 6.0), ToHost::Refused(Refusal::TooFast));
    assert_eq!(rig.arm_to(-5.0, 5.0, 4.0), ToHost::Armed);
    assert_eq!(rig.reversal(), ToHost::Started { readings: 12 });
    for _ in 0..100 {
        rig.pass(100_000);
        if matches!(rig.heard.last(), Some(ToHost::Finished { .. })) {
            break;
        }
    }
    assert_eq!(rig.heard.pop(), Some(ToHost::Finished { readings: 12 }));
    for message in &rig.heard {
        let ToHost::Reading { target, approach, counts, .. } = *message else { panic!("{message:?}") };
        let lag = if approach == Direction::Plus { 0.12 } else { 0.0 };
        let found = f64::from(counts) * SCALE_COUNT_MM;
        assert!((found - (target.as_mm() - lag)).abs() < 0.51 * SCALE_COUNT_MM, "{message:?}");
    }
    // It shows the same number whatever the axis does: noticed within the bound, and what a word takes.
    assert_eq!(rig.reversal(), ToHost::Started { readings: 12 });
    rig.world.wrong.set(Wrong::Stuck);
    let before = world.steps();
    rig.pass(1_000_000);
    assert_eq!(rig.heard, [ToHost::Stopped(StopCause::NotFollowing)]);
    let moved = (world.steps() - before).unsigned_abs() as f64 * STEP_MM;
    assert!(moved <= 0.4 + 4.0 * 0.04, "it moved {moved} mm");
}

#[test]
fn positioning_goes_up_and_down_through_its_places() {
    let world = world(0.12);
    let mut rig = Rig::new(&world);
    rig.arm();
    rig.places(&[-2.0, -1.5, -1.0, -0.5, 0.0, 0.5]);
    let routine = Routine::Positioning { runs: 2, overrun: mm(0.5) };
    assert_eq!(rig.run(routine, 1, Correction::Off), ToHost::Started { readings: 24 });
    let readings = rig.readings();
    let mut places: Vec<(f64, Direction)> = vec![];
    for (i, reading) in readings.iter().enumerate() {
        places.push((reading.target.as_mm(), reading.approach));
        // Coming up the table lags by the clearance, coming down it does not.
        let lag = if reading.approach == Direction::Plus { 0.12 } else { 0.0 };
        assert!((reading.value_mm - (reading.target.as_mm() - lag)).abs() < 0.0011, "{i}: {reading:?}");
    }
    assert_eq!(places[..2], [(-2.0, Direction::Plus), (-1.5, Direction::Plus)]);
    assert_eq!(places[6..8], [(0.5, Direction::Minus), (0.0, Direction::Minus)]);
}

#[test]
fn small_steps_climb_without_overrunning() {
    let world = world(0.05);
    let mut rig = Rig::new(&world);
    rig.arm();
    rig.places(&[-1.0]);
    let routine = Routine::SmallSteps { step: mm(0.02), steps: 6, cycles: 1, overrun: mm(0.5) };
    assert_eq!(rig.run(routine, 1, Correction::Off), ToHost::Started { readings: 19 });
    let readings = rig.readings();
    let shown: Vec<i32> = readings.iter().map(|r| (r.value_mm * 1000.0).round() as i32 + 1000).collect();
    // By hand, in micrometres: steps of 20 against a clearance of 50, seated moving down.
    let up = [0, 0, 10, 30, 50, 70];
    let down = [70, 70, 60, 40, 20, 0];
    let expected: Vec<i32> = [0].iter().chain(&up).chain(&down).chain(&up).copied().collect();
    assert_eq!(expected.len(), readings.len());
    let far = shown.iter().zip(&expected).find(|(shown, expected)| (**shown - **expected).abs() > 1);
    assert_eq!(far, None, "{shown:?}");
}

#[test]
fn returns_pause_as_often_as_they_should() {
    let world = world(0.05);
    let mut rig = Rig::new(&world);
    rig.arm();
    rig.places(&[0.0]);
    let routine = Routine::Return { lift: mm(1.0), returns: 6, pause_every: 2, pause_s: 3 };
    assert_eq!(rig.run(routine, 1, Correction::Off), ToHost::Started { readings: 6 });
    let from = world.now_us.get();
    while !matches!(rig.heard.last(), Some(ToHost::Finished { .. })) {
        rig.pass(100_000);
        assert!(world.now_us.get() < from + 20_000_000, "{:?}", rig.heard);
    }
    let times: Vec<u32> = rig
        .heard
        .iter()
        .filter_map(|message| match message {
            ToHost::Reading { time_ms, approach: Direction::Minus, .. } => Some(*time_ms),
            _ => None,
        })
        .collect();
    let waits: Vec<bool> = times.windows(2).map(|pair| pair[1] - pair[0] >= 3000).collect();
    assert_eq!(waits, [false, true, false, true, false], "{times:?}");
    // Nor a pause after the last.
    assert!(world.now_us.get() - from < u64::from(times[5]) * 1000 + 500_000);
}

#[test]
fn a_stopped_routine_goes_on_from_the_row_it_had_reached() {
    let world = world(0.12);
    let mut rig = Rig::new(&world);
    rig.arm();
    assert_eq!(rig.reversal(), ToHost::Started { readings: 12 });
    while rig.heard.len() < 5 {
        rig.pass(10_000);
    }
    let mut readings: Vec<ToHost> = rig.heard.clone();
    rig.plugged = false;
    rig.pass(60_000);
    assert!(!rig.probe.is_armed());
    rig.plugged = true;
    rig.pass(20_000);
    assert_eq!(rig.heard.last(), Some(&ToHost::Stopped(StopCause::LinkLost)));
    // At this speed it stops at once, without losing a step.
    assert!(rig.state().position.is_some());
    rig.arm();
    let went_on = rig.run(Routine::Reversal { cycles: 3, overrun: mm(0.5) }, 6, Correction::Off);
    assert_eq!(went_on, ToHost::Started { readings: 12 });
    while !matches!(rig.heard.last(), Some(ToHost::Finished { .. })) {
        rig.pass(10_000);
    }
    assert_eq!(rig.heard.pop(), Some(ToHost::Finished { readings: 7 }));
    readings.append(&mut rig.heard);
    let rows: Vec<u32> = readings
        .iter()
        .map(|message| match message {
            ToHost::Reading { row, .. } => *row,
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(rows, (1..=12).collect::<Vec<_>>());
    for message in readings {
        let ToHost::Reading { target, approach, counts, .. } = message else { unreachable!() };
        let lag = if approach == Direction::Plus { 0.12 } else { 0.0 };
        assert!((f64::from(counts) * COUNT_MM - (target.as_mm() - lag)).abs() < 0.0011, "{message:?}");
    }
}

#[test]
fn the_speed_is_a_trapezoid_within_its_limits() {
    let world = world(0.0);
    let mut rig = Rig::new(&world);
    rig.arm();
    rig.reversal();
    let (mut steps, mut at, mut fastest) = (world.steps(), world.now_us.get(), 0.0_f64);
    // The times of the steps of each move, in seconds; between moves the axis rests.
    let mut moves = vec![vec![]];
    for _ in 0..80_000 {
        rig.pass(TURN_US);
        if world.steps() != steps {
            let now = world.now_us.get();
            let speed = 1e6 * STEP_MM / (now - at) as f64;
            fastest = fastest.max(speed);
            if now - at > 10_000 {
                moves.push(vec![]);
            }
            moves.last_mut().unwrap().push(now as f64 * 1e-6);
            (steps, at) = (world.steps(), now);
        }
    }
    assert!(fastest <= 5.0 * (1.0 + 1e-9), "{fastest} mm/s");
    assert!(fastest > 4.0, "{fastest} mm/s: the armed speed is never nearly reached");
    // After k steps from rest the speed is at most √(2·a·s·k), and as much k steps before the next rest: n steps take
    // s/√(2·a·s)·Σ 1/√k at least, and that sum is no less than 2·(√(n+1) − 1).
    let acceleration = Length::from_counts(settings().acceleration).as_mm();
    let least = |n: usize| (STEP_MM / (2.0 * acceleration)).sqrt() * 2.0 * ((n as f64 + 1.0).sqrt() - 1.0);
    // The first has begun already, the last may not be over.
    let moves = &moves[1..moves.len() - 1];
    assert!(moves.len() > 3 && moves.iter().any(|times| times.len() > 300), "{} moves", moves.len());
    for times in moves {
        let last = times.len() - 1;
        for n in 1..=last {
            let (up, down) = (times[n] - times[0], times[last] - times[last - n]);
            assert!(up >= least(n) - 1e-9, "{n} steps from rest in {up} s");
            // The step onto the place is made at the speed of the one before it.
            assert!(down >= least(n + 1) - least(1) - 1e-9, "{n} steps to rest in {down} s");
        }
    }
}

/// One stroke before the first reading; then as many as fill the time, each to its end, and no rest in between.
#[test]
fn a_warm_up_test_works_between_its_readings() {
    let faults = Faults { clearance_mm: 0.05, growth_mm: 0.1, growth_time_s: 5.0, ..Faults::default() };
    let world = World::new(faults, 1);
    let mut rig = Rig::new(&world);
    rig.arm();
    rig.places(&[0.0]);
    let routine = Routine::WarmUp { stroke: mm(2.0), readings: 6, work_s: 3 };
    let from_ms = (world.now_us.get() / 1000) as u32;
    assert_eq!(rig.run(routine, 1, Correction::Off), ToHost::Started { readings: 6 });
    let (mut turns, mut before, mut up, mut stood_us) = (0, world.steps(), false, 0);
    let mut longest_rest_us = 0;
    while !matches!(rig.heard.last(), Some(ToHost::Finished { .. })) {
        rig.pass(1000);
        let steps = world.steps();
        stood_us = if steps == before { stood_us + 1000 } else { 0 };
        longest_rest_us = longest_rest_us.max(stood_us);
        if steps != before && (steps > before) != up {
            up = steps > before;
            turns += 1;
        }
        before = steps;
        assert!(world.now_us.get() < 60_000_000, "{:?}", rig.heard);
    }
    let readings: Vec<(u32, f64)> = rig
        .heard
        .iter()
        .filter_map(|message| match *message {
            ToHost::Reading { time_ms, counts, approach: Direction::Minus, .. } => {
                Some((time_ms, f64::from(counts) * COUNT_MM))
            }
            _ => None,
        })
        .collect();
    assert_eq!(readings.len(), 6);
    // A stroke of 2 mm at 5 mm/s takes less than a second.
    assert!(readings.windows(2).all(|pair| (3000..4200).contains(&(pair[1].0 - pair[0].0))), "{readings:?}");
    assert!((2 * (1 + 5 * 3)..=2 * (1 + 5 * 5)).contains(&turns), "{turns} turns");
    assert!(longest_rest_us < 100_000, "it rested for {longest_rest_us} us");
    // It is read where it grows, a count and a step either way.
    let grown = |time_ms: u32| 0.1 * (1.0 - (-f64::from(time_ms) / 5000.0).exp());
    for (time_ms, value) in readings {
        let off = value - grown(from_ms + time_ms);
        assert!(off.abs() < 0.003, "{value} at {time_ms} ms, off by {off}");
    }
}
