//! Logs through `defmt`, for builds with that feature; nothing at all without.

/// Says something to whoever is wired to the debug port.
macro_rules! note {
    ($($part:expr),+ $(,)?) => {{
        #[cfg(feature = "defmt")]
        defmt::info!($($part),+);
        // Named all the same, so that the two builds warn of the same things.
        #[cfg(not(feature = "defmt"))]
        let _ = ($(&$part),+);
    }};
}

pub(crate) use note;
