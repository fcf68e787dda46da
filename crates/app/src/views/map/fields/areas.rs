//! Fills and outlines, under the veil.
//!
//! There may be tens of thousands, so the fields of one verdict are filled, patterned and outlined together: one mesh
//! each, whatever their number.

use super::super::MapInput;
use super::super::ground::Area;
use super::super::paint::{Brush, Pattern};
use super::{FieldCache, Manner, manner};
use crate::theme::with_alpha;
use egui::{Mesh, Pos2, Rect, Shape, Stroke, vec2};
use sparefield_geometry::fields::verdict::Verdict;
use std::ops::Range;

/// Fields smaller than this on the screen are drawn as dots, without pattern.
const TINY_PT: f32 = 5.0;
/// Outlines of fields smaller than this on the screen are thinner, or neighbours would run into one blot.
const SMALL_PT: f32 = 14.0;
/// Dashes show in outlines of fields larger than this on the screen.
const LARGE_PT: f32 = 28.0;
/// The outline of a small field, points: thin enough to be painted with half as many triangles.
const SMALL_OUTLINE_PT: f32 = 0.9;

/// A field as it is drawn in this frame.
struct Placed<'a> {
    area: &'a Area,
    /// Its corners among those of all.
    corners: Range<usize>,
    how: Manner,
    extent_pt: f32,
    lifted: bool,
}

/// Draws them, the better verdicts over the others where fields touch.
pub(in super::super) fn draw_areas(
    brush: &mut Brush<'_>,
    cache: &FieldCache,
    input: &MapInput<'_>,
    hover: Option<usize>,
) {
    let hover = input.hovered.or(hover);
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
    let mut dots = Mesh::default();
    order.retain(|&(_, i)| {
        let lifted = hover == Some(i) || input.selected == Some(i);
        lifted || !draw_dot(brush, cache, i, input, &mut dots)
    });
    brush.add(Shape::mesh(dots));
    let mut points = Vec::new();
    for layer in order.chunk_by(|a, b| a.0 == b.0) {
        points.clear();
        let placed = layer.iter().filter_map(|&(_, i)| {
            let bounds = cache.derived.get(i)?.bounds;
            let size = bounds.max - bounds.min;
            let area = cache.area(i, &input.fields[i])?;
            let first = points.len();
            points.extend(area.project(&brush.view));
            Some(Placed {
                area,
                corners: first..points.len(),
                how: manner(cache, i, input),
                extent_pt: brush.view.points(size.x.max(size.y)),
                lifted: hover == Some(i) || input.selected == Some(i),
            })
        });
        let placed: Vec<Placed<'_>> = placed.collect();
        draw_layer(brush, &placed, &points, input);
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

/// Fields of one verdict: fills, then patterns, then outlines.
fn draw_layer(brush: &mut Brush<'_>, placed: &[Placed<'_>], points: &[Pos2], input: &MapInput<'_>) {
    let halo = input.theme.colours.halo;
    for field in placed {
        let more = if field.lifted { 0.12 } else { 0.0 };
        let colour = match field.how.verdict {
            Some(Verdict::Roomy) => with_alpha(field.how.colour, 0.42 + more),
            Some(Verdict::Workable) => with_alpha(field.how.colour, 0.10 + more),
            Some(Verdict::LastResort) => with_alpha(field.how.colour, 0.07 + more),
            Some(Verdict::Out) if field.lifted => with_alpha(halo, 0.25),
            Some(Verdict::Out) => continue,
            None => with_alpha(halo, field.how.strength(0.30 + more)),
        };
        brush.fill(&points[field.corners.clone()], &field.area.triangles, colour);
    }
    for field in placed {
        let (pattern, alpha) = match field.how.verdict {
            Some(Verdict::Workable) => (Pattern::Hatch, 0.85),
            Some(Verdict::LastResort) => (Pattern::Dots, 0.9),
            _ => continue,
        };
        let colour = with_alpha(field.how.colour, alpha);
        brush.fill_pattern(&points[field.corners.clone()], &field.area.triangles, pattern, colour);
    }
    for field in placed {
        outline(brush, field, &points[field.corners.clone()]);
    }
}

fn outline(brush: &mut Brush<'_>, field: &Placed<'_>, points: &[Pos2]) {
    let how = field.how;
    let large = field.extent_pt > LARGE_PT;
    let width = match how.verdict {
        _ if field.extent_pt < SMALL_PT => SMALL_OUTLINE_PT,
        Some(Verdict::Roomy | Verdict::Workable) if large => 1.8,
        Some(Verdict::Roomy | Verdict::Workable) => 1.3,
        Some(Verdict::LastResort) => 1.4,
        Some(Verdict::Out) => 1.0,
        None => 1.1,
    };
    let stroke = Stroke::new(width, with_alpha(how.colour, how.strength(1.0)));
    for ring in field.area.rings(points) {
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
