//! What the trade does about a cause. Common practice, no source; the machine maker's manual comes first.

use takeup_core::measure::Kind;
use takeup_core::measure::cause::Name;

/// What a kind of test does, in a few words.
#[must_use]
pub fn purpose(kind: Kind) -> &'static str {
    match kind {
        Kind::Reversal => "arrives from both sides in turn",
        Kind::Positioning => "runs over the whole travel, both ways",
        Kind::SmallSteps => "creeps in small steps and tells a gap from spring",
        Kind::Return => "returns to one mark many times and shows slip",
        Kind::PushPull => "pushes the axis by hand against the held drive",
        Kind::WarmUp => "watches one place while the machine warms",
        Kind::Indicator => "checks the indicator against a fixed face",
    }
}

/// What a cause is, in the words of the shop.
#[must_use]
pub fn meaning(cause: Name) -> &'static str {
    match cause {
        Name::Clearance => "a gap in the drive: nut, coupling, bearing or key",
        Name::WindUp => "friction against a springy drive",
        Name::Slip => "something creeps: coupling, clamp or belt",
        Name::WornTravel => "a gap that depends on the place, as of a worn screw",
        Name::LeadError => "the screw's pitch is not what the control believes",
        Name::Periodic => "an error that repeats with every turn of the screw",
        Name::Thermal => "growth by temperature",
        Name::Sticking => "ways that hold and jump",
        Name::IndicatorSetup => "the indicator or its stand, not the machine",
        Name::OverCorrected => "the control already corrects too much",
        Name::NoneShown => "nothing is shown to be wrong",
    }
}

/// What is worth looking at first.
#[must_use]
pub fn remedy(cause: Name) -> &'static str {
    match cause {
        Name::Clearance => {
            "Look at the clamps and keys of the coupling first, then the preload of the nut and of the screw's \
             thrust bearing."
        }
        Name::WindUp => "Look at lubrication and gib adjustment before anything stiffer is bought.",
        Name::Slip => {
            "Do not correct it by software: find what creeps. Mark coupling and shaft, and look again."
        }
        Name::WornTravel => {
            "Keep the preload safe for the unworn ends; a worn screw or nut is replaced in the end."
        }
        Name::LeadError => {
            "Check the pitch set in the control; what remains belongs into its own compensation."
        }
        Name::Periodic => "Look at the screw's alignment and the mounting of the encoder.",
        Name::Thermal => "Warm the machine up, zero late, and measure again when the drift is over.",
        Name::Sticking => "Look at lubrication, gibs and chips on the ways.",
        Name::IndicatorSetup => "Clamp the stand short and stiff, then measure again.",
        Name::OverCorrected => "Reduce the backlash compensation that is set in the control.",
        Name::NoneShown => "Leave the machine as it is.",
    }
}

/// Whether the remedy is a matter of hands inside the machine.
#[must_use]
pub fn needs_a_wrench(cause: Name) -> bool {
    match cause {
        Name::Clearance | Name::WindUp | Name::Slip | Name::WornTravel | Name::Periodic | Name::Sticking => {
            true
        }
        Name::LeadError | Name::Thermal | Name::IndicatorSetup | Name::OverCorrected | Name::NoneShown => {
            false
        }
    }
}

/// What comes before a wrench.
pub const WRENCH_CAUTION: &str = "Caution: isolate and lock out before a wrench goes on a drive; block a vertical \
     axis before loosening what holds it up. The maker's manual, local rules and qualified people come first.";
