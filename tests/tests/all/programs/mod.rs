//! Programs as a whole: random ones through the rewriter and the replay, which share only the reader.

mod codes;
mod end_points;
mod refusals;
mod smoke;

use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;

use takeup_core::program::rewrite::{CycleTrouble, Reason};
use takeup_tests::judged::{Held, Job, Overrun, Travel, smallest};
use takeup_tests::programs::{Language, Part, program, program_of, ready};

/// Runs a check over many seeds on two threads; the check says what is wrong.
fn over_seeds(seeds: std::ops::Range<u64>, check: impl Fn(u64) -> Result<(), String> + Sync) {
    let half = seeds.start + (seeds.end - seeds.start) / 2;
    let wrong: Vec<(u64, String)> = thread::scope(|scope| {
        let halves = [seeds.start..half, half..seeds.end].map(|part| {
            let check = &check;
            scope.spawn(move || {
                part.filter_map(|seed| check(seed).err().map(|why| (seed, why))).collect::<Vec<_>>()
            })
        });
        halves.into_iter().flat_map(|half| half.join().expect("a check panicked")).collect()
    });
    if let Some((seed, why)) = wrong.first() {
        let list: Vec<u64> = wrong.iter().map(|w| w.0).take(12).collect();
        panic!(
            "{} of {} seeds are wrong, {list:?}; seed {seed}: {why}",
            wrong.len(),
            seeds.end - seeds.start
        );
    }
}

/// Worst error allowed after a rewriting: half a step of the output on each of two axes, and the model.
fn bound(text: &str) -> f64 {
    // Inch programs are written to 0.0001 in at worst.
    if text.to_ascii_uppercase().contains("G20") { 0.004 } else { 0.001 }
}

/// Whether a program holds; if not, the smallest part of it that does not.
fn holds(text: &str, job: &Job, most: f64) -> Result<Held, String> {
    job.holds(text, most).map_err(|whole| {
        let part = smallest(text, |part| job.holds(part, most).is_err_and(|wrong| wrong.kind == whole.kind));
        job.holds(&part, most).err().unwrap_or(whole).to_string()
    })
}

/// Runs [`holds`] over many seeds; gives how many programs were judged, the others being refused as they must.
fn judged(seeds: std::ops::Range<u64>, check: impl Fn(u64) -> Result<Held, String> + Sync) -> u64 {
    let judged = AtomicU64::new(0);
    over_seeds(seeds, |seed| {
        check(seed).map(|held| {
            judged.fetch_add(u64::from(held == Held::Judged), Ordering::Relaxed);
        })
    });
    judged.into_inner()
}

#[test]
fn straight_programs_keep_the_tool_on_the_path() {
    let judged = judged(0..20_000, |seed| {
        let text = program(seed, Language::Straight, 20);
        holds(&text, &Job::of_seed(seed), 0.001)
    });
    assert_eq!(judged, 20_000);
}

#[test]
fn programs_of_the_whole_language_keep_the_tool_on_the_path() {
    let judged = judged(0..20_000, |seed| {
        let text = program(seed, Language::Whole, 10);
        let job = if seed % 2 == 0 { Job::of_seed(seed) } else { Job::varied(seed) };
        holds(&text, &job, bound(&text) + 0.001)
    });
    // The others have drilling cycles that are refused: see `Job::holds`.
    assert!(judged > 17_000, "{judged} judged");
}

#[test]
fn a_second_program_behind_the_end_keeps_the_tool_on_the_path() {
    let judged = judged(200_000..203_000, |seed| {
        let end = if seed % 3 == 0 { "M2" } else { "M30" };
        let first = program(seed, Language::Whole, 8);
        // The second cannot count on where the first has left the axes.
        let told: Vec<Part> = ready().into_iter().filter(|part| *part != Part::Counted).collect();
        let second = program_of(seed ^ 0x5eed, Language::Whole, 8, &told);
        // It says again what the first may have left otherwise, or does not.
        let modes = if seed % 4 == 0 { "" } else { "G90 G17 G94 G98 G91.1 G0\n" };
        let text = format!("{first}\n{end}\n{modes}{second}");
        let job = Job::varied(seed);
        match job.rewritten(&text) {
            Err(refusal) if refusal.reason == Reason::AfterEnd && modes.is_empty() => Ok(Held::Refused),
            _ => holds(&text, &job, bound(&text) + 0.001),
        }
    });
    assert!(judged > 2_000, "{judged} judged");
}

#[test]
fn a_table_of_several_stations_keeps_the_tool_on_the_path() {
    let judged = judged(50_000..53_000, |seed| {
        let language = if seed % 2 == 0 { Language::Straight } else { Language::Whole };
        let text = program(seed, language, 12);
        let job = Job { travel: Travel::Stations, ..Job::varied(seed) };
        // Where on the travel an axis is, a program in G91 alone or in other coordinates does not tell.
        let told = job.rewritten(&text).err().map(|refusal| refusal.reason);
        let plain: String = text.to_ascii_uppercase().split([' ', '\t']).collect();
        let says = |words: &[&str]| words.iter().any(|word| plain.contains(word));
        match told {
            Some(Reason::TravelUnknown(_) | Reason::Cycle(CycleTrouble::Incremental)) if says(&["G91"]) => {
                Ok(Held::Refused)
            }
            Some(Reason::OtherOffset(_)) if says(&["G92", "G5", "G10", "G43.1"]) => Ok(Held::Refused),
            // Depth and R plane are corrected for their own places: pecks between them are off by what the
            // table changes on the way, and drilled on from there.
            _ if says(&["G73", "G83"]) => holds(&text, &job, 0.006),
            _ => holds(&text, &job, bound(&text) + 0.001),
        }
    });
    assert!(judged > 2_400, "{judged} judged");
}

#[test]
fn most_of_what_is_cut_is_judged() {
    // Else the bounds above would say little.
    let (mut cut, mut unseated) = (0.0, 0.0);
    for seed in 0..400 {
        let text = program(seed, Language::Whole, 10);
        let job = Job { overrun: Overrun::Found, ..Job::of_seed(seed) };
        let Ok(rewritten) = job.rewritten(&text) else { continue };
        let report = job.replayed(&text, &rewritten.text).expect("replayed");
        cut += report.cut_mm;
        unseated += report.unseated_mm;
    }
    assert!(unseated < 0.2 * cut, "{unseated} of {cut} mm are not judged");
}

#[test]
fn without_lost_motion_every_program_is_copied() {
    over_seeds(0..20_000, |seed| {
        let language = if seed % 2 == 0 { Language::Straight } else { Language::Whole };
        let text = program(seed, language, 10);
        let job = Job::of_seed(seed).without_play();
        let copied = job.rewritten(&text).map_err(|refusal| format!("{refusal:?}"))?.text;
        if copied == text { Ok(()) } else { Err(format!("{text}\n---\n{copied}")) }
    });
}

#[test]
fn an_empty_comment_changes_no_line() {
    // With a comment no line takes the short way of a cut that goes on.
    over_seeds(100_000..110_000, |seed| {
        let language = if seed % 4 == 0 { Language::Whole } else { Language::Straight };
        let text = program(seed, language, 25);
        let comment =
            |line: &str| if line.contains(';') { format!("{line}\n") } else { format!("{line}()\n") };
        let commented: String = text.lines().map(comment).collect();
        let job = Job::varied(seed);
        let (plain, commented) = (job.rewritten(&text), job.rewritten(&commented));
        match (plain, commented) {
            (Ok(plain), Ok(commented)) if plain.unseated == commented.unseated => {
                let commented = commented.text.replace("()", "");
                let same = plain.text.lines().eq(commented.lines());
                if same { Ok(()) } else { Err(format!("{}\n---\n{commented}", plain.text)) }
            }
            (Err(plain), Err(commented))
                if (plain.line, plain.reason) == (commented.line, commented.reason) =>
            {
                Ok(())
            }
            (plain, commented) => Err(format!("{:?} {:?}\n{text}", plain.err(), commented.err())),
        }
    });
}

#[test]
fn a_program_against_itself_is_as_good_after_as_before() {
    over_seeds(0..2_000, |seed| {
        let text = program(seed, Language::Whole, 16);
        let job = Job::of_seed(seed);
        let report = job.replayed(&text, &text).map_err(|failure| format!("{failure:?}\n{text}"))?;
        let most = job.widths.iter().map(|w| f64::from(*w).powi(2)).sum::<f64>().sqrt() / 1000.0;
        let same = report.before == report.after && report.missing == 0;
        if same && report.before.max_mm <= most + 1.1e-4 {
            Ok(())
        } else {
            Err(format!("{report:?} {}\n{text}", job.flags()))
        }
    });
}

#[test]
fn a_first_cut_may_begin_at_the_height_of_the_last_rapid() {
    let text = "G21 G90 G17\nG0 X0 Y0 Z5\nG1 X-2.925 Y2.779 Z4.872 F300\nG1 X-2.962 Y2.375 Z5.387\n\
                G1 X-6.211 Y-1.398 Z5.603\nG0 Z30\nM30\n";
    for widths in [[0, 0, 120], [80, 110, 120]] {
        let job = Job { widths, ..Job::of_seed(0) };
        assert_eq!(holds(text, &job, 0.001), Ok(Held::Judged));
    }
}

#[test]
fn tool_lengths_set_in_the_cut_leave_the_seat_of_z_unknown_to_both() {
    for data in ["G10 L1 P3 R2.5", "G10 L10 P3 R2.5", "G10 L11 P3 Z2.5"] {
        let text = format!(
            "G21 G90 G17\nG0 X0 Y0 Z5\nG1 Z-1 F100\nX5 Z-2\nX6 Z-1\n{data}\nX7 Z-2\nX8 Z-1\nX9 Z-3\nG0 Z5\nM30\n"
        );
        let job = Job { widths: [0, 0, 120], ..Job::of_seed(0) };
        assert_eq!(holds(&text, &job, 0.001), Ok(Held::Judged), "{data}");
    }
}
