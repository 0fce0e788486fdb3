//! Simulated lives of machines: readings with noise, assessed as a person's are, set up anew each time, at uneven
//! intervals and with unequal numbers of cycles.

use takeup_core::slack::simulated::Noise;
use takeup_core::trend::Session;
use takeup_core::trend::cusum::Side;
use takeup_core::trend::forecast::Line;
use takeup_core::trend::watch::{Design, Watch};
use takeup_tests::sitting::Sitting;

const SEEDS: u64 = 500;
/// The design was settled on seeds below this; it is held to others.
const FRESH: u64 = 4_000_000;
const SESSIONS: u32 = 40;
const LIMIT_MM: f64 = 0.05;
/// What a fresh set-up truly adds, one standard deviation. The watch has to learn it.
const SET_UPS_MM: [f64; 4] = [0.0005, 0.001, 0.002, 0.003];

/// One session of a life: what was found, what was true, and the luck of its set-up in standard deviations.
#[derive(Clone, Copy)]
struct Lived {
    session: Session,
    truth_mm: f64,
    set_up: f64,
    repeatability_mm: f64,
    repeatability_dof: f64,
}

impl Lived {
    /// As found with set-ups that scatter so much. A set-up moves all readings of one approach alike, so it may as well be
    /// added to what was assessed from them.
    fn with_set_up(self, mm: f64) -> Session {
        Session { value: self.session.value + mm * self.set_up, ..self.session }
    }
}

/// The sessions of a life until a day, weekly give or take two days, one in ten left out.
fn life(seed: u64, until: f64, truth_mm: impl Fn(f64) -> f64) -> Vec<Lived> {
    let mut noise = Noise::new(seed);
    let mut sessions = Vec::new();
    for week in 0..SESSIONS {
        let day = 7.0 * f64::from(week) + noise.between(-2.0, 2.0);
        let cycles = 3 + (noise.between(0.0, 4.999) as u16);
        let set_up = noise.normal();
        if noise.chance(0.1) {
            continue;
        }
        if day >= until {
            break;
        }
        let truth_mm = truth_mm(day);
        let sitting = Sitting { lost_mm: truth_mm, stations: 1, cycles, ..Sitting::USUAL };
        let assessed = sitting.assess(seed.wrapping_mul(1000).wrapping_add(u64::from(week)));
        let found = assessed.lost_motion;
        let (value, standard_uncertainty, dof) = (found.value, found.standard_uncertainty, found.dof);
        sessions.push(Lived {
            session: Session { day, value, standard_uncertainty, dof },
            truth_mm,
            set_up,
            repeatability_mm: assessed.repeatability_mm,
            repeatability_dof: assessed.repeatability_dof,
        });
    }
    sessions
}

fn design() -> Design {
    Design::usual().expect("a design")
}

/// 0.02 mm growing to 0.10 mm over 40 weeks passes 0.05 mm after 15; the watch must say so before, in 95 % of lives, and
/// the intervals of its forecasts must hold the day.
#[test]
fn loosening_coupling_is_alarmed_before_it_spoils_parts() {
    let per_day = 0.08 / (7.0 * f64::from(SESSIONS - 1));
    let passes = 0.03 / per_day;
    println!("{SEEDS} lives each, 0.02 to 0.10 mm over {SESSIONS} weekly sessions, limit {LIMIT_MM} mm");
    println!("set-up um | alarmed in time  median value um | forecasts  hold the day  first one holds");
    let lives: Vec<_> =
        (0..SEEDS).map(|seed| life(FRESH + seed, passes, |day| 0.02 + per_day * day)).collect();
    for set_up_mm in SET_UPS_MM {
        let (mut in_time, mut at_alarm) = (0, Vec::new());
        let (mut forecasts, mut hold, mut firsts, mut first_hold) = (0, 0, 0, 0);
        for seed in 0..SEEDS {
            let (mut watch, mut line) = (Watch::new(design()), Line::new());
            let (mut alarmed, mut first) = (false, true);
            for lived in &lives[seed as usize] {
                let session = lived.with_set_up(set_up_mm);
                let point = watch.push(session).expect("a session");
                line.push(session, watch.set_up()).expect("a session");
                if !alarmed && point.alarm.is_some_and(|alarm| alarm.side == Side::Above) {
                    alarmed = true;
                    at_alarm.push(lived.truth_mm);
                }
                if let Ok(reaches) = line.reaches(LIMIT_MM) {
                    let holds = reaches.from <= passes && passes <= reaches.to;
                    forecasts += 1;
                    hold += i32::from(holds);
                    firsts += i32::from(first);
                    first_hold += i32::from(first && holds);
                    first = false;
                }
            }
            in_time += u64::from(alarmed);
        }
        at_alarm.sort_by(f64::total_cmp);
        let median = at_alarm.get(at_alarm.len() / 2).copied().unwrap_or(f64::NAN);
        let share = |part: i32, of: i32| f64::from(part) / f64::from(of);
        println!(
            "{:>9.1} | {:>15.1}%  {:>15.1} | {forecasts:>9}  {:>11.1}%  {:>14.1}%",
            1e3 * set_up_mm,
            100.0 * in_time as f64 / SEEDS as f64,
            1e3 * median,
            100.0 * share(hold, forecasts),
            100.0 * share(first_hold, firsts)
        );
        assert!(
            in_time as f64 >= 0.95 * SEEDS as f64,
            "{in_time} of {SEEDS} alarmed in time, set-up {set_up_mm}"
        );
        let coverage = share(hold, forecasts);
        assert!(
            (0.90..=0.98).contains(&coverage),
            "{coverage} of {forecasts} forecasts hold, set-up {set_up_mm}"
        );
    }
}

/// A healthy machine: fewer than one false alarm in 300 sessions. After one, somebody looks, notes it, and the watch
/// starts anew.
#[test]
fn healthy_machine_is_left_alone() {
    println!("{SEEDS} healthy lives each\nset-up um | sessions  false alarms  sessions per false alarm");
    let lives: Vec<_> = (0..SEEDS).map(|seed| life(2 * FRESH + seed, f64::INFINITY, |_| 0.02)).collect();
    for set_up_mm in SET_UPS_MM {
        let (mut sessions, mut alarms) = (0_u32, 0_u32);
        for life in &lives {
            let mut watch = Watch::new(design());
            for lived in life {
                sessions += 1;
                if watch.push(lived.with_set_up(set_up_mm)).expect("a session").alarm.is_some() {
                    alarms += 1;
                    watch.restart();
                }
            }
        }
        let rate = f64::from(sessions) / f64::from(alarms.max(1));
        println!("{:>9.1} | {sessions:>8}  {alarms:>12}  {rate:>24.0}", 1e3 * set_up_mm);
        assert!(rate > 300.0, "{alarms} false alarms in {sessions} healthy sessions, set-up {set_up_mm}");
    }
}

/// How well a healthy machine repeats is watched as the logarithm of the scatter, its uncertainty 1/√(2ν) (JCGM 100, E.4.3).
#[test]
fn scatter_of_a_healthy_machine_is_left_alone() {
    let (mut sessions, mut alarms) = (0_u32, 0_u32);
    for seed in 0..SEEDS {
        let mut watch = Watch::new(Design { set_up: 0.0, ..design() });
        for lived in life(3 * FRESH + seed, f64::INFINITY, |_| 0.02) {
            let session = Session {
                value: lived.repeatability_mm.max(1e-9).ln(),
                standard_uncertainty: (0.5 / lived.repeatability_dof).sqrt(),
                dof: f64::INFINITY,
                ..lived.session
            };
            sessions += 1;
            if watch.push(session).expect("a session").alarm.is_some() {
                alarms += 1;
                watch.restart();
            }
        }
    }
    println!("{sessions} healthy sessions, {alarms} false alarms of their scatter, seeds from {}", 3 * FRESH);
    assert!(f64::from(sessions) > 300.0 * f64::from(alarms), "{alarms} false alarms in {sessions}");
}
