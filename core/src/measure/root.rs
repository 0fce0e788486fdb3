//! Where a rising function crosses zero, and values held between bounds.

/// The place between `low` and `high` at which a function that rises crosses zero, to twice `near` of the larger of the two;
/// one of them where it does not cross between them. It is asked a dozen times where bisection would ask fifty.
///
/// Bisection, with inverse quadratic interpolation wherever that can be trusted: T. R. Chandrupatla, "A new hybrid
/// quadratic/bisection algorithm for finding the zero of a nonlinear function", Advances in Engineering Software 28 (1997);
/// recalled from memory. A value that is not a number counts as above zero.
pub(crate) fn crossing(low: f64, high: f64, near: f64, value: &dyn Fn(f64) -> f64) -> f64 {
    let (mut here, mut there) = (low, high);
    let (mut of_here, mut of_there) = (value(here), value(there));
    let below = |value: f64| value < 0.0;
    if !below(of_here) {
        return low;
    }
    if below(of_there) {
        return high;
    }
    let near = near * libm::fmax(libm::fabs(low), libm::fabs(high));
    let mut share = 0.5;
    for _ in 0..200 {
        let next = here + share * (there - here);
        let of_next = value(next);
        // `here` is the newest, `there` on the other side of the crossing, `past` what one of them was before.
        let (past, of_past) = if below(of_next) == below(of_here) {
            (here, of_here)
        } else {
            let past = (there, of_there);
            (there, of_there) = (here, of_here);
            past
        };
        (here, of_here) = (next, of_next);
        let best = if libm::fabs(of_there) < libm::fabs(of_here) { there } else { here };
        let least = near / libm::fabs(there - here);
        if least > 0.5 || of_here == 0.0 {
            return if of_here == 0.0 { here } else { best };
        }
        let way = (here - there) / (past - there);
        let fall = (of_here - of_there) / (of_past - of_there);
        let trusted = fall * fall < way && (1.0 - fall) * (1.0 - fall) < 1.0 - way;
        share = if trusted {
            of_here / (of_there - of_here) * of_past / (of_there - of_past)
                + (past - here) / (there - here) * of_here / (of_past - of_here) * of_there
                    / (of_past - of_there)
        } else {
            0.5
        };
        share = held(share, least, 1.0 - least);
    }
    here
}

/// A value held between two bounds. `f64::clamp` panics where they are the wrong way round, and in firmware that brings
/// all that prints numbers along.
pub(crate) fn held(value: f64, least: f64, most: f64) -> f64 {
    libm::fmin(libm::fmax(value, least), most)
}

#[cfg(test)]
mod tests {
    use super::crossing;
    use core::cell::Cell;
    use proptest::prelude::*;

    #[test]
    fn the_ends_where_nothing_crosses() {
        assert_eq!(crossing(1.0, 2.0, 1e-12, &|x| x), 1.0);
        assert_eq!(crossing(1.0, 2.0, 1e-12, &|x| x - 5.0), 2.0);
        assert_eq!(crossing(-1.0, 1.0, 1e-12, &|x| x), 0.0);
    }

    #[test]
    fn infinite_and_meaningless_values_are_survived() {
        let found = crossing(0.0, 10.0, 1e-12, &|x| if x > 3.0 { f64::INFINITY } else { x - 2.0 });
        assert!((found - 2.0).abs() <= 2e-11, "{found}");
        let found = crossing(0.0, 10.0, 1e-12, &|x| if x > 3.0 { f64::NAN } else { -1.0 });
        assert!((found - 3.0).abs() <= 2e-11, "{found}");
    }

    proptest! {
        #[test]
        fn is_found_in_few_steps(root in -50.0..50.0_f64, steep in 0.01..30.0_f64, bend in 0.0..5.0_f64) {
            let asked = Cell::new(0);
            let value = |x: f64| {
                asked.set(asked.get() + 1);
                let off = steep * (x - root);
                off.tanh() + bend * 1e-3 * off * off * off
            };
            let found = crossing(-60.0, 60.0, 1e-12, &value);
            prop_assert!((found - root).abs() <= 1e-10, "{} for {}", found, root);
            prop_assert!(asked.get() <= 45, "{} times", asked.get());
        }
    }
}
