//! How a slack axis moves.
//!
//! - [`play`]: the play operator, a pure clearance that the drive must cross before the table moves.
//! - [`simulated`]: an axis with every fault of a real one, and a dial that reads it.

pub mod play;
pub mod simulated;

pub use play::Play;
