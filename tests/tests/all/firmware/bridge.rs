//! The emulated board behind a TCP port, so that `takeup` itself talks to it.
//!
//! Its time goes on only as the host is heard, so that a busy computer is not taken for a lost link: what arrives
//! from the host at once is worth ten milliseconds, twice what a host lets pass, and less than what stops a box.

use super::emulator::Emulator;
use std::io::{ErrorKind, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;
use takeup_core::measure::Kind;

pub struct Bridge {
    /// The port to give to `takeup`.
    pub port: String,
    letters: Sender<Vec<u8>>,
    end: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Bridge {
    /// The emulated box, with the axis for a kind of test.
    pub fn start(kind: Kind) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        listener.set_nonblocking(true).unwrap();
        let port = format!("tcp:{}", listener.local_addr().unwrap());
        let mut emulator = Emulator::start("emulated");
        let (letters, orders) = channel();
        let end = Arc::new(AtomicBool::new(false));
        let ended = Arc::clone(&end);
        let thread = std::thread::spawn(move || {
            while !ended.load(Ordering::Relaxed) {
                make(&orders, &mut emulator);
                emulator.grant(b'G');
                match listener.accept() {
                    Ok((stream, _)) => serve(stream, &mut emulator, &orders, &ended),
                    Err(_) => std::thread::sleep(Duration::from_millis(1)),
                }
            }
        });
        let number = Kind::ALL.iter().position(|other| *other == kind).unwrap();
        let bridge = Self { port, letters, end, thread: Some(thread) };
        bridge.order(number.to_string().as_bytes());
        bridge
    }

    /// Tells the bench something (`bench.rs` of the emulated program).
    pub fn order(&self, letters: &[u8]) {
        self.letters.send(letters.to_vec()).unwrap();
    }
}

impl Drop for Bridge {
    fn drop(&mut self) {
        self.end.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn make(orders: &Receiver<Vec<u8>>, emulator: &mut Emulator) {
    for letters in orders.try_iter() {
        emulator.bench.write_all(&letters).unwrap();
    }
}

/// Carries bytes both ways until the host closes the connection.
fn serve(mut stream: TcpStream, emulator: &mut Emulator, orders: &Receiver<Vec<u8>>, ended: &AtomicBool) {
    stream.set_nonblocking(false).unwrap();
    stream.set_read_timeout(Some(Duration::from_millis(2))).unwrap();
    stream.set_nodelay(true).unwrap();
    let mut buffer = [0; 512];
    while !ended.load(Ordering::Relaxed) {
        make(orders, emulator);
        match stream.read(&mut buffer) {
            Ok(0) => return,
            Ok(found) => {
                emulator.line.write_all(&buffer[..found]).unwrap();
                emulator.grant(b'G');
            }
            Err(error) if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => {}
            Err(_) => return,
        }
        match emulator.line.read(&mut buffer) {
            Ok(found) => {
                if stream.write_all(&buffer[..found]).is_err() {
                    return;
                }
            }
            Err(error) => {
                assert_eq!(error.kind(), ErrorKind::WouldBlock, "the line to the emulator: {error}")
            }
        }
    }
}
