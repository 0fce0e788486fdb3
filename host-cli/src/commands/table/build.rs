//! `table build`: only what was shown to be there, and repeats, becomes a correction.

use std::path::PathBuf;

use takeup_core::{
    axis::{Axis, Direction},
    correct::{
        Table,
        build::{Refusal as NotBuilt, axis_table},
        table::{Invalid, MAX_MACHINE},
    },
};

use crate::{
    assessment,
    context::Context,
    exit::Outcome,
    input,
    measured::{self, AxisResult},
    output,
    readings::{MOST_BYTES, keys::Keys},
    refusal::{Refusal, clip},
    slack_args::{AxisValue, per_axis},
    table_file,
};

/// Arguments of `table build`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  takeup table build z-before.csv -o z.table")]
pub struct Args {
    /// Readings (CSV) or what "takeup assess --json" printed; "-" is standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Where the table goes
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// Side on which the work is zeroed, such as z=-,x=+ [default: z=-, others +]
    #[arg(long, value_name = "AXIS=SIDE", value_delimiter = ',')]
    seat: Vec<AxisValue<Direction>>,
    /// Name of the machine, kept in the table [default: the one that the readings name]
    #[arg(long, value_name = "NAME")]
    machine: Option<String>,
}

/// Builds the table.
///
/// # Errors
/// When a file cannot be understood, or an axis must not be corrected; then nothing is written.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    let inputs: Vec<_> = args.files.iter().map(PathBuf::as_path).collect();
    output::keep_apart(&[&args.output], &inputs)?;
    let seats = per_axis("--seat", &args.seat, |side| side)?;
    let mut measured: Vec<(String, AxisResult)> = Vec::new();
    for file in &args.files {
        let name = input::name(file);
        let found = input::read(file, MOST_BYTES, ctx)?;
        let result = read(&found, &name, ctx)?;
        if let Some(cause) = &result.not_correctable
            && cause != "none-shown"
        {
            return Err(Refusal::new(
                format!(
                    "axis {}: the likeliest cause is {cause}, which software cannot correct",
                    result.axis
                ),
                "Mend the machine first; the assessment says what to look at.",
            )
            .file(name));
        }
        measured.push((name, result));
    }
    let mut table = Table { machine: machine(args, &measured)?, ..Table::EMPTY };
    for axis in Axis::ALL {
        let of_axis: Vec<_> = measured.iter().filter(|(_, m)| m.axis == axis).collect();
        let Some((name, _)) = of_axis.last() else { continue };
        let stations: Vec<_> = of_axis.iter().flat_map(|(_, m)| m.stations.iter().copied()).collect();
        let (sum, dof) = of_axis.iter().fold((0.0, 0.0), |s, (_, m)| (s.0 + m.scatter.0, s.1 + m.scatter.1));
        let seat = seats.get(axis).unwrap_or(axis.usual_seat());
        let built = axis_table(seat, &stations, (sum / dof).sqrt())
            .map_err(|why| refused(axis, &why, ctx).file(name))?;
        *table.axes.get_mut(axis) = Some(built);
    }
    table_file::write(&args.output, &table, ctx)?;
    if output_is_stdout(args) {
        return Ok(Outcome::Good);
    }
    ctx.answer(
        &super::export::document(&table, ctx.units()),
        || super::show::text(&table, ctx),
        Outcome::Good,
    )
}

fn output_is_stdout(args: &Args) -> bool {
    input::is_dash(&args.output)
}

/// An assessment in JSON, or readings that are assessed on the spot.
fn read(found: &[u8], name: &str, ctx: &Context) -> Result<AxisResult, Refusal> {
    // A document begins with a brace, which no readings file does.
    if found.trim_ascii_start().starts_with(b"{") {
        return measured::from_json(found).map_err(|refusal| refusal.file(name));
    }
    let assessed = assessment::of_bytes(found, name, |_| Ok(Keys::default()), ctx)?;
    measured::of(&assessed).map_err(|refusal| refusal.file(name))
}

/// The machine as named on the command line, else by the files, which must agree.
fn machine(args: &Args, measured: &[(String, AxisResult)]) -> Result<heapless::String<MAX_MACHINE>, Refusal> {
    let mut named = measured.iter().filter_map(|(file, result)| Some((file, result.machine.as_deref()?)));
    let name = match (&args.machine, named.next()) {
        (Some(name), _) => name,
        (None, None) => "",
        (None, Some((first, name))) => {
            if let Some((file, other)) = named.find(|(_, other)| *other != name) {
                let reason = format!("the machine is {}, but {first} is of {}", clip(other), clip(name));
                return Err(
                    Refusal::new(reason, "A table is of one machine; or name it by --machine.").file(file)
                );
            }
            name
        }
    };
    heapless::String::try_from(name).map_err(|_| {
        Refusal::new(
            format!("the machine's name has {} bytes; {MAX_MACHINE} fit in a table", name.len()),
            "Give a shorter --machine.",
        )
    })
}

/// The refusal of core in the person's units, with the way out.
fn refused(axis: Axis, why: &NotBuilt, ctx: &Context) -> Refusal {
    let show = ctx.lengths();
    let unit = show.unit;
    let (reason, way_out) = match why {
        NotBuilt::NotShown { largest_mm, uncertainty_mm } => (
            format!(
                "no lost motion is shown: the largest is {} {unit}, its uncertainty {} {unit}",
                show.fine(*largest_mm),
                show.fine(*uncertainty_mm)
            ),
            "Nothing needs correcting; or measure more cycles with a finer indicator.",
        ),
        NotBuilt::DoesNotRepeat { lost_mm, scatter_mm } => (
            format!(
                "the loss does not repeat: {} {unit} on average, but single losses scatter by {} {unit}",
                show.fine(*lost_mm),
                show.fine(*scatter_mm)
            ),
            "Mend what slips or sticks first: a fixed correction would be wrong each time.",
        ),
        NotBuilt::OverCorrected { position, lost_mm } => (
            format!(
                "at {} {unit} the lost motion is {} {unit}: something already corrects too much",
                show.short(position.as_mm()),
                show.fine(*lost_mm)
            ),
            "Lower the compensation set in the control, then measure again.",
        ),
        NotBuilt::NotANumber => {
            ("a measured number is out of range".to_owned(), "Assess the readings again.")
        }
        // They are in order here: what does not rise is the same place again.
        NotBuilt::Invalid(Invalid::Order { position }) => (
            format!("station {} {unit} is there twice", show.short(position.as_mm())),
            "Give the newest test of each axis, or tests at other stations.",
        ),
        NotBuilt::Invalid(rule) => {
            (rule.to_string(), "Give each station once, and at most as many as fit in a table.")
        }
    };
    Refusal::new(format!("axis {axis}: {reason}"), way_out)
}
