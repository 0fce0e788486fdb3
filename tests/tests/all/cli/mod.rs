//! The command line, driven from outside.

mod files;
mod readings;
mod routine;
mod usage;
