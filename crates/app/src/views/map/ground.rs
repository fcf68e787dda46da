//! What stands or lies on the ground: water, woods, buildings, lanes, quiet zones, home.
//!
//! None of it changes while the aircraft is dragged, so the finished triangles are kept until the camera moves.

use super::camera::{Bounds, View};
use super::paint::{Brush, Pattern, flatten};
use super::{HomeMark, MapInput};
use crate::theme::{Scheme, with_alpha};
use egui::{Align2, Pos2, Rect, Shape, Stroke, pos2, vec2};
use geo::algorithm::TriangulateEarcut as _;
use sparefield_geometry::fields::model::{HazardKind, HazardShape};
use sparefield_geometry::position::Xy;

/// A polygon ready for drawing: all its corners, the triangles between them, and its rings.
#[derive(Clone, Debug)]
pub(super) struct Area {
    pub(super) bounds: Bounds,
    pub(super) corners: Vec<Xy>,
    pub(super) triangles: Vec<u32>,
    pub(super) ring_ends: Vec<usize>,
}

impl Area {
    pub(super) fn new(outer: &[Xy], holes: &[Vec<Xy>]) -> Self {
        let outer = open(outer);
        let holes: Vec<&[Xy]> = holes.iter().map(|h| open(h)).filter(|h| h.len() >= 3).collect();
        let mut corners = outer.to_vec();
        let mut ring_ends = vec![corners.len()];
        for hole in &holes {
            corners.extend_from_slice(hole);
            ring_ends.push(corners.len());
        }
        let bounds = Bounds::around(outer);
        Self { bounds, triangles: triangulate(outer, &holes, &corners), corners, ring_ends }
    }

    /// The corners on the screen.
    pub(super) fn project<'a>(&'a self, view: &'a View) -> impl Iterator<Item = Pos2> + 'a {
        self.corners.iter().map(|&p| view.to_screen(p))
    }

    /// Rings as slices of `corners`, or of what was made from them one to one.
    pub(super) fn rings<'a, T>(&'a self, points: &'a [T]) -> impl Iterator<Item = &'a [T]> {
        let starts = core::iter::once(0).chain(self.ring_ends.iter().copied());
        starts.zip(&self.ring_ends).map(|(from, &to)| &points[from..to])
    }
}

/// A ring without the corner that would close it.
fn open(ring: &[Xy]) -> &[Xy] {
    match ring {
        [first, .., last] if first == last => &ring[..ring.len() - 1],
        _ => ring,
    }
}

/// Corner indices of the triangles of a polygon. Empty when there is nothing to fill.
///
/// Coordinates are taken from the first corner on, so that small fields far from the frame's origin keep all digits.
fn triangulate(outer: &[Xy], holes: &[&[Xy]], corners: &[Xy]) -> Vec<u32> {
    let Some(&base) = outer.first() else { return Vec::new() };
    if outer.len() < 3 || corners.iter().any(|p| !p.norm().is_finite()) {
        return Vec::new();
    }
    if holes.is_empty() && is_convex(outer) {
        return (1..outer.len() as u32 - 1).flat_map(|i| [0, i, i + 1]).collect();
    }
    let ring = |points: &[Xy]| {
        let coords = points.iter().map(|p| geo::Coord { x: p.x - base.x, y: p.y - base.y });
        geo::LineString::new(coords.collect())
    };
    let polygon = geo::Polygon::new(ring(outer), holes.iter().map(|h| ring(h)).collect());
    let raw = polygon.earcut_triangles_raw();
    // Its corners are ours one to one, the closing corner of each ring left out.
    if raw.vertices.len() != corners.len() {
        return Vec::new();
    }
    raw.triangle_indices.iter().map(|&i| i as u32).collect()
}

/// Whether a ring turns one way at every corner and goes round once, as most fields do.
fn is_convex(ring: &[Xy]) -> bool {
    let n = ring.len();
    let side = |i: usize| ring[(i + 1) % n] - ring[i % n];
    let turns_left = |i: usize| side(i).cross(side(i + 1)) > 0.0;
    let one_way = (1..n).all(|i| turns_left(i) == turns_left(0)) && side(0).cross(side(1)) != 0.0;
    // A ring that goes round twice, as a star does, turns one way too, but from east to west and back more than once.
    let heads_east = |i: usize| side(i).x > 0.0;
    one_way && (0..n).filter(|&i| heads_east(i) != heads_east(i + 1)).count() <= 2
}

#[derive(Clone, PartialEq)]
struct Key {
    view: View,
    pixels_per_point: f32,
    scheme: Scheme,
    revision: u64,
}

/// Triangles of the ground layer.
#[derive(Default)]
pub(super) struct GroundCache {
    areas: Option<(u64, Vec<(HazardKind, Area)>)>,
    drawn: Option<(Key, Vec<Shape>)>,
}

impl GroundCache {
    pub(super) fn draw(&mut self, brush: &mut Brush<'_>, input: &MapInput<'_>) {
        let key = Key {
            view: brush.view,
            pixels_per_point: brush.painter.pixels_per_point(),
            scheme: input.theme.scheme,
            revision: input.revision,
        };
        if self.drawn.as_ref().is_none_or(|(k, _)| *k != key) {
            let areas = self.areas(input);
            let before = brush.take_shapes();
            draw_ground(brush, areas, input);
            let shapes = flatten(brush.take_shapes(), key.pixels_per_point, brush.view.rect);
            brush.extend(before);
            self.drawn = Some((key, shapes));
        }
        if let Some((_, shapes)) = &self.drawn {
            brush.extend(shapes.iter().cloned());
        }
    }

    fn areas(&mut self, input: &MapInput<'_>) -> &[(HazardKind, Area)] {
        if self.areas.as_ref().is_none_or(|(revision, _)| *revision != input.revision) {
            let areas = input
                .hazards
                .iter()
                .filter_map(|h| match &h.shape {
                    HazardShape::Area { outer, holes } => Some((h.kind, Area::new(outer, holes))),
                    _ => None,
                })
                .collect();
            self.areas = Some((input.revision, areas));
        }
        self.areas.as_ref().map_or(&[], |(_, areas)| areas)
    }
}

fn draw_ground(brush: &mut Brush<'_>, areas: &[(HazardKind, Area)], input: &MapInput<'_>) {
    let c = &input.theme.colours;
    for wanted in [HazardKind::Water, HazardKind::Wood, HazardKind::Other] {
        for (_, area) in areas.iter().filter(|(kind, _)| *kind == wanted) {
            if !brush.sees(&area.bounds) {
                continue;
            }
            let points: Vec<Pos2> = area.project(&brush.view).collect();
            let (fill, edge) = match wanted {
                HazardKind::Water => (c.water, Stroke::new(1.0, c.water_line)),
                HazardKind::Wood => (with_alpha(c.wood, 0.22), Stroke::new(0.8, with_alpha(c.wood, 0.9))),
                _ => (with_alpha(c.ink, 0.12), Stroke::new(1.0, c.ink_soft)),
            };
            brush.fill(&points, &area.triangles, fill);
            if wanted == HazardKind::Wood {
                brush.fill_pattern(&points, &area.triangles, Pattern::Stipple, with_alpha(c.wood, 0.85));
            }
            for ring in area.rings(&points) {
                brush.outline(ring, edge);
            }
        }
    }
    // Two edges with paper between them where there is room, so that a lane is not taken for a contour.
    let (width, core) = match brush.view.camera.metres_per_point {
        near if near < 2.5 => (4.5, 2.5),
        middle if middle < 12.0 => (3.0, 1.2),
        _ => (0.8, 0.0),
    };
    for lane in input.lanes {
        if brush.sees(&Bounds::around(lane)) {
            let path = brush.path(lane);
            brush.line(&path, Stroke::new(width, c.lane));
            if core > 0.0 {
                brush.line(&path, Stroke::new(core, c.relief_light));
            }
        }
    }
    for (_, area) in areas.iter().filter(|(kind, _)| *kind == HazardKind::Building) {
        if !brush.sees(&area.bounds) {
            continue;
        }
        let points: Vec<Pos2> = area.project(&brush.view).collect();
        brush.fill(&points, &area.triangles, c.building);
        // A house never gets smaller than a dot: a village must stay a village.
        let middle = Rect::from_points(&points).center();
        if Rect::from_points(&points).size().max_elem() < 2.0 {
            brush.add(Shape::rect_filled(Rect::from_center_size(middle, vec2(2.0, 2.0)), 0.0, c.building));
        }
    }
    for hazard in input.hazards.iter().filter(|h| h.kind == HazardKind::Building) {
        if let HazardShape::Point(p) = hazard.shape {
            let side = brush.view.points(10.0).clamp(2.0, 14.0);
            let rect = Rect::from_center_size(brush.view.to_screen(p), vec2(side, side));
            brush.add(Shape::rect_filled(rect, 0.0, c.building));
        }
    }
    for zone in input.quiet_zones {
        if brush.sees(&Bounds::around(&zone.outer)) {
            let mut path = brush.path(&zone.outer);
            if let Some(&first) = path.first() {
                path.push(first);
            }
            brush.dashed(&path, Stroke::new(1.6, with_alpha(c.quiet, 0.9)), &[2.0, 4.0]);
        }
    }
}

fn runway(brush: &mut Brush<'_>, home: &HomeMark) {
    let c = brush.theme.colours.clone();
    let (a, b) = (brush.view.to_screen(home.from), brush.view.to_screen(home.to));
    if !brush.view.rect.expand(200.0).intersects(Rect::from_two_pos(a, b)) {
        return;
    }
    let along = (b - a).length();
    if along < 14.0 {
        // Too small to show its direction: a house-shaped pennant would be decoration, a ringed dot is enough.
        let middle = a + (b - a) * 0.5;
        brush.add(Shape::circle_filled(middle, 5.5, c.halo));
        brush.add(Shape::circle_stroke(middle, 5.5, Stroke::new(1.5, c.ink)));
        brush.add(Shape::circle_filled(middle, 2.0, c.ink));
        return;
    }
    let width = brush.view.points(18.0).clamp(4.0, 26.0);
    brush.add(Shape::line_segment([a, b], Stroke::new(width + 2.5, c.ink)));
    brush.add(Shape::line_segment([a, b], Stroke::new(width, c.halo)));
    let unit = (b - a) / along;
    brush.dashed(&[a + unit * 4.0, b - unit * 4.0], Stroke::new(1.0, c.ink), &[5.0, 4.0]);
}

/// Home over the veil, so that it is seen in reach and out of it. Names take their room now but are given back, to be
/// drawn over wires and fields.
pub(super) fn home_and_names(brush: &mut Brush<'_>, input: &MapInput<'_>) -> Vec<Shape> {
    if let Some(home) = input.home {
        runway(brush, home);
    }
    let before = brush.take_shapes();
    names(brush, input);
    let names = brush.take_shapes();
    brush.extend(before);
    names
}

fn names(brush: &mut Brush<'_>, input: &MapInput<'_>) {
    let c = &input.theme.colours;
    if let Some(home) = input.home {
        let (a, b) = (brush.view.to_screen(home.from), brush.view.to_screen(home.to));
        let middle = a + (b - a) * 0.5;
        if brush.view.rect.contains(middle) && !home.name.is_empty() {
            let galley = brush.galley(home.name.clone(), input.theme.bold_font(12.0), c.ink);
            // Below the strip, or above it where a circuit's labels stand already.
            let below = (pos2(middle.x, a.y.max(b.y) + 8.0), Align2::CENTER_TOP);
            let above = (pos2(middle.x, a.y.min(b.y) - 8.0), Align2::CENTER_BOTTOM);
            let free = |(at, anchor): &(Pos2, Align2)| brush.claim(anchor.anchor_size(*at, galley.size()).expand(2.0));
            if let Some((at, anchor)) = [below, above].into_iter().find(free) {
                brush.halo_text(at, anchor, galley, c.ink);
            }
        }
    }
    for zone in input.quiet_zones {
        let bounds = Bounds::around(&zone.outer);
        if !brush.sees(&bounds) {
            continue;
        }
        let top = brush.view.to_screen(Xy::new((bounds.min.x + bounds.max.x) / 2.0, bounds.max.y));
        let width = brush.view.points(bounds.max.x - bounds.min.x);
        let height = (input.format_height)(zone.below_agl_m);
        let short = format!("quiet below {height}");
        let long = if zone.name.is_empty() { short.clone() } else { format!("{}: {short}", zone.name) };
        let font = input.theme.small_font();
        let mut galley = brush.galley(long, font.clone(), c.quiet);
        if galley.size().x > width + 60.0 {
            galley = brush.galley(short, font, c.quiet);
        }
        let at = top - vec2(0.0, 3.0);
        let rect = Align2::CENTER_BOTTOM.anchor_size(at, galley.size());
        if width > 26.0 && brush.view.rect.contains_rect(rect) && brush.claim(rect) {
            brush.halo_text(at, Align2::CENTER_BOTTOM, galley, c.quiet);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn area_of(area: &Area) -> f64 {
        area.triangles
            .chunks(3)
            .map(|t| {
                let [a, b, c] = [0, 1, 2].map(|i| area.corners[t[i] as usize]);
                (b - a).cross(c - a).abs() / 2.0
            })
            .sum()
    }

    #[test]
    fn triangles_cover_a_field_with_a_hole_exactly() {
        let o = Xy::new(501_234.5, 5_700_000.25);
        let at = |x, y| o + Xy::new(x, y);
        let outer = [at(0.0, 0.0), at(300.0, 0.0), at(300.0, 200.0), at(150.0, 120.0), at(0.0, 200.0)];
        let hole = vec![at(100.0, 40.0), at(100.0, 60.0), at(120.0, 60.0), at(120.0, 40.0)];
        let area = Area::new(&outer, &[hole]);
        let expected = 300.0 * 200.0 - 0.5 * 300.0 * 80.0 - 400.0;
        assert!((area_of(&area) - expected).abs() < 1e-6, "{}", area_of(&area));
        assert_eq!(area.rings(&area.corners).map(<[Xy]>::len).collect::<Vec<_>>(), [5, 4]);
    }

    #[test]
    fn only_a_ring_without_dents_is_filled_as_a_fan() {
        let ring = |points: &[(f64, f64)]| points.iter().map(|&(x, y)| Xy::new(x, y)).collect::<Vec<_>>();
        let square = ring(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]);
        assert!(is_convex(&square) && is_convex(&square.iter().rev().copied().collect::<Vec<_>>()));
        assert!(!is_convex(&ring(&[(0.0, 0.0), (10.0, 0.0), (5.0, 2.0), (0.0, 10.0)])));
        let tip = |k: usize| sparefield_geometry::position::Bearing::from_deg(k as f64 * 144.0).unit() * 10.0;
        assert!(!is_convex(&(0..5).map(tip).collect::<Vec<_>>()), "a star goes round twice");
        let straight = ring(&[(0.0, 0.0), (5.0, 0.0), (10.0, 0.0), (10.0, 10.0)]);
        assert_eq!(area_of(&Area::new(&straight, &[])), 50.0);
    }

    #[test]
    fn a_ring_that_is_no_polygon_fills_nothing() {
        assert!(Area::new(&[Xy::default(), Xy::new(1.0, 1.0)], &[]).triangles.is_empty());
        assert!(Area::new(&[Xy::default(), Xy::new(f64::NAN, 1.0), Xy::new(1.0, 0.0)], &[]).triangles.is_empty());
    }
}
