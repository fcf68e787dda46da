//! A sheet as a picture, for where pages are looked at and not printed.

use super::letters::Letters;
use super::paper::{Mark, Sheet};
use crate::sheet::picture::Dots;
use egui::{Color32, Pos2};
use skrifa::instance::{LocationRef, Size};
use skrifa::outline::DrawSettings;
use skrifa::outline::pen::OutlinePen;
use skrifa::prelude::MetadataProvider;
use tiny_skia::{
    FillRule, FilterQuality, LineCap, LineJoin, Paint, Path, PathBuilder, Pixmap, PixmapPaint, Stroke, StrokeDash,
    Transform,
};

/// Most pixels along a side: an A4 sheet at some 1 400 to the inch.
const MOST: f32 = 16_384.0;

/// The sheet as a PNG file with so many dots to the inch; `None` when the size is beyond 16 384 pixels or below one, or
/// the packaged typefaces cannot be read.
#[must_use]
pub fn png(sheet: &Sheet, dots_per_inch: f32) -> Option<Vec<u8>> {
    let scale = dots_per_inch / 72.0;
    let size = sheet.size * scale;
    if !(size.x >= 1.0 && size.y >= 1.0 && size.x <= MOST && size.y <= MOST) {
        return None;
    }
    let letters = Letters::built_in()?;
    let mut map = Pixmap::new(size.x.ceil() as u32, size.y.ceil() as u32)?;
    map.fill(tiny_skia::Color::WHITE);
    let place = Transform::from_scale(scale, scale);
    for mark in &sheet.marks {
        match mark {
            Mark::Image { corner, size, dots } => {
                if let Some(picture) = pixmap(dots) {
                    let (x, y) = (size.x / dots.width as f32, size.y / dots.height as f32);
                    let at = place.pre_translate(corner.x, corner.y).pre_scale(x, y);
                    let paint = PixmapPaint { quality: FilterQuality::Bilinear, ..PixmapPaint::default() };
                    map.draw_pixmap(0, 0, picture.as_ref(), &paint, at, None);
                }
            }
            Mark::Line { points, colour, width, dash } => {
                if let Some(path) = path(points, false) {
                    let dash = dash.and_then(|(on, off)| StrokeDash::new(vec![on, off], 0.0));
                    stroke(&mut map, &path, *colour, *width, dash, place);
                }
            }
            Mark::Area { points, colour, alpha } => {
                if let Some(path) = path(points, true) {
                    map.fill_path(&path, &paint(*colour, *alpha), FillRule::Winding, place, None);
                }
            }
            Mark::Disc { at, radius, colour } => {
                if let Some(path) = PathBuilder::from_circle(at.x, at.y, *radius) {
                    map.fill_path(&path, &paint(*colour, 1.0), FillRule::Winding, place, None);
                }
            }
            Mark::Text { at, text, size, bold, colour, halo } => {
                let Some(path) = words(&letters, *at, text, *size, *bold) else { continue };
                if let Some(halo) = halo {
                    stroke(&mut map, &path, *halo, size * 0.25, None, place);
                }
                map.fill_path(&path, &paint(*colour, 1.0), FillRule::Winding, place, None);
            }
        }
    }
    let (width, height) = (map.width(), map.height());
    // Nothing shines through white paper, so that premultiplied colours are the colours.
    let picture = image::RgbaImage::from_raw(width, height, map.take())?;
    let mut out = std::io::Cursor::new(Vec::new());
    image::DynamicImage::ImageRgba8(picture).to_rgb8().write_to(&mut out, image::ImageFormat::Png).ok()?;
    Some(out.into_inner())
}

fn pixmap(dots: &Dots) -> Option<Pixmap> {
    let mut out = Pixmap::new(u32::try_from(dots.width).ok()?, u32::try_from(dots.height).ok()?)?;
    for (to, from) in out.data_mut().chunks_exact_mut(4).zip(dots.rgb.chunks_exact(3)) {
        to.copy_from_slice(&[from[0], from[1], from[2], u8::MAX]);
    }
    Some(out)
}

fn paint(colour: Color32, alpha: f32) -> Paint<'static> {
    let mut paint = Paint::default();
    let alpha = (alpha.clamp(0.0, 1.0) * 255.0).round() as u8;
    paint.set_color_rgba8(colour.r(), colour.g(), colour.b(), alpha);
    paint.anti_alias = true;
    paint
}

fn stroke(map: &mut Pixmap, path: &Path, colour: Color32, width: f32, dash: Option<StrokeDash>, place: Transform) {
    let stroke = Stroke { width, dash, line_cap: LineCap::Round, line_join: LineJoin::Round, ..Stroke::default() };
    map.stroke_path(path, &paint(colour, 1.0), &stroke, place, None);
}

fn path(points: &[Pos2], closed: bool) -> Option<Path> {
    if !points.iter().all(|p| p.is_finite()) {
        return None;
    }
    let mut out = PathBuilder::new();
    for (i, p) in points.iter().enumerate() {
        if i == 0 { out.move_to(p.x, p.y) } else { out.line_to(p.x, p.y) }
    }
    if closed {
        out.close();
    }
    out.finish()
}

/// Outlines of a line of words.
fn words(letters: &Letters, at: Pos2, text: &str, size: f32, bold: bool) -> Option<Path> {
    let face = letters.face(bold);
    let (outlines, advance) = (face.font.outline_glyphs(), face.metrics());
    let mut pen = Pen { out: PathBuilder::new(), at };
    for letter in text.chars() {
        let glyph = face.glyph(letter);
        if let Some(outline) = outlines.get(glyph) {
            let settings = DrawSettings::unhinted(Size::new(size), LocationRef::default());
            // A glyph that cannot be drawn leaves its room.
            drop(outline.draw(settings, &mut pen));
        }
        pen.at.x += advance.advance_width(glyph).unwrap_or(0.0) * size / 1_000.0;
    }
    pen.out.finish()
}

/// Draws outlines, which count upwards, at a place of a sheet, which counts downwards.
struct Pen {
    out: PathBuilder,
    at: Pos2,
}

impl OutlinePen for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.out.move_to(self.at.x + x, self.at.y - y);
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.out.line_to(self.at.x + x, self.at.y - y);
    }
    fn quad_to(&mut self, cx: f32, cy: f32, x: f32, y: f32) {
        self.out.quad_to(self.at.x + cx, self.at.y - cy, self.at.x + x, self.at.y - y);
    }
    fn curve_to(&mut self, ax: f32, ay: f32, bx: f32, by: f32, x: f32, y: f32) {
        let p = self.at;
        self.out.cubic_to(p.x + ax, p.y - ay, p.x + bx, p.y - by, p.x + x, p.y - y);
    }
    fn close(&mut self) {
        self.out.close();
    }
}
