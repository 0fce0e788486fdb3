//! The emulated board behind a TCP port, so that `takeup` itself talks to it.
//!
//! Its time goes on only as the host is heard, so that a busy computer is not taken for a lost link: what arrives
//! from the host at once is worth ten milliseconds, twice what a host lets pass, and less than what stops a box.

use super::emulator::Emulator;
use std::io::{ErrorKind, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use takeup_core::link::frame::{Collector, Frame, Kind as Frames};
use takeup_core::measure::Kind;
use takeup_tests::boxes::wait_until;

pub struct Bridge {
    /// The port to give to `takeup`.
    pub port: String,
    letters: Sender<Vec<u8>>,
    end: Arc<AtomicBool>,
    /// The milliseconds that the box was granted while a host was heard.
    granted_ms: Arc<AtomicU64>,
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
        let granted_ms = Arc::new(AtomicU64::new(0));
        let granted = Arc::clone(&granted_ms);
        let thread = std::thread::spawn(move || {
            while !ended.load(Ordering::Relaxed) {
                make(&orders, &mut emulator);
                emulator.grant(b'G');
                match listener.accept() {
                    Ok((stream, _)) => serve(stream, &mut emulator, &orders, (&ended, &granted)),
                    Err(_) => std::thread::sleep(Duration::from_millis(1)),
                }
            }
        });
        let number = Kind::ALL.iter().position(|other| *other == kind).unwrap();
        let bridge = Self { port, letters, end, granted_ms, thread: Some(thread) };
        bridge.order(number.to_string().as_bytes());
        bridge
    }

    /// Waits until so much of the box's own time has passed, a host being heard.
    pub fn pass(&self, ms: u64) {
        let until = self.granted_ms.load(Ordering::Relaxed) + ms;
        wait_until("the time of the box", || self.granted_ms.load(Ordering::Relaxed) >= until);
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

/// The way from the box to the host, in whole frames.
struct Up {
    stream: TcpStream,
    part: Vec<u8>,
    collector: Collector,
    /// The last sign of life.
    sign: Vec<u8>,
    said: Instant,
}

impl Up {
    fn carry(&mut self, bytes: &[u8]) -> std::io::Result<()> {
        for &byte in bytes {
            self.part.push(byte);
            if let Some(Ok(frame)) = self.collector.push(byte)
                && frame.kind == Frames::Ack
            {
                self.sign = frame.encode().to_vec();
            }
            if byte == 0 {
                self.stream.write_all(&std::mem::take(&mut self.part))?;
                self.said = Instant::now();
            }
        }
        Ok(())
    }

    /// A box whose time stands cannot say that it is there: its last sign of life is said again for it, as a line that
    /// doubles frames may.
    fn keep_alive(&mut self) {
        if self.said.elapsed() > Duration::from_millis(100) {
            let _ = self.stream.write_all(&self.sign);
            self.said = Instant::now();
        }
    }
}

/// Tells when it goes, by a panic too, that something is over.
struct Over<'a>(&'a AtomicBool);

impl Drop for Over<'_> {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// Carries bytes both ways until the host closes the connection.
fn serve(
    stream: TcpStream,
    emulator: &mut Emulator,
    orders: &Receiver<Vec<u8>>,
    hands: (&AtomicBool, &AtomicU64),
) {
    stream.set_nonblocking(false).unwrap();
    stream.set_nodelay(true).unwrap();
    let up = Up {
        stream: stream.try_clone().unwrap(),
        part: Vec::new(),
        collector: Collector::new(),
        sign: Vec::new(),
        said: Instant::now(),
    };
    let (up, over) = (Mutex::new(up), AtomicBool::new(false));
    std::thread::scope(|scope| {
        let _over = Over(&over);
        scope.spawn(|| {
            while !over.load(Ordering::Relaxed) {
                std::thread::sleep(Duration::from_millis(20));
                up.lock().unwrap().keep_alive();
            }
        });
        carry(stream, &up, emulator, orders, hands);
    });
}

/// The way from the host to the box, which takes a byte at a time and would fall behind: nothing on this line is lost, so
/// what is repeated need not be carried again, and of signs of life the last one will do.
struct Down {
    collector: Collector,
    last: Option<Frame>,
}

impl Down {
    fn bytes(&mut self, bytes: &[u8]) -> Vec<u8> {
        let (mut told, mut sign) = (Vec::new(), Vec::new());
        for frame in bytes.iter().filter_map(|&byte| self.collector.push(byte)).filter_map(Result::ok) {
            if frame.kind == Frames::Ack {
                sign = frame.encode().to_vec();
            } else if self.last.as_ref() != Some(&frame) {
                told.extend_from_slice(&frame.encode());
                self.last = Some(frame);
            }
        }
        told.extend(sign);
        told
    }
}

fn carry(
    mut stream: TcpStream,
    up: &Mutex<Up>,
    emulator: &mut Emulator,
    orders: &Receiver<Vec<u8>>,
    (ended, granted_ms): (&AtomicBool, &AtomicU64),
) {
    stream.set_read_timeout(Some(Duration::from_millis(2))).unwrap();
    let mut buffer = [0; 4096];
    let mut down = Down { collector: Collector::new(), last: None };
    while !ended.load(Ordering::Relaxed) {
        make(orders, emulator);
        match stream.read(&mut buffer) {
            Ok(0) => return,
            Ok(found) => {
                emulator.tell(&down.bytes(&buffer[..found]));
                emulator.grant(b'G');
                granted_ms.fetch_add(10, Ordering::Relaxed);
            }
            Err(error) if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => {}
            Err(_) => return,
        }
        match emulator.line.read(&mut buffer) {
            Ok(found) => {
                if up.lock().unwrap().carry(&buffer[..found]).is_err() {
                    return;
                }
            }
            Err(error) => {
                assert_eq!(error.kind(), ErrorKind::WouldBlock, "the line to the emulator: {error}")
            }
        }
    }
}
