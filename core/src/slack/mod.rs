//! How a slack axis moves.
//!
//! - [`play`]: the play operator, a pure clearance that the drive must cross before the table moves.

pub mod play;

pub use play::Play;
