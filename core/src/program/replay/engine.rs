//! Replay itself: reads both programs side by side, pairs their motions, follows both machines.

use super::{
    align::{Driven, Intended, ORIGINALS, REWRITTENS, Rest, Step, align},
    clear::Clear,
    feed::{Action, Chords, Feed, Told},
    figures::{Figures, Worst},
    geometry::{Point, Shape, distance},
    interpret::{Rate, Reading},
    machine::{AxisSlack, Machine, Slack},
    refusal::Refusal,
    track::{Intent, Judged, Path, Track},
};
use crate::{
    axis::{Axis, PerAxis},
    length::Unit,
    program::Integers,
};
use heapless::{Deque, Vec};

/// By fewer motions than this a pair may be off, where ends lie within a clearance of each other.
const PAIRED_WITHIN: usize = 4;

/// One of the two programs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// The program as it was.
    Original,
    /// The program that came of it.
    Rewritten,
}

/// What replay waits for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Want {
    /// The next line of a program, by [`Replay::read`], or [`Replay::end`].
    Line(Source),
    /// Nothing: all is judged.
    Done,
}

/// A program that cannot be followed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Failure {
    /// Which program.
    pub source: Source,
    /// Where and why.
    pub refusal: Refusal,
}

/// What is replayed.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The slack of the machine.
    pub slack: Slack,
    /// Unit of a program that names none.
    pub unit: Unit,
    /// Meaning of words without a decimal point.
    pub integers: Integers,
    /// A person's word for it that X and Y may be sent aside at this height and above (mm).
    pub clear_mm: Option<f64>,
}

impl Settings {
    /// A machine with a slack; millimetres, and whole units in words without a point.
    #[must_use]
    pub const fn new(slack: Slack) -> Self {
        Self { slack, unit: Unit::Mm, integers: Integers::Units, clear_mm: None }
    }
}

/// A place of the path intended, judged; for plots.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// Which program was running.
    pub source: Source,
    /// Where on the path intended (mm).
    pub at: Point,
    /// How far the tool stays from it (mm); `None` while a seat was not known.
    pub deviation_mm: Option<f64>,
    /// The line of the original.
    pub line: u64,
    /// A cut begins here.
    pub begins: bool,
}

/// The answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Answer {
    /// The rewritten program keeps the tool within the tolerance.
    Good,
    /// It does not, or no cut could be judged.
    BeyondTolerance,
}

/// What replay found.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// The original on the slack machine.
    pub before: Figures,
    /// The rewritten program on the slack machine.
    pub after: Figures,
    /// Length the rewritten program cuts while a seat is not known (mm), of [`Self::cut_mm`].
    pub unseated_mm: f64,
    /// Length of all cuts of the original (mm).
    pub cut_mm: f64,
    /// The worst places of the rewritten program, the worst first.
    pub worst: Vec<Worst, { super::figures::WORST }>,
    /// Motions of the original, rapids among them.
    pub moves: u64,
    /// Motions of the original without a counterpart in the rewritten program.
    pub missing: u64,
    /// Length of cuts of the original that the rewritten program makes in rapid (mm).
    pub hurried_mm: f64,
    /// The first place to which the rewritten program sends an axis where the original has not told where that is.
    pub untold: Option<Untold>,
    /// The first line of the original whose lengths were read in [`Settings::unit`], for it had named none.
    pub unit_assumed: Option<u64>,
    /// The answer.
    pub answer: Answer,
}

/// Where the rewritten program sends an axis to a place by its coordinate, and the original counts on where the axis is
/// without having told: on the machine it may be anywhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Untold {
    /// The axis.
    pub axis: Axis,
    /// The line of the original.
    pub line: u64,
}

/// A motion of the rewritten program that waits for its pair.
#[derive(Clone, Copy, Debug)]
struct Ahead {
    action: Action,
    driven: Driven,
}

/// The replay of two programs; about 120 KB.
#[derive(Clone, Debug)]
pub struct Replay {
    original: Feed,
    rewritten: Feed,
    path: Path,
    read: u64,
    length: f64,
    cut: f64,
    missing: u64,
    hurried: f64,
    untold: Option<Untold>,
    /// What the last motion of the original has left told.
    told: Told,
    waiting: Deque<(Action, Intent), ORIGINALS>,
    ahead: Deque<Ahead, REWRITTENS>,
    /// The machine under the original, under the rewritten program, and ahead of the latter to pair.
    before_machine: Machine,
    after_machine: Machine,
    ahead_machine: Machine,
    before: Track,
    after: Track,
    clear: Clear,
    /// The widest clearance of each axis (mm).
    widest: PerAxis<f64>,
}

impl Replay {
    /// At the start of both programs.
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        let Settings { slack, unit, integers, clear_mm } = settings;
        let reading = Reading { unit, integers, slack: slack.map(|axis| !axis.is_none()) };
        let clearances = slack.iter().map(|(_, axis)| axis.widest_mm()).sum();
        let widest = slack.map(AxisSlack::widest_mm);
        let machine = Machine::new(slack, &Point::default());
        Self {
            original: Feed::new(reading),
            rewritten: Feed::new(reading),
            path: Path::default(),
            read: 0,
            length: 0.0,
            cut: 0.0,
            missing: 0,
            hurried: 0.0,
            untold: None,
            told: Told::default(),
            waiting: Deque::new(),
            ahead: Deque::new(),
            before_machine: machine.clone(),
            after_machine: machine.clone(),
            ahead_machine: machine,
            before: Track::new(clearances, widest),
            after: Track::new(clearances, widest),
            clear: Clear::new(clear_mm),
            widest,
        }
    }

    /// Takes the next line of a program, with or without its line end.
    ///
    /// # Errors
    /// [`Failure`] for what is not understood or cannot be followed.
    pub fn read(&mut self, source: Source, line: &[u8]) -> Result<(), Failure> {
        match source {
            Source::Original => self.original.read(line),
            Source::Rewritten => self.rewritten.read(line),
        }
        .map_err(|refusal| Failure { source, refusal })
    }

    /// A program has no more lines.
    pub const fn end(&mut self, source: Source) {
        match source {
            Source::Original => self.original.end(),
            Source::Rewritten => self.rewritten.end(),
        }
    }

    /// Works until a line is wanted. Places judged on the way go to `sample`, in the order of the path.
    ///
    /// # Errors
    /// [`Failure`] when a cycle leaves the range of lengths.
    pub fn advance(&mut self, sample: &mut impl FnMut(Sample)) -> Result<Want, Failure> {
        loop {
            while !self.waiting.is_full() {
                let next = self.original.next();
                match next.map_err(|refusal| Failure { source: Source::Original, refusal })? {
                    Some(action) => self.intend(action),
                    None if self.original.ended() => break,
                    None => return Ok(Want::Line(Source::Original)),
                }
            }
            while !self.ahead.is_full() {
                let next = self.rewritten.next();
                match next.map_err(|refusal| Failure { source: Source::Rewritten, refusal })? {
                    Some(action) => self.look_ahead(action),
                    None if self.rewritten.ended() => break,
                    None => return Ok(Want::Line(Source::Rewritten)),
                }
            }
            if self.waiting.is_empty() && self.ahead.is_empty() {
                self.before.close(&mut judged(Source::Original, sample));
                self.after.close(&mut judged(Source::Rewritten, sample));
                return Ok(Want::Done);
            }
            self.settle(sample);
        }
    }

    fn intend(&mut self, action: Action) {
        let motion = &action.motion;
        let intent = Intent {
            curve: motion.curve,
            length: motion.curve.length(),
            begins: self.length,
            rate: motion.rate,
            line: motion.line,
            depth: motion.depth,
            number: self.read,
        };
        self.read = self.read.saturating_add(1);
        self.length += intent.length;
        if motion.rate == Rate::Feed {
            self.cut += intent.length;
        }
        self.path.push(intent);
        let _ = self.waiting.push_back((action, intent));
    }

    fn look_ahead(&mut self, action: Action) {
        let mut tool_before = None;
        let seated = self.ahead_machine.seated();
        action.drive(&mut self.ahead_machine, Chords::Coarse, |piece, _| {
            tool_before = tool_before.or(Some(piece.from));
        });
        let tool = self.ahead_machine.tool();
        let driven = Driven {
            command: action.motion.curve.end,
            tool: (tool_before.unwrap_or(tool), tool),
            length: action.motion.curve.length(),
            rapid: action.motion.rate == Rate::Rapid,
            seated,
        };
        let _ = self.ahead.push_back(Ahead { action, driven });
    }

    /// Pairs what is in the windows and judges the part that is settled.
    fn settle(&mut self, sample: &mut impl FnMut(Sample)) {
        let mut originals: Vec<Intended, ORIGINALS> = Vec::new();
        for (_, intent) in &self.waiting {
            let rapid = intent.rate == Rate::Rapid;
            let _ = originals.push(Intended { curve: intent.curve, length: intent.length, rapid });
        }
        let mut rewrittens: Vec<Driven, REWRITTENS> = Vec::new();
        for ahead in &self.ahead {
            let _ = rewrittens.push(ahead.driven);
        }
        let rest = |full: bool| if full { Rest::More } else { Rest::End };
        let mut steps = Vec::new();
        let more = (rest(self.waiting.is_full()), rest(self.ahead.is_full()));
        align(&originals, more.0, &rewrittens, more.1, self.after.lag(), &mut steps);
        for step in steps {
            match step {
                Step::Pair => {
                    if let Some(ahead) = self.ahead.pop_front() {
                        self.compare_frames(&ahead.action);
                        self.follow(&ahead.action, Step::Pair, sample);
                    }
                    self.complete(self.after_machine.seated(), sample);
                }
                Step::Inserted => {
                    if let Some(ahead) = self.ahead.pop_front() {
                        self.follow(&ahead.action, Step::Inserted, sample);
                    }
                }
                Step::Missing => {
                    self.missing = self.missing.saturating_add(1);
                    // Not made at all: that needs no seat to be seen.
                    self.complete(true, sample);
                }
            }
        }
    }

    /// Both programs must have given the same place the same name: else all that follows lies elsewhere.
    fn compare_frames(&mut self, action: &Action) {
        let Some((intended, intent)) = self.waiting.front() else { return };
        let off = distance(&intended.frame, &action.frame);
        if off > 1e-9 {
            self.after.strayed(off, 0.0, intent.line, intent.curve.start);
        }
    }

    /// The rewritten program may know no more of where the axes are than the original has told by the block in hand.
    fn compare_told(&mut self, told: &Told, line: u64) {
        let tells = |axis| {
            // What the original's last motion has left is as good until places are put in doubt.
            let next = self.waiting.iter().map(|(action, _)| &action.told).take(PAIRED_WITHIN);
            let mut now = next.chain(core::iter::once(&self.told));
            now.any(|original| original.tells(axis, *told.losses.get(axis)))
        };
        let ahead = Axis::ALL.into_iter().find(|axis| *told.axes.get(*axis) && !tells(*axis));
        self.untold = self.untold.or(ahead.map(|axis| Untold { axis, line }));
    }

    /// The present motion of the original is over in the rewritten program; it is now done in the
    /// original too.
    fn complete(&mut self, after_seated: bool, sample: &mut impl FnMut(Sample)) {
        let Some((action, intent)) = self.waiting.pop_front() else { return };
        self.told = action.told;
        let (path, number) = (&self.path, intent.number);
        let cuts = intent.rate == Rate::Feed;
        let before = &mut self.before;
        action.drive(&mut self.before_machine, Chords::Fine, |piece, command| {
            if cuts {
                before.cut(path, number, piece, command, &mut judged(Source::Original, sample));
            }
        });
        let tool = self.before_machine.tool();
        let seated = self.before_machine.seated();
        self.before.complete(path, number, (&tool, seated), &mut judged(Source::Original, sample));
        let tool = self.after_machine.tool();
        self.after.complete(path, number, (&tool, after_seated), &mut judged(Source::Rewritten, sample));
        self.clear.follow(&action);
    }

    fn follow(&mut self, action: &Action, step: Step, sample: &mut impl FnMut(Sample)) {
        // Behind the end of the original, what the rewritten program still does belongs to its last motion.
        let last = self.read.saturating_sub(1);
        let mut number = self.waiting.front().map_or(last, |(_, intent)| intent.number);
        let Some(mut intent) = self.path.get(number).copied() else { return };
        self.compare_told(&action.told, intent.line);
        let (from, seated) = (self.after_machine.tool(), self.after_machine.seated());
        if step == Step::Inserted
            && action.motion.rate == Rate::Feed
            && intent.rate == Rate::Rapid
            && let Some(cut) = number.checked_sub(1).and_then(|n| self.path.get(n)).copied()
            && cut.rate == Rate::Feed
        {
            // What is fed before the next rapid still belongs to the cut.
            (number, intent) = (cut.number, cut);
            // One peck more than the cut has begins above its end, where rapids have brought the drill back to.
            self.after.come_back(&self.path, number, &from);
        }
        let rapid = action.motion.rate == Rate::Rapid;
        let mut cuts = intent.rate == Rate::Feed;
        if cuts && rapid && self.after.is_all_but_out(&self.path, &intent, &from) {
            // The rapid that takes over, as far as it goes.
            self.after.come_out(&self.path, &intent, (&from, seated));
            cuts = false;
        }
        let excursion = step == Step::Inserted && self.excursion(action, &intent);
        if cuts && !excursion {
            let (path, after) = (&self.path, &mut self.after);
            // Not from where it was before: the motion may first learn where that is.
            let mut began = None;
            action.drive(&mut self.after_machine, Chords::Fine, |piece, command| {
                began = began.or(Some(piece.from));
                after.cut(path, number, piece, command, &mut judged(Source::Rewritten, sample));
            });
            let to = self.after_machine.tool();
            let hurried = distance(&began.unwrap_or(to), &to);
            // Where a seat is not known, the place is but to a clearance.
            if rapid && (seated || hurried > self.widest.iter().map(|(_, width)| *width).sum()) {
                self.hurried += hurried;
            }
            return;
        }
        action.drive(&mut self.after_machine, Chords::Coarse, |_, _| {});
        let to = self.after_machine.tool();
        if cuts {
            // Back on the path, the tool may repeat a part of the motion that it was in.
            self.after.resume(&self.path, number, &to);
        }
        if step == Step::Inserted && !excursion && self.after_machine.seated() {
            // A motion nobody asked for beside a rapid: it may keep to the way of the rapid.
            let near = |intent: &Intent| intent.curve.nearest(&to, 0.0, 1.0).1;
            let earlier = number.checked_sub(1).and_then(|n| self.path.get(n));
            let off = near(&intent).min(earlier.map_or(f64::INFINITY, near));
            if off > self.after.near_mm() {
                self.after.strayed(off, distance(&from, &to), intent.line, to);
            }
        }
    }

    /// Whether an inserted motion takes the tool off the path where it is clear.
    fn excursion(&self, action: &Action, intent: &Intent) -> bool {
        if action.motion.curve.shape != Shape::Line {
            return false; // a part of an arc, or nothing that anybody asked for
        }
        let mut machine = self.after_machine.clone();
        // Not where and how the machine stands now: the motion may first learn where it is, or that its seats are in doubt.
        let mut first = None;
        action.drive(&mut machine, Chords::Coarse, |piece, _| {
            first = first.or(Some((piece.from, piece.seated)))
        });
        let to = machine.tool();
        let (from, seated) = first.unwrap_or((to, self.after_machine.seated()));
        if action.motion.rate == Rate::Feed && !seated {
            return false; // it cuts from a place that is not known, and counts as such
        }
        let depth = intent.depth;
        let aside = |axis: Axis| axis != depth && libm::fabs(to.get(axis) - from.get(axis)) > 1e-6;
        let sideways = Axis::ALL.into_iter().any(aside);
        let mut clear = self.clear;
        self.waiting.iter().for_each(|(next, _)| clear.follow(next));
        let (height, lag) = (from.z.min(to.z), self.widest.z + 1e-6);
        // By the name that its height has behind all that is next.
        let height = height + clear.renamed_since(action);
        let clear = action.motion.rate == Rate::Rapid && clear.at(height, lag);
        if sideways {
            return clear;
        }
        if distance(&from, &to) == 0.0 {
            return false;
        }
        // Straight up from the path, or back down to it.
        let (start, end) = (*from.get(depth), *to.get(depth));
        let slack = self.after.lag().get(depth);
        let along = |q: &Point| {
            let reach = distance(&from, &to);
            self.after.distance(&self.path, intent.number, q, reach).map_or(f64::INFINITY, |(d, _)| d)
        };
        let rapid = action.motion.rate == Rate::Rapid || intent.rate == Rate::Rapid;
        let off_path = rapid || along(&from).max(along(&to)) > slack + 0.01;
        let lowest = |intent: &Intent| intent.curve.start.get(depth).min(*intent.curve.end.get(depth));
        let earlier = intent.number.checked_sub(1).and_then(|n| self.path.get(n));
        let reached = self.after.reached(intent);
        // By the name that its height has now.
        let renamed = self.waiting.front().map_or(0.0, |(next, _)| *next.renamed.get(depth));
        let floor = match (intent.rate, earlier) {
            (Rate::Rapid, _) => lowest(intent),
            // Not begun yet: it may be what is left of the rapid before.
            (Rate::Feed, Some(rapid)) if rapid.rate == Rate::Rapid && reached == intent.curve.start => {
                lowest(rapid) + renamed
            }
            (Rate::Feed, _) => *reached.get(depth),
        };
        off_path && (clear || start.min(end) >= floor - slack) && start != end
    }

    /// What was found, once [`Replay::advance`] has answered [`Want::Done`].
    #[must_use]
    pub fn report(&self, tolerance_mm: f64) -> Report {
        let after = self.after.found.figures();
        let unjudged = self.after.found.length_mm() <= 0.0 && self.cut > 0.0;
        // Half a count of the exact lengths: a deviation of just the tolerance is within it.
        let close = after.max_mm <= tolerance_mm + 0.5e-7 && self.hurried <= tolerance_mm;
        let good = close && self.untold.is_none() && !unjudged;
        Report {
            before: self.before.found.figures(),
            after,
            // With what is taken up in between it may cut farther than the original.
            unseated_mm: self.after.unseated_mm().min(self.cut),
            cut_mm: self.cut,
            worst: Vec::from_slice(self.after.found.worst()).unwrap_or_default(),
            moves: self.read,
            missing: self.missing,
            hurried_mm: self.hurried,
            untold: self.untold,
            unit_assumed: self.original.unit_assumed(),
            answer: if good { Answer::Good } else { Answer::BeyondTolerance },
        }
    }
}

fn judged(source: Source, sample: &mut impl FnMut(Sample)) -> impl FnMut(Judged) {
    move |judged| {
        let Judged { at, deviation_mm, line, begins } = judged;
        sample(Sample { source, at, deviation_mm, line, begins });
    }
}
