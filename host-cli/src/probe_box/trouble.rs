//! What can go wrong with a box, in the words of a person.

use crate::refusal::Refusal as Refused;
use std::fmt;
use std::io;
use takeup_core::link::Ended;
use takeup_core::link::message::{Refusal, StopCause};

/// What went wrong.
#[derive(Debug)]
pub enum Trouble {
    /// The port cannot be opened, or is gone.
    Port(io::Error),
    /// Nothing on the port answers the greeting.
    NoAnswer,
    /// The session is over.
    Ended(Ended),
    /// The box will not do it.
    Refused(Refusal),
    /// The box has stopped.
    Stopped(StopCause),
    /// The box does not run this kind of test.
    OtherKinds,
    /// The box was started anew since: it counts from another zero, and does not know any more where the axis stands.
    StartedAnew,
    /// Nobody listened to the box for as long as is allowed, so it was told to stop.
    NobodyListened,
    /// The box answered something else than what was asked.
    Unexpected,
    /// The box counts other readings than this program does: their versions differ.
    OtherPlan,
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Trouble::Port(error) => {
                let text = error.to_string().to_lowercase();
                let why = match text.split(" (os error").next().unwrap_or(&text) {
                    // What the system calls everything that is no serial line.
                    "not a typewriter" | "inappropriate ioctl for device" => "it is no serial port",
                    why => why,
                };
                write!(f, "cannot use the port: {why}")
            }
            Trouble::NoAnswer => f.write_str("no probe box answers there"),
            Trouble::Ended(why) => write!(f, "the link to the box is lost: {why}"),
            Trouble::Refused(refusal) => f.write_str(refusal_words(*refusal).0),
            Trouble::Stopped(cause) => write!(f, "the box has stopped: {}", stop_words(*cause).0),
            Trouble::OtherKinds => f.write_str("the box does not run this kind of test"),
            Trouble::StartedAnew => {
                f.write_str("the box was started anew meanwhile, and its indicator counts from another zero")
            }
            Trouble::NobodyListened => {
                f.write_str("this program was held up for a second, and so the box was told to stop")
            }
            Trouble::Unexpected => f.write_str("the box answered something else than it was asked"),
            Trouble::OtherPlan => f.write_str("the box would take other readings than this program expects"),
        }
    }
}

impl std::error::Error for Trouble {}

impl Trouble {
    /// What the person can do.
    #[must_use]
    pub fn way_out(&self) -> &'static str {
        match self {
            Trouble::Port(_) => {
                "Check the cable and the name; \"takeup box list\" shows the ports there are."
            }
            Trouble::NoAnswer => "Check the port, the cable, and that the box has power and its program.",
            Trouble::Ended(Ended::OtherVersion { .. }) => {
                "Put the program of the box and this one on the same version."
            }
            Trouble::Ended(_) => "Check the cable, and begin again.",
            Trouble::Refused(refusal) => refusal_words(*refusal).1,
            Trouble::Stopped(cause) => stop_words(*cause).1,
            Trouble::OtherKinds => "\"takeup box info\" shows the kinds it runs.",
            Trouble::StartedAnew => "Look where the axis stands, and begin again with another file.",
            Trouble::NobodyListened => {
                "Let the terminal scroll (Ctrl-Q), end other work on this computer, and arm the box again."
            }
            Trouble::Unexpected | Trouble::OtherPlan => {
                "Put the program of the box and this one on the same version."
            }
        }
    }

    /// The refusal of a command, about a port.
    #[must_use]
    pub fn refusal(&self, port: &str) -> Refused {
        Refused::new(self.to_string(), self.way_out()).file(port)
    }
}

/// What a refusal of the box means, and the way out.
fn refusal_words(refusal: Refusal) -> (&'static str, &'static str) {
    match refusal {
        Refusal::NotArmed => ("the box is not armed", "Arm it first."),
        Refusal::EmergencyStop => ("the emergency stop is pressed", "Find out why, then let it go."),
        Refusal::OtherAxis => {
            ("the box drives another axis", "\"takeup box info\" shows which; name it by --axis.")
        }
        Refusal::BeyondLimits => (
            "the range, the speed or a place is beyond the limits of the box, or the axis stands outside the range",
            "\"takeup box info\" shows its limits and where it stands.",
        ),
        Refusal::Busy => ("the box is doing something else, or is armed", "Stop it first."),
        Refusal::BadPlan => (
            "the box cannot carry the plan out",
            "Check the places, the count of readings, and that the overrun exceeds what the indicator may lag.",
        ),
        Refusal::BadTable => (
            "the box has no table for its axis, or what came is none",
            "Send it one by \"takeup box table\".",
        ),
        Refusal::Indicator => (
            "the indicator of the box has failed, or is out of its range",
            "Check its wires, and set it in the middle of its travel; then start the box again.",
        ),
        Refusal::NoPosition => {
            ("the box does not know where the axis stands", "Look, and say it by --stands-at.")
        }
        Refusal::TooFast => {
            ("the indicator comes too seldom to be followed at this speed", "Give a lower --speed.")
        }
        Refusal::BadSetting => ("the value of the setting makes no sense", "Check the number and its unit."),
        Refusal::Storage => {
            ("the box could not store it", "Try again; if it stays so, its memory is worn out.")
        }
    }
}

/// Why the box stopped, and what to do.
pub(crate) fn stop_words(cause: StopCause) -> (&'static str, &'static str) {
    match cause {
        StopCause::Asked => ("it was asked to", "Arm it again to go on."),
        StopCause::LinkLost => ("it heard nothing from this computer", "Check the cable, and arm it again."),
        StopCause::EmergencyStop => (
            "the emergency stop is pressed",
            "Find out why before you let it go; then look where the axis stands.",
        ),
        StopCause::IndicatorRange => (
            "the indicator left its range",
            "Set the indicator in the middle of its travel, and check the range of the test.",
        ),
        StopCause::NotFollowing => (
            "the indicator does not follow the axis",
            "Check that it touches, its wires, its sense and the step of the box; then look where the axis stands.",
        ),
        StopCause::IndicatorFault => {
            ("the indicator failed", "Check its wires and its battery, then start the box again.")
        }
        StopCause::Watchdog => (
            "its program hung and was started again",
            "Look where the axis stands, then begin again; report this fault.",
        ),
        StopCause::DriveFault => ("its drive cannot be reached", "Check the wires of the drive."),
    }
}
