//! Plots as SVG. Colours are those of the light page; the style sheet of the page maps each to its dark counterpart.

use plotters::prelude::*;
use std::fmt::Display;

/// A value with its interval at a place.
#[derive(Debug, Clone, Copy)]
pub struct Bar {
    /// Place along the plot.
    pub at: f64,
    /// Lower end.
    pub low: f64,
    /// The value.
    pub value: f64,
    /// Upper end.
    pub high: f64,
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
    /// Marks of the first kind (approach `+`).
    pub plus: Vec<(f64, f64)>,
    /// Marks of the second kind (approach `-`).
    pub minus: Vec<(f64, f64)>,
    /// Horizontal limit.
    pub limit: Option<f64>,
    /// Places of events.
    pub events: Vec<f64>,
    /// Whether zero must be in sight.
    pub from_zero: bool,
}

const INK: RGBColor = RGBColor(0x1d, 0x27, 0x2e);
const FAINT: RGBColor = RGBColor(0xd5, 0xda, 0xdd);
const FIRST: RGBColor = RGBColor(0x0b, 0x5a, 0x7a);
const SECOND: RGBColor = RGBColor(0x9a, 0x3b, 0x12);
const LIMIT: RGBColor = RGBColor(0xa3, 0x14, 0x2b);
const SIZE: (u32, u32) = (440, 290);

/// Draws it; `words` is the text alternative, `tick` writes a place on the horizontal axis.
///
/// # Errors
/// In words, when a number cannot be drawn.
pub fn draw(plot: &Plot, words: &str, tick: &dyn Fn(f64) -> String) -> Result<String, String> {
    let mut svg = String::new();
    draw_into(plot, &mut svg, tick).map_err(|error| error.to_string())?;
    let named = format!("<svg class=\"plot\" role=\"img\" aria-label=\"{}\" ", escaped(words));
    Ok(svg.replacen("<svg ", &named, 1))
}

fn draw_into(
    plot: &Plot,
    svg: &mut String,
    tick: &dyn Fn(f64) -> String,
) -> Result<(), Box<dyn std::error::Error>> {
    let xs = plot
        .bars
        .iter()
        .map(|bar| bar.at)
        .chain(plot.plus.iter().chain(&plot.minus).map(|p| p.0))
        .chain(plot.events.iter().copied());
    let ys = plot
        .bars
        .iter()
        .flat_map(|bar| [bar.low, bar.high])
        .chain(plot.plus.iter().chain(&plot.minus).map(|p| p.1))
        .chain(plot.limit)
        .chain(plot.from_zero.then_some(0.0));
    let ((left, right), (bottom, top)) = (span(xs), span(ys));
    let area = SVGBackend::with_string(svg, SIZE).into_drawing_area();
    let mut chart = ChartBuilder::on(&area)
        .margin(10)
        .x_label_area_size(50)
        .y_label_area_size(74)
        .build_cartesian_2d(left..right, bottom..top)?;
    let font = ("sans-serif", 16).into_font().color(&INK);
    chart
        .configure_mesh()
        .x_desc(plot.across.as_str())
        .y_desc(plot.up.as_str())
        .x_labels(4)
        .y_labels(5)
        .x_label_formatter(&|x| tick(*x))
        .y_label_formatter(&|y| format!("{y:.3}"))
        .label_style(font.clone())
        .axis_desc_style(font)
        .axis_style(INK)
        .bold_line_style(FAINT)
        .light_line_style(TRANSPARENT)
        .draw()?;
    for at in &plot.events {
        chart.draw_series(DashedLineSeries::new([(*at, bottom), (*at, top)], 4, 4, INK.into()))?;
    }
    if let Some(limit) = plot.limit {
        chart.draw_series(LineSeries::new([(left, limit), (right, limit)], LIMIT.stroke_width(2)))?;
    }
    for bar in &plot.bars {
        chart.draw_series(LineSeries::new([(bar.at, bar.low), (bar.at, bar.high)], FIRST.stroke_width(2)))?;
    }
    chart.draw_series(plot.bars.iter().map(|bar| Circle::new((bar.at, bar.value), 3, FIRST.filled())))?;
    chart.draw_series(plot.plus.iter().map(|at| Circle::new(*at, 4, FIRST.filled())))?;
    chart.draw_series(plot.minus.iter().map(|at| TriangleMarker::new(*at, 5, SECOND.filled())))?;
    area.present()?;
    Ok(())
}

/// From the smallest to the largest, with some room; a plot of one place has room too.
fn span(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let (low, high) = values
        .filter(|value| value.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)));
    if low > high {
        return (0.0, 1.0);
    }
    let room = if high > low { 0.06 * (high - low) } else { 0.5 * high.abs().max(1e-3) };
    (low - room, high + room)
}

/// Text within an attribute.
fn escaped(text: impl Display) -> String {
    text.to_string().replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
