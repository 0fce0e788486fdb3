//! `demo`: the whole job on a simulated mill. Every command shown is run as shown, through the same
//! code as a person's; only the mill and the dial are simulated, and their seeds are fixed.

mod core_box;
mod mill;

use std::{fs, path::PathBuf};

use clap::Parser;
use serde::Serialize;

use crate::{args::Cli, context::Context, exit::Outcome, input, output, refusal::Refusal, screen::Tone};

/// Arguments of `demo`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  takeup demo my-demo\n\nThe mill, its coupling and its readings are invented."
)]
pub struct Args {
    /// Folder for the files, made if it is missing
    #[arg(value_name = "DIR", default_value = "takeup-demo")]
    dir: PathBuf,
}

/// What was done, for `--json`.
#[derive(Debug, Serialize)]
struct Document {
    schema: &'static str,
    dir: String,
    commands: Vec<Ran>,
    files: Vec<String>,
}

#[derive(Debug, Serialize)]
struct Ran {
    command: String,
    adverse: bool,
}

/// The telling of the demo: words, commands and their answers.
struct Tour<'c> {
    ctx: &'c Context,
    dir: String,
    ran: Vec<Ran>,
}

/// Runs the demo.
///
/// # Errors
/// When a file cannot be written, or the folder holds other things than an earlier demo.
pub fn run(args: &Args, ctx: &Context) -> Result<Outcome, Refusal> {
    if input::is_dash(&args.dir) {
        return Err(Refusal::new(
            "the demo leaves many files and needs a folder",
            "Give the name of a folder.",
        ));
    }
    let Some(dir) = args.dir.to_str() else {
        return Err(Refusal::new("the folder's name is not UTF-8", "Give another name.").path(&args.dir));
    };
    fs::create_dir_all(&args.dir).map_err(|error| Refusal::io(dir, "make", &error))?;
    let log = args.dir.join("shop.log");
    if log.exists() {
        return Err(Refusal::new(
            "an earlier demo is here, and its log is only ever added to",
            "Name a new folder.",
        )
        .path(&log));
    }
    let mut tour = Tour { ctx, dir: dir.to_owned(), ran: Vec::new() };
    tell(&mut tour)?;
    tour.close()
}

/// The story, in the order of the job.
fn tell(tour: &mut Tour<'_>) -> Result<(), Refusal> {
    tour.say(
        "A foundry pattern shop cuts core boxes for pump housings on a bed mill. Wherever the tool \
         lifts and comes back, the surface shows a step. Is it the Z axis? A test program and a sheet:",
    )?;
    tour.run(&[
        "routine",
        "reversal",
        "--axis",
        "z",
        "--station",
        "0mm",
        "--station",
        "-40mm",
        "--cycles",
        "5",
        "--overrun",
        "1mm",
        "--feed",
        "300mm",
        "--dwell",
        "3",
        "-o",
        "@z-reversal.nc",
        "--sheet",
        "@z-reversal.csv",
    ])?;
    tour.say("The program is run with the spindle locked out, and the dial is read at every stop (simulated here).")?;
    tour.fill("z-reversal.csv", "z-before.csv", &mut mill::Mill::loose(), "2026-03-02T07:40:00Z")?;
    tour.run(&["assess", "@z-before.csv"])?;
    tour.say("Until the coupling can be repaired, the loss is corrected in the programs:")?;
    tour.run(&["table", "build", "@z-before.csv", "-o", "@mill.table"])?;
    tour.write("core-box.nc", core_box::program().as_bytes())?;
    tour.run(&["exposure", "@core-box.nc", "--table", "@mill.table"])?;
    tour.run(&["rewrite", "@core-box.nc", "-o", "@core-box-corrected.nc", "--table", "@mill.table"])?;
    tour.say("Is the corrected program any better? Both are replayed on the measured machine:")?;
    tour.run(&["replay", "@core-box.nc", "@core-box-corrected.nc", "--table", "@mill.table"])?;
    tour.say("The drive is isolated and locked out, the axis blocked, the coupling repaired; then the same test again:")?;
    tour.fill("z-reversal.csv", "z-after.csv", &mut mill::Mill::repaired(), "2026-03-09T07:30:00Z")?;
    tour.run(&["assess", "@z-after.csv"])?;
    tour.run(&["compare", "@z-before.csv", "@z-after.csv"])?;
    tour.say(
        "Both sessions and the repair go into the shop's log, so that the next loosening is seen coming:",
    )?;
    tour.run(&["log", "add", "@z-before.csv", "--log", "@shop.log"])?;
    let repair = "coupling tightened, keys renewed";
    let note = ["log", "note", repair, "--event", "repair", "--axis", "z", "--at", "2026-03-05"];
    tour.run(&[&note[..], &["--log", "@shop.log"]].concat())?;
    tour.run(&["log", "add", "@z-after.csv", "--log", "@shop.log"])?;
    tour.run(&["log", "list", "--log", "@shop.log"])?;
    tour.say("The repair begins the trend anew, so that the smaller loss is no alarm:")?;
    tour.run(&["log", "trend", "--log", "@shop.log"])
}

impl Tour<'_> {
    /// Words between commands.
    fn say(&self, words: &str) -> Result<(), Refusal> {
        if self.ctx.json() {
            return Ok(());
        }
        let screen = self.ctx.screen();
        self.ctx.print(&format!("\n{}\n", screen.paint(Tone::Strong, &screen.wrap(words, ""))))
    }

    /// Shows a command, runs it, and shows its answer. `@` stands for the folder of the demo.
    fn run(&mut self, words: &[&str]) -> Result<(), Refusal> {
        let mut words: Vec<String> = words.iter().map(|w| self.in_dir(w)).collect();
        words.insert(0, "takeup".to_owned());
        // The demo speaks the units of whoever looks.
        if let Some(units) = self.ctx.units_given() {
            words.extend(["--units".to_owned(), units.symbol().to_owned()]);
        }
        let shown = words.iter().map(|w| input::quoted(w)).collect::<Vec<_>>().join(" ");
        if !self.ctx.json() {
            self.ctx.print(&format!("\n$ {}\n", shown))?;
        }
        let cli = Cli::try_parse_from(&words)
            .map_err(|error| Refusal::new(format!("{shown}: {error}"), "Report this fault."))?;
        let inner = Context::keeping(&cli.global, self.ctx);
        let outcome = cli.command.run(&inner)?;
        if !self.ctx.json() {
            self.ctx.print(&inner.into_kept())?;
        }
        self.ran.push(Ran { command: shown, adverse: outcome == Outcome::Adverse });
        Ok(())
    }

    fn in_dir(&self, word: &str) -> String {
        word.strip_prefix('@').map_or_else(|| word.to_owned(), |name| self.path(name))
    }

    fn path(&self, name: &str) -> String {
        PathBuf::from(&self.dir).join(name).to_string_lossy().into_owned()
    }

    fn write(&self, name: &str, bytes: &[u8]) -> Result<(), Refusal> {
        output::write(&PathBuf::from(self.path(name)), bytes, self.ctx)
    }

    /// Fills in a reading sheet at the simulated mill.
    fn fill(&self, sheet: &str, filled: &str, mill: &mut mill::Mill, taken: &str) -> Result<(), Refusal> {
        let path = self.path(sheet);
        let text = fs::read_to_string(&path).map_err(|error| Refusal::io(&path, "read", &error))?;
        let text = mill
            .fill(&text, taken)
            .map_err(|reason| Refusal::new(reason, "Report this fault.").file(&path))?;
        self.write(filled, text.as_bytes())
    }

    /// What was left where.
    fn close(self) -> Result<Outcome, Refusal> {
        let entries = fs::read_dir(&self.dir).map_err(|error| Refusal::io(&self.dir, "read", &error))?;
        let mut files: Vec<String> =
            entries.filter_map(Result::ok).map(|e| e.file_name().to_string_lossy().into_owned()).collect();
        files.sort();
        let words = format!(
            "All files are in {}: {}. Each command above can be run again as it stands, except that the log is only \
             ever added to. A corrected program is first run in the air, in single block, with soft limits on.",
            self.dir,
            files.join(", ")
        );
        if self.ctx.json() {
            let Self { ctx, dir, ran, .. } = self;
            ctx.print_json(&Document { schema: "takeup.demo/1", dir, commands: ran, files })?;
        } else {
            self.say(&words)?;
        }
        Ok(Outcome::Good)
    }
}
