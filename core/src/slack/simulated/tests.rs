use super::*;
use proptest::prelude::*;

fn quiet() -> Noise {
    Noise::new(0)
}

// Design: with s the commanded travel since reversal, the table has moved 0 for s <= b, then
// (s-b) - w (1 - exp(-(s-b)/w)).
#[test]
fn a_full_reversal_follows_the_take_up_curve() {
    let (b, w) = (0.08, 0.03);
    for reference in [Direction::Plus, Direction::Minus] {
        for settled in [Direction::Plus, Direction::Minus] {
            let faults = Faults { reference, clearance_mm: b, wind_up_mm: w, ..Faults::default() };
            let mut axis = SimulatedAxis::new(faults, 10.0, settled);
            let start = axis.position_mm();
            let back = settled.reversed().signum();
            for step in 1..=400 {
                let s = f64::from(step) * 0.005;
                let moved = back * (axis.move_to_mm(10.0 + back * s, 0.0, &mut quiet()) - start);
                let expected = if s <= b { 0.0 } else { (s - b) - w * (1.0 - (-(s - b) / w).exp()) };
                assert!(
                    (moved - expected).abs() < 1e-12,
                    "{reference:?} {settled:?} s={s} {moved} {expected}"
                );
            }
        }
    }
}

// The exact answer is many plays in parallel, widths spread exponentially: here 4000 of them.
#[test]
fn partial_reversals_agree_with_many_plays_in_parallel() {
    let (b, w) = (0.05, 0.04);
    let count = 4000;
    let widths: std::vec::Vec<f64> =
        (0..count).map(|i| b - w * (1.0 - (f64::from(i) + 0.5) / f64::from(count)).ln()).collect();
    let mut plays = std::vec![0.0_f64; widths.len()];
    let faults = Faults { clearance_mm: b, wind_up_mm: w, ..Faults::default() };
    let mut axis = SimulatedAxis::new(faults, 0.0, Direction::Minus);
    let mut noise = Noise::new(5);
    let mut worst = 0.0_f64;
    for _ in 0..500 {
        let command = noise.between(-0.25, 0.25);
        let one = axis.move_to_mm(command, 0.0, &mut quiet());
        for (place, &width) in plays.iter_mut().zip(&widths) {
            *place = place.max(command - width).min(command);
        }
        let many = plays.iter().sum::<f64>() / f64::from(count);
        worst = worst.max((one - many).abs());
    }
    assert!(worst < 5e-5, "worst difference {worst} mm");
}

#[test]
fn each_fault_shows_as_itself() {
    let mut noise = quiet();
    let mut slipping =
        SimulatedAxis::new(Faults { slip_mm: 0.01, ..Faults::default() }, 0.0, Direction::Minus);
    for _ in 0..5 {
        slipping.move_to_mm(5.0, 0.0, &mut noise);
        slipping.move_to_mm(0.0, 0.0, &mut noise);
    }
    assert!((slipping.position_mm() + 0.05).abs() < 1e-12);

    let growing = Faults { growth_mm: 0.02, growth_time_s: 600.0, ..Faults::default() };
    let mut axis = SimulatedAxis::new(growing, 0.0, Direction::Minus);
    assert!((axis.wait_until(600.0) - 0.02 * (1.0 - (-1.0_f64).exp())).abs() < 1e-12);

    let pushed = Faults { clearance_mm: 0.1, stiffness_n_per_mm: 5000.0, ..Faults::default() };
    let mut axis = SimulatedAxis::new(pushed, 0.0, Direction::Minus);
    let swing = axis.push(100.0) - axis.push(-100.0);
    assert!((swing - (0.1 + 0.04)).abs() < 1e-12, "{swing}");

    let sticky = Faults { sticking_mm: 0.02, ..Faults::default() };
    let mut axis = SimulatedAxis::new(sticky, 0.0, Direction::Minus);
    assert_eq!(axis.move_to_mm(-0.01, 0.0, &mut noise), 0.0);
    assert_eq!(axis.move_to_mm(-0.03, 0.0, &mut noise), -0.03);
}

#[test]
fn a_dial_adds_its_own_hysteresis_and_angle() {
    let mut dial = Dial { hysteresis_mm: 0.004, angle_deg: 60.0, ..Dial::default() };
    dial.watch(-1.0);
    let up = dial.read_mm(0.0, &mut quiet());
    dial.watch(1.0);
    let down = dial.read_mm(0.0, &mut quiet());
    assert!((down - up - 0.008).abs() < 1e-12);
}

#[test]
fn noise_has_the_moments_of_a_normal_deviate() {
    let mut noise = Noise::new(7);
    let n = 100_000;
    let (mut sum, mut squares, mut fourth) = (0.0, 0.0, 0.0);
    for _ in 0..n {
        let z = noise.normal();
        sum += z;
        squares += z * z;
        fourth += z * z * z * z;
    }
    let n = f64::from(n);
    assert!((sum / n).abs() < 0.015, "mean {}", sum / n);
    assert!((squares / n - 1.0).abs() < 0.02, "variance {}", squares / n);
    assert!((fourth / n - 3.0).abs() < 0.15, "kurtosis {}", fourth / n);
}

proptest! {
    // The table is never farther behind the drive than all that can be lost.
    #[test]
    fn the_table_stays_within_what_can_be_lost(
        b in 0.0..0.3f64, w in 0.0..0.1f64, commands in prop::collection::vec(-2.0..2.0f64, 1..200),
    ) {
        let faults = Faults { clearance_mm: b, wind_up_mm: w, ..Faults::default() };
        let mut axis = SimulatedAxis::new(faults, 0.0, Direction::Minus);
        for command in commands {
            let lag = command - axis.move_to_mm(command, 0.0, &mut quiet());
            prop_assert!(lag >= -1e-9 && lag <= b + w + 1e-9, "{lag}");
        }
    }
}
