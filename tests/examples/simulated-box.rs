//! A probe box on a simulated axis, to try `takeup box` and `takeup measure --box` without hardware:
//!
//!     cargo run -p takeup-tests --example simulated-box
//!
//! It tells the port to give to them. Each Enter presses its emergency stop, or lets it go; Ctrl-C ends it.

use std::sync::atomic::Ordering;
use takeup_core::slack::simulated::Faults;
use takeup_tests::boxes::SimulatedBox;

fn main() {
    let faults = Faults { clearance_mm: 0.08, wind_up_mm: 0.02, ..Faults::default() };
    let the_box = SimulatedBox::start(faults);
    println!("A simulated box: 0.08 mm of clearance, 0.02 mm of wind-up, Z from -50 to 50 mm.");
    println!("In another terminal: takeup box info {}", the_box.port);
    for line in std::io::stdin().lines() {
        if line.is_err() {
            break;
        }
        let was_pressed = the_box.hands.emergency.fetch_xor(true, Ordering::Relaxed);
        println!("The emergency stop is {}.", if was_pressed { "let go" } else { "pressed" });
    }
}
