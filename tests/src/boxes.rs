//! A probe box on a simulated axis, reached over TCP by whoever speaks the link.
//!
//! Its time goes on only as the host is heard, so that a busy computer is not taken for a lost link: each
//! frame of the host is worth a few milliseconds. Without a connection its time runs on, and it stops.

use std::io::{ErrorKind, Read, Write};
use std::net::TcpListener;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use takeup_core::slack::simulated::Faults;
use takeup_firmware_example::simulated::{MEMORY, SimulatedProbe, World, Wrong};

/// One turn of the box's loop.
const TURN_US: u64 = 25;
/// What a frame of the host is worth: three times what it takes, and less than what stops a box.
const FRAME_US: u64 = 15_000;
/// What passes while no cable is plugged in, in each millisecond.
const UNPLUGGED_US: u64 = 10_000;

/// What a test can do to the box while it runs.
#[derive(Default)]
pub struct Hands {
    /// The emergency stop is pressed.
    pub emergency: AtomicBool,
    /// The indicator stands still.
    pub stuck: AtomicBool,
    /// The power fails: the box starts anew, at once.
    pub power_cut: AtomicBool,
    /// The cable is pulled, and plugged in again a moment later.
    pub unplugged: AtomicBool,
    /// The steps that the axis has made, either way, since the power came.
    pub steps: AtomicU64,
    end: AtomicBool,
}

/// A running box.
pub struct SimulatedBox {
    /// The port to give to `takeup`.
    pub port: String,
    /// What can be done to it.
    pub hands: Arc<Hands>,
    /// Its memory, once it has ended.
    pub memory: Arc<Mutex<Vec<u8>>>,
    thread: Option<JoinHandle<()>>,
}

impl SimulatedBox {
    /// A box on an axis with faults.
    pub fn start(faults: Faults) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let port = format!("tcp:{}", listener.local_addr().expect("an address"));
        let hands = Arc::new(Hands::default());
        let memory = Arc::new(Mutex::new(vec![0xff; MEMORY]));
        let (the_hands, the_memory) = (Arc::clone(&hands), Arc::clone(&memory));
        let thread = std::thread::spawn(move || {
            let mut memory = the_memory.lock().expect("nobody else fails with it");
            while live(&listener, &the_hands, faults, &mut memory) {}
        });
        Self { port, hands, memory, thread: Some(thread) }
    }
}

impl Drop for SimulatedBox {
    fn drop(&mut self) {
        self.hands.end.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

impl SimulatedBox {
    /// A box at the other end of a pseudo-terminal.
    #[cfg(unix)]
    pub fn on_pseudo_terminal(faults: Faults) -> Self {
        use serialport::SerialPort;
        let (mut near, far) = serialport::TTYPort::pair().expect("a pseudo-terminal");
        near.set_timeout(Duration::from_millis(2)).expect("a time");
        let port = far.name().expect("a name");
        let hands = Arc::new(Hands::default());
        let memory = Arc::new(Mutex::new(vec![0xff; MEMORY]));
        let (the_hands, the_memory) = (Arc::clone(&hands), Arc::clone(&memory));
        let thread = std::thread::spawn(move || {
            let mut memory = the_memory.lock().expect("nobody else fails with it");
            let world = World::new(faults, 1);
            let mut probe = world.probe(&mut memory);
            // While this end is open too, the line outlives whoever opens the other.
            let _open = far;
            serve(near, &world, &mut probe, &mut Line::default(), &the_hands);
        });
        Self { port, hands, memory, thread: Some(thread) }
    }
}

/// From power on to power off; `false` when the test has ended.
fn live(listener: &TcpListener, hands: &Hands, faults: Faults, memory: &mut [u8]) -> bool {
    let world = World::new(faults, 1);
    let mut probe = world.probe(memory);
    let mut line = Line::default();
    listener.set_nonblocking(true).expect("a listener that does not wait");
    while !hands.end.load(Ordering::Relaxed) {
        if hands.power_cut.swap(false, Ordering::Relaxed) {
            return true;
        }
        let Ok((stream, _)) = listener.accept() else {
            pass(&world, &mut probe, &mut line, hands, UNPLUGGED_US);
            line = Line::default();
            std::thread::sleep(Duration::from_millis(1));
            continue;
        };
        stream.set_nonblocking(false).expect("a stream that waits");
        stream.set_read_timeout(Some(Duration::from_millis(2))).expect("a time");
        stream.set_nodelay(true).expect("no delay");
        if !serve(stream, &world, &mut probe, &mut line, hands) {
            return true;
        }
    }
    false
}

/// Serves a connection until it closes; `false` when the power was cut.
fn serve(
    mut stream: impl Read + Write,
    world: &World,
    probe: &mut SimulatedProbe<'_>,
    line: &mut Line,
    hands: &Hands,
) -> bool {
    let mut buffer = [0; 256];
    while !hands.end.load(Ordering::Relaxed) {
        if hands.power_cut.swap(false, Ordering::Relaxed) {
            return false;
        }
        if hands.unplugged.swap(false, Ordering::Relaxed) {
            return true;
        }
        match stream.read(&mut buffer) {
            Ok(0) => return true,
            Ok(found) => {
                for &byte in &buffer[..found] {
                    line.down.push_back(byte);
                    if byte == 0 {
                        pass(world, probe, line, hands, FRAME_US);
                    }
                }
            }
            Err(error) if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => {}
            Err(_) => return true,
        }
        let bytes: Vec<u8> = line.up.drain(..).collect();
        if stream.write_all(&bytes).is_err() {
            return true;
        }
    }
    true
}

fn pass(world: &World, probe: &mut SimulatedProbe<'_>, line: &mut Line, hands: &Hands, us: u64) {
    world.emergency.set(hands.emergency.load(Ordering::Relaxed));
    world.wrong.set(if hands.stuck.load(Ordering::Relaxed) { Wrong::Stuck } else { Wrong::Nothing });
    let mut before = world.steps();
    for _ in 0..us / TURN_US {
        world.pass(TURN_US);
        world.turn();
        probe.poll(line, world.now_us.get());
        if world.steps() != before {
            before = world.steps();
            hands.steps.fetch_add(1, Ordering::Relaxed);
        }
    }
}

/// The box's side of the line, in memory.
#[derive(Default)]
pub struct Line {
    /// Bytes to the box.
    pub down: std::collections::VecDeque<u8>,
    /// Bytes from the box.
    pub up: std::collections::VecDeque<u8>,
}

impl embedded_io::ErrorType for Line {
    type Error = std::convert::Infallible;
}

impl embedded_io::Read for Line {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Self::Error> {
        let found = buffer.len().min(self.down.len());
        for to in &mut buffer[..found] {
            *to = self.down.pop_front().unwrap_or(0);
        }
        Ok(found)
    }
}

impl embedded_io::ReadReady for Line {
    fn read_ready(&mut self) -> Result<bool, Self::Error> {
        Ok(!self.down.is_empty())
    }
}

impl embedded_io::Write for Line {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Self::Error> {
        self.up.extend(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> Result<(), Self::Error> {
        Ok(())
    }
}

impl embedded_io::WriteReady for Line {
    fn write_ready(&mut self) -> Result<bool, Self::Error> {
        Ok(true)
    }
}

/// Waits until something holds, and fails when it does not for a minute.
#[track_caller]
pub fn wait_until(what: &str, holds: impl Fn() -> bool) {
    let start = Instant::now();
    while !holds() {
        assert!(start.elapsed() < Duration::from_secs(60), "{what} did not come");
        std::thread::sleep(Duration::from_millis(5));
    }
}
