//! What the programs of the estimators share: the numbers as bits, and how deep the stack has been.

#[path = "../emulated/ending.rs"]
mod ending;
#[path = "../emulated/stack.rs"]
mod stack;

use cortex_m_semihosting::hprintln;
use takeup_firmware_example::estimators::Take;

/// Runs an estimator, prints its numbers as the bits of floats, and the bytes of stack that it used.
pub fn run(estimator: fn(Take<'_>)) -> ! {
    stack::paint();
    let (mut numbers, mut count) = ([0.0; 64], 0_usize);
    estimator(&mut |number| {
        if let Some(slot) = numbers.get_mut(count) {
            *slot = number;
            count += 1;
        }
    });
    let used = stack::used();
    numbers.iter().take(count).for_each(|number| hprintln!("{:016x}", number.to_bits()));
    hprintln!("stack {}", used);
    ending::end(count > 0)
}
