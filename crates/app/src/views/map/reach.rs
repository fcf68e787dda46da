//! Land in reach stays lit, land out of reach falls into dusk; rings of spare height lie inside the lit part.

use super::camera::Bounds;
use super::paint::{Brush, add_quad, around};
use super::{LitMask, MapInput, ReachOverlay, Ring};
use crate::theme::{Theme, with_alpha};
use egui::{
    Align2, Color32, ColorImage, Context, Mesh, Pos2, Rect, Shape, Stroke, TextureHandle, TextureId, TextureOptions,
    pos2,
};
use sparefield_geometry::grid::GridFrame;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// Width in points and rhythm of each ring: told apart without colour.
const MANNER: [(f32, &[f32]); 4] = [(3.0, &[]), (2.0, &[14.0, 5.0]), (1.5, &[6.0, 4.0]), (1.2, &[1.6, 3.2])];

/// The veil as a texture, kept until reach or theme changes.
#[derive(Default)]
pub(super) struct VeilCache {
    made_of: Option<(Arc<ReachOverlay>, Color32)>,
    texture: Option<TextureHandle>,
    picture: Option<Arc<VeilPicture>>,
}

/// The veil as a picture.
#[derive(Clone, Debug, PartialEq)]
pub struct VeilPicture {
    /// What it is painted with where it is whole.
    veil: Color32,
    image: Arc<ColorImage>,
    /// Cells taken together in one texel.
    step: usize,
    /// Parts of the mask that are not wholly lit: columns and rows from, to.
    runs: Vec<[usize; 4]>,
}

impl VeilPicture {
    /// The picture of a mask with no more than so many texels along a side; `None` for a mask that is none.
    #[must_use]
    pub fn of(lit: &LitMask, veil: Color32, max_side: usize) -> Option<Self> {
        let (image, step) = image(lit, veil, max_side)?;
        Some(Self { veil, image: Arc::new(image), step, runs: veiled_runs(lit) })
    }

    /// The same on a turned map: every piece between its corners, and the land around in four pieces.
    fn draw_turned(&self, brush: &mut Brush<'_>, id: TextureId, veil: Color32, frame: &GridFrame) {
        let view = brush.view;
        let [w, h] = self.image.size;
        let (sw, ne) = frame.bounds();
        let step = self.step.max(1);
        let texel = |x: f32, y: f32| pos2(x / (w * step) as f32, y / (h * step) as f32);
        let place = |x: f32, y: f32| Xy::new(sw.x + f64::from(x) * frame.cell_m, ne.y - f64::from(y) * frame.cell_m);
        let mut mesh = Mesh::with_texture(id);
        for run in &self.runs {
            let [x0, y0, x1, y1] = run.map(|c| c as f32);
            let uv = Rect::from_min_max(texel(x0, y0), texel(x1, y1));
            add_quad(&mut mesh, view.corners(place(x0, y0), place(x1, y1)), uv, Color32::WHITE);
        }
        brush.add(Shape::mesh(mesh));
        let seen = view.bounds(8.0);
        let (left, right) = (seen.min.x.min(sw.x), seen.max.x.max(ne.x));
        let (bottom, top) = (seen.min.y.min(sw.y), seen.max.y.max(ne.y));
        let mut outside = Mesh::default();
        for (nw, se) in [
            (Xy::new(left, top), Xy::new(right, ne.y)),
            (Xy::new(left, sw.y), Xy::new(right, bottom)),
            (Xy::new(left, ne.y), Xy::new(sw.x, sw.y)),
            (Xy::new(ne.x, ne.y), Xy::new(right, sw.y)),
        ] {
            if se.x > nw.x && nw.y > se.y {
                let white = egui::epaint::WHITE_UV;
                add_quad(&mut outside, view.corners(nw, se), Rect::from_min_max(white, white), veil);
            }
        }
        brush.add(Shape::mesh(outside));
    }

    fn fits(&self, max_side: usize) -> bool {
        self.image.width().max(self.image.height()) <= max_side
    }
}

impl VeilCache {
    pub(super) fn draw(&mut self, ctx: &Context, brush: &mut Brush<'_>, input: &MapInput<'_>) {
        let Some(reach) = input.reach else { return };
        let veil = veil_colour(input.theme);
        let same = self.made_of.as_ref().is_some_and(|(r, v)| Arc::ptr_eq(r, reach) && *v == veil);
        if !same {
            let max_side = ctx.input(|i| i.max_texture_side);
            let made = reach.picture.as_ref().filter(|made| made.veil == veil && made.fits(max_side)).cloned();
            let made = made.or_else(|| VeilPicture::of(&reach.lit, veil, max_side).map(Arc::new));
            self.texture = made.as_ref().map(|made| {
                let image = Arc::clone(&made.image);
                // The same texture is set anew: its place on the card is reused while the aircraft is dragged.
                match self.texture.take() {
                    Some(mut texture) => {
                        texture.set(image, TextureOptions::LINEAR);
                        texture
                    }
                    None => ctx.load_texture("veil", image, TextureOptions::LINEAR),
                }
            });
            self.picture = made;
            self.made_of = Some((Arc::clone(reach), veil));
        }
        let view = brush.view;
        let Some((texture, picture)) = self.texture.as_ref().zip(self.picture.as_ref()) else {
            brush.add(Shape::rect_filled(view.rect, 0.0, veil));
            return;
        };
        let (sw, ne) = reach.lit.frame.bounds();
        if !view.is_north_up() {
            picture.draw_turned(brush, texture.id(), veil, &reach.lit.frame);
            return;
        }
        let mask = Rect::from_two_pos(view.to_screen(sw), view.to_screen(ne));
        let [w, h] = texture.size();
        let step = picture.step.max(1);
        // The texture may cover a little more than the grid when cells were taken together.
        let used =
            pos2(reach.lit.frame.cols as f32 / (w * step) as f32, reach.lit.frame.rows as f32 / (h * step) as f32);
        let cell = egui::vec2(mask.width() / reach.lit.frame.cols as f32, mask.height() / reach.lit.frame.rows as f32);
        let mut mesh = Mesh::with_texture(texture.id());
        for run in &picture.runs {
            let [x0, y0, x1, y1] = run.map(|c| c as f32);
            let piece = Rect::from_min_max(
                mask.min + egui::vec2(x0 * cell.x, y0 * cell.y),
                mask.min + egui::vec2(x1 * cell.x, y1 * cell.y),
            );
            let seen = piece.intersect(view.rect);
            if seen.is_positive() {
                let uv = |p: Pos2| {
                    pos2((p.x - mask.left()) / mask.width() * used.x, (p.y - mask.top()) / mask.height() * used.y)
                };
                mesh.add_rect_with_uv(seen, Rect::from_min_max(uv(seen.min), uv(seen.max)), Color32::WHITE);
            }
        }
        brush.add(Shape::mesh(mesh));
        for rect in around(view.rect, mask) {
            brush.add(Shape::rect_filled(rect, 0.0, veil));
        }
    }
}

/// The veil where it is whole.
pub fn veil_colour(theme: &Theme) -> Color32 {
    with_alpha(theme.colours.veil, theme.colours.veil_strength)
}

/// The mask as a picture, and how many cells one texel takes together (more than one only beyond the card's limit).
fn image(lit: &LitMask, veil: Color32, max_side: usize) -> Option<(ColorImage, usize)> {
    let (cols, rows) = (lit.frame.cols, lit.frame.rows);
    if cols == 0 || rows == 0 || lit.veil.len() != cols * rows {
        return None;
    }
    let ramp: Vec<Color32> = (0..=255u8).map(|v| with_alpha(veil, f32::from(v) / 255.0)).collect();
    let step = cols.max(rows).div_ceil(max_side.max(1)).max(1);
    if step == 1 {
        let pixels = lit.veil.iter().map(|&v| ramp[usize::from(v)]).collect();
        return Some((ColorImage::new([cols, rows], pixels), 1));
    }
    let (w, h) = (cols.div_ceil(step), rows.div_ceil(step));
    let mut pixels = Vec::with_capacity(w * h);
    for y in 0..h {
        for x in 0..w {
            // The darkest of the cells: never show land as in reach that is not.
            let mut darkest = 0;
            for row in (y * step)..((y + 1) * step).min(rows) {
                let line = &lit.veil[row * cols..(row + 1) * cols];
                darkest = line[(x * step)..((x + 1) * step).min(cols)].iter().copied().fold(darkest, u8::max);
            }
            pixels.push(ramp[usize::from(darkest)]);
        }
    }
    Some((ColorImage::new([w, h], pixels), step))
}

/// Side of a block that is left out of the veil as a whole, cells.
const BLOCK: usize = 16;

/// The parts of a mask where anything is veiled, as runs of blocks along a row. Wholly lit land is not painted over.
fn veiled_runs(lit: &LitMask) -> Vec<[usize; 4]> {
    let (cols, rows) = (lit.frame.cols, lit.frame.rows);
    if lit.veil.len() != cols * rows {
        return Vec::new();
    }
    let mut runs = Vec::new();
    for top in (0..rows).step_by(BLOCK) {
        let bottom = (top + BLOCK).min(rows);
        let mut open: Option<usize> = None;
        for left in (0..cols).step_by(BLOCK) {
            let right = (left + BLOCK).min(cols);
            // One cell more all round: between cells the veil is interpolated.
            let (west, east) = (left.saturating_sub(1), (right + 1).min(cols));
            let veiled = (top.saturating_sub(1)..(bottom + 1).min(rows))
                .any(|row| lit.veil[row * cols + west..row * cols + east].iter().any(|&v| v > 0));
            match (veiled, open) {
                (true, None) => open = Some(left),
                (false, Some(from)) => {
                    runs.push([from, top, left, bottom]);
                    open = None;
                }
                _ => {}
            }
        }
        if let Some(from) = open {
            runs.push([from, top, cols, bottom]);
        }
    }
    runs
}

/// Draws the rings, the zero ring last and on top. Their labels take their room now but are given back, to be drawn over
/// strips and fields.
pub(super) fn rings(brush: &mut Brush<'_>, input: &MapInput<'_>) -> Vec<Shape> {
    let rings = input.reach.map_or(&[][..], |reach| reach.rings.as_slice());
    lines(brush, input.theme, rings, input.theme.colours.rings)
}

/// Draws the lines of the options map, the lowest height heaviest; gives their labels back as [`rings`] does.
pub(super) fn cover(brush: &mut Brush<'_>, input: &MapInput<'_>) -> Vec<Shape> {
    lines(brush, input.theme, input.cover, [input.theme.colours.ink; 4])
}

fn lines(brush: &mut Brush<'_>, theme: &Theme, rings: &[Ring], colours: [Color32; 4]) -> Vec<Shape> {
    let mut labels = Vec::new();
    for (n, ring) in rings.iter().enumerate().rev() {
        let colour = colours[n.min(3)];
        let (width, dashes) = MANNER[n.min(3)];
        let halo = with_alpha(theme.colours.halo, if n == 0 { 0.55 } else { 0.35 });
        let paths: Vec<Vec<Pos2>> = ring
            .lines
            .iter()
            .filter(|line| brush.sees(&Bounds::around(line)))
            .map(|line| brush.path(line))
            .filter(|path| path.len() > 1)
            .collect();
        for path in &paths {
            brush.line(path, Stroke::new(width + 2.0, halo));
            if dashes.is_empty() {
                brush.line(path, Stroke::new(width, colour));
            } else {
                brush.dashed(path, Stroke::new(width, colour), dashes);
            }
        }
        label(brush, ring, &paths, colour, &mut labels);
    }
    labels
}

/// Puts the ring's label on the line where the line runs most nearly level, once for each long stretch.
fn label(brush: &mut Brush<'_>, ring: &Ring, paths: &[Vec<Pos2>], colour: Color32, out: &mut Vec<Shape>) {
    let ink = brush.theme.colours.ink;
    let galley = brush.galley(ring.label.clone(), brush.theme.bold_font(12.0), ink);
    let inner = brush.view.rect.shrink2(galley.size() / 2.0 + egui::vec2(8.0, 30.0));
    for path in paths {
        let total: f32 = path.windows(2).map(|p| (p[1] - p[0]).length()).sum();
        // A ring not much larger than its label goes without; the outer ones still say what they are.
        if total < 9.0 * galley.size().x {
            continue;
        }
        let mut sites: Vec<(f32, Pos2)> = Vec::new();
        let mut walked = 0.0;
        for (k, pair) in path.windows(2).enumerate() {
            let d = pair[1] - pair[0];
            walked += d.length();
            if walked < 14.0 || !inner.contains(pair[1]) {
                continue;
            }
            walked = 0.0;
            // Direction over some distance, so that a wriggle does not decide.
            let (from, to) = (path[k.saturating_sub(6)], path[(k + 7).min(path.len() - 1)]);
            let run = to - from;
            sites.push((run.y.abs() / run.length().max(1.0), pair[1]));
        }
        sites.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut left = (total / 700.0).ceil().min(3.0) as usize;
        let mut placed: Vec<Pos2> = Vec::new();
        for (_, at) in sites {
            if left == 0 {
                break;
            }
            let rect = Align2::CENTER_CENTER.anchor_size(at, galley.size()).expand2(egui::vec2(5.0, 1.0));
            // Two labels of one ring keep apart.
            if placed.iter().all(|p| (*p - at).length() > 260.0) && brush.claim(rect) {
                placed.push(at);
                out.push(Shape::rect_filled(rect, 3.0, with_alpha(brush.theme.colours.halo, 0.94)));
                out.push(Shape::rect_stroke(rect, 3.0, Stroke::new(1.0, colour), egui::StrokeKind::Inside));
                let at = Align2::CENTER_CENTER.anchor_size(at, galley.size()).min;
                out.push(Shape::galley(at, Arc::clone(&galley), ink));
                left -= 1;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sparefield_geometry::grid::GridFrame;
    use sparefield_geometry::position::Xy;

    fn mask(cols: usize, rows: usize, spare: &[f32]) -> LitMask {
        LitMask::from_spare_heights(GridFrame { origin: Xy::default(), cell_m: 25.0, cols, rows }, spare)
    }

    #[test]
    fn land_that_cannot_be_reached_is_veiled_and_land_with_spare_height_is_lit() {
        assert_eq!(*mask(4, 1, &[f32::NAN, -50.0, 0.0, 50.0]).veil, [255, 255, 255, 0]);
    }

    #[test]
    fn taking_cells_together_never_lights_land_out_of_reach() {
        let lit = mask(4, 2, &[50.0, f32::NAN, 50.0, 50.0, 50.0, 50.0, 50.0, 50.0]);
        let veil = Color32::BLACK;
        let (image, step) = image(&lit, veil, 2).unwrap();
        assert_eq!((image.size, step), ([2, 1], 2));
        assert_eq!((image.pixels[0].a(), image.pixels[1].a()), (255, 0));
    }

    #[test]
    fn wholly_lit_blocks_are_left_out_and_veiled_ones_never() {
        let (cols, rows) = (100, 70);
        let mut veil = vec![0u8; cols * rows];
        veil[40 * cols + 50] = 9;
        let frame = GridFrame { origin: Xy::default(), cell_m: 25.0, cols, rows };
        let runs = veiled_runs(&LitMask { frame, veil: Arc::new(veil) });
        assert_eq!(runs, [[48, 32, 64, 48]]);
        let all = veiled_runs(&LitMask { frame, veil: Arc::new(vec![255; cols * rows]) });
        assert_eq!(all.iter().map(|[a, b, c, d]| (c - a) * (d - b)).sum::<usize>(), cols * rows);
    }
}
