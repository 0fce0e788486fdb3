//! `routine push-pull`.

use super::program::{Head, Program};
use super::{Test, Writing, sheet};
use crate::context::Context;
use crate::plan_args::Of;
use crate::plan_args::pushes::PlanArgs;
use crate::refusal::Refusal;
use crate::units::decimals;
use std::fmt::Write as _;
use takeup_core::length::Length;
use takeup_core::measure::Kind;

pub(super) const LONG_ABOUT: &str = "The push-pull test: the drive holds, and the axis is pushed and pulled with known forces. \
    It shows the clearance of an axis whose weight hides it, and the stiffness of the drive.\n\n\
    A luggage scale and a strap will do. Write down the force that was there, not the one that was wanted. Forces are in \
    newtons (1 kg pulls with 9.8 N), positive pushes +. An axis that carries a weight crosses its clearance where the \
    force balances the weight: give --balance, and the forces are spread on both sides of it.";

pub(super) const USAGE: &str = "takeup routine push-pull [OPTIONS] --axis <AXIS> -o <FILE>";
pub(super) const EXAMPLE: &str = "Example:\n  takeup routine push-pull --axis z --force 150 --balance 300 \\\n    \
     -o z.nc --sheet z.csv";

pub(super) fn test(args: &Of<PlanArgs, Writing>, ctx: &Context) -> Result<Test, Refusal> {
    let planned = args.plan.planned(ctx)?;
    let (axis, unit, plan) = (planned.axis, planned.unit, planned.plan);
    let pace = args.how.pace(unit)?;
    let forces: Vec<(u32, String)> =
        plan.pushes().map(|(row, force)| (row, decimals(force + planned.balance_n, 0))).collect();
    let about = vec![
        format!("PUSH-PULL TEST OF AXIS {axis}: {} READINGS, THE DRIVE HOLDING", planned.readings),
        "EACH STOP SAYS WITH WHAT FORCE: WRITE DOWN THE ONE THAT WAS".to_owned(),
        "THERE, POSITIVE PUSHES +".to_owned(),
    ];
    let cautions = [
        "THE DRIVE HOLDS AND IS LIVE: FEED OVERRIDE AT 0",
        "STRAP AND SCALE REACH IN, HANDS DO NOT",
        "A SECOND PERSON STANDS AT THE EMERGENCY STOP",
        "A VERTICAL AXIS CAN FALL: BLOCK IT, LEAVING A SMALL GAP",
        "PULL SLOWLY, NEVER STAND WHERE A STRAP COULD LASH",
    ];
    let head = Head { about, cautions: cautions.map(str::to_owned).to_vec() };
    let mut program = Program::begin(head, axis, unit, (Length::ZERO, Length::ZERO), pace);
    program.hold("SET THE INDICATOR ON, IN THE MIDDLE OF ITS TRAVEL");
    for (row, force) in &forces {
        program.hold(&format!("ROW {row}: {force} N, HOLD IT, READ, RELEASE"));
    }
    let hints = [
        "Caution: the drive holds and is live. Strap and scale reach in, hands do not; block a vertical axis.",
        "force: in newtons, the one that was there; positive pushes +. 1 kg pulls with 9.8 N.",
    ];
    let mut sheet = sheet::head(Kind::PushPull, axis, unit, &hints);
    sheet.push_str("row,force,reading,note\n");
    for (row, force) in &forces {
        let _ = writeln!(sheet, "{row},{force},,");
    }
    Ok(Test {
        kind: Kind::PushPull,
        axis,
        unit,
        title: format!("Push-pull test of {axis}: {} readings, the drive holding", planned.readings),
        stations: Vec::new(),
        cycles: planned.readings / 2,
        overrun: None,
        readings: usize::from(planned.readings),
        travel: (Length::ZERO, Length::ZERO),
        program: program.end(),
        sheet,
    })
}
