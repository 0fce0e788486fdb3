//! How each number on the page was found, and who published the method.

/// A kind of number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum How {
    /// Lost motion.
    LostMotion,
    /// Readings set aside.
    SetAside,
    /// Intervals.
    Interval,
    /// Within, over or undecided.
    Decision,
    /// Likely causes.
    Cause,
    /// The figures of a positioning test.
    Positioning,
    /// Dead band and wind-up.
    TakeUp,
    /// Slip, drift and scatter of returns.
    Returns,
    /// Growth while the machine warms up.
    Growth,
    /// Clearance and stiffness under load.
    UnderLoad,
    /// The indicator itself.
    Indicator,
    /// Control charts.
    Charts,
    /// Change per week and forecast.
    Forecast,
    /// Error of a program.
    Replay,
}

impl How {
    /// What it is about, how it was found, and the publication.
    #[must_use]
    pub const fn words(self) -> (&'static str, &'static str, &'static str) {
        match self {
            Self::LostMotion => (
                "Lost motion",
                "The reversal value with its sign turned, averaged over cycles; drift during the test is part of the model, \
                 and half of what the indicator's own hysteresis adds to a reversal is taken off.",
                "ISO 230-2 (recalled from memory).",
            ),
            Self::SetAside => (
                "Set aside",
                "Readings far from their fellows, by a robust fit. They are named here and used nowhere.",
                "Common practice, no source.",
            ),
            Self::Interval => (
                "± and 95 %",
                "Repeatability and what is known of the indicator, combined; the interval holds the true value in 95 of 100 \
                 such tests, by Student's t.",
                "JCGM 100:2008 (GUM), clauses 5 and 6, annex G.",
            ),
            Self::Decision => (
                "Within, over, not decided",
                "The interval decides, not the value: within only if all of it is, over only if none of it is within.",
                "ISO 14253-1 (recalled from memory).",
            ),
            Self::Cause => (
                "Likely cause",
                "Each cause is a model of the readings; its weight is how well it explains them, times how common it is.",
                "Kass and Raftery, Journal of the American Statistical Association 90 (1995); usual sizes: common practice, no source.",
            ),
            Self::Positioning => (
                "A, R, E, M, B",
                "Accuracy, repeatability, systematic deviation, mean deviation and reversal of positioning over the travel.",
                "ISO 230-2 (recalled from memory).",
            ),
            Self::TakeUp => (
                "Dead band and wind-up",
                "After a reversal nothing moves over the dead band; then the axis follows, late by the wind-up, which fills \
                 along an exponential.",
                "Derived from the play operator: many clearances in parallel.",
            ),
            Self::Returns => (
                "Slip, drift, scatter of a return",
                "A line over the lifts and one over the clock, fitted together; slip that differs from lift to lift is a random \
                 walk of a size found from the readings. Only pauses tell slip and drift apart.",
                "P. de Jong, Biometrika 75 (1988); Hoeting and others, Statistical Science 14 (1999).",
            ),
            Self::Growth => (
                "Growth",
                "A body that is warmed evenly: fast at first, then ever slower. The interval is all growth that the readings \
                 leave open; none is given while the curve does not bend.",
                "Bates and Watts, Nonlinear Regression Analysis and Its Applications (1988), chapter 6.",
            ),
            Self::UnderLoad => (
                "Clearance and stiffness",
                "Two parallel lines of place against force, a clearance apart, under every pair of forces between which it may \
                 be crossed; averaged by likelihood.",
                "Hoeting and others, Statistical Science 14 (1999).",
            ),
            Self::Indicator => (
                "The indicator itself",
                "The standard deviation of readings of one face, and the mean approached - less the mean approached +.",
                "Terms as in ISO 463 and ISO 9493 (recalled from memory).",
            ),
            Self::Charts => (
                "Alarm, and steps in s",
                "A CUSUM and an EWMA of each session against the mean of those before it since the last repair, adjustment, \
                 crash or move. One s is the standard deviation of one session: its own uncertainty and what a fresh set-up \
                 adds, learned from the sessions.",
                "Hawkins, The Statistician 36 (1987); Lucas and Saccucci, Technometrics 32 (1990).",
            ),
            Self::Forecast => (
                "Change per week, limit reached",
                "Weighted least squares since the last such event, each session by its own uncertainty; the day by inverse \
                 prediction, only where the sessions carry it.",
                "Birge, Physical Review 40 (1932); Fieller, Journal of the Royal Statistical Society B 16 (1954).",
            ),
            Self::Replay => (
                "Error of the program",
                "The program is run on a model of the machine with the clearances given; the error is the distance of the \
                 tool from the path that the original program intends.",
                "The play operator.",
            ),
        }
    }
}
