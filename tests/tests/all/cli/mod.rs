//! The command line, driven from outside.

mod contract;
mod files;
mod measure;
mod readings;
mod routine;
mod tables;
mod usage;
