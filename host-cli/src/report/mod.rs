//! The report: one HTML page that needs nothing else, for a person in the shop or on paper.
//!
//! - [`page`]: the page as a whole, put into the template; everything that came from a file is escaped there; `page.js` reads
//!   the marks of a plot out and looks closer at a trend, for a page that is complete without it;
//! - [`session`]: one session: verdict, next step, plots and tables;
//! - [`readings`]: the readings as they were taken, plotted;
//! - [`machine`]: the axes of a machine over time;
//! - [`program`]: what the slack does to a program, seen from above;
//! - [`how`]: how each number was found, and who published the method;
//! - [`plot`]: the plots, as SVG within the page, each with its text alternative.

pub mod how;
pub mod machine;
pub mod page;
pub mod plot;
pub mod program;
pub mod readings;
pub mod session;
