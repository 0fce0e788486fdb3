//! One session: verdict, next step, plots and tables.

use crate::assessment::advice::Case;
use crate::assessment::of_bytes;
use crate::context::Context;
use crate::log::assessment::{Assessment, Station};
use crate::log::quantity::Quantity;
use crate::log::words::sentence;
use crate::readings::keys::Keys;
use crate::refusal::Refusal;
use crate::report::how::How;
use crate::report::page::{Figure, Key, Part, Table, Tone};
use crate::report::plot::{Bar, Plot, draw};
use crate::report::readings;
use crate::units::{Print, decimals};
use takeup_core::measure::Kind;
use takeup_core::measure::cause::Name;
use takeup_core::measure::decision::Answer;

/// A session as the page tells of it.
#[derive(Debug, Clone, Copy)]
pub struct Session<'a> {
    /// The assessment.
    pub assessment: &'a Assessment,
    /// The readings it was made from, if they were kept.
    pub readings: Option<&'a str>,
    /// The machine.
    pub machine: &'a str,
    /// Lost motion allowed, in millimetres.
    pub limit_mm: Option<f64>,
    /// The file or entry it came from.
    pub source: &'a str,
    /// How lengths are printed.
    pub print: Print,
    /// What the readings are assessed in.
    pub ctx: &'a Context,
}

/// What the readings of a test without lost motion say in words; its document has only the numbers.
struct Told {
    answer: String,
    next: Vec<String>,
}

impl Session<'_> {
    /// The session as a part of its own.
    ///
    /// # Errors
    /// When a plot cannot be drawn.
    pub fn part(&self) -> Result<Part, Refusal> {
        let told = self.told();
        let (verdict, tone) = self.verdict(told.as_ref());
        let mut next = told.map_or_else(Vec::new, |told| told.next);
        next.extend(self.next());
        if next.is_empty() {
            next.push("`takeup assess` on the readings says what follows from them.".to_owned());
        }
        Ok(Part {
            heading: format!("Axis {} of {}: one session", self.assessment.axis(), self.machine),
            verdict,
            tone,
            next,
            lines: self.lines(),
            figures: self.figures()?,
            tables: self.tables(),
            sources: vec![self.source()],
            hows: self.hows(),
        })
    }

    fn told(&self) -> Option<Told> {
        let readings = self.readings.filter(|_| self.assessment.lost_motion_mm().is_none())?;
        // They were assessed once already; a log is no reason to refuse a page.
        let assessed = of_bytes(readings.as_bytes(), "readings", |_| Ok(Keys::default()), self.ctx).ok()?;
        let findings = assessed.found.part.findings();
        Some(Told { answer: findings.answer(assessed.axis, self.print), next: findings.next(self.print) })
    }

    /// The limit, where it is one of what this test found.
    fn limit(&self) -> Option<f64> {
        self.limit_mm.filter(|_| self.assessment.lost_motion_mm().is_some())
    }

    /// The answer in one sentence: number, interval, limit.
    fn verdict(&self, told: Option<&Told>) -> (String, Tone) {
        let of = format!("axis {} of {}", self.assessment.axis(), self.machine);
        let Some(lost) = self.assessment.lost_motion_mm() else {
            if let Some(told) = told {
                return (sentence(&told.answer), Tone::Open);
            }
            return (
                format!("{}.", sentence(&format!("{of}: {}", self.others())).trim_end_matches('.')),
                Tone::Open,
            );
        };
        let print = self.print;
        let interval = format!(
            "{} (95 %: {} to {})",
            print.with_unit(lost.value.abs()),
            print.length(lost.low_95()),
            print.length(lost.high_95())
        );
        let shown = lost.value.abs() > lost.expanded_95();
        let loses = match (shown, lost.value >= 0.0) {
            (true, true) => format!("{of} loses {interval} on reversal"),
            (true, false) => format!("{of} over-corrects by {interval} on reversal"),
            (false, _) => format!("{of} shows no lost motion, {interval}"),
        };
        let Some(limit) = self.limit() else {
            return (format!("{} No limit was given.", sentence(&loses)), Tone::Open);
        };
        let limit_words = print.with_unit(limit);
        match self.assessment.decide(limit).answer {
            Answer::Over => (format!("OVER the limit of {limit_words}: {loses}."), Tone::Bad),
            Answer::Within => (format!("Within the limit of {limit_words}: {loses}."), Tone::Good),
            Answer::Undecided => {
                (format!("NOT DECIDED against the limit of {limit_words}: {loses}."), Tone::Open)
            }
        }
    }

    /// What a test found that gives no lost motion.
    fn others(&self) -> String {
        let found: Vec<_> = Quantity::ALL
            .into_iter()
            .filter_map(|quantity| {
                let found = quantity.of(self.assessment)?;
                let print = quantity.print(self.print);
                let (value, half) = (print.with_unit(found.value), print.fine(found.expanded_95()));
                Some(format!("{} {value} ± {half} (95 %)", quantity.words()))
            })
            .collect();
        if found.is_empty() { format!("a {} test", self.assessment.routine()) } else { found.join(", ") }
    }

    /// What to do next, as the slip of the assessment tells it.
    fn next(&self) -> Vec<String> {
        let document = self.assessment.document();
        let decision = self.limit().map(|limit| self.assessment.decide(limit));
        let likeliest = &document["causes"][0];
        let cause = likeliest["cause"].as_str();
        let stations = !self.assessment.stations().is_empty();
        let case = Case {
            answer: decision.as_ref().map(|decision| decision.answer),
            cycles: decision.as_ref().and_then(|decision| decision.cycles),
            causes: &Name::ALL.into_iter().filter(|one| cause == Some(one.name())).collect::<Vec<_>>(),
            test: likeliest["next"].as_str().and_then(Kind::from_name),
            lost_at_stations: self.assessment.lost_motion_mm().filter(|_| stations),
        };
        let mut steps = case.steps("build a table with `takeup table build`");
        steps.extend(case.caution().map(str::to_owned));
        steps
    }

    fn lines(&self) -> Vec<String> {
        let document = self.assessment.document();
        let mut lines = Vec::new();
        if let Some(decision) = self.limit().map(|limit| self.assessment.decide(limit)) {
            lines.extend(Some(decision.why).filter(|why| !why.is_empty()).map(|why| sentence(&why)));
        }
        let (used, aside) = (&document["readings"]["used"], &document["readings"]["set_aside"]);
        if let Some(used) = used.as_u64() {
            lines.push(match aside.as_u64() {
                Some(aside) if aside > 0 => {
                    format!("{used} readings used, {aside} set aside as misread: see below.")
                }
                _ => format!("{used} readings used, none set aside."),
            });
        }
        if self.readings.is_none() {
            lines.push("The readings themselves are not here, only what was found from them.".to_owned());
        }
        lines
    }

    fn source(&self) -> String {
        let document = self.assessment.document();
        let taken = document["taken"].as_str().map(|taken| format!(", taken {}", moment(taken)));
        format!(
            "{}: {} test of axis {} of {}{}.",
            self.source,
            self.assessment.routine(),
            self.assessment.axis(),
            self.machine,
            taken.unwrap_or_default()
        )
    }

    /// The readings, and lost motion along the travel.
    ///
    /// # Errors
    /// When a plot cannot be drawn.
    pub fn figures(&self) -> Result<Vec<Figure>, Refusal> {
        let mut figures = match self.readings {
            Some(readings) => readings::figures(self.assessment, readings, self.print)?,
            None => Vec::new(),
        };
        let stations = self.assessment.stations();
        if !stations.is_empty() {
            figures.push(self.along_travel(&stations)?);
        }
        Ok(figures)
    }

    fn along_travel(&self, stations: &[Station]) -> Result<Figure, Refusal> {
        let print = self.print;
        let bar = |station: &Station| {
            let lost = station.lost_motion_mm;
            Bar {
                at: print.value(station.target_mm),
                low: print.value(lost.low_95()),
                value: print.value(lost.value),
                high: print.value(lost.high_95()),
                words: format!(
                    "at {}: {} ± {} (95 %)",
                    print.short(station.target_mm),
                    print.with_unit(lost.value),
                    print.fine(lost.expanded_95())
                ),
                alarm: false,
            }
        };
        let bars: Vec<_> = stations.iter().map(bar).collect();
        let limits = limits(self.limit_mm.map(|limit| print.value(limit)), &bars);
        let words = format!(
            "Lost motion of axis {} at {} {}, each with its 95 % interval.",
            self.assessment.axis(),
            stations.len(),
            if stations.len() == 1 { "station" } else { "stations along the travel" },
        );
        let mut keys = vec![Key::new("plus", "●", "lost motion, 95 %")];
        keys.extend((!limits.is_empty()).then(|| Key::new("limit", "─", "limit")));
        let plot = Plot {
            across: format!("station, {}", print.unit),
            up: format!("lost motion, {}", print.unit),
            bars,
            limits,
            from_zero: true,
            ..Plot::default()
        };
        let svg = draw(&plot, &words, &|x| print.short(x * print.unit.as_mm()))
            .map_err(|error| Refusal::new(error, "Report this fault."))?;
        Ok(Figure { title: "Lost motion along the travel".into(), svg, words, keys })
    }

    /// The numbers.
    #[must_use]
    pub fn tables(&self) -> Vec<Table> {
        let tables = [
            self.stations(),
            self.quantities(),
            self.positioning(),
            self.causes(),
            self.budget(),
            self.aside(),
        ];
        tables.into_iter().flatten().collect()
    }

    fn stations(&self) -> Option<Table> {
        let (print, stations) = (self.print, self.assessment.stations());
        let scatter = |station: &Station| {
            let s: Vec<_> = [station.plus, station.minus]
                .into_iter()
                .map(|side| side.map_or_else(|| "-".to_owned(), |side| print.fine(side.s)))
                .collect();
            s.join(" / ")
        };
        let rows: Vec<_> = stations
            .iter()
            .map(|s| {
                vec![
                    print.short(s.target_mm),
                    print.length(s.lost_motion_mm.value),
                    print.fine(s.lost_motion_mm.expanded_95()),
                    scatter(s),
                ]
            })
            .collect();
        let title = format!("Lost motion by station, in {}", print.unit_name());
        (!rows.is_empty())
            .then(|| Table::new(title, &["station", "lost motion", "± 95 %", "s from + / -"], rows))
    }

    fn quantities(&self) -> Option<Table> {
        let rows: Vec<_> = Quantity::ALL
            .into_iter()
            .filter_map(|quantity| {
                let found = quantity.of(self.assessment)?;
                let print = quantity.print(self.print);
                Some(vec![
                    format!("{}, {}", quantity.words(), print.unit),
                    print.text(found.value),
                    print.fine(found.expanded_95()),
                ])
            })
            .collect();
        (!rows.is_empty()).then(|| Table::new("What was found", &["quantity", "value", "± 95 %"], rows))
    }

    fn positioning(&self) -> Option<Table> {
        let part = self.assessment.document().get("positioning")?;
        let cell = |key: &str| {
            part[key]
                .as_f64()
                .map_or_else(|| "-".to_owned(), |x| self.print.length(x * self.assessment.factor()))
        };
        let names = [
            ("accuracy A", "A"),
            ("repeatability R", "R"),
            ("systematic deviation E", "E"),
            ("mean deviation M", "M"),
            ("reversal value B", "B"),
        ];
        let rows = names.into_iter().map(|(name, key)| {
            vec![name.to_owned(), cell(key), cell(&format!("{key}_plus")), cell(&format!("{key}_minus"))]
        });
        let title = format!("Positioning, in {}", self.print.unit_name());
        Some(Table::new(title, &["figure", "both ways", "moving +", "moving -"], rows.collect()))
    }

    fn causes(&self) -> Option<Table> {
        let causes = self.assessment.document()["causes"].as_array()?;
        let row = |cause: &serde_json::Value| {
            let evidence: Vec<_> =
                cause["evidence"].as_array().into_iter().flatten().filter_map(|e| e.as_str()).collect();
            let software = match (cause["cause"].as_str(), cause["correctable"].as_bool()) {
                (Some("none-shown"), _) | (_, None) => "",
                (_, Some(true)) => "; software can correct it",
                (_, Some(false)) => "; software cannot correct it",
            };
            let weight = cause["weight"].as_f64()?;
            let name = cause["cause"].as_str()?;
            Some(vec![
                format!(
                    "{name}{software}. {}",
                    evidence.iter().map(|e| sentence(e)).collect::<Vec<_>>().join(" ")
                ),
                format!("{} %", decimals(100.0 * weight, 0)),
            ])
        };
        let likely =
            causes.iter().filter(|cause| cause["weight"].as_f64().is_some_and(|weight| weight >= 0.02));
        let rows: Vec<_> = likely.take(3).filter_map(row).collect();
        (!rows.is_empty()).then(|| Table::new("Likely cause", &["cause and evidence", "weight"], rows))
    }

    fn budget(&self) -> Option<Table> {
        let parts = self.assessment.document()["budget"].as_array()?;
        let row = |part: &serde_json::Value| {
            Some(vec![
                part["source"].as_str()?.to_owned(),
                self.print.part(part["standard_uncertainty"].as_f64()? * self.assessment.factor()),
                part["dof"].as_f64().map_or_else(|| "from limits".to_owned(), |dof| decimals(dof, 1)),
            ])
        };
        let rows: Vec<_> = parts.iter().filter_map(row).collect();
        let title = format!("What the uncertainty is made of, in {}", self.print.unit_name());
        (!rows.is_empty()).then(|| Table::new(title, &["source", "standard", "degrees of freedom"], rows))
    }

    fn aside(&self) -> Option<Table> {
        let rows = self.assessment.document()["set_aside"].as_array()?;
        let row = |aside: &serde_json::Value| {
            Some(vec![
                format!("row {}: {}", aside["row"].as_u64()?, aside["reason"].as_str()?),
                self.print.length(aside["reading"].as_f64()? * self.assessment.factor()),
            ])
        };
        let rows: Vec<_> = rows.iter().filter_map(row).collect();
        (!rows.is_empty()).then(|| Table::new("Set aside", &["row and reason", "reading"], rows))
    }

    /// How its numbers were found.
    #[must_use]
    pub fn hows(&self) -> Vec<How> {
        let document = self.assessment.document();
        let has = |key: &str| document.get(key).is_some();
        let some = |key: &str| document[key].as_array().is_some_and(|parts| !parts.is_empty());
        [
            (has("lost_motion"), How::LostMotion),
            (some("set_aside"), How::SetAside),
            (true, How::Interval),
            (self.limit().is_some(), How::Decision),
            (some("causes"), How::Cause),
            (has("positioning"), How::Positioning),
            (has("take_up"), How::TakeUp),
            (has("drift"), How::Returns),
            (has("growth"), How::Growth),
            (has("under_load"), How::UnderLoad),
            (has("indicator"), How::Indicator),
        ]
        .into_iter()
        .filter_map(|(there, how)| there.then_some(how))
        .collect()
    }
}

/// The limit, and its mirror image where something over-corrects.
#[must_use]
pub fn limits(limit: Option<f64>, bars: &[Bar]) -> Vec<f64> {
    let below = bars.iter().any(|bar| bar.value < 0.0);
    limit.into_iter().flat_map(|limit| [Some(limit), below.then_some(-limit)]).flatten().collect()
}

/// A time of a file as a person reads it, as far as it can be understood.
#[must_use]
pub fn moment(text: &str) -> String {
    match text.parse::<jiff::Timestamp>() {
        Ok(time) => time.strftime("%Y-%m-%d %H:%M UTC").to_string(),
        Err(_) => text.to_owned(),
    }
}
