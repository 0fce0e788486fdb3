//! The invented bed mill, before and after the repair of its Z coupling, and the person who reads its dial.

use std::io::Cursor;

use takeup_core::{
    axis::Direction,
    length::Unit,
    slack::simulated::{Dial, Faults, Misreading, Noise, SimulatedAxis},
};

/// A mill with a dial on its Z axis.
pub struct Mill {
    axis: SimulatedAxis,
    dial: Dial,
    noise: Noise,
    time_s: f64,
    station_mm: Option<f64>,
}

/// Beyond each place to read at, as the test program drives it (mm).
const OVERRUN_MM: f64 = 1.0;
/// From one reading to the next (s).
const BETWEEN_READINGS_S: f64 = 12.0;

impl Mill {
    /// The coupling is loose, the machine warms up a little, and one reading in twenty is misread.
    pub fn loose() -> Self {
        let misread = Misreading::Amount { probability: 0.05, least_mm: 0.1, most_mm: 1.0 };
        Self::new(0.118, misread, 11)
    }

    /// The coupling is repaired.
    pub fn repaired() -> Self {
        Self::new(0.021, Misreading::Never, 12)
    }

    fn new(clearance_mm: f64, misread: Misreading, seed: u64) -> Self {
        let faults =
            Faults { reference: Direction::Minus, clearance_mm, drift_mm_per_s: 2e-5, ..Faults::default() };
        let dial = Dial { noise_mm: 0.003, misread, ..Dial::default() };
        Self {
            axis: SimulatedAxis::new(faults, 5.0, Direction::Minus),
            dial,
            noise: Noise::new(seed),
            time_s: 0.0,
            station_mm: None,
        }
    }

    /// Fills in a sheet: what the person knows at its head, then row by row as the test program stops.
    pub fn fill(&mut self, sheet: &str, taken: &str) -> Result<String, String> {
        let inches = sheet.lines().any(|line| line == "# units: in");
        let (resolution, limit) = if inches { (0.0005, 0.002) } else { (0.01, 0.05) };
        let unit = if inches { Unit::Inch } else { Unit::Mm };
        self.dial.resolution_mm = resolution * unit.as_mm();
        let known = |line: &str| match line {
            "# machine:" => format!("{line} bed mill\n"),
            "# taken:" => format!("{line} {taken}\n"),
            "# limit:" => format!("{line} {limit}\n"),
            "# resolution:" => format!("{line} {resolution}\n"),
            "# indicator-error:" => format!("{line} {}\n", resolution / 2.0),
            _ => format!("{line}\n"),
        };
        let (head, rows): (Vec<&str>, Vec<&str>) = sheet.lines().partition(|line| line.starts_with('#'));
        let mut reader = csv::Reader::from_reader(Cursor::new(rows.join("\n")));
        let columns = reader.headers().map_err(|e| e.to_string())?.clone();
        let column = |name: &str| {
            columns.iter().position(|c| c == name).ok_or_else(|| format!("the sheet has no column {name}"))
        };
        let (target, approach, reading) = (column("target")?, column("approach")?, column("reading")?);
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(&columns).map_err(|e| e.to_string())?;
        for row in reader.records() {
            let row = row.map_err(|e| e.to_string())?;
            let mut cells: Vec<String> = row.iter().map(str::to_owned).collect();
            let place: f64 = cells[target].parse().map_err(|_| format!("{} is no target", cells[target]))?;
            let from = if cells[approach] == "+" { Direction::Plus } else { Direction::Minus };
            let shown = self.read_at(place * unit.as_mm(), from) / unit.as_mm();
            cells[reading] = if inches { format!("{shown:.4}") } else { format!("{shown:.2}") };
            writer.write_record(&cells).map_err(|e| e.to_string())?;
        }
        let filled = writer.into_inner().map_err(|e| e.to_string())?;
        let filled = String::from_utf8(filled).map_err(|e| e.to_string())?;
        Ok(head.into_iter().map(known).collect::<String>() + &filled)
    }

    fn read_at(&mut self, place_mm: f64, approach: Direction) -> f64 {
        // The dial is moved along: at each station it is set to the same place again.
        if self.station_mm != Some(place_mm) {
            self.station_mm = Some(place_mm);
            self.dial.zero_mm = 0.4 - place_mm;
        }
        let beyond = place_mm - approach.signum() * OVERRUN_MM;
        self.time_s += BETWEEN_READINGS_S / 2.0;
        let passed = self.axis.move_to_mm(beyond, self.time_s, &mut self.noise);
        self.dial.watch(passed);
        self.time_s += BETWEEN_READINGS_S / 2.0;
        let at = self.axis.move_to_mm(place_mm, self.time_s, &mut self.noise);
        self.dial.read_mm(at, &mut self.noise)
    }
}
