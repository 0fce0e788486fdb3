//! The table, the settings, and what is left of both after a loss of power.

use super::*;

#[test]
fn a_table_in_the_box_takes_the_lost_motion_away_and_is_kept() {
    let mut memory = vec![0xff; MEMORY];
    let world = world(0.12);
    let (table, checksum) = table_bytes(0.12);
    {
        let mut rig = Rig::with_memory(&world, &mut memory);
        rig.stands(0.0);
        rig.arm();
        rig.places(&[0.0, -1.0]);
        let routine = Routine::Reversal { cycles: 3, overrun: mm(0.5) };
        assert_eq!(rig.run(routine, 1, Correction::Table), ToHost::Refused(Refusal::BadTable));
        let part = ToBox::TablePart { offset: 0, bytes: table[..16].iter().copied().collect() };
        assert_eq!(rig.ask(&part), ToHost::Refused(Refusal::Busy));
        assert_eq!(rig.ask(&ToBox::Stop), ToHost::Stopped(StopCause::Asked));
        rig.table_parts(&table);
        let length = table.len() as u16;
        let end = |length| ToBox::TableEnd { length };
        assert_eq!(rig.ask(&end(length + 1)), ToHost::Refused(Refusal::BadTable));
        assert_eq!(rig.state().table, None);
        let ToHost::State(state) = rig.ask(&end(length)) else { panic!("{:?}", rig.heard) };
        assert_eq!(state.table, Some(checksum));
    }
    // Power gone and back: the table is there, and a routine runs with it.
    let mut rig = Rig::with_memory(&world, &mut memory);
    assert_eq!(rig.state().table, Some(checksum));
    rig.stands(0.0);
    rig.arm();
    rig.places(&[0.0, -1.0]);
    let routine = Routine::Reversal { cycles: 3, overrun: mm(0.5) };
    assert_eq!(rig.run(routine, 1, Correction::Table), ToHost::Started { readings: 12 });
    for reading in rig.readings() {
        assert!((reading.value_mm - reading.target.as_mm()).abs() < 0.0011, "{reading:?}");
    }
    assert_eq!(rig.ask(&ToBox::Stop), ToHost::Stopped(StopCause::Asked));
    // Set up for another axis it has none, and back for its own it has it again.
    for (axis, table) in [(Axis::X, None), (Axis::Z, Some(checksum))] {
        assert_eq!(rig.ask(&ToBox::Set(Setting::Axis(axis))), ToHost::Setting(Setting::Axis(axis)));
        assert_eq!(rig.state().table, table, "{axis}");
    }
    assert!(matches!(rig.ask(&ToBox::TableEnd { length: 0 }), ToHost::State(State { table: None, .. })));
}

#[test]
fn settings_are_kept_and_told() {
    let mut memory = vec![0xff; MEMORY];
    let world = world(0.0);
    {
        let mut rig = Rig::with_memory(&world, &mut memory);
        assert_eq!(rig.ask(&ToBox::Set(Setting::High(mm(2.0)))), ToHost::Setting(Setting::High(mm(2.0))));
        assert_eq!(rig.ask(&ToBox::Set(Setting::Speed(0))), ToHost::Refused(Refusal::BadSetting));
        rig.stands(0.0);
        assert_eq!(rig.arm_to(-1.0, 1.0, 1.0), ToHost::Armed);
        assert_eq!(rig.ask(&ToBox::Set(Setting::High(mm(3.0)))), ToHost::Refused(Refusal::Busy));
    }
    let mut rig = Rig::with_memory(&world, &mut memory);
    assert_eq!(rig.host.peer().map(|peer| peer.high), Some(mm(2.0)));
    assert_eq!(rig.ask(&ToBox::AskSetting(SettingName::High)), ToHost::Setting(Setting::High(mm(2.0))));
    rig.stands(0.0);
    assert_eq!(rig.arm_to(-1.0, 2.1, 1.0), ToHost::Refused(Refusal::BeyondLimits));
    // Another length of step: what was known of the position is worth nothing.
    assert!(matches!(rig.ask(&ToBox::Set(Setting::Step(mm(0.001)))), ToHost::Setting(_)));
    assert_eq!(rig.state().position, None);
}
