//! The link on a line that flips, loses, doubles and delays bytes.

mod faults;
