//! Faults in the middle of a move: each ends it in time.

use super::*;

#[test]
fn the_emergency_stop_stops() {
    let world = world(0.1);
    let mut rig = Rig::new(&world);
    rig.fault(|rig| rig.world.emergency.set(true), Some(StopCause::EmergencyStop));
    // Still pressed: it cannot be armed. Let go: only once a person has said where the axis stands.
    let state = rig.state();
    assert_eq!((state.emergency, state.armed, state.position), (Button::Pressed, Armed::No, None));
    rig.world.emergency.set(false);
    assert_eq!(rig.arm_to(-5.0, 5.0, 5.0), ToHost::Refused(Refusal::NoPosition));
    rig.stands(0.0);
    rig.arm();
}

/// Above the speed at which the drive stops without losing a step, nothing is known after a stop.
#[test]
fn a_stop_at_speed_costs_the_position() {
    for (speed, known) in [(9.0, true), (15.0, false)] {
        let world = world(0.0);
        let mut rig = Rig::new(&world);
        assert_eq!(rig.arm_to(-20.0, 20.0, speed), ToHost::Armed);
        rig.places(&[8.0]);
        let routine = Routine::Reversal { cycles: 3, overrun: mm(0.5) };
        assert_eq!(rig.run(routine, 1, Correction::Off), ToHost::Started { readings: 6 });
        rig.pass(300_000);
        assert_eq!(rig.ask(&ToBox::Stop), ToHost::Stopped(StopCause::Asked));
        assert_eq!(rig.state().position.is_some(), known, "{speed} mm/s");
    }
}

#[test]
fn an_indicator_out_of_its_range_stops() {
    let world = world(0.1);
    let mut rig = Rig::new(&world);
    assert!(matches!(rig.ask(&ToBox::Set(Setting::Range(mm(0.3)))), ToHost::Setting(_)));
    rig.arm();
    assert_eq!(rig.reversal(), ToHost::Started { readings: 12 });
    rig.pass(1_000_000);
    assert_eq!(rig.heard, [ToHost::Stopped(StopCause::IndicatorRange)]);
    let table = world.steps() as f64 * STEP_MM;
    assert!(table.abs() <= 0.3 + COUNT_MM + 2.0 * STEP_MM, "it moved to {table} mm");
    // Out of its range it cannot be armed either.
    assert_eq!(rig.arm_to(-5.0, 5.0, 5.0), ToHost::Refused(Refusal::Indicator));
}

#[test]
fn the_host_stops() {
    let world = world(0.1);
    Rig::new(&world).fault(|rig| assert_eq!(rig.ask(&ToBox::Stop), ToHost::Stopped(StopCause::Asked)), None);
}

#[test]
fn an_indicator_that_stands_still_stops() {
    // It is noticed once the command is away by the bound; from there on not a step more is made.
    let world = world(0.1);
    let mut rig = Rig::new(&world);
    rig.arm();
    rig.world.wrong.set(Wrong::Stuck);
    rig.reversal();
    rig.pass(500_000);
    assert_eq!(rig.heard, [ToHost::Stopped(StopCause::NotFollowing)]);
    let moved = world.steps().unsigned_abs() as f64 * STEP_MM;
    assert!(moved <= 0.4 + 2.0 * STEP_MM, "it moved {moved} mm");
    assert!(!rig.probe.is_armed());
}

#[test]
fn an_indicator_that_runs_away_stops() {
    let world = world(0.1);
    Rig::new(&world).fault(|rig| rig.world.wrong.set(Wrong::RunningAway), Some(StopCause::NotFollowing));
}

#[test]
fn a_lost_link_stops() {
    let world = world(0.1);
    Rig::new(&world).fault(|rig| rig.plugged = false, None);
}

#[test]
fn a_cable_plugged_in_again_does_not_start_it_again() {
    let world = world(0.1);
    let mut rig = Rig::new(&world);
    rig.fault(|rig| rig.plugged = false, None);
    rig.plugged = true;
    let steps = world.steps();
    rig.pass(100_000);
    assert_eq!(rig.heard, [ToHost::Stopped(StopCause::LinkLost)]);
    assert_eq!(world.steps(), steps);
}

/// A queue of messages that nobody takes, filled while the axis moves.
fn unheard(world: &World, messages: usize) -> Rig<'_> {
    let mut rig = Rig::new(world);
    // So fast that a sudden stop can lose steps.
    assert_eq!(rig.arm_to(-20.0, 20.0, 15.0), ToHost::Armed);
    rig.places(&[8.0]);
    let reversal = Routine::Reversal { cycles: 3, overrun: mm(0.5) };
    assert_eq!(rig.run(reversal, 1, Correction::Off), ToHost::Started { readings: 6 });
    rig.pass(300_000);
    rig.heard.clear();
    for _ in 0..messages {
        rig.probe.tell(ToHost::Done);
    }
    rig
}

#[test]
fn a_host_that_takes_no_message_stops_like_one_that_is_gone() {
    let world = world(0.0);
    let mut rig = unheard(&world, 8);
    assert!(rig.probe.is_armed());
    rig.probe.tell(ToHost::Done);
    assert!(!rig.probe.is_armed());
    let steps = world.steps();
    rig.pass(100_000);
    assert_eq!(rig.heard, [ToHost::Stopped(StopCause::LinkLost)]);
    assert_eq!(world.steps(), steps);
    // At this speed steps may have been lost.
    assert_eq!(rig.state().position, None);
}

#[test]
fn the_cause_of_a_stop_is_told_even_when_nothing_else_can_be() {
    for cause in [StopCause::EmergencyStop, StopCause::NotFollowing, StopCause::Asked] {
        let world = world(0.0);
        let mut rig = unheard(&world, 8);
        rig.probe.stop(cause);
        rig.pass(100_000);
        let mut expected = vec![ToHost::Done; 7];
        expected.push(ToHost::Stopped(cause));
        assert_eq!(rig.heard, expected);
    }
}
