//! The G words: modes that take effect at once, and what is kept for the end of the block.

use super::{
    AXIS_LETTERS, Block, Choice, CycleKind, Distance, FIRST_OFFSET, Interpreter, Mode, Plane, Reason, Span,
    Turn, Unit,
};
use crate::axis::Axis;

impl Interpreter {
    /// Of codes that are cycles or threads by the control, whether the words are those of the cycle (common practice, no
    /// source).
    pub(super) fn is_cycle_here(&self, code: i64, block: &Block) -> bool {
        let (_, _, third) = self.plane.axes();
        let (depth, along) = match third {
            Axis::X => (b'X', b'I'),
            Axis::Y => (b'Y', b'J'),
            Axis::Z => (b'Z', b'K'),
        };
        let cycle = block.word(depth).is_some() && block.word(b'R').is_some();
        match code {
            740 => cycle && !block.has_any(b"IJ"),
            760 => cycle && block.word(along).is_none(),
            _ => true,
        }
    }

    /// One G word: modes take effect, others are remembered for the end of the block.
    #[allow(clippy::too_many_arguments)] // the places that one pass over the words fills
    pub(super) fn code(
        &mut self,
        code: i64,
        span: Span,
        block: &Block,
        once: &mut Option<(i64, Span)>,
        offset_change: &mut Option<i64>,
        length_offset: &mut bool,
        motion_word: &mut Option<Choice>,
    ) -> Result<(), Reason> {
        let mode = match code {
            0 => Some(Mode::Rapid),
            10 => Some(Mode::Line),
            20 => Some(Mode::Arc(Turn::Clockwise)),
            30 => Some(Mode::Arc(Turn::Anticlockwise)),
            _ => CycleKind::of_code(code).map(Mode::Cycle),
        };
        if let Some(mode) = mode {
            match motion_word.replace(Choice::Mode(mode)) {
                Some(Choice::Mode(earlier)) if earlier != mode => return Err(Reason::Conflict),
                _ => return Ok(()),
            }
        }
        if code == 800 {
            // Beside a motion word it only ends the cycle.
            motion_word.get_or_insert(Choice::CycleEnds);
            return Ok(());
        }
        let slack = self.reading.slack;
        match code {
            40 | 100 | 280 | 281 | 300 | 301 | 520 | 530 | 920..=929 => {
                if once.replace((code, span)).is_some() {
                    return Err(Reason::Conflict);
                }
            }
            // On some controls bolt holes and contour cycles: their words tell.
            700 | 710 if block.has_any(b"IJKLQ") => return Err(Reason::UnknownG(code)),
            170 => self.choose_plane(Plane::Xy),
            180 => self.choose_plane(Plane::Zx),
            190 => self.choose_plane(Plane::Yz),
            200 | 700 | 7000 => self.unit = Some(Unit::Inch),
            210 | 710 | 7100 => self.unit = Some(Unit::Mm),
            900 => self.distance = Distance::Absolute,
            910 => self.distance = Distance::Incremental,
            901 => self.centres = Distance::Absolute,
            911 => self.centres = Distance::Incremental,
            410 | 420 | 411 | 421 => {
                if self.plane_has_slack() {
                    return Err(Reason::CutterCompensation);
                }
            }
            // G43.1: its axis words are offsets and move nothing.
            431 if block.has_any(b"XYZ") => {
                *length_offset = true;
                if once.replace((code, span)).is_some() {
                    return Err(Reason::Conflict);
                }
            }
            430 | 431 | 432 | 440 | 490 => *length_offset = true,
            FIRST_OFFSET | 550 | 560 | 570 | 580 | 590..=593 => *offset_change = Some(code),
            5000 | 5050..=5990 if code % 10 == 0 => *offset_change = Some(code),
            // G112 and G113 switch polar interpolation.
            1100..=1290 if code % 10 == 0 && !matches!(code, 1120 | 1130) => *offset_change = Some(code),
            541 | 1540 => {
                let number = block.number(b'P').and_then(|n| n.whole()).unwrap_or(0);
                *offset_change = Some(number.saturating_add(10_000));
            }
            980 => self.drilling.to_initial_level = true,
            990 => self.drilling.to_initial_level = false,
            // G5 P10000 and G5.1 Q1 only smooth the motion; with axis words they are splines, which G5.3
            // ends (common practice, no source).
            50..=53 | 60..=62 if !block.has_any(b"XYZIJ") => {}
            330..=333 | 320 | 50..=53 | 60..=62 => return Err(Reason::Curved),
            71 | 121 | 160 | 680 | 1070 | 1120 => {
                if self.plane_has_slack() {
                    return Err(Reason::Transformed);
                }
            }
            510 | 511 => {
                let mirrored = Axis::ALL
                    .iter()
                    .zip(AXIS_LETTERS)
                    .any(|(axis, letter)| *slack.get(*axis) && (code == 510 || block.word(letter).is_some()));
                if mirrored {
                    return Err(Reason::Transformed);
                }
            }
            531 | 682..=684 => return Err(Reason::Transformed),
            434 | 435 | 1430 | 2340 | 2540 => return Err(Reason::ToolPoint),
            1410 => return Err(Reason::CutterCompensation),
            650 | 660 => return Err(Reason::Subprogram),
            // Axis words say of which axes the mirror ends: nothing moves, as in a dwell.
            501 if block.has_any(b"XYZ") => {
                if once.replace((40, span)).is_some() {
                    return Err(Reason::Conflict);
                }
            }
            382..=385 | 310..=314 | 360 | 370 => {
                for (axis, letter) in Axis::ALL.into_iter().zip(AXIS_LETTERS) {
                    if block.word(letter).is_some() && *slack.get(axis) {
                        return Err(Reason::Probing(axis));
                    }
                }
                self.lose(self.told(block));
                if once.replace((310, span)).is_some() {
                    return Err(Reason::Conflict);
                }
            }
            // Some controls go there in a way of their own: exact stop only where another word says how.
            600 if !block.has_any(b"XYZ") || says_motion(block) => {}
            _ if is_neutral(code) => {}
            _ => return Err(Reason::UnknownG(code)),
        }
        Ok(())
    }
}

/// Codes that change nothing about the path as replay follows it.
const fn is_neutral(code: i64) -> bool {
    matches!(
        code,
        90 | 150
            | 400
            | 500
            | 501
            | 610
            | 611
            | 640
            | 670
            | 690
            | 930
            | 940
            | 950
            | 960
            | 970
            | 80
            | 81
            | 230
            | 250
            | 1030
            | 1870
            // Ends of modes, and ways round corners: common practice, no source.
            | 131
            | 401
            | 620
            | 691
            | 1130
            | 2350
            | 2550
            | 4500
            | 4510
            | 6010
            | 6020
            | 6030
            | 6410
            | 6420
            | 6430
            | 6440
            | 6450
    )
}

fn says_motion(block: &Block) -> bool {
    let says = |code| matches!(code, 0 | 10 | 20 | 30) || CycleKind::of_code(code).is_some();
    block.g.iter().any(|(code, _)| says(*code))
}
