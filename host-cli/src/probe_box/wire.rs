//! Lines that carry bytes to a box.

use std::io::{self, ErrorKind, Read, Write};
use std::net::{TcpStream, ToSocketAddrs};
use std::time::Duration;

/// How long a read waits: the beat of a session, which must speak every few milliseconds.
const WAIT: Duration = Duration::from_millis(1);
const CONNECTING: Duration = Duration::from_secs(3);
/// The speed of the serial line; a box on USB does not care.
const BAUD: u32 = 115_200;

/// A line: reads give what has arrived within a millisecond or so, or say that they timed out or would block.
pub trait Wire: Read + Write + Send {}
impl<W: Read + Write + Send> Wire for W {}

/// Opens a line by name: `tcp:host:port`, else a serial port or a pseudo-terminal by path.
///
/// # Errors
/// As the operating system says.
pub fn open(name: &str) -> io::Result<Box<dyn Wire>> {
    if let Some(address) = name.strip_prefix("tcp:") {
        return Ok(Box::new(tcp(address)?));
    }
    let port = serialport::new(name, BAUD).timeout(WAIT).open().map_err(io::Error::from)?;
    Ok(Box::new(port))
}

fn tcp(address: &str) -> io::Result<TcpStream> {
    let mut last = io::Error::new(ErrorKind::NotFound, "no such host");
    for address in address.to_socket_addrs()? {
        match TcpStream::connect_timeout(&address, CONNECTING) {
            Ok(stream) => {
                stream.set_nodelay(true)?;
                stream.set_read_timeout(Some(WAIT))?;
                stream.set_write_timeout(Some(CONNECTING))?;
                return Ok(stream);
            }
            Err(error) => last = error,
        }
    }
    Err(last)
}

/// Whether an error only says that nothing could be read or written just now.
#[must_use]
pub fn is_patience(error: &io::Error) -> bool {
    matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut | ErrorKind::Interrupted)
}

/// Reads what has arrived; nothing, if nothing has.
///
/// # Errors
/// When the line is gone.
pub fn read(wire: &mut (impl Read + ?Sized), buffer: &mut [u8]) -> io::Result<usize> {
    match wire.read(buffer) {
        Ok(0) => Err(io::Error::new(ErrorKind::UnexpectedEof, "the other end closed the line")),
        Ok(n) => Ok(n),
        Err(error) if is_patience(&error) => Ok(0),
        Err(error) => Err(error),
    }
}

/// Writes a frame. One that the line does not take just now is dropped: the link sends it again.
///
/// # Errors
/// When the line is gone.
pub fn write(wire: &mut (impl Write + ?Sized), frame: &[u8]) -> io::Result<()> {
    match wire.write_all(frame).and_then(|()| wire.flush()) {
        Err(error) if is_patience(&error) => Ok(()),
        other => other,
    }
}
