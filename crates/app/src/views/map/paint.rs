//! What every layer draws with: lines that skip what cannot be seen, patterns, text with a halo, and room for labels.

use super::camera::{Bounds, View};
use super::room::Room;
use crate::theme::{Theme, coverage, with_alpha};
use egui::epaint::tessellator::Path;
use egui::epaint::{Mesh, TextShape, Vertex};
use egui::{
    Align2, Color32, ColorImage, Context, FontId, Galley, Painter, Pos2, Rect, Shape, Stroke, TextureHandle, TextureId,
    TextureOptions, Vec2, pos2, vec2,
};
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// A texture that repeats over an area, so that patterns need no further geometry.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Pattern {
    /// Diagonal lines.
    Hatch,
    /// Sparse dots.
    Dots,
    /// Small dots, close together, like trees seen from above.
    Stipple,
}

/// The pattern textures, made for one pixel density so that they stay sharp.
#[derive(Clone)]
pub(super) struct Patterns {
    pixels_per_point: f32,
    hatch: TextureHandle,
    dots: TextureHandle,
    stipple: TextureHandle,
}

/// Side of a pattern in points.
fn period(pattern: Pattern) -> f32 {
    match pattern {
        Pattern::Hatch => 7.0,
        Pattern::Dots => 11.0,
        Pattern::Stipple => 9.0,
    }
}

impl Patterns {
    pub(super) fn new(ctx: &Context, pixels_per_point: f32) -> Self {
        let make = |pattern: Pattern, name: &str, cover: &dyn Fn(f32, f32, f32) -> f32| {
            let side = (period(pattern) * pixels_per_point).round().max(4.0) as usize;
            let px_per_pt = side as f32 / period(pattern);
            let pixels = (0..side * side)
                .map(|i| {
                    let (x, y) = ((i % side) as f32 + 0.5, (i / side) as f32 + 0.5);
                    coverage((cover(x / px_per_pt, y / px_per_pt, px_per_pt).clamp(0.0, 1.0) * 255.0) as u8)
                })
                .collect();
            ctx.load_texture(name, ColorImage::new([side, side], pixels), TextureOptions::LINEAR_REPEAT)
        };
        // Distance from a line or dot edge, in pixels, gives its soft edge.
        let disc = |x: f32, y: f32, cx: f32, cy: f32, r: f32, px: f32| {
            (r - ((x - cx).powi(2) + (y - cy).powi(2)).sqrt()) * px + 0.5
        };
        Self {
            pixels_per_point,
            hatch: make(Pattern::Hatch, "hatch", &|x, y, px| {
                let p = period(Pattern::Hatch);
                let along = (x + y).rem_euclid(p);
                let far = along.min(p - along) * core::f32::consts::FRAC_1_SQRT_2;
                (0.85 - far) * px + 0.5
            }),
            dots: make(Pattern::Dots, "dots", &|x, y, px| {
                let p = period(Pattern::Dots);
                disc(x, y, p * 0.25, p * 0.25, 1.35, px).max(disc(x, y, p * 0.75, p * 0.75, 1.35, px))
            }),
            stipple: make(Pattern::Stipple, "stipple", &|x, y, px| {
                let p = period(Pattern::Stipple);
                [
                    (0.18, 0.2, 0.95),
                    (0.62, 0.12, 0.75),
                    (0.4, 0.52, 1.05),
                    (0.82, 0.6, 0.85),
                    (0.16, 0.8, 0.7),
                    (0.6, 0.86, 0.95),
                ]
                .iter()
                .map(|(fx, fy, r)| disc(x, y, p * fx, p * fy, *r, px))
                .fold(0.0, f32::max)
            }),
        }
    }

    pub(super) fn pixels_per_point(&self) -> f32 {
        self.pixels_per_point
    }

    fn texture(&self, pattern: Pattern) -> &TextureHandle {
        match pattern {
            Pattern::Hatch => &self.hatch,
            Pattern::Dots => &self.dots,
            Pattern::Stipple => &self.stipple,
        }
    }
}

/// Draws lines into meshes, as the painter draws lines that are shapes.
pub(crate) struct Pen {
    /// Width of the soft edge, points.
    feathering: f32,
    /// Kept for its memory.
    path: Path,
}

impl Pen {
    pub(crate) fn new(painter: &Painter) -> Self {
        let feathering = painter.ctx().tessellation_options(|options| {
            if options.feathering { options.feathering_size_in_pixels / painter.pixels_per_point() } else { 0.0 }
        });
        Self { feathering, path: Path::default() }
    }

    /// Draws a line of at least two points.
    pub(crate) fn draw(&mut self, points: &[Pos2], closed: bool, stroke: Stroke, mesh: &mut Mesh) {
        self.path.clear();
        if closed {
            self.path.add_line_loop(points);
            self.path.stroke_closed(self.feathering, &stroke.into(), mesh);
        } else {
            self.path.add_open_points(points);
            self.path.stroke_open(self.feathering, &stroke.into(), mesh);
        }
    }
}

/// Collects the shapes of one frame and keeps labels from covering each other.
///
/// Fills and lines that follow each other become one mesh: with tens of thousands of fields a shape for each costs more
/// than its triangles.
pub(super) struct Brush<'a> {
    pub(super) painter: &'a Painter,
    pub(super) view: View,
    pub(super) theme: &'a Theme,
    pub(super) patterns: &'a Patterns,
    bounds: Bounds,
    shapes: Vec<Shape>,
    /// Fills and lines after the last shape.
    mesh: Mesh,
    pen: Pen,
    room: Room,
}

impl<'a> Brush<'a> {
    pub(super) fn new(painter: &'a Painter, view: View, theme: &'a Theme, patterns: &'a Patterns) -> Self {
        Self {
            painter,
            view,
            theme,
            patterns,
            bounds: view.bounds(24.0),
            shapes: Vec::new(),
            mesh: Mesh::default(),
            pen: Pen::new(painter),
            room: Room::new(view.rect),
        }
    }

    pub(super) fn add(&mut self, shape: Shape) {
        self.close_mesh();
        self.shapes.push(shape);
    }
    pub(super) fn extend(&mut self, shapes: impl IntoIterator<Item = Shape>) {
        self.close_mesh();
        self.shapes.extend(shapes);
    }
    pub(super) fn finish(mut self) {
        self.close_mesh();
        self.painter.extend(self.shapes);
    }
    /// Takes the shapes collected so far, for a layer that keeps them.
    pub(super) fn take_shapes(&mut self) -> Vec<Shape> {
        self.close_mesh();
        core::mem::take(&mut self.shapes)
    }

    fn close_mesh(&mut self) {
        if !self.mesh.is_empty() {
            self.shapes.push(Shape::mesh(core::mem::take(&mut self.mesh)));
        }
    }
    /// Makes the mesh one that what comes next with this texture belongs to.
    fn turn_to(&mut self, texture: TextureId) {
        if self.mesh.texture_id != texture {
            self.close_mesh();
            self.mesh.texture_id = texture;
        }
    }
    /// Adds triangles (indices into `corners`) with a texture.
    fn triangles(&mut self, texture: TextureId, corners: impl Iterator<Item = Vertex>, triangles: &[u32]) {
        self.turn_to(texture);
        let first = self.mesh.vertices.len() as u32;
        self.mesh.vertices.extend(corners);
        self.mesh.indices.extend(triangles.iter().map(|corner| first + corner));
    }

    fn stroke(&mut self, points: &[Pos2], closed: bool, stroke: Stroke) {
        self.turn_to(TextureId::default());
        self.pen.draw(points, closed, stroke, &mut self.mesh);
    }

    pub(super) fn sees(&self, bounds: &Bounds) -> bool {
        self.bounds.meets(bounds)
    }

    /// A path on the screen without points closer than what can be told apart.
    pub(super) fn path(&self, points: &[Xy]) -> Vec<Pos2> {
        let mut out: Vec<Pos2> = Vec::with_capacity(points.len());
        for (i, &p) in points.iter().enumerate() {
            let s = self.view.to_screen(p);
            let far = out.last().is_none_or(|q| (s - *q).length_sq() > 0.7);
            if far || (i + 1 == points.len() && out.len() > 1) {
                out.push(s);
            }
        }
        out
    }

    /// An open line, cut to what is visible.
    pub(super) fn line(&mut self, points: &[Pos2], stroke: Stroke) {
        for piece in visible_pieces(points, self.view.rect.expand(stroke.width + 2.0)) {
            self.stroke(&piece, false, stroke);
        }
    }

    /// A closed outline.
    pub(super) fn outline(&mut self, points: &[Pos2], stroke: Stroke) {
        if points.len() < 3 {
            return;
        }
        let inside = self.view.rect.expand(64.0);
        if points.iter().all(|p| inside.contains(*p)) {
            self.stroke(points, true, stroke);
        } else {
            let mut closed = points.to_vec();
            closed.push(points[0]);
            self.line(&closed, stroke);
        }
    }

    /// A broken line; `dashes` are lengths of ink and gap in turn, in points.
    pub(super) fn dashed(&mut self, points: &[Pos2], stroke: Stroke, dashes: &[f32]) {
        let clip = self.view.rect.expand(stroke.width + 2.0);
        dash(points, dashes, clip, |a, b| self.stroke(&[a, b], false, stroke));
    }

    /// Triangles (indices into `points`) filled with one colour.
    pub(super) fn fill(&mut self, points: &[Pos2], triangles: &[u32], colour: Color32) {
        self.triangles(TextureId::default(), points.iter().map(|&p| Vertex::untextured(p, colour)), triangles);
    }

    /// Triangles filled with a pattern that is fixed to the ground while the map pans.
    pub(super) fn fill_pattern(&mut self, points: &[Pos2], triangles: &[u32], pattern: Pattern, colour: Color32) {
        let side = period(pattern);
        // The phase of the frame's origin, in f64: the origin may be millions of points away.
        let scale = self.view.camera.metres_per_point * f64::from(side);
        let centre = self.view.camera.centre;
        let phase = vec2((centre.x / scale).rem_euclid(1.0) as f32, (-centre.y / scale).rem_euclid(1.0) as f32);
        let middle = self.view.rect.center();
        let corners = points.iter().map(|&pos| {
            let uv = (pos - middle) / side + phase;
            Vertex { pos, uv: pos2(uv.x, uv.y), color: colour }
        });
        self.triangles(self.patterns.texture(pattern).id(), corners, triangles);
    }

    /// Lays out a line of text.
    pub(super) fn galley(&self, text: impl Into<String>, font: FontId, colour: Color32) -> Arc<Galley> {
        self.painter.layout_no_wrap(text.into(), font, colour)
    }

    /// Text with an edge in the halo colour, so that it reads over anything.
    pub(super) fn halo_text(&mut self, at: Pos2, anchor: Align2, galley: Arc<Galley>, colour: Color32) -> Rect {
        let rect = anchor.anchor_size(at, galley.size());
        let halo = with_alpha(self.theme.colours.halo, 0.85);
        for (dx, dy) in
            [(-1.2, 0.0), (1.2, 0.0), (0.0, -1.2), (0.0, 1.2), (-0.9, -0.9), (0.9, 0.9), (-0.9, 0.9), (0.9, -0.9)]
        {
            let shape =
                TextShape::new(rect.min + vec2(dx, dy), Arc::clone(&galley), halo).with_override_text_color(halo);
            self.add(shape.into());
        }
        self.add(TextShape::new(rect.min, galley, colour).with_override_text_color(colour).into());
        rect
    }

    /// A line of text turned to run along `along` (pointing right), with a halo.
    pub(super) fn turned_text(
        &mut self,
        centre: Pos2,
        along: Vec2,
        galley: Arc<Galley>,
        colour: Color32,
        halo: Color32,
    ) {
        let angle = along.angle();
        let half = galley.size() / 2.0;
        let corner = |offset: Vec2| {
            let rot = egui::emath::Rot2::from_angle(angle);
            centre + rot * (offset - half)
        };
        for offset in [vec2(-1.2, 0.0), vec2(1.2, 0.0), vec2(0.0, -1.2), vec2(0.0, 1.2)] {
            let shape = TextShape::new(corner(offset), Arc::clone(&galley), halo)
                .with_override_text_color(halo)
                .with_angle(angle);
            self.add(shape.into());
        }
        let shape =
            TextShape::new(corner(Vec2::ZERO), galley, colour).with_override_text_color(colour).with_angle(angle);
        self.add(shape.into());
    }

    /// Keeps a place for something, if nothing is there yet.
    pub(super) fn claim(&mut self, rect: Rect) -> bool {
        self.room.claim(rect)
    }
    /// Keeps a place whether or not something is there.
    pub(super) fn occupy(&mut self, rect: Rect) {
        self.room.occupy(rect);
    }
}

/// A picture between four corners, from its top left clockwise; for a turned map they make no upright rectangle.
pub(super) fn add_quad(mesh: &mut Mesh, corners: [Pos2; 4], uv: Rect, tint: Color32) {
    let first = u32::try_from(mesh.vertices.len()).unwrap_or(u32::MAX);
    let uvs = [uv.left_top(), uv.right_top(), uv.right_bottom(), uv.left_bottom()];
    mesh.vertices.extend(corners.into_iter().zip(uvs).map(|(pos, uv)| Vertex { pos, uv, color: tint }));
    mesh.add_triangle(first, first + 1, first + 2);
    mesh.add_triangle(first, first + 2, first + 3);
}

/// The parts of a rectangle outside another.
pub(super) fn around(outer: Rect, hole: Rect) -> Vec<Rect> {
    let hole = hole.intersect(outer);
    if !hole.is_positive() {
        return vec![outer];
    }
    let parts = [
        Rect::from_min_max(outer.min, pos2(outer.right(), hole.top())),
        Rect::from_min_max(pos2(outer.left(), hole.bottom()), outer.max),
        Rect::from_min_max(pos2(outer.left(), hole.top()), pos2(hole.left(), hole.bottom())),
        Rect::from_min_max(pos2(hole.right(), hole.top()), pos2(outer.right(), hole.bottom())),
    ];
    parts.into_iter().filter(Rect::is_positive).collect()
}

/// Turns shapes without text into triangles once, so that later frames only copy them. Their order stays.
pub(super) fn flatten(shapes: Vec<Shape>, pixels_per_point: f32, clip: Rect) -> Vec<Shape> {
    let options = egui::epaint::TessellationOptions::default();
    let mut tessellator = egui::epaint::Tessellator::new(pixels_per_point, options, [1, 1], Vec::new());
    tessellator.set_clip_rect(clip);
    let mut out = Vec::new();
    let mut plain = Mesh::default();
    for shape in shapes {
        match shape {
            Shape::Mesh(mesh) if mesh.texture_id != plain.texture_id => {
                if !plain.is_empty() {
                    out.push(Shape::mesh(core::mem::take(&mut plain)));
                }
                out.push(Shape::Mesh(mesh));
            }
            Shape::Mesh(mesh) => plain.append_ref(&mesh),
            other => tessellator.tessellate_shape(other, &mut plain),
        }
    }
    if !plain.is_empty() {
        out.push(Shape::mesh(plain));
    }
    out
}

/// The runs of a path that touch a rectangle, each with one point beyond the edge.
fn visible_pieces(points: &[Pos2], clip: Rect) -> Vec<Vec<Pos2>> {
    let mut pieces: Vec<Vec<Pos2>> = Vec::new();
    let mut open = false;
    for pair in points.windows(2) {
        let [a, b] = [pair[0], pair[1]];
        if clip.intersects(Rect::from_two_pos(a, b)) {
            // Ends far outside are cut: triangles millions of points long lose their precision.
            let Some((a, b)) = cut_to(a, b, clip.expand(4_000.0)) else { continue };
            if !open {
                pieces.push(vec![a]);
            }
            if let Some(piece) = pieces.last_mut() {
                piece.push(b);
            }
            open = true;
        } else {
            open = false;
        }
    }
    pieces
}

/// The part of a segment inside a rectangle.
///
/// # Source
/// Liang & Barsky, "A new concept and method for line clipping", ACM Transactions on Graphics 3 (1984).
pub(crate) fn cut_to(a: Pos2, b: Pos2, clip: Rect) -> Option<(Pos2, Pos2)> {
    let d = b - a;
    let (mut t0, mut t1) = (0.0f32, 1.0f32);
    for (p, q) in
        [(-d.x, a.x - clip.left()), (d.x, clip.right() - a.x), (-d.y, a.y - clip.top()), (d.y, clip.bottom() - a.y)]
    {
        if p == 0.0 {
            if q < 0.0 {
                return None;
            }
        } else if p < 0.0 {
            t0 = t0.max(q / p);
        } else {
            t1 = t1.min(q / p);
        }
    }
    (t0 <= t1).then(|| (a + d * t0, a + d * t1))
}

/// Walks along a path and emits the inked parts within a rectangle.
pub(crate) fn dash(points: &[Pos2], dashes: &[f32], clip: Rect, mut emit: impl FnMut(Pos2, Pos2)) {
    let total: f32 = dashes.iter().sum();
    if total.is_nan() || total <= 0.5 {
        return;
    }
    let mut walked = 0.0f32;
    for pair in points.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let length = (b - a).length();
        if length.is_nan() || length <= 0.0 {
            continue;
        }
        if let Some((from, to)) = cut_to(a, b, clip) {
            let unit = (b - a) / length;
            let (start, end) = ((from - a).length(), (to - a).length());
            let mut at = start;
            while at < end {
                let mut inside = (walked + at).rem_euclid(total);
                let mut index = 0;
                while index + 1 < dashes.len() && inside >= dashes[index] {
                    inside -= dashes[index];
                    index += 1;
                }
                let next = (at + (dashes[index] - inside).max(0.05)).min(end);
                if index % 2 == 0 {
                    emit(a + unit * at, a + unit * next);
                }
                at = next;
            }
        }
        walked = (walked + length).rem_euclid(total);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clip() -> Rect {
        Rect::from_min_max(pos2(0.0, 0.0), pos2(100.0, 100.0))
    }

    #[test]
    fn a_segment_is_cut_at_the_edges() {
        assert_eq!(cut_to(pos2(-50.0, 50.0), pos2(150.0, 50.0), clip()), Some((pos2(0.0, 50.0), pos2(100.0, 50.0))));
        assert_eq!(cut_to(pos2(-50.0, -50.0), pos2(-10.0, 150.0), clip()), None);
        assert_eq!(cut_to(pos2(-10.0, 50.0), pos2(-10.0, 60.0), clip()), None);
    }

    #[test]
    fn dashes_keep_their_rhythm_round_a_corner() {
        let mut inked = 0.0;
        let path = [pos2(0.0, 10.0), pos2(55.0, 10.0), pos2(55.0, 55.0)];
        dash(&path, &[6.0, 4.0], clip(), |a, b| inked += (b - a).length());
        assert!((inked - 60.0).abs() < 1e-3, "{inked}");
    }

    #[test]
    fn dashes_of_a_path_far_outside_cost_nothing_and_end() {
        let mut count = 0;
        dash(&[pos2(-1e7, 50.0), pos2(1e7, 50.0)], &[6.0, 4.0], clip(), |_, _| count += 1);
        assert!(count <= 12, "{count}");
        dash(&[pos2(0.0, 0.0), pos2(50.0, 50.0)], &[0.0, 0.0], clip(), |_, _| count += 100);
        assert!(count <= 12);
    }

    #[test]
    fn visible_pieces_break_where_the_path_leaves() {
        let path = [pos2(-60.0, 50.0), pos2(50.0, 50.0), pos2(50.0, 300.0), pos2(70.0, 300.0), pos2(70.0, 50.0)];
        assert_eq!(visible_pieces(&path, clip()).len(), 2);
    }

    #[test]
    fn around_a_hole_and_the_hole_make_the_whole() {
        let outer = Rect::from_min_max(pos2(0.0, 0.0), pos2(10.0, 8.0));
        let hole = Rect::from_min_max(pos2(2.0, -3.0), pos2(6.0, 5.0));
        let area: f32 = around(outer, hole).iter().map(Rect::area).sum();
        assert_eq!(area, 80.0 - 20.0);
        assert_eq!(around(outer, hole.translate(egui::vec2(50.0, 0.0))), [outer]);
    }
}
