//! Replay, driven from outside.

mod command;
