//! A drawing as a list of marks, so that the window and the printed page show the same one.
//!
//! Positions are in points from the upper left corner. Colours are named by what they mean and become colours where the
//! picture is shown.

use crate::theme::{Colours, Sizes};
use egui::{Align2, Color32, Pos2, Vec2};
use std::fmt::Write as _;
use std::io::Write as _;
use std::sync::Arc;

/// A colour by its meaning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ink {
    /// Text and marks.
    Ink,
    /// Less important text and marks.
    Soft,
    /// Frames and scale lines.
    Line,
    /// What is chosen.
    Accent,
    /// Ground seen from the side.
    Ground,
    /// Wires and masts.
    Wires,
    /// Trees and hedges.
    Wood,
    /// Edge of water.
    Water,
    /// Buildings.
    Building,
    /// What falls short.
    Caution,
    /// The picture's background, round text.
    Paper,
    /// Outlines of quiet zones.
    Quiet,
    /// A roomy field.
    Roomy,
    /// A workable field.
    Workable,
    /// A field of last resort.
    LastResort,
    /// A field that is out.
    Out,
}

impl Ink {
    /// The colour in a scheme.
    #[must_use]
    pub fn colour(self, c: &Colours) -> Color32 {
        match self {
            Self::Ink => c.ink,
            Self::Soft => c.ink_soft,
            Self::Line => c.line,
            Self::Accent => c.accent,
            Self::Ground => c.contour_index,
            Self::Wires => c.wires,
            Self::Wood => c.wood,
            Self::Water => c.water_line,
            Self::Building => c.building,
            Self::Caution => c.caution,
            Self::Paper => c.paper,
            Self::Quiet => c.quiet,
            Self::Roomy => c.roomy,
            Self::Workable => c.workable,
            Self::LastResort => c.last_resort,
            Self::Out => c.out,
        }
    }
}

/// How large and heavy text is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Type {
    /// The smallest there is.
    Small,
    /// The smallest, bold.
    SmallBold,
}

/// A picture in dots, without transparency.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Dots {
    /// Dots across.
    pub width: usize,
    /// Dots down.
    pub height: usize,
    /// Red, green and blue of each, row by row from above: three times as many bytes as dots.
    pub rgb: Vec<u8>,
}

impl Dots {
    /// As a PNG file.
    #[must_use]
    pub fn png(&self) -> Option<Vec<u8>> {
        let (width, height) = (u32::try_from(self.width).ok()?, u32::try_from(self.height).ok()?);
        let picture = image::RgbImage::from_raw(width, height, self.rgb.clone())?;
        let mut out = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut out, image::ImageFormat::Png).ok()?;
        out.flush().ok()?;
        Some(out.into_inner())
    }
}

/// One mark.
#[derive(Clone, Debug, PartialEq)]
pub enum Mark {
    /// A picture in dots, over an upright rectangle.
    Image {
        /// The upper left corner.
        corner: Pos2,
        /// The size of the rectangle.
        size: Vec2,
        /// The dots.
        dots: Arc<Dots>,
    },
    /// A line through points; `dash` are lengths of ink and gap.
    Line {
        /// Its points.
        points: Vec<Pos2>,
        /// Its colour.
        ink: Ink,
        /// Its width.
        width: f32,
        /// Lengths of ink and gap, where it is broken.
        dash: Option<(f32, f32)>,
    },
    /// A convex area.
    Area {
        /// Its corners.
        points: Vec<Pos2>,
        /// Its colour.
        ink: Ink,
        /// From 0, nothing, to 1, solid.
        alpha: f32,
    },
    /// What lies between an upper and a lower line with the same places along.
    Band {
        /// The upper line.
        upper: Vec<Pos2>,
        /// The lower line.
        lower: Vec<Pos2>,
        /// Its colour.
        ink: Ink,
        /// From 0 to 1.
        alpha: f32,
    },
    /// A filled disc.
    Dot {
        /// Its middle.
        at: Pos2,
        /// Its radius.
        radius: f32,
        /// Its colour.
        ink: Ink,
    },
    /// One line of text.
    Text {
        /// Where its anchor lies.
        at: Pos2,
        /// Which of its corners or sides lies there.
        anchor: Align2,
        /// The words.
        text: String,
        /// Size and weight.
        font: Type,
        /// Its colour.
        ink: Ink,
    },
}

/// A drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// Its size, points.
    pub size: Vec2,
    /// What it shows, for people who do not see it.
    pub words: String,
    /// Its marks, the lowest first.
    pub marks: Vec<Mark>,
}

impl Picture {
    /// An empty picture.
    #[must_use]
    pub fn new(size: Vec2, words: impl Into<String>) -> Self {
        Self { size, words: words.into(), marks: Vec::new() }
    }
    /// A line.
    pub fn line(&mut self, points: impl Into<Vec<Pos2>>, ink: Ink, width: f32) {
        self.marks.push(Mark::Line { points: points.into(), ink, width, dash: None });
    }
    /// A broken line.
    pub fn dashed(&mut self, points: impl Into<Vec<Pos2>>, ink: Ink, width: f32, dash: (f32, f32)) {
        self.marks.push(Mark::Line { points: points.into(), ink, width, dash: Some(dash) });
    }
    /// A closed outline.
    pub fn outline(&mut self, points: &[Pos2], ink: Ink, width: f32) {
        let closed: Vec<Pos2> = points.iter().chain(points.first()).copied().collect();
        self.line(closed, ink, width);
    }
    /// A convex area.
    pub fn area(&mut self, points: impl Into<Vec<Pos2>>, ink: Ink, alpha: f32) {
        self.marks.push(Mark::Area { points: points.into(), ink, alpha });
    }
    /// Diagonal lines over a convex area.
    pub fn hatch(&mut self, points: &[Pos2], ink: Ink, width: f32, spacing: f32) {
        for segment in hatch(points, spacing) {
            self.line(segment, ink, width);
        }
    }
    /// A disc.
    pub fn dot(&mut self, at: Pos2, radius: f32, ink: Ink) {
        self.marks.push(Mark::Dot { at, radius, ink });
    }
    /// A line of small text.
    pub fn text(&mut self, at: Pos2, anchor: Align2, text: impl Into<String>, ink: Ink) {
        self.marks.push(Mark::Text { at, anchor, text: text.into(), font: Type::Small, ink });
    }
    /// The same in bold.
    pub fn bold(&mut self, at: Pos2, anchor: Align2, text: impl Into<String>, ink: Ink) {
        self.marks.push(Mark::Text { at, anchor, text: text.into(), font: Type::SmallBold, ink });
    }
    /// An arrowhead at `tip`, pointing along `towards`.
    pub fn arrowhead(&mut self, tip: Pos2, towards: Vec2, length: f32, ink: Ink) {
        let unit = towards.normalized();
        let base = tip - unit * length;
        let side = unit.rot90() * (length * 0.45);
        self.area([tip, base + side, base - side], ink, 1.0);
    }

    /// The picture as an SVG element.
    #[must_use]
    pub fn svg(&self, colours: &Colours, sizes: &Sizes) -> String {
        let hex = |ink: Ink| {
            let c = ink.colour(colours);
            format!("#{:02x}{:02x}{:02x}", c.r(), c.g(), c.b())
        };
        let list = |points: &mut dyn Iterator<Item = &Pos2>| {
            points.fold(String::new(), |mut text, p| {
                let _ = write!(text, "{:.1},{:.1} ", p.x, p.y);
                text
            })
        };
        let mut out = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {:.0} {:.0}\" width=\"{:.0}\" height=\"{:.0}\" \
             role=\"img\" aria-label=\"{}\">\n",
            self.size.x,
            self.size.y,
            self.size.x,
            self.size.y,
            escape(&self.words)
        );
        for mark in &self.marks {
            let _ = match mark {
                Mark::Image { corner, size, dots } => writeln!(
                    out,
                    "<image x=\"{:.2}\" y=\"{:.2}\" width=\"{:.2}\" height=\"{:.2}\" preserveAspectRatio=\"none\" \
                     href=\"data:image/png;base64,{}\"/>",
                    corner.x,
                    corner.y,
                    size.x,
                    size.y,
                    base64(&dots.png().unwrap_or_default())
                ),
                Mark::Line { points, ink, width, dash } => {
                    let dash = dash.map_or_else(String::new, |(a, b)| format!(" stroke-dasharray=\"{a} {b}\""));
                    writeln!(
                        out,
                        "<polyline points=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{width}\"{dash}/>",
                        list(&mut points.iter()).trim_end(),
                        hex(*ink)
                    )
                }
                Mark::Area { points, ink, alpha } => writeln!(
                    out,
                    "<polygon points=\"{}\" fill=\"{}\" fill-opacity=\"{alpha:.2}\"/>",
                    list(&mut points.iter()).trim_end(),
                    hex(*ink)
                ),
                Mark::Band { upper, lower, ink, alpha } => writeln!(
                    out,
                    "<polygon points=\"{}\" fill=\"{}\" fill-opacity=\"{alpha:.2}\"/>",
                    list(&mut upper.iter().chain(lower.iter().rev())).trim_end(),
                    hex(*ink)
                ),
                Mark::Dot { at, radius, ink } => {
                    writeln!(
                        out,
                        "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"{radius}\" fill=\"{}\"/>",
                        at.x,
                        at.y,
                        hex(*ink)
                    )
                }
                Mark::Text { at, anchor, text, font, ink } => {
                    let across = match anchor.x() {
                        egui::Align::Min => "start",
                        egui::Align::Center => "middle",
                        egui::Align::Max => "end",
                    };
                    // The baseline lies about a third of the size below the middle of the letters.
                    let down = match anchor.y() {
                        egui::Align::Min => 0.85,
                        egui::Align::Center => 0.35,
                        egui::Align::Max => -0.2,
                    } * sizes.small;
                    let weight = if *font == Type::SmallBold { " font-weight=\"bold\"" } else { "" };
                    writeln!(
                        out,
                        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"{across}\" font-size=\"{}\"{weight} fill=\"{}\" \
                         stroke=\"{}\" stroke-width=\"3\" paint-order=\"stroke\">{}</text>",
                        at.x,
                        at.y + down,
                        sizes.small,
                        hex(*ink),
                        hex(Ink::Paper),
                        escape(text)
                    )
                }
            };
        }
        out.push_str("</svg>\n");
        out
    }
}

/// Bytes as letters (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let byte = |i: usize| three.get(i).copied().unwrap_or(0);
        let all = u32::from_be_bytes([0, byte(0), byte(1), byte(2)]);
        for i in 0..4usize {
            let six = (all >> (18 - 6 * i)) & 63;
            out.push(if i <= three.len() { char::from(LETTERS[six as usize]) } else { '=' });
        }
    }
    out
}

/// Text for HTML and SVG.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            // Control characters are not allowed in either.
            c if c.is_control() && c != '\n' => {}
            c => out.push(c),
        }
    }
    out
}

/// About how wide a line of the smallest text is, points: pictures are laid out before anything can measure letters.
#[must_use]
pub fn text_width(text: &str, small: f32) -> f32 {
    // The typeface's mean advance over letters and figures is 0.56 of its size; a little more errs to the free side.
    text.chars().count() as f32 * small * 0.6
}

/// Diagonals x + y = const, `spacing` apart across, cut to a convex polygon; fixed to the picture, so that neighbouring
/// areas are hatched as one.
fn hatch(points: &[Pos2], spacing: f32) -> Vec<[Pos2; 2]> {
    if points.len() < 3 || !points.iter().all(|p| p.is_finite()) {
        return Vec::new();
    }
    let sum = |p: &Pos2| p.x + p.y;
    let (low, high) =
        points.iter().fold((f32::INFINITY, f32::NEG_INFINITY), |(l, h), p| (l.min(sum(p)), h.max(sum(p))));
    let step = spacing.max(1.0) * core::f32::consts::SQRT_2;
    let mut level = (low / step).ceil() * step;
    let mut out = Vec::new();
    while level <= high && out.len() < 2_000 {
        let mut cuts: Vec<Pos2> = Vec::new();
        for (i, a) in points.iter().enumerate() {
            let b = points[(i + 1) % points.len()];
            let (from, to) = (sum(a) - level, sum(&b) - level);
            if (from <= 0.0) != (to <= 0.0) {
                cuts.push(*a + (b - *a) * (from / (from - to)));
            }
        }
        if let [a, b] = cuts[..] {
            out.push([a, b]);
        }
        level += step;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::{pos2, vec2};

    #[test]
    fn a_hatch_stays_inside_and_covers() {
        let square = [pos2(0.0, 0.0), pos2(20.0, 0.0), pos2(20.0, 20.0), pos2(0.0, 20.0)];
        let lines = hatch(&square, 4.0);
        // x + y runs from 0 to 40 in steps of 4·√2.
        assert!((7..=8).contains(&lines.len()), "{}", lines.len());
        for [a, b] in lines {
            for p in [a, b] {
                assert!(p.x >= -1e-3 && p.x <= 20.001 && p.y >= -1e-3 && p.y <= 20.001, "{p:?}");
            }
            assert!((a.x + a.y - b.x - b.y).abs() < 1e-3);
        }
        assert!(hatch(&square[..2], 4.0).is_empty());
        assert!(hatch(&[pos2(f32::NAN, 0.0); 3], 4.0).is_empty());
    }

    /// The examples of RFC 4648, section 10.
    #[test]
    fn bytes_become_letters() {
        let known =
            [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foob", "Zm9vYg=="), ("foobar", "Zm9vYmFy")];
        for (plain, letters) in known {
            assert_eq!(base64(plain.as_bytes()), letters);
        }
    }

    #[test]
    fn names_cannot_break_out_of_the_page() {
        let palette = crate::theme::Palette::built_in().unwrap();
        let mut picture = Picture::new(vec2(10.0, 10.0), "a \"b\"");
        picture.text(pos2(1.0, 1.0), Align2::LEFT_TOP, "<script>&\u{7}", Ink::Ink);
        let svg = picture.svg(&palette.day, &palette.sizes);
        assert!(svg.contains("&lt;script&gt;&amp;<") && !svg.contains("<script"), "{svg}");
        assert!(svg.contains("aria-label=\"a &quot;b&quot;\""));
    }
}
