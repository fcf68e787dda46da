//! Fields by verdict, their strips, and what stands on the boundary of the chosen one.
//!
//! Verdicts differ by fill, pattern and number together, so that no one needs colour: roomy is solid with its number in
//! a filled disc, workable hatched with its number in a ring, last resort dotted with a bare number, out an outline.

use super::MapInput;
use super::camera::{Bounds, View};
use super::ground::Area;
use super::paint::{Brush, Pattern};
use crate::theme::{on_fill, with_alpha};
use egui::{Align2, Color32, Mesh, Pos2, Rect, Shape, Stroke, Vec2, pos2, vec2};
use geo::algorithm::{Contains as _, InteriorPoint as _};
use sparefield_geometry::fields::model::{EdgeKind, Field};
use sparefield_geometry::fields::verdict::{RankedField, StripVerdict, Verdict};
use sparefield_geometry::position::Xy;
use std::cell::OnceCell;
use std::sync::Arc;

/// Fields smaller than this on the screen are drawn as dots, without pattern.
const TINY_PT: f32 = 5.0;
/// How far beside a small field a click still finds it.
const REACH_PT: f32 = 8.0;
/// Larger than this on the screen, the chosen field shows what stands on its sides.
const BOUNDARY_FROM_PT: f32 = 130.0;
/// Ranks whose number is drawn even where it covers something.
const ALWAYS_NUMBERED: usize = 5;

/// Strips of this many of the best fields are drawn at any zoom.
const BEST_WITH_STRIP: usize = 3;
/// Nearer than this every field but the ones that are out shows its strip, metres for each point.
const EVERY_STRIP_BELOW_M_PER_PT: f64 = 4.0;

/// What is derived from one field, when it is first needed.
struct Derived {
    bounds: Bounds,
    area: OnceCell<Area>,
    label_at: OnceCell<Xy>,
}

/// What is derived from the fields, and whose verdict is whose.
#[derive(Default)]
pub(super) struct FieldCache {
    revision: Option<(u64, usize)>,
    derived: Vec<Derived>,
    place: Vec<Option<usize>>,
}

impl FieldCache {
    pub(super) fn refresh(&mut self, input: &MapInput<'_>) {
        let now = Some((input.revision, input.fields.len()));
        if self.revision != now {
            self.revision = now;
            self.derived = input
                .fields
                .iter()
                .map(|f| Derived { bounds: Bounds::around(&f.outer), area: OnceCell::new(), label_at: OnceCell::new() })
                .collect();
        }
        self.place.clear();
        self.place.resize(input.fields.len(), None);
        for (i, ranked) in input.ranked.unwrap_or_default().iter().enumerate() {
            if let Some(slot) = self.place.get_mut(ranked.index) {
                *slot = Some(i);
            }
        }
    }

    fn area(&self, i: usize, field: &Field) -> Option<&Area> {
        self.derived.get(i).map(|d| d.area.get_or_init(|| Area::new(&field.outer, &field.holes)))
    }

    /// Where the number stands: the centroid, or a point well inside where that lies outside.
    fn label_at(&self, i: usize, field: &Field) -> Xy {
        self.derived.get(i).map_or_else(|| field.centroid(), |d| *d.label_at.get_or_init(|| inner_point(field)))
    }

    fn ranked<'a>(&self, i: usize, input: &MapInput<'a>) -> Option<&'a RankedField> {
        let place = self.place.get(i).copied().flatten()?;
        input.ranked?.get(place)
    }

    /// The field under a point of the screen; small fields are found from beside them too.
    pub(super) fn hit(&self, view: &View, at: Pos2, fields: &[Arc<Field>]) -> Option<usize> {
        let place = view.to_world(at);
        let reach = f64::from(REACH_PT) * view.camera.metres_per_point;
        let mut best: Option<(f64, usize)> = None;
        for (i, (field, derived)) in fields.iter().zip(&self.derived).enumerate() {
            let b = &derived.bounds;
            let near = Bounds { min: b.min - Xy::new(reach, reach), max: b.max + Xy::new(reach, reach) };
            if !near.holds(place) {
                continue;
            }
            // Inside counts as no distance; of several, the smallest field wins: it is the harder one to hit.
            let inside = inside(&field.outer, place) && !field.holes.iter().any(|h| inside(h, place));
            let far = if inside { 0.0 } else { distance_to_ring(&field.outer, place) };
            let size = (b.max.x - b.min.x) * (b.max.y - b.min.y);
            let measure = if inside { -1.0 / size.max(1.0) } else { far };
            if far <= reach && best.is_none_or(|(m, _)| measure < m) {
                best = Some((measure, i));
            }
        }
        best.map(|(_, i)| i)
    }
}

fn inner_point(field: &Field) -> Xy {
    let centroid = field.centroid();
    let ring = |points: &[Xy]| geo::LineString::new(points.iter().map(|p| geo::Coord { x: p.x, y: p.y }).collect());
    let polygon = geo::Polygon::new(ring(&field.outer), field.holes.iter().map(|h| ring(h)).collect());
    if field.outer.len() < 3 || polygon.contains(&geo::Coord { x: centroid.x, y: centroid.y }) {
        return centroid;
    }
    polygon.interior_point().map_or(centroid, |p| Xy::new(p.x(), p.y()))
}

/// Whether a point lies inside a ring, by counting crossings of a ray.
pub(super) fn inside(ring: &[Xy], p: Xy) -> bool {
    let mut odd = false;
    for (i, a) in ring.iter().enumerate() {
        let b = ring[(i + 1) % ring.len()];
        if (a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) / (b.y - a.y) * (b.x - a.x) {
            odd = !odd;
        }
    }
    odd
}

fn distance_to_ring(ring: &[Xy], p: Xy) -> f64 {
    let mut least = f64::INFINITY;
    for (i, &a) in ring.iter().enumerate() {
        let d = ring[(i + 1) % ring.len()] - a;
        let length2 = d.dot(d);
        let t = if length2 > 0.0 { ((p - a).dot(d) / length2).clamp(0.0, 1.0) } else { 0.0 };
        least = least.min(p.distance(a + d * t));
    }
    least
}

/// How one field is drawn.
#[derive(Clone, Copy)]
struct Manner {
    colour: Color32,
    verdict: Option<Verdict>,
    doubtful: bool,
    dimmed: bool,
}

/// How much of a field is left when something else is looked for.
const DIMMED: f32 = 0.3;

impl Manner {
    fn strength(self, alpha: f32) -> f32 {
        if self.dimmed { alpha * DIMMED } else { alpha }
    }
}

fn manner(cache: &FieldCache, i: usize, input: &MapInput<'_>) -> Manner {
    let c = &input.theme.colours;
    let verdict = cache.ranked(i, input).map(|r| r.verdict);
    let colour = match verdict {
        None => c.neutral,
        Some(Verdict::Roomy) => c.roomy,
        Some(Verdict::Workable) => c.workable,
        Some(Verdict::LastResort) => c.last_resort,
        Some(Verdict::Out) => c.out,
    };
    Manner { colour, verdict, doubtful: (input.doubtful)(i), dimmed: (input.dimmed)(i) }
}

/// Fills and outlines, under the veil.
pub(super) fn draw_areas(brush: &mut Brush<'_>, cache: &FieldCache, input: &MapInput<'_>, hover: Option<usize>) {
    let hover = input.hovered.or(hover);
    // The better verdicts lie on top where fields touch.
    let mut order: Vec<(u8, usize)> = (0..input.fields.len())
        .filter(|&i| cache.derived.get(i).is_some_and(|d| brush.sees(&d.bounds)))
        .map(|i| {
            let layer = match cache.ranked(i, input).map(|r| r.verdict) {
                Some(Verdict::Out) => 0,
                None => 1,
                Some(Verdict::LastResort) => 2,
                Some(Verdict::Workable) => 3,
                Some(Verdict::Roomy) => 4,
            };
            (layer, i)
        })
        .collect();
    order.sort_unstable();
    // The smallest become one mesh: there may be tens of thousands.
    let mut dots = Mesh::default();
    let mut larger = Vec::with_capacity(order.len());
    for (_, i) in order {
        let lifted = hover == Some(i) || input.selected == Some(i);
        if lifted || !draw_dot(brush, cache, i, input, &mut dots) {
            larger.push((i, lifted));
        }
    }
    brush.add(Shape::mesh(dots));
    for (i, lifted) in larger {
        draw_area(brush, cache, i, input, lifted);
    }
}

/// Adds a field as a dot if it is too small for more; says whether it was.
fn draw_dot(brush: &Brush<'_>, cache: &FieldCache, i: usize, input: &MapInput<'_>, dots: &mut Mesh) -> bool {
    let Some(derived) = cache.derived.get(i) else { return true };
    let size = derived.bounds.max - derived.bounds.min;
    let extent = brush.view.points(size.x.max(size.y));
    if extent >= TINY_PT {
        return false;
    }
    let how = manner(cache, i, input);
    let middle = brush.view.to_screen((derived.bounds.min + derived.bounds.max) * 0.5);
    let alpha = if how.verdict == Some(Verdict::Out) { 0.5 } else { 0.95 };
    let side = extent.max(2.0);
    dots.add_colored_rect(
        Rect::from_center_size(middle, vec2(side, side)),
        with_alpha(how.colour, how.strength(alpha)),
    );
    true
}

fn draw_area(brush: &mut Brush<'_>, cache: &FieldCache, i: usize, input: &MapInput<'_>, lifted: bool) {
    let Some(derived) = cache.derived.get(i) else { return };
    let how = manner(cache, i, input);
    let size = derived.bounds.max - derived.bounds.min;
    let extent = brush.view.points(size.x.max(size.y));
    let Some(area) = cache.area(i, &input.fields[i]) else { return };
    let points = area.project(&brush.view);
    let more = if lifted { 0.12 } else { 0.0 };
    let c = &input.theme.colours;
    match how.verdict {
        Some(Verdict::Roomy) => brush.fill(&points, &area.triangles, with_alpha(how.colour, 0.42 + more)),
        Some(Verdict::Workable) => {
            brush.fill(&points, &area.triangles, with_alpha(how.colour, 0.10 + more));
            brush.fill_pattern(&points, &area.triangles, Pattern::Hatch, with_alpha(how.colour, 0.85));
        }
        Some(Verdict::LastResort) => {
            brush.fill(&points, &area.triangles, with_alpha(how.colour, 0.07 + more));
            brush.fill_pattern(&points, &area.triangles, Pattern::Dots, with_alpha(how.colour, 0.9));
        }
        Some(Verdict::Out) if lifted => brush.fill(&points, &area.triangles, with_alpha(c.halo, 0.25)),
        Some(Verdict::Out) => {}
        None => brush.fill(&points, &area.triangles, with_alpha(c.halo, how.strength(0.30 + more))),
    }
    let large = extent > 28.0;
    let width = match how.verdict {
        Some(Verdict::Roomy | Verdict::Workable) => {
            if large {
                1.8
            } else {
                1.3
            }
        }
        Some(Verdict::LastResort) => 1.4,
        Some(Verdict::Out) => 1.0,
        None => 1.1,
    };
    let stroke = Stroke::new(width, with_alpha(how.colour, how.strength(1.0)));
    for ring in area.rings(&points) {
        let broken: Option<&[f32]> = match (how.doubtful, how.verdict) {
            (true, _) => Some(&[3.0, 3.5]),
            (false, Some(Verdict::LastResort)) => Some(&[7.0, 3.5]),
            _ => None,
        };
        match (broken, ring.first()) {
            (Some(dashes), Some(&first)) if large => {
                let mut closed = ring.to_vec();
                closed.push(first);
                brush.dashed(&closed, stroke, dashes);
            }
            _ => brush.outline(ring, stroke),
        }
    }
}

/// Strips, numbers, and the chosen field's frame, over the veil.
pub(super) fn draw_marks(brush: &mut Brush<'_>, cache: &FieldCache, input: &MapInput<'_>, hover: Option<usize>) {
    let hover = input.hovered.or(hover);
    for (i, chosen) in [(hover, false), (input.selected, true)] {
        if let Some(i) = i
            && let Some(field) = input.fields.get(i)
        {
            frame(brush, cache, i, field, chosen, input);
        }
    }
    if input.every_side {
        for (field, derived) in input.fields.iter().zip(&cache.derived) {
            let size = derived.bounds.max - derived.bounds.min;
            if brush.sees(&derived.bounds) && brush.view.points(size.x.max(size.y)) > BOUNDARY_FROM_PT {
                boundary(brush, field, input);
            }
        }
    }
    let ranked = input.ranked.unwrap_or_default();
    let mut strips: Vec<(usize, &StripVerdict, Color32)> = Vec::new();
    // All or a few: deciding for each field by its size looks like a judgement.
    let every = brush.view.camera.metres_per_point < EVERY_STRIP_BELOW_M_PER_PT;
    for r in ranked {
        let Some(strip) = &r.strip else { continue };
        let seen = cache.derived.get(r.index).is_some_and(|d| brush.sees(&d.bounds));
        let length = brush.view.points(strip.length_m);
        let wanted = input.selected == Some(r.index) || hover == Some(r.index);
        let good = r.verdict != Verdict::Out;
        let shown = wanted || (good && r.rank <= BEST_WITH_STRIP && length >= 13.0) || (good && every);
        if seen && shown && length > 4.0 {
            strips.push((r.index, strip, manner(cache, r.index, input).colour));
        }
    }
    for (_, strip, colour) in &strips {
        draw_strip(brush, strip, *colour);
    }
    numbers(brush, cache, input, hover, &strips);
}

fn frame(brush: &mut Brush<'_>, cache: &FieldCache, i: usize, field: &Field, chosen: bool, input: &MapInput<'_>) {
    let c = &input.theme.colours;
    let Some(area) = cache.area(i, field) else { return };
    let points = area.project(&brush.view);
    let Some(ring) = area.rings(&points).next().map(<[Pos2]>::to_vec) else { return };
    let (halo, ink) = if chosen { (7.0, 3.0) } else { (5.0, 2.0) };
    brush.outline(&ring, Stroke::new(halo, with_alpha(c.halo, 0.9)));
    brush.outline(&ring, Stroke::new(ink, c.ink));
    let mut box_ = Rect::from_points(&ring);
    if chosen && box_.size().max_elem() > BOUNDARY_FROM_PT {
        boundary(brush, field, input);
    }
    // A field too small to see gets a circle around it.
    if box_.size().max_elem() < 16.0 {
        box_ = Rect::from_center_size(box_.center(), Vec2::splat(22.0));
        brush.add(Shape::circle_stroke(box_.center(), 11.0, Stroke::new(5.0, with_alpha(c.halo, 0.9))));
        brush.add(Shape::circle_stroke(box_.center(), 11.0, Stroke::new(ink, c.ink)));
    }
}

/// What stands on each side of the chosen field.
fn boundary(brush: &mut Brush<'_>, field: &Field, input: &MapInput<'_>) {
    let c = &input.theme.colours;
    let n = field.outer.len();
    for (i, edge) in field.edges.iter().enumerate().take(n) {
        let (a, b) = (brush.view.to_screen(field.outer[i]), brush.view.to_screen(field.outer[(i + 1) % n]));
        let length = (b - a).length();
        if length < 6.0 || !brush.view.rect.expand(40.0).intersects(Rect::from_two_pos(a, b)) {
            continue;
        }
        match edge.kind {
            EdgeKind::Nothing | EdgeKind::Unknown => {}
            EdgeKind::Hedge => brush.line(&[a, b], Stroke::new(5.0, c.wood)),
            EdgeKind::TreeLine => {
                // Crowns side by side.
                let (unit, step) = ((b - a) / length, 9.0);
                let clip = brush.view.rect.expand(10.0);
                for k in 0..=(length / step).min(600.0) as usize {
                    let at = a + unit * (k as f32 * step).min(length);
                    if clip.contains(at) {
                        brush.add(Shape::circle_filled(at, 5.0, c.wood));
                        brush.add(Shape::circle_stroke(at, 5.0, Stroke::new(1.0, c.ink)));
                    }
                }
            }
            EdgeKind::Wall => brush.line(&[a, b], Stroke::new(4.0, c.building)),
            EdgeKind::Fence => ticks(brush, a, b, 10.0, 3.0, Stroke::new(1.2, c.ink)),
            EdgeKind::Wires => {
                brush.line(&[a, b], Stroke::new(1.6, c.wires));
                ticks(brush, a, b, 22.0, 4.5, Stroke::new(1.6, c.wires));
            }
        }
        let words = match (edge.kind, edge.height_m) {
            (EdgeKind::Nothing | EdgeKind::Unknown, _) => continue,
            (kind, Some(h)) => format!("{} {}", kind.words(), (input.format_height)(h)),
            (kind, None) => format!("{}, height not known", kind.words()),
        };
        let galley = brush.galley(words, input.theme.small_font(), c.ink);
        if galley.size().x + 12.0 > length {
            continue;
        }
        // Outside the field: its ring runs anticlockwise, so outside is to the right when walking along it.
        let unit = (b - a) / length;
        let outwards = vec2(-unit.y, unit.x);
        let along = if unit.x < 0.0 { -unit } else { unit };
        let centre = a + (b - a) * 0.5 + outwards * 15.0;
        let box_ = Rect::from_center_size(
            centre,
            vec2(galley.size().x * along.x.abs() + 16.0, galley.size().x * along.y.abs() + 16.0),
        );
        if brush.view.rect.contains(centre) && brush.claim(box_) {
            brush.turned_text(centre, along, galley, c.ink, with_alpha(c.halo, 0.8));
        }
    }
}

fn ticks(brush: &mut Brush<'_>, a: Pos2, b: Pos2, step: f32, half: f32, stroke: Stroke) {
    let length = (b - a).length();
    let unit = (b - a) / length;
    let across = vec2(-unit.y, unit.x) * half;
    let count = (length / step).min(600.0) as usize;
    for k in 0..=count {
        let at = a + unit * (k as f32 * step + (length - count as f32 * step) / 2.0);
        if brush.view.rect.expand(10.0).contains(at) {
            brush.add(Shape::line_segment([at - across, at + across], stroke));
        }
    }
}

/// A bar from the landing end to the far end: the usable part filled, with an arrowhead where the wheels touch; the
/// part lost to what stands under the approach hollow.
fn draw_strip(brush: &mut Brush<'_>, strip: &StripVerdict, colour: Color32) {
    let c = &brush.theme.colours;
    let (ink, paper) = (c.ink, c.halo);
    let (a, b) = (brush.view.to_screen(strip.start), brush.view.to_screen(strip.end));
    let length = (b - a).length();
    if length < 1.0 {
        return;
    }
    let unit = (b - a) / length;
    let lost = (strip.displacement_m / strip.length_m.max(1.0)).clamp(0.0, 1.0) as f32 * length;
    let touch = a + unit * lost;
    let half = (brush.view.points(strip.width_m) / 2.0).clamp(2.5, 40.0);
    let across = vec2(-unit.y, unit.x) * half;
    let quad = |from: Pos2, to: Pos2| vec![from - across, to - across, to + across, from + across];
    let edge = Stroke::new(1.2, ink);
    if lost > 3.0 {
        brush.outline(&quad(a, touch), Stroke::new(3.0, with_alpha(paper, 0.7)));
        let mut hollow = quad(a, touch);
        hollow.push(hollow[0]);
        brush.dashed(&hollow, edge, &[3.0, 2.5]);
    }
    if length - lost > 2.0 {
        brush.add(Shape::convex_polygon(
            quad(touch, b),
            with_alpha(paper, 0.92),
            Stroke::new(3.0, with_alpha(paper, 0.7)),
        ));
        brush.outline(&quad(touch, b), edge);
        let head = (half * 1.9).clamp(6.0, 30.0).min(length - lost);
        let wing = vec2(-unit.y, unit.x) * (half + 2.5);
        let tip = touch + unit * head;
        brush.add(Shape::convex_polygon(vec![touch - wing, tip, touch + wing], ink, Stroke::new(1.5, paper)));
        if half > 7.0 {
            let bar = Stroke::new(2.0, colour);
            brush.dashed(&[tip + unit * 6.0, b - unit * 4.0], bar, &[9.0, 7.0]);
        }
    }
}

fn numbers(
    brush: &mut Brush<'_>,
    cache: &FieldCache,
    input: &MapInput<'_>,
    hover: Option<usize>,
    strips: &[(usize, &StripVerdict, Color32)],
) {
    let ranked = input.ranked.unwrap_or_default();
    let important = |i: usize| input.selected == Some(i) || hover == Some(i);
    let mut order: Vec<&RankedField> = ranked.iter().collect();
    order.sort_by_key(|r| (!important(r.index), r.rank));
    let radius = 10.0;
    for r in order {
        let Some(field) = input.fields.get(r.index) else { continue };
        let Some(derived) = cache.derived.get(r.index) else { continue };
        if r.verdict == Verdict::Out || !brush.sees(&derived.bounds) {
            continue;
        }
        let size = derived.bounds.max - derived.bounds.min;
        let extent = brush.view.points(size.x.max(size.y));
        if extent < 15.0 && r.rank > BEST_WITH_STRIP && !important(r.index) {
            continue;
        }
        let at = brush.view.to_screen(cache.label_at(r.index, field));
        // Beside the strip where the field has room, so that neither hides the other.
        let at = match strips.iter().find(|(i, ..)| *i == r.index) {
            Some((_, strip, _)) => beside_strip(brush, cache, r.index, field, strip, at, radius),
            None => at,
        };
        if !brush.view.rect.expand(radius).contains(at) {
            continue;
        }
        // Where something stands already, the number moves aside within its field; the best are shown in any case.
        let box_at = |at: Pos2| Rect::from_center_size(at, Vec2::splat(2.0 * radius + 1.0));
        let step = (brush.view.points(size.x.min(size.y)) * 0.3).min(26.0);
        let aside = [(0.0, 0.0), (0.0, -1.0), (0.0, 1.0), (-1.0, 0.0), (1.0, 0.0)].map(|(x, y)| at + vec2(x, y) * step);
        let at = match aside.into_iter().find(|p| brush.claim(box_at(*p))) {
            Some(free) => free,
            None if important(r.index) || r.rank <= ALWAYS_NUMBERED => {
                brush.occupy(box_at(at));
                at
            }
            None => continue,
        };
        let how = manner(cache, r.index, input);
        number(brush, at, radius, r.rank, how);
        if how.doubtful {
            question(brush, pos2(at.x + radius + 5.0, at.y - radius + 3.0));
        }
    }
    // Fields without a number still say that nobody looked at them, where there is room.
    for (i, field) in input.fields.iter().enumerate() {
        let Some(derived) = cache.derived.get(i) else { continue };
        let how = manner(cache, i, input);
        let size = derived.bounds.max - derived.bounds.min;
        let numbered = how.verdict.is_some_and(|v| v != Verdict::Out);
        if numbered
            || how.dimmed
            || !how.doubtful
            || brush.view.points(size.x.min(size.y)) < 18.0
            || !brush.sees(&derived.bounds)
        {
            continue;
        }
        let at = brush.view.to_screen(cache.label_at(i, field));
        if brush.view.rect.contains(at) && brush.claim(Rect::from_center_size(at, vec2(12.0, 14.0))) {
            question(brush, at);
        }
    }
}

fn beside_strip(
    brush: &Brush<'_>,
    cache: &FieldCache,
    i: usize,
    field: &Field,
    strip: &StripVerdict,
    fallback: Pos2,
    radius: f32,
) -> Pos2 {
    let (a, b) = (brush.view.to_screen(strip.start), brush.view.to_screen(strip.end));
    let length = (b - a).length();
    let half = (brush.view.points(strip.width_m) / 2.0).clamp(2.5, 40.0);
    let middle = a + (b - a) * 0.5;
    if length < 1.0 {
        return fallback;
    }
    let unit = (b - a) / length;
    let aside = vec2(-unit.y, unit.x) * (half + radius + 4.0);
    let inner = brush.view.to_screen(cache.label_at(i, field));
    // The side on which the field is wider comes first.
    let first = if (inner - middle).dot(aside) < 0.0 { -1.0 } else { 1.0 };
    for (side, shift) in [(first, 0.0), (-first, 0.0), (first, 0.25), (-first, 0.25), (first, -0.25), (-first, -0.25)] {
        let at = middle + aside * side + unit * (length * shift);
        if inside(&field.outer, brush.view.to_world(at)) {
            return at;
        }
    }
    // No room inside: beyond the far end, clear of the touchdown arrow.
    if length > 3.0 * radius { middle + unit * (length * 0.12) } else { b + unit * (radius + 4.0) }
}

fn number(brush: &mut Brush<'_>, at: Pos2, radius: f32, rank: usize, how: Manner) {
    let c = brush.theme.colours.clone();
    let size = if rank < 100 { 13.0 } else { 12.0 };
    let font = brush.theme.bold_font(size);
    let (text, disc) = match how.verdict {
        Some(Verdict::Roomy) => {
            brush.add(Shape::circle_filled(at, radius + 1.5, c.halo));
            brush.add(Shape::circle_filled(at, radius, how.colour));
            (on_fill(how.colour, &c), true)
        }
        Some(Verdict::Workable) => {
            brush.add(Shape::circle_filled(at, radius + 1.0, c.halo));
            brush.add(Shape::circle_stroke(at, radius - 0.5, Stroke::new(2.0, how.colour)));
            (c.ink, true)
        }
        _ => (c.ink, false),
    };
    let galley = brush.galley(rank.to_string(), font, text);
    if disc {
        let rect = Align2::CENTER_CENTER.anchor_size(at, galley.size());
        brush.add(Shape::galley(rect.min, galley, text));
    } else {
        brush.halo_text(at, Align2::CENTER_CENTER, galley, text);
    }
}

fn question(brush: &mut Brush<'_>, at: Pos2) {
    let ink = brush.theme.colours.ink;
    let galley = brush.galley("?", brush.theme.bold_font(12.0), ink);
    brush.halo_text(at, Align2::CENTER_CENTER, galley, ink);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distance_and_inside_of_a_square() {
        let ring = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)].map(|(x, y)| Xy::new(x, y));
        assert!(inside(&ring, Xy::new(5.0, 5.0)));
        assert!(!inside(&ring, Xy::new(15.0, 5.0)));
        assert_eq!(distance_to_ring(&ring, Xy::new(14.0, 13.0)), 5.0);
        assert_eq!(distance_to_ring(&ring, Xy::new(5.0, 8.0)), 2.0);
    }
}
