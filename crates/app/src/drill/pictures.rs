//! Pictures of drills: the heights of one, and measures over all drills of a pilot.

use crate::sheet::picture::{Ink, Mark, Picture};
use egui::{Align2, Pos2, Vec2, pos2, vec2};
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::circuit::Motion;
use sparefield_geometry::grid::Terrain;

/// Room for the figures along the left edge, points.
pub const LEFT: f32 = 58.0;
/// Room along the right edge, points.
pub const RIGHT: f32 = 12.0;
const TOP: f32 = 14.0;
const BOTTOM: f32 = 18.0;
/// Points of the profile that are drawn at most: there are more steps of flight than points of the screen.
const MOST_POINTS: usize = 400;
/// Drills whose values are written beside their dots at most.
const MOST_WRITTEN: usize = 8;

/// Heights above the ground along time, from the engine's stop to the ground; a mark at every choice.
#[must_use]
pub fn heights(way: &[Motion], choices_s: &[f64], terrain: &Terrain, size: Vec2, units: UnitPrefs) -> Picture {
    let mut p = Picture::new(size, "Heights along time, from the engine’s stop to the ground");
    let (Some(first), Some(last)) = (way.first(), way.last()) else { return p };
    let lasts = (last.time_s - first.time_s).max(1.0);
    let step = way.len().div_ceil(MOST_POINTS).max(1);
    let shown: Vec<&Motion> = way.iter().step_by(step).chain([last]).collect();
    let ground = |m: &Motion| terrain.height_at(m.position);
    let heights = shown.iter().flat_map(|m| [Some(m.height_amsl_m), ground(m)]).flatten();
    let (low, high) = heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    if high.partial_cmp(&low) != Some(std::cmp::Ordering::Greater) {
        return p;
    }
    let x = |t: f64| LEFT + ((t - first.time_s) / lasts) as f32 * (size.x - LEFT - RIGHT);
    let y = |h: f64| size.y - BOTTOM - ((h - low) / (high - low)) as f32 * (size.y - TOP - BOTTOM);
    let upper: Vec<Pos2> = shown.iter().filter_map(|m| Some(pos2(x(m.time_s), y(ground(m)?)))).collect();
    let lower: Vec<Pos2> = upper.iter().map(|q| pos2(q.x, size.y - BOTTOM)).collect();
    p.marks.push(Mark::Band { upper: upper.clone(), lower, ink: Ink::Ground, alpha: 0.25 });
    p.line(upper, Ink::Ground, 1.4);
    let line: Vec<Pos2> = shown.iter().map(|m| pos2(x(m.time_s), y(m.height_amsl_m))).collect();
    p.line(line, Ink::Accent, 2.2);
    for at_s in choices_s {
        p.dashed([pos2(x(*at_s), TOP), pos2(x(*at_s), size.y - BOTTOM)], Ink::Soft, 1.2, (4.0, 3.0));
        p.text(pos2(x(*at_s) + 3.0, TOP - 2.0), Align2::LEFT_CENTER, "chosen", Ink::Soft);
    }
    for height in [low, high] {
        p.text(pos2(LEFT - 5.0, y(height)), Align2::RIGHT_CENTER, units.format_height(height), Ink::Soft);
    }
    for (share, anchor) in [(0.0, Align2::LEFT_TOP), (0.5, Align2::CENTER_TOP), (1.0, Align2::RIGHT_TOP)] {
        let t = lasts * share;
        p.text(pos2(x(first.time_s + t), size.y - BOTTOM + 2.0), anchor, format!("{t:.0} s"), Ink::Soft);
    }
    p
}

/// One measure over the drills in the order flown. `bad` marks drills that did not end in the strip.
#[must_use]
pub fn over_drills(
    words: &str,
    values: &[(f64, bool)],
    least_most: f64,
    say: &dyn Fn(f64) -> String,
    size: Vec2,
) -> Picture {
    let mut p = Picture::new(size, words);
    let most = values.iter().map(|v| v.0).fold(least_most, f64::max) * 1.15;
    let low = values.iter().map(|v| v.0).fold(0.0, f64::min) * 1.15;
    let y = |v: f64| size.y - BOTTOM - ((v - low) / (most - low)) as f32 * (size.y - TOP - BOTTOM);
    for value in [0.0, most / 1.15] {
        let (ink, width) = (Ink::Line, 1.0);
        p.line([pos2(LEFT, y(value)), pos2(size.x - RIGHT, y(value))], ink, width);
        p.text(pos2(LEFT - 5.0, y(value)), Align2::RIGHT_CENTER, say(value), Ink::Soft);
    }
    let step = (size.x - LEFT - RIGHT) / values.len().max(1) as f32;
    let places: Vec<Pos2> =
        values.iter().enumerate().map(|(i, v)| pos2(LEFT + (i as f32 + 0.5) * step, y(v.0))).collect();
    p.line(places.clone(), Ink::Soft, 1.0);
    for (place, (value, bad)) in places.iter().zip(values) {
        p.dot(*place, 3.5, if *bad { Ink::Caution } else { Ink::Accent });
        if values.len() <= MOST_WRITTEN {
            p.text(*place - vec2(0.0, 6.0), Align2::CENTER_BOTTOM, say(*value), Ink::Ink);
        }
    }
    p
}
