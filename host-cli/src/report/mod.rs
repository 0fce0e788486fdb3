//! The report: one HTML page that needs nothing else, for a person in the shop or on paper.
//!
//! - [`page`]: what is on it, put into the template; everything that came from a file is escaped there.
//! - [`plot`]: the plots, as SVG within the page, each with its text alternative.

pub mod page;
pub mod plot;
