//! Writing beside the work: what was made is written by a thread of its own while more is being made.

use crate::output::Output;
use crate::refusal::Refusal;
use std::io::{self, Write};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;

/// Takes chunks of an output to the thread that writes them. One is written and one waits at most, so that
/// memory stays bounded.
#[derive(Debug)]
pub struct Carrier {
    full: SyncSender<Vec<u8>>,
    written: Receiver<Vec<u8>>,
}

impl Carrier {
    /// Hands a chunk over and leaves an empty one in its place.
    ///
    /// # Errors
    /// When nothing can be written any more. [`beside`] tells why.
    pub fn hand_over(&self, chunk: &mut Vec<u8>) -> Result<(), Refusal> {
        let empty = self.written.try_recv().unwrap_or_default();
        let full = std::mem::replace(chunk, empty);
        self.full.send(full).map_err(|_| {
            Refusal::new("nothing can be written any more", "Look at the disk that the output is on.")
        })
    }
}

/// Makes an output and writes it meanwhile.
///
/// # Errors
/// What `make` refuses, and before that what could not be written.
pub fn beside<T>(out: &mut Output, make: impl FnOnce(Carrier) -> Result<T, Refusal>) -> Result<T, Refusal> {
    let (full, to_write) = sync_channel::<Vec<u8>>(1);
    let (done, written) = sync_channel(2);
    let name = out.name().to_owned();
    thread::scope(|scope| {
        let writer = scope.spawn(move || -> io::Result<()> {
            for mut chunk in to_write {
                out.write_all(&chunk)?;
                chunk.clear();
                // Where enough are kept already, this one is done with.
                let _ = done.try_send(chunk);
            }
            Ok(())
        });
        let made = make(Carrier { full, written });
        match writer.join() {
            Ok(Ok(())) => made,
            Ok(Err(error)) => Err(Refusal::io(name, "write", &error)),
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })
}
