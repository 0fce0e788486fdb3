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
    let mut count = 0_usize;
    estimator(&mut |_| count += 1);
    let used = stack::used();
    // Once more, since printing needs a deep stack of its own.
    estimator(&mut |number| hprintln!("{:016x}", number.to_bits()));
    hprintln!("stack {}", used);
    ending::end(count > 0)
}
