//! Reading ahead of the work: what is worked on next is read by a thread of its own meanwhile.

use std::io::{self, BufRead, Read};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;

/// Bytes of a chunk: with half of them the threads wait for each other more often, with twice as many nothing is gained (by
/// trial, on two processors).
const CHUNK: usize = 512 * 1024;

/// A reader whose chunks come from a thread. One is worked on, one waits and one is being filled at most, so that memory
/// stays bounded.
///
/// The thread is not waited for: it may hang on a pipe that sends nothing when the work has ended.
#[derive(Debug)]
pub struct Ahead {
    full: Receiver<io::Result<Vec<u8>>>,
    worked: SyncSender<Vec<u8>>,
    chunk: Vec<u8>,
    done: usize,
    ended: bool,
}

impl Ahead {
    /// Begins to read.
    pub fn of(mut reader: impl Read + Send + 'static) -> Self {
        let (filled, full) = sync_channel(1);
        let (worked, empty) = sync_channel::<Vec<u8>>(2);
        thread::spawn(move || {
            loop {
                let mut chunk = empty.try_recv().unwrap_or_default();
                chunk.resize(CHUNK, 0);
                let read = match reader.read(&mut chunk) {
                    Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                    read => read,
                };
                let last = matches!(read, Ok(0) | Err(_));
                let sent = filled.send(read.map(|bytes| {
                    chunk.truncate(bytes);
                    chunk
                }));
                if last || sent.is_err() {
                    return;
                }
            }
        });
        Self { full, worked, chunk: Vec::new(), done: 0, ended: false }
    }
}

impl BufRead for Ahead {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.done == self.chunk.len() && !self.ended {
            let next = match self.full.recv() {
                Ok(Ok(chunk)) => chunk,
                Ok(Err(error)) => {
                    self.ended = true;
                    return Err(error);
                }
                // Behind its last chunk, which is empty, the thread sends nothing.
                Err(_) => return Err(io::Error::other("the reading thread has stopped")),
            };
            self.ended = next.is_empty();
            self.done = 0;
            let worked = std::mem::replace(&mut self.chunk, next);
            // Where enough are kept already, this one is done with.
            let _ = self.worked.try_send(worked);
        }
        Ok(self.chunk.get(self.done..).unwrap_or(&[]))
    }

    fn consume(&mut self, bytes: usize) {
        self.done = (self.done + bytes).min(self.chunk.len());
    }
}

impl Read for Ahead {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = self.fill_buf()?.read(buffer)?;
        self.consume(read);
        Ok(read)
    }
}

#[cfg(test)]
mod tests {
    use super::{Ahead, CHUNK};
    use std::io::{self, BufRead, Read};

    #[test]
    fn what_is_read_ahead_is_what_there_is() {
        let bytes: Vec<u8> = (0..5 * CHUNK as u32 + 17).map(|n| (n % 251) as u8).collect();
        let mut read = Vec::new();
        Ahead::of(io::Cursor::new(bytes.clone())).read_to_end(&mut read).unwrap();
        assert!(read == bytes);
    }

    /// Gives a few bytes at a time, is interrupted between them, and breaks at last.
    struct Breaks(u32);

    impl Read for Breaks {
        fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
            self.0 += 1;
            match self.0 {
                1 | 3 => b"G1 X\n".as_slice().read(buffer),
                2 => Err(io::ErrorKind::Interrupted.into()),
                _ => Err(io::Error::other("the disk is gone")),
            }
        }
    }

    #[test]
    fn a_reader_that_breaks_says_so_once() {
        let mut ahead = Ahead::of(Breaks(0));
        let mut line = String::new();
        assert_eq!(ahead.read_line(&mut line).unwrap(), 5);
        assert_eq!(ahead.read_line(&mut line).unwrap(), 5);
        assert_eq!(ahead.read_line(&mut line).unwrap_err().to_string(), "the disk is gone");
        assert_eq!(ahead.read_line(&mut line).unwrap(), 0, "nothing comes behind it");
    }

    #[test]
    fn a_reader_that_never_ends_may_be_left() {
        let mut ahead = Ahead::of(io::repeat(b'\n'));
        assert!(ahead.fill_buf().unwrap().starts_with(b"\n"));
    }
}
