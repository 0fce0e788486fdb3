//! Plots as SVG. Colours are those of the light page; the style sheet of the page maps each to its dark counterpart. Kinds
//! of marks differ in shape as well as in colour, and each says its numbers when pointed at.

use crate::plan_view::escape;
use crate::units::decimals;
use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use std::fmt::Write as _;

/// A value with its interval at a place.
#[derive(Debug, Clone)]
pub struct Bar {
    /// Place along the plot.
    pub at: f64,
    /// Lower end.
    pub low: f64,
    /// The value.
    pub value: f64,
    /// Upper end.
    pub high: f64,
    /// What it says when pointed at.
    pub words: String,
    /// Whether an alarm stands at it: a triangle then, else a disc.
    pub alarm: bool,
}

/// What a mark stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A reading approached `+`: a disc.
    Plus,
    /// A reading approached `-`: a triangle.
    Minus,
    /// A reading that was set aside: a cross.
    Aside,
}

/// One reading.
#[derive(Debug, Clone)]
pub struct Mark {
    /// What it stands for.
    pub kind: Kind,
    /// Place along the plot.
    pub at: f64,
    /// The value. One that was set aside and lies outside the others is drawn at the edge.
    pub value: f64,
    /// What it says when pointed at.
    pub words: String,
}

/// What a curve stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stroke {
    /// What was fitted to the readings.
    Fitted,
    /// What there would be without a fault.
    Ideal,
}

/// Axes, marks and lines of a plot.
#[derive(Debug, Clone, Default)]
pub struct Plot {
    /// What the horizontal axis is.
    pub across: String,
    /// What the vertical axis is.
    pub up: String,
    /// Values with intervals.
    pub bars: Vec<Bar>,
    /// Readings.
    pub marks: Vec<Mark>,
    /// Curves.
    pub curves: Vec<(Stroke, Vec<(f64, f64)>)>,
    /// Horizontal limits.
    pub limits: Vec<f64>,
    /// Upright dashed lines with what stands above them.
    pub uprights: Vec<(f64, String)>,
    /// Whether zero must be in sight.
    pub from_zero: bool,
    /// Whether the horizontal axis counts.
    pub counts: bool,
    /// Whether the horizontal axis is days, which the page's script can look at in part.
    pub days: bool,
}

const INK: RGBColor = RGBColor(0x1d, 0x27, 0x2e);
const FAINT: RGBColor = RGBColor(0xd5, 0xda, 0xdd);
const FIRST: RGBColor = RGBColor(0x0b, 0x5a, 0x7a);
const SECOND: RGBColor = RGBColor(0x9a, 0x3b, 0x12);
const LIMIT: RGBColor = RGBColor(0xa3, 0x14, 0x2b);
/// The drawing is laid out in points of a page 440 wide. Its coordinates are whole numbers, so it is drawn four times as
/// large: a curve is smooth, a mark is where it belongs.
const FINE: u32 = 4;
const SIZE: (u32, u32) = (440 * FINE, 290 * FINE);
const FONT: u32 = 16 * FINE;

type Chart<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;
type Failed = Box<dyn std::error::Error>;

/// Draws it; `words` is the text alternative, `tick` writes a place on the horizontal axis.
///
/// # Errors
/// In words, when a number cannot be drawn.
pub fn draw(plot: &Plot, words: &str, tick: &dyn Fn(f64) -> String) -> Result<String, String> {
    let mut svg = String::new();
    let mut pointed = String::new();
    let area = draw_into(plot, &mut svg, &mut pointed, tick).map_err(|error| error.to_string())?;
    let spans = Spans::of(plot);
    let days = match plot.days {
        true => format!("data-area=\"{area}\" data-days=\"{} {}\" ", spans.left, spans.right),
        false => String::new(),
    };
    let named = format!("<svg class=\"plot\" role=\"img\" aria-label=\"{}\" {days}", escape(words));
    Ok(svg.replacen("<svg ", &named, 1).replacen("</svg>", &format!("{pointed}</svg>"), 1))
}

/// The places of `values` from the smallest to the largest.
struct Spans {
    left: f64,
    right: f64,
    bottom: f64,
    top: f64,
}

impl Spans {
    fn of(plot: &Plot) -> Self {
        let curves = || plot.curves.iter().flat_map(|(_, points)| points);
        let xs = plot.bars.iter().map(|bar| bar.at).chain(plot.marks.iter().map(|mark| mark.at));
        let xs = xs.chain(curves().map(|p| p.0)).chain(plot.uprights.iter().map(|upright| upright.0));
        // A misread dial may be off by a revolution: it must not press all others flat.
        let used = plot.marks.iter().filter(|mark| mark.kind != Kind::Aside).map(|mark| mark.value);
        let ys = plot.bars.iter().flat_map(|bar| [bar.low, bar.high]).chain(used);
        let ys = ys.chain(curves().map(|p| p.1)).chain(plot.limits.iter().copied());
        let (left, right) = span(xs);
        let (bottom, top) = span(ys.chain(plot.from_zero.then_some(0.0)));
        Self { left, right, bottom, top }
    }
}

/// Draws everything but what is pointed at; tells the left, right, upper and lower edge of the area within the axes.
fn draw_into(
    plot: &Plot,
    svg: &mut String,
    pointed: &mut String,
    tick: &dyn Fn(f64) -> String,
) -> Result<String, Failed> {
    let spans = Spans::of(plot);
    let (bottom, top) = (spans.bottom, spans.top);
    let area: DrawingArea<SVGBackend<'_>, Shift> = SVGBackend::with_string(svg, SIZE).into_drawing_area();
    let mut chart = ChartBuilder::on(&area)
        .margin(10 * FINE)
        .margin_right(24 * FINE)
        .margin_top(if plot.uprights.is_empty() { 10 } else { 28 } * FINE)
        .x_label_area_size(50 * FINE)
        .y_label_area_size(80 * FINE)
        .build_cartesian_2d(spans.left..spans.right, bottom..top)?;
    let font = ("sans-serif", FONT).into_font().color(&INK);
    let places = places(top - bottom);
    let count = |x: f64| if (x - x.round()).abs() < 1e-6 { decimals(x, 0) } else { String::new() };
    chart
        .configure_mesh()
        .x_desc(plot.across.as_str())
        .y_desc(plot.up.as_str())
        .x_labels(4)
        .y_labels(5)
        .x_label_formatter(&|x| if plot.counts { count(*x) } else { tick(*x) })
        .y_label_formatter(&|y| decimals(*y, places))
        .label_style(font.clone())
        .axis_desc_style(font)
        .axis_style(INK.stroke_width(FINE))
        .set_all_tick_mark_size(5 * FINE)
        .bold_line_style(FAINT.stroke_width(FINE))
        .light_line_style(TRANSPARENT)
        .draw()?;
    for (at, _) in &plot.uprights {
        chart.draw_series(DashedLineSeries::new(
            [(*at, bottom), (*at, top)],
            4 * FINE,
            4 * FINE,
            INK.stroke_width(FINE),
        ))?;
    }
    for limit in &plot.limits {
        let ends = [(spans.left, *limit), (spans.right, *limit)];
        chart.draw_series(LineSeries::new(ends, LIMIT.stroke_width(2 * FINE)))?;
    }
    for (stroke, points) in &plot.curves {
        let points = points.iter().copied();
        match stroke {
            Stroke::Fitted => chart.draw_series(LineSeries::new(points, INK.stroke_width(2 * FINE)))?,
            Stroke::Ideal => chart.draw_series(DashedLineSeries::new(
                points,
                2 * FINE,
                4 * FINE,
                INK.stroke_width(FINE),
            ))?,
        };
    }
    for bar in &plot.bars {
        chart.draw_series(LineSeries::new(
            [(bar.at, bar.low), (bar.at, bar.high)],
            FIRST.stroke_width(2 * FINE),
        ))?;
    }
    for bar in &plot.bars {
        let at = (bar.at, bar.value);
        match bar.alarm {
            false => chart.draw_series([Circle::new(at, 4 * FINE, FIRST.filled())])?,
            true => chart.draw_series([TriangleMarker::new(at, 6 * FINE, LIMIT.filled())])?,
        };
    }
    for mark in &plot.marks {
        let at = (mark.at, mark.value.clamp(bottom, top));
        match mark.kind {
            Kind::Plus => chart.draw_series([Circle::new(at, 4 * FINE, FIRST.filled())])?,
            Kind::Minus => chart.draw_series([TriangleMarker::new(at, 6 * FINE, SECOND.filled())])?,
            Kind::Aside => chart.draw_series([Cross::new(at, 5 * FINE, LIMIT.stroke_width(2 * FINE))])?,
        };
    }
    head_uprights(plot, &chart, &area, top)?;
    let marks = plot.marks.iter().map(|mark| (mark.at, mark.value.clamp(bottom, top), &mark.words));
    for (at, value, words) in plot.bars.iter().map(|bar| (bar.at, bar.value, &bar.words)).chain(marks) {
        let (x, y) = chart.backend_coord(&(at, value));
        let _ = write!(
            pointed,
            "<circle class=\"point\" cx=\"{x}\" cy=\"{y}\" r=\"{}\"><title>{}</title></circle>",
            9 * FINE,
            escape(words)
        );
    }
    let (across, down) = chart.plotting_area().get_pixel_range();
    drop(chart);
    area.present()?;
    Ok(format!("{} {} {} {}", across.start, across.end, down.start, down.end))
}

/// What stands above the upright lines, as far as there is room.
fn head_uprights(
    plot: &Plot,
    chart: &Chart<'_, '_>,
    area: &DrawingArea<SVGBackend<'_>, Shift>,
    top: f64,
) -> Result<(), Failed> {
    use plotters::style::text_anchor::{HPos, Pos, VPos};
    let style = ("sans-serif", FONT).into_font().color(&INK).pos(Pos::new(HPos::Center, VPos::Bottom));
    let mut free = 0;
    for (at, words) in &plot.uprights {
        let (x, y) = chart.backend_coord(&(*at, top));
        let half = (5 * FINE) as i32 * words.chars().count() as i32;
        if x - half >= free && x + half <= SIZE.0 as i32 {
            area.draw_text(words, &style, (x, y - FINE as i32 * 4))?;
            free = x + half + FINE as i32 * 4;
        }
    }
    Ok(())
}

/// Decimals with which five steps over a span can be told apart.
fn places(span: f64) -> usize {
    let step = (span / 5.0).max(1e-6);
    // As many as the leading digit of the step takes, and one more where that is not a whole unit.
    ((-step.log10()).ceil().max(0.0) as usize).min(6)
}

/// From the smallest to the largest, with some room; a plot of one place has room too.
fn span(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let (low, high) = values
        .filter(|value| value.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)));
    if low > high {
        return (0.0, 1.0);
    }
    // Around a single place no more than seven: as a day it is a week, as a station it is near.
    let room = if high > low { 0.06 * (high - low) } else { (0.5 * high.abs()).clamp(1e-3, 7.0) };
    (low - room, high + room)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_misread_dial_presses_nothing_flat_and_text_is_escaped() {
        let mark = |kind, at, value| Mark { kind, at, value, words: "<b>".into() };
        let plot = Plot {
            marks: vec![
                mark(Kind::Plus, 1.0, 0.0),
                mark(Kind::Minus, 2.0, 0.1),
                mark(Kind::Aside, 3.0, 25.0),
            ],
            uprights: vec![(1.5, "1".into())],
            ..Plot::default()
        };
        let spans = Spans::of(&plot);
        assert!(spans.top < 0.2, "{}", spans.top);
        let svg = draw(&plot, "a \"b\" < c", &|x| x.to_string()).unwrap();
        assert!(svg.contains("aria-label=\"a &quot;b&quot; &lt; c\""));
        assert_eq!(svg.matches("<title>&lt;b&gt;</title>").count(), 3);
        assert!(!svg.contains("<b>"));
    }

    #[test]
    fn five_steps_can_be_told_apart() {
        for (span, expected) in [(0.12, 2), (0.012, 3), (0.004, 4), (120.0, 0), (3.0, 1)] {
            assert_eq!(places(span), expected, "{span}");
        }
    }
}
