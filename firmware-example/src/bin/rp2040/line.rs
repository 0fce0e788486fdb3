//! The serial line over USB.

use core::convert::Infallible;
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use heapless::Deque;
use rp2040_hal::usb::UsbBus;
use usb_device::bus::UsbBusAllocator;
use usb_device::device::{StringDescriptors, UsbDevice, UsbDeviceBuilder, UsbVidPid};
use usbd_serial::{SerialPort, USB_CLASS_CDC};

/// Numbers that anybody may use for a serial line in a workshop of their own (common practice); a maker of
/// boxes for sale needs numbers of their own.
const ANYBODY: UsbVidPid = UsbVidPid(0x16c0, 0x27dd);
const ROOM: usize = 256;
/// One packet of the bus.
const PACKET: usize = 64;

/// The line, with what waits on either side.
pub struct UsbLine<'a> {
    device: UsbDevice<'a, UsbBus>,
    serial: SerialPort<'a, UsbBus>,
    received: Deque<u8, ROOM>,
    sending: Deque<u8, ROOM>,
}

impl<'a> UsbLine<'a> {
    /// A line on the bus.
    pub fn new(bus: &'a UsbBusAllocator<UsbBus>) -> Self {
        let serial = SerialPort::new(bus);
        let words = [StringDescriptors::default().manufacturer("takeup").product("probe box")];
        let builder = UsbDeviceBuilder::new(bus, ANYBODY).device_class(USB_CLASS_CDC);
        // One language: always taken.
        let device = match builder.strings(&words) {
            Ok(named) => named.build(),
            Err(_) => UsbDeviceBuilder::new(bus, ANYBODY).device_class(USB_CLASS_CDC).build(),
        };
        Self { device, serial, received: Deque::new(), sending: Deque::new() }
    }

    /// Lets the bus have its turn; at least every few milliseconds.
    pub fn turn(&mut self) {
        self.device.poll(&mut [&mut self.serial]);
        let mut packet = [0; PACKET];
        // A host that sends faster than the box listens waits.
        if ROOM - self.received.len() >= PACKET
            && let Ok(found) = self.serial.read(&mut packet)
        {
            for &byte in packet.iter().take(found) {
                let _ = self.received.push_back(byte);
            }
        }
        let (front, _) = self.sending.as_slices();
        let taken = self.serial.write(front).unwrap_or(0);
        for _ in 0..taken {
            let _ = self.sending.pop_front();
        }
    }
}

impl ErrorType for UsbLine<'_> {
    type Error = Infallible;
}

impl ReadReady for UsbLine<'_> {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(!self.received.is_empty())
    }
}

impl WriteReady for UsbLine<'_> {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(!self.sending.is_full())
    }
}

impl Read for UsbLine<'_> {
    /// Gives what is there, without waiting.
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Infallible> {
        let mut found = 0;
        for to in buffer {
            let Some(byte) = self.received.pop_front() else { break };
            *to = byte;
            found += 1;
        }
        Ok(found)
    }
}

impl Write for UsbLine<'_> {
    /// Takes what there is room for, without waiting.
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        Ok(bytes.iter().take_while(|byte| self.sending.push_back(**byte).is_ok()).count())
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}
