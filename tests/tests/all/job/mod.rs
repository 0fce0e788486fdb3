//! The whole job from end to end, as the demo does it and as a person would do it again by hand.

use serde_json::Value;
use takeup_tests::Folder;

mod demo;
mod stream;
