//! The command line, driven from outside.

mod usage;
