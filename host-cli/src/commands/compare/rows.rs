//! Each quantity that both tests give, before and after.

use super::Pair;
use crate::log::assessment::Assessment;
use crate::log::quantity::{Better, Quantity, Scale};
use takeup_core::measure::Estimate;
use takeup_core::trend::compare::{self, Answer, Model, Ratio, Repeatability};

/// One quantity in both.
pub(super) struct Row {
    pub(super) quantity: Quantity,
    pub(super) before: Estimate,
    pub(super) after: Estimate,
    pub(super) difference: Difference,
    pub(super) answer: Answer,
}

/// How far apart they are.
pub(super) enum Difference {
    /// After less before.
    Change(Estimate, Model),
    /// After over before, of standard deviations: they are uncertain in proportion to their size.
    Ratio(Ratio),
}

impl Row {
    /// Whether it changed for the worse. The scatter of a reading is told and not judged: dial and person are in it.
    pub(super) fn is_worse(&self) -> bool {
        match (self.quantity, self.quantity.better()) {
            (Quantity::Repeatability, _) | (_, Better::Part) => false,
            (_, Better::Smaller) => self.answer == Answer::Increased,
            (_, Better::Larger) => self.answer == Answer::Reduced,
        }
    }

    /// Whether it changed and is judged.
    pub(super) fn counts(&self) -> bool {
        self.answer != Answer::NoChangeShown
            && self.quantity != Quantity::Repeatability
            && self.quantity.better() != Better::Part
    }
}

/// What both give, and what only the one before, only the one after gives.
pub(super) fn of(before: &Assessment, after: &Assessment, pair: &Pair) -> (Vec<Row>, [Vec<Quantity>; 2]) {
    let (mut rows, mut alone) = (Vec::new(), [Vec::new(), Vec::new()]);
    for quantity in of_both(before, after) {
        match (found(quantity, before, pair.before), found(quantity, after, pair.after)) {
            (Some(b), Some(a)) => rows.extend(row(quantity, (before, b), (after, a), pair)),
            (Some(_), None) => alone[0].push(quantity),
            (None, Some(_)) => alone[1].push(quantity),
            (None, None) => {}
        }
    }
    (rows, alone)
}

/// What both kinds of test give; a document that does not name its kind is one of lost motion.
fn of_both(before: &Assessment, after: &Assessment) -> Vec<Quantity> {
    let usual = [Quantity::LostMotion, Quantity::Repeatability];
    let of = |assessment: &Assessment| match assessment.kind() {
        Some(kind) => Quantity::of_kind(kind).to_vec(),
        None => usual.to_vec(),
    };
    let in_before = of(before);
    of(after).into_iter().filter(|quantity| in_before.contains(quantity)).collect()
}

fn found(quantity: Quantity, assessment: &Assessment, lost: Option<Estimate>) -> Option<Estimate> {
    if quantity == Quantity::LostMotion { lost } else { quantity.of(assessment) }
}

fn row(
    quantity: Quantity,
    (before, b): (&Assessment, Estimate),
    (after, a): (&Assessment, Estimate),
    pair: &Pair,
) -> Option<Row> {
    let scatter = |assessment: &Assessment, found: &Estimate| match quantity {
        Quantity::Repeatability => assessment.repeatability_mm(),
        _ => Repeatability::of(found),
    };
    let (difference, answer) = match (quantity, quantity.scale()) {
        (_, Scale::Logarithm) => {
            let ratio = compare::repeatability_ratio(scatter(before, &b)?, scatter(after, &a)?)?;
            (Difference::Ratio(ratio), compare::answer_of_ratio(&ratio))
        }
        (Quantity::LostMotion, _) => {
            let at = pair.stations.iter().map(|(b, a)| (b.lost_motion_mm, a.lost_motion_mm));
            let (change, model) = compare::change_at(b, a, at);
            (Difference::Change(change, model), compare::answer(b, a, &change))
        }
        _ => {
            let change = compare::change(b, a);
            (Difference::Change(change, Model::Independent), compare::answer(b, a, &change))
        }
    };
    Some(Row { quantity, before: b, after: a, difference, answer })
}
