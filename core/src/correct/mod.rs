//! Numbers into corrected motion.
//!
//! - [`table`]: the compensation table, corrections per station for both seats of an axis.
//! - [`build`]: a table from measured lost motion, refused where the loss is not shown to be there.
//! - [`bytes`]: the table as bytes for files and microcontrollers; the layout is specified in
//!   `FORMAT.md` beside the code.
//! - [`set_point`]: the table applied to the set-points of a motion controller, one after another.

pub mod build;
#[cfg(feature = "serde")]
pub mod bytes;
pub mod set_point;
pub mod table;

pub use set_point::Corrector;
pub use table::{AxisTable, Corrections, Station, Table};
