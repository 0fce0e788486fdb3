//! A mill with slack, given by stations along the travel of each axis; programs rewritten for it and
//! replayed on it, as the command does.

use takeup_core::axis::{Axis, Direction, PerAxis};
use takeup_core::correct::{AxisTable, Station, Table};
use takeup_core::length::Length;
use takeup_core::program::replay::{self, AxisSlack, Replay, Report, SeatStation, Slack, Source, Want};
use takeup_core::program::rewrite::clear::Heights;
use takeup_core::program::rewrite::{Counts, Refusal, Rewriter, Settings};
use takeup_tests::rewriting;

pub fn mm(value: f64) -> Length {
    Length::from_mm(value).expect("a length")
}

/// Place and lost motion of the stations of an axis, in millimetres.
pub type Stations<'a> = &'a [(f64, f64)];

pub struct Mill {
    table: Table,
    slack: Slack,
    pub settings: Settings,
}

pub struct Rewritten {
    pub text: String,
    pub unseated: Vec<usize>,
    pub counts: Counts,
}

impl Mill {
    pub fn new(stations: [Stations; 3]) -> Self {
        let mut table = Table::EMPTY;
        let mut slack = PerAxis { x: AxisSlack::NONE, y: AxisSlack::NONE, z: AxisSlack::NONE };
        for (axis, stations) in Axis::ALL.into_iter().zip(stations) {
            let seat = axis.usual_seat();
            let of = |(place, lost): &(f64, f64)| {
                Station::of_lost_motion(mm(*place), mm(*lost), Length::ZERO, seat)
            };
            let stations: Vec<Station> = stations.iter().map(of).collect();
            let seats = stations.iter().map(|station| SeatStation {
                position_mm: station.position.as_mm(),
                plus_mm: station.on(Direction::Plus).as_mm(),
                minus_mm: station.on(Direction::Minus).as_mm(),
            });
            *slack.get_mut(axis) = AxisSlack::of_stations(seats, 0.0).expect("stations in order");
            *table.axes.get_mut(axis) = AxisTable::new(seat, &stations).ok();
        }
        Self { table, slack, settings: Settings::DEFAULT }
    }

    /// The same lost motion everywhere.
    pub fn uniform(x: f64, y: f64, z: f64) -> Self {
        Self::new([&[(0.0, x)], &[(0.0, y)], &[(0.0, z)]])
    }

    pub fn rewritten(&self, text: &str) -> Result<Rewritten, Refusal> {
        let mut settings = self.settings;
        if settings.clear.is_none() {
            let mut heights = Heights::new(&settings);
            text.split_inclusive('\n').for_each(|line| heights.line(line.as_bytes()));
            settings.clear = heights.clear();
        }
        let mut rewriter = Rewriter::new(&self.table, &settings);
        let (out, unseated) = rewriting::rewritten(&mut rewriter, text.as_bytes())?;
        let text = String::from_utf8(out).expect("text");
        Ok(Rewritten { text, unseated, counts: *rewriter.counts() })
    }

    pub fn replayed(&self, original: &str, rewritten: &str) -> Report {
        let mut replay = Box::new(Replay::new(replay::Settings::new(self.slack.clone())));
        let (mut first, mut second) = (original.lines(), rewritten.lines());
        loop {
            let want = replay.advance(&mut |_| {}).expect("replay follows both programs");
            let (source, line) = match want {
                Want::Done => return replay.report(0.002),
                Want::Line(Source::Original) => (Source::Original, first.next()),
                Want::Line(Source::Rewritten) => (Source::Rewritten, second.next()),
            };
            match line {
                Some(line) => {
                    let read = replay.read(source, line.as_bytes());
                    read.unwrap_or_else(|failure| panic!("{failure:?}: {line}"));
                }
                None => replay.end(source),
            }
        }
    }

    /// Rewrites and replays; the largest error left (mm), and what the rewriter made of the program.
    pub fn error_after(&self, text: &str) -> (f64, Rewritten) {
        let rewritten = self.rewritten(text).unwrap_or_else(|refusal| panic!("{refusal}\n{text}"));
        let report = self.replayed(text, &rewritten.text);
        (report.after.max_mm, rewritten)
    }
}
