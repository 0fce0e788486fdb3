//! One binary of all checks across the crates, a module per theme.

mod cli;
mod firmware;
mod measure;
mod replay;
