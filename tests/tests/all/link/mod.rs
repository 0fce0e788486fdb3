//! The link: on a line that flips, loses, doubles and delays bytes, and as the host uses it.

mod command;
mod faults;
mod rubbish;
mod session;
