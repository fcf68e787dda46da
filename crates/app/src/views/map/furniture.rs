//! What stands along the map's edges and between its marks: scale, north, read-out, contour heights, flow of the wind.

use super::paint::Brush;
use super::relief::ContourLabel;
use super::{DistanceUnit, MapInput, WindMark};
use crate::theme::with_alpha;
use egui::emath::Rot2;
use egui::{Align2, Pos2, Rect, Response, Shape, Stroke, StrokeKind, pos2, vec2};
use sparefield_geometry::grid::Terrain;
use sparefield_geometry::position::{LonLat, Xy};

/// Height of the strip along the bottom edge, points.
pub const STRIP_HEIGHT: f32 = 26.0;

/// What to do where there is no terrain at all.
pub(super) fn no_terrain(brush: &mut Brush<'_>) {
    let ink = brush.theme.colours.ink;
    let galley = brush.galley("No terrain yet. Open a terrain file, or drop one here.", brush.theme.text_font(), ink);
    let place = Align2::CENTER_CENTER.anchor_size(brush.view.rect.center(), galley.size());
    brush.add(Shape::galley(place.min, galley, ink));
}

/// The line where terrain ends, and words beyond it.
pub(super) fn edge_of_terrain(brush: &mut Brush<'_>, terrain: &Terrain) {
    let (sw, ne) = terrain.frame.bounds();
    if !brush.view.is_north_up() {
        let corners = brush.view.corners(Xy::new(sw.x, ne.y), Xy::new(ne.x, sw.y));
        brush.add(Shape::closed_line(corners.to_vec(), Stroke::new(1.0, brush.theme.colours.ink_soft)));
        return;
    }
    let rect = Rect::from_two_pos(brush.view.to_screen(sw), brush.view.to_screen(ne));
    let view = brush.view.rect;
    if rect.contains_rect(view) {
        return;
    }
    let c = &brush.theme.colours;
    let soft = c.ink_soft;
    if rect.is_positive() {
        let r = rect.intersect(view.expand(8.0));
        brush.add(Shape::rect_stroke(r, 0.0, Stroke::new(1.0, soft), StrokeKind::Outside));
    }
    let galley = brush.galley("no terrain loaded here", brush.theme.small_font(), soft);
    let room = view.intersect(rect);
    let free = [
        Rect::from_min_max(view.min, pos2(room.left(), view.bottom())),
        Rect::from_min_max(pos2(room.right(), view.top()), view.max),
        Rect::from_min_max(view.min, pos2(view.right(), room.top())),
        Rect::from_min_max(pos2(view.left(), room.bottom()), pos2(view.right(), view.bottom() - STRIP_HEIGHT)),
    ];
    let free = if room.is_positive() { free.to_vec() } else { vec![view] };
    for space in free {
        let place = Align2::CENTER_CENTER.anchor_size(space.center(), galley.size());
        if space.contains_rect(place.expand(4.0)) && brush.claim(place) {
            brush.add(Shape::galley(place.min, galley.clone(), soft));
        }
    }
}

/// Heights on index contours. They belong to the ground: marks may cover them, and they keep no place.
pub(super) fn contour_heights(brush: &mut Brush<'_>, sites: Vec<ContourLabel>, input: &MapInput<'_>) {
    let c = &input.theme.colours;
    let colour = c.contour_index;
    let halo = with_alpha(c.relief_flat, 0.85);
    let mut shown: Vec<(f64, Pos2)> = Vec::new();
    let inner = brush.view.rect.shrink2(vec2(24.0, 30.0));
    for site in sites {
        let at = brush.view.to_screen(site.at);
        let near = |(h, p): &(f64, Pos2)| (*p - at).length() < if *h == site.height_m { 260.0 } else { 110.0 };
        if !inner.contains(at) || shown.iter().any(near) {
            continue;
        }
        let galley = brush.galley((input.format_height)(site.height_m), input.theme.small_font(), colour);
        let along = vec2(site.along.x as f32, -site.along.y as f32);
        brush.turned_text(at, along, galley, colour, halo);
        shown.push((site.height_m, at));
    }
}

/// Faint streaks in the direction of flow.
pub(super) fn streaks(brush: &mut Brush<'_>, wind: &WindMark) {
    let flow = wind.wind.xy();
    let speed = flow.norm();
    if !wind.streaks || speed.is_nan() || speed <= 0.3 {
        return;
    }
    let unit = vec2((flow.x / speed) as f32, (-flow.y / speed) as f32);
    let length = (10.0 + 2.2 * speed as f32).min(44.0);
    let colour = with_alpha(brush.theme.colours.ink, 0.16);
    let rect = brush.view.rect;
    let step = 58.0;
    // The lattice is fixed to the ground, each streak shifted by a hash of its place, so that panning carries it along.
    let origin = brush.view.to_screen(Xy::default());
    let first = |low: f32, o: f32| ((low - o) / step).floor() as i64 - 1;
    let last = |high: f32, o: f32| ((high - o) / step).ceil() as i64 + 1;
    for row in first(rect.top(), origin.y)..=last(rect.bottom(), origin.y) {
        for col in first(rect.left(), origin.x)..=last(rect.right(), origin.x) {
            let hash = (row.wrapping_mul(0x9E37_79B9) ^ col.wrapping_mul(0x85EB_CA6B)).unsigned_abs();
            let shift = vec2((hash % 41) as f32, (hash / 41 % 41) as f32) - vec2(20.0, 20.0);
            let at = origin + vec2(col as f32 * step, row as f32 * step) + shift;
            brush.line(&[at - unit * (length / 2.0), at + unit * (length / 2.0)], Stroke::new(1.2, colour));
        }
    }
}

/// The quiet strip along the bottom: north, scale, and what is under the pointer.
pub(super) fn strip(brush: &mut Brush<'_>, map: &Response, input: &MapInput<'_>) {
    let c = input.theme.colours.clone();
    let view = brush.view.rect;
    let band = Rect::from_min_max(pos2(view.left(), view.bottom() - STRIP_HEIGHT), view.max);
    brush.add(Shape::rect_filled(band, 0.0, with_alpha(c.panel, 0.9)));
    brush.add(Shape::line_segment([band.left_top(), band.right_top()], Stroke::new(1.0, c.line)));
    let mid = band.center().y;

    // North.
    let n = pos2(band.left() + 16.0, mid);
    let turn = Rot2::from_angle(-brush.view.up().rad() as f32);
    let at = |x: f32, y: f32| n + turn * vec2(x, y);
    let needle = vec![at(0.0, -8.0), at(4.5, 7.0), at(0.0, 3.5)];
    let other = vec![at(0.0, -8.0), at(0.0, 3.5), at(-4.5, 7.0)];
    brush.add(Shape::convex_polygon(needle, c.ink, Stroke::new(1.0, c.ink)));
    brush.add(Shape::convex_polygon(other, c.panel, Stroke::new(1.0, c.ink)));
    let galley = brush.galley("N", input.theme.bold_font(12.0), c.ink);
    let place = Align2::LEFT_CENTER.anchor_size(n + vec2(8.0, 0.0), galley.size());
    brush.add(Shape::galley(place.min, galley, c.ink));

    // Scale.
    let (length_m, words) = scale(brush.view.camera.metres_per_point, 120.0, input.distance_unit);
    let from = pos2(band.left() + 50.0, mid + 4.0);
    let to = from + vec2(brush.view.points(length_m), 0.0);
    let half = from + (to - from) * 0.5;
    let tick = vec2(0.0, 6.0);
    brush.add(Shape::line_segment([from, half], Stroke::new(3.0, c.ink)));
    brush.add(Shape::line_segment([half, to], Stroke::new(1.2, c.ink)));
    for p in [from, half, to] {
        brush.add(Shape::line_segment([p - tick, p], Stroke::new(1.2, c.ink)));
    }
    let galley = brush.galley(words, input.theme.small_font(), c.ink);
    let place = Align2::LEFT_CENTER.anchor_size(pos2(to.x + 7.0, mid), galley.size());
    let scale_end = place.right();
    brush.add(Shape::galley(place.min, galley, c.ink));

    // Read-out, from the right; parts that do not fit are left out from the left.
    let Some(pointer) = map.hover_pos().filter(|p| view.contains(*p) && !band.contains(*p)) else { return };
    let place = brush.view.to_world(pointer);
    let mut parts: Vec<String> = (input.to_lonlat)(place).map(position_words).into_iter().collect();
    parts.extend((input.readout)(place).parts);
    let mut right = band.right() - 12.0;
    for (k, part) in parts.iter().rev().enumerate() {
        let galley = brush.galley(part.clone(), input.theme.small_font(), c.ink);
        let at = Align2::RIGHT_CENTER.anchor_size(pos2(right, mid), galley.size());
        if at.left() < scale_end + 16.0 {
            break;
        }
        brush.add(Shape::galley(at.min, galley, c.ink));
        right = at.left() - 18.0;
        if k + 1 < parts.len() {
            let x = right + 9.0;
            brush.add(Shape::line_segment([pos2(x, mid - 6.0), pos2(x, mid + 6.0)], Stroke::new(1.0, c.line)));
        }
    }
}

/// A position as people write it; four decimals are about ten metres.
fn position_words(p: LonLat) -> String {
    let (ns, ew) = (if p.lat_deg < 0.0 { 'S' } else { 'N' }, if p.lon_deg < 0.0 { 'W' } else { 'E' });
    format!("{:.4}° {ns}  {:.4}° {ew}", p.lat_deg.abs(), p.lon_deg.abs())
}

/// The longest round length that takes at most `room` points, in metres and in words.
fn scale(metres_per_point: f64, room: f64, unit: DistanceUnit) -> (f64, String) {
    const FOOT_M: f64 = 0.304_8;
    const MILE_M: f64 = 1_609.344;
    const NAUTICAL_MILE_M: f64 = 1_852.0;
    let most = metres_per_point * room;
    let (large_m, large, small_m, small) = match unit {
        DistanceUnit::Kilometres => (1_000.0, "km", 1.0, "m"),
        DistanceUnit::Miles => (MILE_M, "mi", FOOT_M, "ft"),
        DistanceUnit::NauticalMiles => (NAUTICAL_MILE_M, "NM", 1.0, "m"),
    };
    let round = |x: f64| {
        let mut step = 1.0;
        while step * 10.0 <= x {
            step *= 10.0;
        }
        [5.0, 2.0].into_iter().find(|k| k * step <= x).map_or(step, |k| k * step)
    };
    if most >= 0.5 * large_m {
        let n = if most >= large_m { round(most / large_m) } else { 0.5 };
        return (n * large_m, format!("{n} {large}"));
    }
    let n = round((most / small_m).max(1.0));
    (n * small_m, format!("{n} {small}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_scale_is_round_and_fits() {
        for unit in [DistanceUnit::Kilometres, DistanceUnit::Miles, DistanceUnit::NauticalMiles] {
            for k in 0..40 {
                let mpp = 0.05 * 1.3f64.powi(k);
                let (length, words) = scale(mpp, 120.0, unit);
                assert!(length <= 120.0 * mpp + 1e-9 && length > 120.0 * mpp / 4.0, "{mpp} {length} {words}");
            }
        }
        assert_eq!(scale(10.0, 120.0, DistanceUnit::Kilometres), (1_000.0, "1 km".into()));
        assert_eq!(scale(1.0, 120.0, DistanceUnit::Miles).1, "200 ft");
    }

    #[test]
    fn positions_name_their_hemisphere() {
        let p = LonLat { lon_deg: -1.25, lat_deg: 52.5 };
        assert_eq!(position_words(p), "52.5000° N  1.2500° W");
    }
}
