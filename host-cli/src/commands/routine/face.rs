//! `routine indicator`.

use super::program::{Head, Program};
use super::{Test, Writing, sheet};
use crate::context::Context;
use crate::plan_args::Of;
use crate::plan_args::face::PlanArgs;
use crate::refusal::Refusal;
use std::fmt::Write as _;
use takeup_core::axis::Direction;
use takeup_core::length::Length;
use takeup_core::measure::Kind;

pub(super) const LONG_ABOUT: &str = "The indicator test: the indicator against a fixed face, brought onto it by hand from both sides \
    in turn. It shows how well the indicator itself repeats and how much it lags.\n\n\
    The indicator stands as in the tests to come, on a face that does not move. Lift the plunger and let it down gently \
    for one side; press it in a little farther and let it come back for the other. With the default sense, + is the \
    side on which the reading grows.";

pub(super) const USAGE: &str = "takeup routine indicator [OPTIONS] --axis <AXIS> -o <FILE>";
pub(super) const EXAMPLE: &str = "Example:\n  takeup routine indicator --axis z -o dial.nc --sheet dial.csv";

pub(super) fn test(args: &Of<PlanArgs, Writing>, ctx: &Context) -> Result<Test, Refusal> {
    let planned = args.plan.planned(ctx)?;
    let (axis, unit, plan) = (planned.axis, planned.unit, planned.plan);
    let pace = args.how.pace(unit)?;
    let about = vec![
        format!("INDICATOR TEST ON AXIS {axis}: {} TIMES FROM EACH SIDE", planned.cycles),
        "ONLY THE PLUNGER MOVES, BY HAND, GENTLY".to_owned(),
    ];
    let head = Head { about, cautions: vec!["DRIVES OFF WHERE HANDS REACH IN".to_owned()] };
    let mut program = Program::begin(head, axis, unit, (Length::ZERO, Length::ZERO), pace);
    program.hold("DRIVES OFF, INDICATOR ON THE FACE, IN THE MIDDLE OF ITS TRAVEL");
    let mut sheet = sheet::head(
        Kind::Indicator,
        axis,
        unit,
        &[
            "The indicator stands as in the tests to come, on a face that does not move.",
            "approach +: lift the plunger and let it down, so that the reading grows. -: press it in and let it come back.",
            "With sense: - the reading falls for + and grows for -.",
        ],
    );
    sheet.push_str("row,cycle,approach,reading,note\n");
    for (row, cycle, way) in plan.rows() {
        let how = match way {
            Direction::Plus => "READING GROWING",
            Direction::Minus => "READING FALLING",
        };
        program.hold(&format!("ROW {row}: ONTO THE FACE {way}, {how}, READ"));
        let _ = writeln!(sheet, "{row},{cycle},{way},,");
    }
    let readings = plan.rows().count();
    Ok(Test {
        kind: Kind::Indicator,
        axis,
        unit,
        title: format!("Indicator test along {axis}: {readings} readings, {} from each side", planned.cycles),
        stations: Vec::new(),
        cycles: planned.cycles,
        overrun: None,
        readings,
        travel: (Length::ZERO, Length::ZERO),
        program: program.end(),
        sheet,
    })
}
