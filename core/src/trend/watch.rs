//! Sessions through both charts, in the order they were taken.
//!
//! Each session is held against the weighted mean of those before it since the last event, in units of the standard
//! deviation of that difference; under a steady state such differences are independent (D. M. Hawkins, "Self-starting
//! CUSUM charts for location and scale", The Statistician 36 (1987) 299-315, here with known unequal uncertainties). So no
//! period of calibration is needed, sessions may be of unequal uncertainty, and gaps in time do no harm.
//!
//! Beside its own uncertainty a session carries what a fresh set-up adds. That is learned from successive sessions, with
//! a stated start that counts as much as ten of them.
//!
//! Not for finding one bad session, and not for telling drift from a jump: see [`forecast`](super::forecast).

use super::cusum::{self, Cusum, Side};
use super::ewma::{self, Ewma};
use super::run_length::DesignError;
use super::{Session, SessionError};
use crate::measure::student;

/// What the charts are built for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Design {
    /// The CUSUM.
    pub cusum: cusum::Design,
    /// The EWMA.
    pub ewma: ewma::Design,
    /// What a fresh set-up adds to a session, one standard deviation, in the unit of the values, before anything is learned.
    pub set_up: f64,
}

/// How many sessions the stated set-up scatter counts for.
const SET_UP_WEIGHT: f64 = 10.0;

impl Design {
    /// Both charts for a lasting shift, in standard deviations of one session, and a run length between false alarms of each
    /// chart. The EWMA's weight is 0.2 (close to best for shifts near 1: Lucas and Saccucci 1990).
    ///
    /// # Errors
    /// If no chart can be designed so.
    pub fn new(shift: f64, in_control_run_length: f64, set_up: f64) -> Result<Self, DesignError> {
        Ok(Self {
            cusum: cusum::Design::for_shift(shift, in_control_run_length)?,
            ewma: ewma::Design::for_weight(0.2, in_control_run_length)?,
            set_up: if set_up > 0.0 { set_up } else { 0.0 },
        })
    }
}

/// The shift that the usual charts find soonest, in standard deviations of one session.
pub const USUAL_SHIFT: f64 = 1.0;
/// Sessions between false alarms of each usual chart on average, were the scatter of set-ups known. It has to be learned,
/// which costs some: over three times what both charts together must keep to.
pub const USUAL_RUN_LENGTH: f64 = 3000.0;
/// What a fresh set-up of the indicator adds before anything is learned, one standard deviation in millimetres (common
/// practice, no source).
pub const USUAL_SET_UP_MM: f64 = 0.003;

impl Design {
    /// The design for lost motion in millimetres, measured once a week or so.
    ///
    /// # Errors
    /// Those of [`Design::new`], which these numbers do not give.
    pub fn usual() -> Result<Self, DesignError> {
        Self::new(USUAL_SHIFT, USUAL_RUN_LENGTH, USUAL_SET_UP_MM)
    }
}

/// The chart that signalled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Chart {
    /// The CUSUM: small deviations added up.
    Cusum,
    /// The EWMA: the recent average.
    Ewma,
}

/// Why and when the watch alarms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alarm {
    /// Which chart.
    pub chart: Chart,
    /// Which way the values moved.
    pub side: Side,
    /// Day of the session that signalled.
    pub day: f64,
    /// Its value.
    pub value: f64,
    /// The mean of the sessions before it since the last event.
    pub target: f64,
    /// The chart's figure, in standard deviations.
    pub figure: f64,
    /// The chart's limit, in standard deviations.
    pub limit: f64,
}

/// Where the charts stand after a session.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Mean of the sessions before, since the last event; none at the first.
    pub target: Option<f64>,
    /// Standardised difference from it; 0 at the first.
    pub z: f64,
    /// The EWMA, in standard deviations.
    pub ewma: f64,
    /// Its limit either way.
    pub ewma_limit: f64,
    /// The CUSUM above.
    pub cusum_above: f64,
    /// The CUSUM below.
    pub cusum_below: f64,
    /// The alarm that stands, the first since the last event.
    pub alarm: Option<Alarm>,
}

/// Sessions so far, as a few sums.
///
/// ```
/// use takeup_core::trend::{Session, watch::{Design, Watch}};
/// let mut watch = Watch::new(Design::new(1.0, 1000.0, 0.001).unwrap());
/// let mut alarm = None;
/// for week in 0..20 {
///     let value = 0.020 + 0.001 * f64::from(week);
///     let session = Session { day: 7.0 * f64::from(week), value, standard_uncertainty: 0.001, dof: 8.0 };
///     alarm = watch.push(session).unwrap().alarm;
/// }
/// assert!(alarm.is_some());
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Watch {
    design: Design,
    cusum: Cusum,
    ewma: Ewma,
    weight: f64,
    mean: f64,
    previous: Option<Session>,
    set_up_sum: f64,
    set_up_count: f64,
    alarm: Option<Alarm>,
}

impl Watch {
    /// No sessions yet.
    #[must_use]
    pub const fn new(design: Design) -> Self {
        Self {
            design,
            cusum: Cusum::new(design.cusum),
            ewma: Ewma::new(design.ewma),
            weight: 0.0,
            mean: 0.0,
            previous: None,
            set_up_sum: 0.0,
            set_up_count: 0.0,
            alarm: None,
        }
    }

    /// An event changed the machine (repair, adjustment, crash, move): what came before says nothing about what comes.
    /// What was learned about set-ups is kept.
    pub fn restart(&mut self) {
        *self =
            Self { set_up_sum: self.set_up_sum, set_up_count: self.set_up_count, ..Self::new(self.design) };
    }

    /// What a fresh set-up adds, one standard deviation, as far as it is known now.
    #[must_use]
    pub fn set_up(&self) -> f64 {
        let sum = SET_UP_WEIGHT * self.design.set_up * self.design.set_up + self.set_up_sum;
        libm::sqrt((sum / (SET_UP_WEIGHT + self.set_up_count)).max(0.0))
    }

    /// Takes a session.
    ///
    /// # Errors
    /// If its numbers cannot be used; nothing changes then.
    pub fn push(&mut self, session: Session) -> Result<Point, SessionError> {
        session.check()?;
        let own = session.standard_uncertainty * session.standard_uncertainty;
        let set_up = self.set_up();
        let single = own + set_up * set_up;
        let target = (self.weight > 0.0).then_some(self.mean);
        let mut z = 0.0;
        if let Some(target) = target {
            let variance = single + 1.0 / self.weight;
            z = normal_deviate(
                (session.value - target) / libm::sqrt(variance),
                session.dof * (variance / own) * (variance / own),
            );
            let by_cusum = self.cusum.push(z).map(|side| {
                let figure = if side == Side::Above { self.cusum.above() } else { self.cusum.below() };
                (Chart::Cusum, side, figure, self.design.cusum.h)
            });
            let by_ewma =
                self.ewma.push(z).map(|side| (Chart::Ewma, side, self.ewma.average(), self.ewma.limit()));
            if let (None, Some((chart, side, figure, limit))) = (self.alarm, by_cusum.or(by_ewma)) {
                self.alarm = Some(Alarm {
                    chart,
                    side,
                    day: session.day,
                    value: session.value,
                    target,
                    figure,
                    limit,
                });
            }
        }
        if let Some(previous) = self.previous {
            let step = session.value - previous.value;
            let known = own + previous.standard_uncertainty * previous.standard_uncertainty;
            // A jump is for the charts, not for what set-ups usually add: no more than three standard deviations of it.
            let most = 9.0 * (known + 2.0 * set_up * set_up);
            self.set_up_sum += 0.5 * ((step * step).min(most) - known);
            self.set_up_count += 1.0;
        }
        // After an alarm the target stays: a state that is gone must not drift towards the new one.
        if self.alarm.is_none() {
            self.weight += 1.0 / single;
            self.mean += (session.value - self.mean) / (single * self.weight);
        }
        self.previous = Some(session);
        Ok(Point {
            target,
            z,
            ewma: self.ewma.average(),
            ewma_limit: self.ewma.limit(),
            cusum_above: self.cusum.above(),
            cusum_below: self.cusum.below(),
            alarm: self.alarm,
        })
    }
}

/// The normal deviate as improbable as `t`: few readings have heavy tails, charts are designed for normal values.
fn normal_deviate(t: f64, dof: f64) -> f64 {
    // Far out the probability underflows; such a value signals whatever its exact size.
    let tail = student::tail(libm::fabs(t), dof).max(1e-300);
    libm::copysign(student::normal_quantile(tail), t)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn session(day: f64, value: f64) -> Session {
        Session { day, value, standard_uncertainty: 0.001, dof: 8.0 }
    }

    #[test]
    fn jump_alarms_upwards_and_an_event_restarts() {
        let mut watch = Watch::new(Design::new(1.0, 1000.0, 0.001).unwrap());
        for day in 0..8 {
            assert_eq!(watch.push(session(f64::from(day), 0.02)).unwrap().alarm, None);
        }
        let alarm = (8..12).find_map(|day| watch.push(session(f64::from(day), 0.03)).unwrap().alarm).unwrap();
        assert_eq!(alarm.side, Side::Above);
        assert!((alarm.target - 0.02).abs() < 0.004, "{alarm:?}");
        watch.restart();
        let point = watch.push(session(13.0, 0.05)).unwrap();
        assert_eq!((point.alarm, point.target, point.z), (None, None, 0.0));
    }

    #[test]
    fn unusable_sessions_change_nothing() {
        let mut watch = Watch::new(Design::new(1.0, 1000.0, 0.001).unwrap());
        watch.push(session(0.0, 0.02)).unwrap();
        let before = watch;
        assert_eq!(watch.push(session(1.0, f64::NAN)), Err(SessionError::NotFinite));
        let bad = Session { standard_uncertainty: 0.0, ..session(1.0, 0.02) };
        assert_eq!(watch.push(bad), Err(SessionError::Uncertainty { found: 0.0 }));
        assert_eq!(watch, before);
    }
}
