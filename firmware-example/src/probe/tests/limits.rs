//! What is refused, and the range that was armed.

use super::*;
use crate::probe::machine::Held;

#[test]
fn nothing_moves_before_it_is_armed() {
    let world = world(0.0);
    let mut rig = Rig::new(&world);
    assert_eq!(rig.reversal(), ToHost::Refused(Refusal::NotArmed));
    rig.pass(200_000);
    assert_eq!(world.steps(), 0);
}

#[test]
fn nothing_is_armed_before_it_is_known_where_the_axis_stands() {
    let world = world(0.0);
    let mut rig = Rig::with_memory(&world, vec![0xff; MEMORY].leak());
    assert_eq!(rig.state().position, None);
    assert_eq!(rig.arm_to(-5.0, 5.0, 5.0), ToHost::Refused(Refusal::NoPosition));
    rig.stands(6.0);
    assert_eq!(rig.arm_to(-5.0, 5.0, 5.0), ToHost::Refused(Refusal::BeyondLimits));
    rig.stands(-1.25);
    assert_eq!(rig.state().position, Some(mm(-1.25)));
    rig.arm();
    // While it is armed nobody tells it something else.
    assert_eq!(rig.ask(&ToBox::Stands { at: mm(0.0) }), ToHost::Refused(Refusal::Busy));
}

#[test]
fn what_goes_beyond_the_limits_is_refused_before_the_first_step() {
    let world = world(0.0);
    let mut rig = Rig::new(&world);
    for (axis, low, high, speed, refusal) in [
        (Axis::X, 0.0, 1.0, 1.0, Refusal::OtherAxis),
        (Axis::Z, -51.0, 1.0, 1.0, Refusal::BeyondLimits),
        (Axis::Z, 1.0, 0.0, 1.0, Refusal::BeyondLimits),
        (Axis::Z, 0.0, 1.0, 21.0, Refusal::BeyondLimits),
        (Axis::Z, 0.0, 1.0, 0.0, Refusal::BeyondLimits),
    ] {
        let arm = ToBox::Arm { axis, low: mm(low), high: mm(high), speed: mm(speed).counts() };
        assert_eq!(rig.ask(&arm), ToHost::Refused(refusal));
        assert!(!rig.probe.is_armed());
    }
    assert_eq!(rig.arm_to(-0.5, 5.0, 5.0), ToHost::Armed);
    assert_eq!(rig.reversal(), ToHost::Refused(Refusal::BeyondLimits));
    rig.places(&[0.0]);
    let reversal = |cycles, overrun| Routine::Reversal { cycles, overrun: mm(overrun) };
    for (routine, from_row) in [
        // An overrun no longer than what the indicator may lag could not tell that it stands still.
        (reversal(3, 0.4), 1),
        (reversal(1, 0.5), 1),
        (reversal(3, 0.5), 0),
        (reversal(3, 0.5), 7),
        (reversal(u16::MAX, 0.5), 1),
    ] {
        assert_eq!(rig.run(routine, from_row, Correction::Off), ToHost::Refused(Refusal::BadPlan));
    }
    assert_eq!(
        rig.ask(&ToBox::Places { first: 3, at: [mm(0.0)].into_iter().collect() }),
        ToHost::Refused(Refusal::BadPlan)
    );
    assert_eq!(world.steps(), 0);
}

/// From below the first move of small steps is made upward, and the table adds the lost motion to it: what the
/// plan alone would command is within the range, what the box will do is not.
#[test]
fn the_first_move_is_checked_from_where_the_axis_stands() {
    let small_steps = Routine::SmallSteps { step: mm(0.02), steps: 6, cycles: 1, overrun: mm(0.5) };
    for (stands, high, within) in [(0.0, 1.5, false), (0.0, 1.62, true), (1.5, 1.5, true)] {
        let world = world(0.12);
        let mut rig = Rig::new(&world);
        rig.table(0.12);
        rig.stands(stands);
        assert_eq!(rig.arm_to(0.0, high, 5.0), ToHost::Armed);
        rig.places(&[1.0]);
        let answer = rig.run(small_steps, 1, Correction::Table);
        if within {
            assert_eq!(answer, ToHost::Started { readings: 19 });
        } else {
            assert_eq!(answer, ToHost::Refused(Refusal::BeyondLimits));
        }
        let mut highest = stands;
        for _ in 0..2000 {
            rig.pass(1000);
            highest = highest.max(stands + world.steps() as f64 * STEP_MM);
        }
        assert!(highest <= high + 1e-9, "from {stands} mm it moved to {highest} mm");
        assert_eq!(world.steps() != 0, within);
    }
}

/// The plan comes down to the row; the axis stands below it and goes up.
#[test]
fn a_stopped_routine_is_checked_from_where_the_axis_stands() {
    let routine = Routine::Positioning { runs: 2, overrun: mm(0.5) };
    let world = world(0.12);
    let mut rig = Rig::new(&world);
    rig.table(0.12);
    rig.stands(-2.2);
    rig.places(&[-2.0, -1.0, 0.0]);
    // The second run down is rows 10 to 12.
    assert_eq!(rig.arm_to(-3.0, -1.0, 5.0), ToHost::Armed);
    assert_eq!(rig.run(routine, 11, Correction::Table), ToHost::Refused(Refusal::BeyondLimits));
    rig.pass(100_000);
    assert_eq!(world.steps(), 0);
    assert_eq!(rig.arm_to(-3.0, -0.88, 5.0), ToHost::Armed);
    assert_eq!(rig.run(routine, 11, Correction::Table), ToHost::Started { readings: 12 });
    rig.pass(2_000_000);
    assert_eq!(rig.heard.last(), Some(&ToHost::Finished { readings: 2 }));
    // With the rows before it, it goes beyond.
    assert_eq!(rig.run(routine, 10, Correction::Table), ToHost::Refused(Refusal::BeyondLimits));
}

/// Should a check before the first step have a hole, the axis still does not leave the range.
#[test]
fn no_move_begins_that_would_leave_the_range() {
    let world = world(0.12);
    let mut rig = Rig::new(&world);
    rig.table(0.12);
    assert_eq!(rig.arm_to(-0.5, 0.62, 5.0), ToHost::Armed);
    rig.places(&[0.0]);
    let reversal = Routine::Reversal { cycles: 2, overrun: mm(0.5) };
    assert_eq!(rig.run(reversal, 1, Correction::Table), ToHost::Started { readings: 4 });
    // Nobody can send a table to a box that is armed; the hole is made from within.
    let table = AxisTable::uniform(Direction::Minus, mm(0.13)).unwrap();
    rig.probe.table = Some(Held { table, checksum: 0 });
    rig.pass(2_000_000);
    assert!(matches!(rig.heard.first(), Some(ToHost::Reading { row: 1, .. })), "{:?}", rig.heard);
    assert_eq!(rig.heard.last(), Some(&ToHost::Stopped(StopCause::DriveFault)));
    assert!(!rig.probe.is_armed());
    assert_eq!(rig.state().position, None);
}
