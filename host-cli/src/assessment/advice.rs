//! What the trade does about a cause. Common practice, no source; the machine maker's manual comes first.

use takeup_core::measure::cause::Name;
use takeup_core::measure::decision::Answer;
use takeup_core::measure::{Estimate, Kind};

/// What is known when somebody asks what to do next.
#[derive(Clone, Copy, Debug, Default)]
pub struct Case<'a> {
    /// The decision against the limit, if there is one.
    pub answer: Option<Answer>,
    /// How many more cycles are expected to decide.
    pub cycles: Option<u64>,
    /// The likeliest cause, or those that are likeliest to be there together.
    pub causes: &'a [Name],
    /// The test that would tell more.
    pub test: Option<Kind>,
    /// The lost motion, if it was found at stations: only that makes a table.
    pub lost_at_stations: Option<Estimate>,
}

impl Case<'_> {
    /// What to do next, the first thing first. `table` is the command that builds a table.
    #[must_use]
    pub fn steps(&self, table: &str) -> Vec<String> {
        let mut steps = Vec::new();
        if let Some(cycles) = self.cycles {
            let more =
                if cycles == 1 { "one more cycle".to_owned() } else { format!("{cycles} more cycles") };
            let them = if cycles == 1 { "it" } else { "them" };
            steps.push(format!("Take {more}, append {them} to the readings, and assess them again."));
        }
        if self.causes.is_empty() {
            return steps;
        }
        if self.answer == Some(Answer::Within) {
            if self.causes.contains(&Name::OverCorrected) {
                steps.push(remedy(Name::OverCorrected).to_owned());
            }
            steps.push(
                "Nothing for now: keep this session in the log, and measure again in a week or two."
                    .to_owned(),
            );
            return steps;
        }
        if let Some(kind) = self.test {
            steps.push(format!("The test that would tell most is {kind}: it {}.", purpose(kind)));
        }
        steps.extend(self.causes.iter().map(|cause| remedy(*cause).to_owned()));
        // A table would hold what does not repeat as well.
        let correctable = self.causes.iter().all(|cause| cause.correctable());
        if correctable && self.lost_at_stations.is_some_and(|lost| lost.value > lost.expanded_95()) {
            steps.push(format!("Until it is repaired: {table}, and rewrite programs with it."));
        }
        steps
    }

    /// What comes before that, where hands go inside the machine.
    #[must_use]
    pub fn caution(&self) -> Option<&'static str> {
        let wrench =
            self.answer != Some(Answer::Within) && self.causes.iter().any(|cause| needs_a_wrench(*cause));
        wrench.then_some(WRENCH_CAUTION)
    }
}

/// What a kind of test does, in a few words.
fn purpose(kind: Kind) -> &'static str {
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
fn remedy(cause: Name) -> &'static str {
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
        Name::Thermal => "Warm the machine up before a test, and zero late.",
        Name::Sticking => "Look at lubrication, gibs and chips on the ways.",
        Name::IndicatorSetup => "Clamp the stand short and stiff, then measure again.",
        Name::OverCorrected => "Reduce the backlash compensation that is set in the control.",
        Name::NoneShown => "Leave the machine as it is.",
    }
}

/// Whether the remedy is a matter of hands inside the machine.
fn needs_a_wrench(cause: Name) -> bool {
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
const WRENCH_CAUTION: &str = "Caution: isolate and lock out before a wrench goes on a drive; block a vertical \
     axis before loosening what holds it up. The maker's manual, local rules and qualified people come first.";
