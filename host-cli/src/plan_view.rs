//! Cuts seen from above, as SVG: strokes in classes, numbered places, a legend and a scale.
//!
//! Own writer: a plan view is a dozen lines of SVG, and every class must be told by more than its
//! colour (line width, and words in the legend). The figure carries its title and description as text.

use std::fmt::Write;

use takeup_core::program::replay::geometry::Point;

/// How a class of strokes looks.
#[derive(Clone, Debug)]
pub struct Class {
    /// What it means.
    pub label: String,
    /// Its colour.
    pub colour: &'static str,
    /// Its width in pixels.
    pub width: f64,
}

/// Dark teal: as intended.
pub const CALM: &str = "#2c6e78";
/// Muted green: not far off.
pub const MILD: &str = "#86a873";
/// Ochre: off.
pub const OFF: &str = "#d98e27";
/// Dark red: far off.
pub const FAR: &str = "#9c2230";
/// Grey: nothing is said about it.
pub const SILENT: &str = "#a7a29a";

/// A numbered place.
#[derive(Clone, Debug)]
pub struct Mark {
    /// Where (mm).
    pub at: Point,
    /// What the list beside the drawing says.
    pub text: String,
}

/// The strokes of a long path, thinned so that a drawing stays a drawing.
#[derive(Clone, Debug, Default)]
pub struct Strokes {
    /// Place, class, and whether a stroke begins here.
    points: Vec<(f32, f32, u8, bool)>,
    keep_every: u32,
    skipped: u32,
    worst: u8,
}

/// Most points of a drawing.
const MOST_POINTS: usize = 60_000;

impl Strokes {
    /// Adds a place; of places left out the worst class is kept.
    pub fn push(&mut self, at: &Point, class: u8, begins: bool) {
        self.worst = self.worst.max(class);
        self.skipped += 1;
        if !begins && self.skipped < self.keep_every {
            return;
        }
        self.points.push((at.x as f32, at.y as f32, self.worst, begins));
        (self.skipped, self.worst) = (0, 0);
        if self.points.len() >= MOST_POINTS {
            self.thin();
        }
    }

    fn thin(&mut self) {
        self.keep_every = self.keep_every.max(1) * 2;
        let mut kept: Vec<(f32, f32, u8, bool)> = Vec::with_capacity(MOST_POINTS);
        for pair in self.points.chunks(2) {
            let (Some(first), Some(last)) = (pair.first(), pair.last()) else { continue };
            let class = first.2.max(last.2);
            if last.3 && !first.3 {
                kept.push((last.0, last.1, class, true));
            } else {
                kept.push((first.0, first.1, class, first.3));
            }
        }
        self.points = kept;
    }
}

/// A plan view.
#[derive(Clone, Debug)]
pub struct PlanView {
    /// The title.
    pub title: String,
    /// What the drawing shows, for those who do not see it.
    pub description: String,
    /// Classes of strokes, the best first.
    pub classes: Vec<Class>,
    /// The strokes.
    pub strokes: Strokes,
    /// Places, listed in order.
    pub marks: Vec<Mark>,
    /// Unit of the scale, and millimetres in it.
    pub unit: (&'static str, f64),
}

const WIDTH: f64 = 960.0;
const HEIGHT: f64 = 620.0;
const MARGIN: f64 = 40.0;
/// Room at the right for legend and list.
const SIDE: f64 = 270.0;

/// Room on paper, in pixels: left, top, and the width and height of the path.
struct Room {
    left: f64,
    top: f64,
    wide: f64,
    tall: f64,
}

/// A path as it lies on paper.
struct Laid {
    low: (f64, f64),
    high: (f64, f64),
    scale: f64,
    left: f64,
    top: f64,
}

impl Laid {
    fn place(&self, x: f64, y: f64) -> (f64, f64) {
        (self.left + (x - self.low.0) * self.scale, self.top + (self.high.1 - y) * self.scale)
    }

    /// The longest round length of no more than `room` millimetres of paper, in the unit.
    fn ruler(&self, room: f64, unit_mm: f64) -> f64 {
        let room = room / (self.scale * unit_mm);
        let decade = 10f64.powf(room.log10().floor());
        [5.0, 2.0, 1.0].into_iter().map(|m| m * decade).find(|l| *l <= room).unwrap_or(decade)
    }
}

impl PlanView {
    /// The strokes and the numbered places alone, for a page that says the rest in words: `role` and text alternative in
    /// one attribute, no colours of its own beyond those of the classes.
    #[must_use]
    pub fn figure(&self) -> String {
        const SIDE: f64 = 440.0;
        const EDGE: f64 = 16.0;
        const BELOW: f64 = 34.0;
        let room = Room { left: EDGE, top: EDGE, wide: SIDE - 2.0 * EDGE, tall: SIDE - 2.0 * EDGE };
        let laid = self.lay(&room);
        let height = 2.0 * EDGE + (laid.high.1 - laid.low.1).max(1e-3) * laid.scale + BELOW;
        let mut svg = format!(
            "<svg class=\"plot plan\" role=\"img\" aria-label=\"{}\" viewBox=\"0 0 {SIDE} {height:.0}\" \
             xmlns=\"http://www.w3.org/2000/svg\" font-size=\"15\">\n",
            escape(&self.description)
        );
        self.paths(&mut svg, &laid);
        let mut taken: Vec<(f64, f64)> = Vec::new();
        for (index, mark) in self.marks.iter().enumerate() {
            let (x, y) = laid.place(mark.at.x, mark.at.y);
            let (to_x, to_y) = free_place((x, y), &taken, (SIDE, height - BELOW));
            taken.push((to_x, to_y));
            let _ = writeln!(
                svg,
                "<g><title>{}</title><path class=\"ruler\" d=\"M{x:.1} {y:.1}L{to_x:.1} {to_y:.1}\"/>\
                 <circle class=\"place\" cx=\"{to_x:.1}\" cy=\"{to_y:.1}\" r=\"11\"/>\
                 <text x=\"{to_x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text></g>",
                escape(&mark.text),
                to_y + 5.0,
                index + 1
            );
        }
        let length = laid.ruler(SIDE / 4.0, self.unit.1);
        let (y, end) = (height - 12.0, EDGE + length * self.unit.1 * laid.scale);
        let _ = writeln!(
            svg,
            "<path class=\"ruler\" d=\"M{EDGE} {}V{y}H{end:.1}V{}\"/><text x=\"{:.1}\" y=\"{}\">{} {}</text>\n</svg>",
            y - 7.0,
            y - 7.0,
            end + 10.0,
            y + 1.0,
            (length * 1e6).round() / 1e6,
            self.unit.0
        );
        svg
    }

    fn lay(&self, room: &Room) -> Laid {
        let marks = self.marks.iter().map(|mark| (mark.at.x, mark.at.y));
        let points = self.strokes.points.iter().map(|p| (f64::from(p.0), f64::from(p.1)));
        let (mut low, mut high) = ((f64::INFINITY, f64::INFINITY), (f64::NEG_INFINITY, f64::NEG_INFINITY));
        for (x, y) in points.chain(marks) {
            low = (low.0.min(x), low.1.min(y));
            high = (high.0.max(x), high.1.max(y));
        }
        if !(low.0.is_finite() && high.0.is_finite()) {
            (low, high) = ((0.0, 0.0), (1.0, 1.0));
        }
        let (wide, tall) = ((high.0 - low.0).max(1e-3), (high.1 - low.1).max(1e-3));
        Laid { low, high, scale: (room.wide / wide).min(room.tall / tall), left: room.left, top: room.top }
    }

    /// The document.
    #[must_use]
    pub fn svg(&self) -> String {
        let room = Room {
            left: MARGIN,
            top: MARGIN + 30.0,
            wide: WIDTH - SIDE - 2.0 * MARGIN,
            tall: HEIGHT - 2.0 * MARGIN - 60.0,
        };
        let laid = self.lay(&room);
        let mut svg = String::new();
        let _ = write!(
            svg,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" \
             aria-labelledby=\"title description\" font-family=\"sans-serif\" font-size=\"13\" fill=\"#26241f\">\n\
             <title id=\"title\">{}</title>\n<desc id=\"description\">{}</desc>\n\
             <rect width=\"100%\" height=\"100%\" fill=\"#fcfbf7\"/>\n\
             <text x=\"{MARGIN}\" y=\"34\" font-size=\"17\" font-weight=\"bold\">{}</text>\n",
            escape(&self.title),
            escape(&self.description),
            escape(&self.title)
        );
        self.paths(&mut svg, &laid);
        for (index, mark) in self.marks.iter().enumerate() {
            let (x, y) = laid.place(mark.at.x, mark.at.y);
            let _ = writeln!(
                svg,
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"9\" fill=\"#fcfbf7\" fill-opacity=\"0.8\" stroke=\"#26241f\"/>\
                 <text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-size=\"11\">{}</text>",
                y + 4.0,
                index + 1
            );
        }
        self.side(&mut svg);
        self.ruler(&mut svg, &laid);
        svg.push_str("</svg>\n");
        svg
    }

    /// Worse classes are drawn later, over the better ones.
    fn paths(&self, svg: &mut String, laid: &Laid) {
        for (index, class) in self.classes.iter().enumerate() {
            let mut path = String::new();
            let mut pen: Option<(f64, f64)> = None;
            let mut last: Option<(f64, f64)> = None;
            for (x, y, found, begins) in &self.strokes.points {
                let here = laid.place(f64::from(*x), f64::from(*y));
                if usize::from(*found) == index
                    && !begins
                    && let Some(from) = last
                {
                    if pen != Some(from) {
                        let _ = write!(path, "M{:.1} {:.1}", from.0, from.1);
                    }
                    let _ = write!(path, "L{:.1} {:.1}", here.0, here.1);
                    pen = Some(here);
                }
                last = Some(here);
            }
            if !path.is_empty() {
                let _ = writeln!(
                    svg,
                    "<path d=\"{path}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{}\" stroke-linecap=\"round\">\
                     <title>{}</title></path>",
                    class.colour,
                    class.width,
                    escape(&class.label)
                );
            }
        }
    }

    fn side(&self, svg: &mut String) {
        let x = WIDTH - SIDE + 10.0;
        let mut y = MARGIN + 40.0;
        for class in &self.classes {
            let _ = writeln!(
                svg,
                "<line x1=\"{x}\" y1=\"{y}\" x2=\"{}\" y2=\"{y}\" stroke=\"{}\" stroke-width=\"{}\"/>\
                 <text x=\"{}\" y=\"{}\">{}</text>",
                x + 28.0,
                class.colour,
                class.width,
                x + 38.0,
                y + 4.0,
                escape(&class.label)
            );
            y += 22.0;
        }
        y += 14.0;
        for (index, mark) in self.marks.iter().enumerate() {
            let _ = writeln!(svg, "<text x=\"{x}\" y=\"{y}\">{}. {}</text>", index + 1, escape(&mark.text));
            y += 19.0;
        }
    }

    fn ruler(&self, svg: &mut String, laid: &Laid) {
        let length = laid.ruler((WIDTH - SIDE) / 8.0, self.unit.1);
        let (y, end) = (HEIGHT - 24.0, MARGIN + length * self.unit.1 * laid.scale);
        let _ = writeln!(
            svg,
            "<path d=\"M{MARGIN} {}V{y}H{end:.1}V{}\" fill=\"none\" stroke=\"#26241f\"/>\
             <text x=\"{:.1}\" y=\"{}\">{} {}, X to the right, Y up</text>",
            y - 6.0,
            y - 6.0,
            end + 10.0,
            y + 1.0,
            (length * 1e6).round() / 1e6,
            self.unit.0
        );
    }
}

/// Where a number can stand that belongs to a place: there, or as near as others leave room, within the drawing.
fn free_place(at: (f64, f64), taken: &[(f64, f64)], within: (f64, f64)) -> (f64, f64) {
    const APART: f64 = 25.0;
    const EDGE: f64 = 12.0;
    let fits = |p: &(f64, f64)| {
        let inside = p.0 >= EDGE && p.1 >= EDGE && p.0 <= within.0 - EDGE && p.1 <= within.1 - EDGE;
        inside && taken.iter().all(|other| (p.0 - other.0).hypot(p.1 - other.1) >= APART)
    };
    let around = (1..12).flat_map(|ring| {
        (0..16).map(move |turn| {
            let (sin, cos) = (f64::from(turn) * std::f64::consts::PI / 8.0).sin_cos();
            let far = f64::from(ring) * APART;
            (at.0 + far * cos, at.1 + far * sin)
        })
    });
    std::iter::once(at).chain(around).find(fits).unwrap_or(at)
}

/// Text within markup.
pub(crate) fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drawing_stays_bounded_and_keeps_the_worst() {
        let mut strokes = Strokes::default();
        for i in 0..1_000_000 {
            let at = Point { x: f64::from(i % 1000), y: f64::from(i / 1000), z: 0.0 };
            strokes.push(&at, u8::from(i == 777_777), i == 0);
        }
        assert!(strokes.points.len() <= MOST_POINTS);
        assert_eq!(strokes.points.iter().filter(|p| p.2 == 1).count(), 1);
    }

    #[test]
    fn numbers_of_near_places_stand_apart() {
        let mut taken = Vec::new();
        for i in 0..10 {
            taken.push(free_place((300.0 + f64::from(i), 20.0), &taken, (440.0, 400.0)));
        }
        for (i, a) in taken.iter().enumerate() {
            for b in taken.iter().skip(i + 1) {
                assert!((a.0 - b.0).hypot(a.1 - b.1) >= 25.0, "{a:?} {b:?}");
            }
        }
    }

    #[test]
    fn text_is_escaped() {
        let class = Class { label: "<5 & more".into(), colour: CALM, width: 1.0 };
        let view = PlanView {
            title: "a < b".into(),
            description: String::new(),
            classes: vec![class],
            strokes: Strokes::default(),
            marks: Vec::new(),
            unit: ("mm", 1.0),
        };
        let svg = view.svg();
        assert!(svg.contains("a &lt; b") && svg.contains("&lt;5 &amp; more") && svg.ends_with("</svg>\n"));
    }
}
