//! One binary of all checks across the crates, a module per theme.

mod cli;
mod exposure;
mod firmware;
mod job;
mod link;
mod log;
mod measure;
mod programs;
mod replay;
mod report;
mod rewrite;
mod trend;
mod view;
