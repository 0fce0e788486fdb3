//! The probe box as the host sees it: found, greeted, armed, and asked to run a routine.
//!
//! - [`wire`]: any line that carries bytes: a serial port, a pseudo-terminal, TCP (`tcp:host:port`).
//! - [`dialogue`]: one conversation over such a line, turn by turn, without a clock of its own.
//! - [`session`]: the same kept alive by a thread, for commands and screens.
//! - [`job`]: a routine with its places, and the readings that come of it.
//! - [`trouble`]: what can go wrong, in the words of a person.
//!
//! ```no_run
//! use std::time::Duration;
//! use takeup_cli::probe_box::{Arming, Heard, Job, Session};
//! fn take(job: &Job) -> Result<(), Box<dyn std::error::Error>> {
//!     let mut session = Session::open("/dev/ttyACM0")?;
//!     let stands = session.state()?.position.ok_or("ask the person, and session.stands(…)")?;
//!     let arming = Arming::of(job, session.capabilities(), stands)?;
//!     // Show the axis, the range and the speed of `arming`, and the cautions; ask; and only then:
//!     session.arm(&arming)?;
//!     session.run(job, 1)?;
//!     loop {
//!         // At least once a second: a screen that hangs stops the axis.
//!         match session.hear(Duration::from_millis(100))? {
//!             Some(Heard::Reading(reading)) => println!("{} {}", reading.row, reading.value.as_mm()),
//!             Some(Heard::Finished) => break,
//!             Some(Heard::Stopped(cause)) => return Err(format!("{cause:?}").into()),
//!             Some(Heard::Sample(_)) | None => {}
//!         }
//!     }
//!     Ok(())
//! }
//! ```

pub mod dialogue;
pub mod job;
pub mod session;
pub mod trouble;
pub mod wire;

pub use dialogue::Dialogue;
pub use job::{Arming, Heard, Job, Reading, Sample};
pub use session::Session;
pub use trouble::Trouble;
pub use wire::Wire;
