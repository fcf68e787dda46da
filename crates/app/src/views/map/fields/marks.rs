//! What stands over the veil: strips, numbers, the chosen field's frame and what stands on its sides.

use super::super::MapInput;
use super::super::paint::Brush;
use super::{FieldCache, Manner, inside, manner};
use crate::theme::{on_fill, with_alpha};
use egui::{Align2, Color32, Pos2, Rect, Shape, Stroke, Vec2, pos2, vec2};
use sparefield_geometry::fields::model::{EdgeKind, Field};
use sparefield_geometry::fields::verdict::{RankedField, StripVerdict, Verdict};

/// Larger than this on the screen, the chosen field shows what stands on its sides.
const BOUNDARY_FROM_PT: f32 = 130.0;
/// Ranks whose number is drawn even where it covers something.
const ALWAYS_NUMBERED: usize = 5;

/// Strips of this many of the best fields are drawn at any zoom.
const BEST_WITH_STRIP: usize = 3;
/// Nearer than this every field but the ones that are out shows its strip, metres for each point.
const EVERY_STRIP_BELOW_M_PER_PT: f64 = 4.0;

/// Strips, numbers, and the chosen field's frame, over the veil.
pub(in super::super) fn draw_marks(
    brush: &mut Brush<'_>,
    cache: &FieldCache,
    input: &MapInput<'_>,
    hover: Option<usize>,
) {
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
    let points: Vec<Pos2> = area.project(&brush.view).collect();
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
    // The ranking is in order already.
    let (first, rest): (Vec<&RankedField>, Vec<&RankedField>) = ranked.iter().partition(|r| important(r.index));
    let radius = 10.0;
    for r in first.into_iter().chain(rest) {
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
