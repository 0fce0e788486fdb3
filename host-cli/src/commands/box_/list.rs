//! `box list`: the serial ports there are.

use crate::context::Context;
use crate::exit::Outcome;
use crate::probe_box::Session;
use crate::refusal::Refusal;
use serde::Serialize;
use serialport::{SerialPortInfo, SerialPortType};
use std::fmt::Write as _;

/// Arguments of `box list`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup box list --ask\n\n\
                        Without --ask nothing is sent: a machine on one of the ports might not like it.")]
pub struct Args {
    /// Greet every port, and say which has a probe box
    #[arg(long)]
    ask: bool,
    /// Ports to look at besides those that the system names
    #[arg(value_name = "PORT")]
    ports: Vec<String>,
}

#[derive(Serialize)]
struct Document {
    schema: &'static str,
    ports: Vec<Port>,
}

#[derive(Serialize)]
struct Port {
    port: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    device: Option<String>,
    #[serde(rename = "box", skip_serializing_if = "Option::is_none")]
    the_box: Option<String>,
}

/// Lists them.
///
/// # Errors
/// When the system does not tell its ports.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let found =
        serialport::available_ports().map_err(|error| Refusal::io("serial ports", "list", &error.into()))?;
    let mut ports: Vec<Port> = found
        .into_iter()
        .filter_map(|port| Some(Port { device: device(&port)?, ..named(port.port_name) }))
        .collect();
    ports.extend(args.ports.iter().cloned().map(named));
    if args.ask {
        for port in &mut ports {
            port.the_box = Session::open(&port.port).ok().map(|session| {
                format!("{}, axis {}", session.capabilities().name, session.capabilities().axis)
            });
        }
    }
    let document = Document { schema: "takeup.box-list/1", ports };
    ctx.answer(&document, || text(&document, args), Outcome::Good)
}

fn named(port: String) -> Port {
    Port { port, device: None, the_box: None }
}

/// What the port is, as far as the system knows; `None` for one that is not wired to anything.
fn device(port: &SerialPortInfo) -> Option<Option<String>> {
    match &port.port_type {
        SerialPortType::UsbPort(usb) => {
            let words = [usb.manufacturer.as_deref(), usb.product.as_deref()];
            let words: Vec<_> = words.into_iter().flatten().map(crate::refusal::clip).collect();
            Some(Some(if words.is_empty() { "USB".to_owned() } else { words.join(" ") }))
        }
        SerialPortType::BluetoothPort => Some(Some("Bluetooth".to_owned())),
        SerialPortType::PciPort => Some(None),
        // Boards name ports that they might have.
        SerialPortType::Unknown => None,
    }
}

fn text(document: &Document, args: &Args) -> String {
    if document.ports.is_empty() {
        return "No serial port was found. Is the cable plugged in, and has the box power?\n".to_owned();
    }
    let mut text = String::new();
    for port in &document.ports {
        let device = port.device.as_deref().unwrap_or("");
        let the_box = match (&port.the_box, args.ask) {
            (Some(found), _) => format!("probe box {found}"),
            (None, true) => "no probe box answers".to_owned(),
            (None, false) => String::new(),
        };
        let line = format!("{:<20} {device:<30} {the_box}", port.port);
        let _ = writeln!(text, "{}", line.trim_end());
    }
    if !args.ask {
        text.push_str("\nWith --ask each port is greeted, to find the probe boxes.\n");
    }
    text
}
