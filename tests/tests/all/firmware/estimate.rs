//! The estimate of a whole test.

use super::board;
use takeup_core::length::Length;
use takeup_firmware_example::rehearsal;

#[test]
fn the_microcontroller_finds_the_hosts_numbers_bit_for_bit() {
    let output = board::run(&board::program("estimate"));
    let printed = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{printed}{}", String::from_utf8_lossy(&output.stderr));
    let mut expected = String::new();
    for seed in 1..=3 {
        let found = rehearsal::run(seed).expect("the host finds an estimate").lost_motion;
        // Not only equal, but right: the same clearance and wind-up that the simulated axis has.
        let truth = rehearsal::CLEARANCE_MM + rehearsal::WIND_UP_MM;
        assert!((found.value - truth).abs() < 0.002, "seed {seed}: {found:?}");
        assert!(found.low_95() <= truth && truth <= found.high_95(), "seed {seed}: {found:?}");
        let bits =
            [found.value, found.standard_uncertainty, found.dof].map(|v| format!("{:016x}", v.to_bits()));
        expected += &format!("{seed} {}\n", bits.join(" "));
        let lost = Length::from_mm(found.value).unwrap();
        let mut commands = Vec::new();
        rehearsal::set_points(lost, |command| commands.push(command)).expect("the host corrects set-points");
        expected.extend(commands.iter().map(|command| format!("{}\n", command.counts())));
        // By hand: on the way up the command leads by the lost motion once the change is done; 0.3 mm is the top.
        assert_eq!(commands[3], Length::from_mm(0.3).unwrap().checked_add(lost).unwrap());
        // Back on the reference seat, and twice as long after the reversal as the change takes, it does not.
        assert_eq!(commands[7], Length::from_mm(-0.1).unwrap());
    }
    assert_eq!(printed, expected);
}
