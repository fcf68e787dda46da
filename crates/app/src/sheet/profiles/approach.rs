//! The approach from the side.

use super::super::picture::{Ink, Mark, Picture, text_width};
use super::super::{One, words};
use super::ProfileLook;
use super::axes::{Axes, LEFT, RIGHT, exaggeration, foot, runs, whole};
use egui::{Align2, Pos2, Rect, pos2, vec2};
use sparefield_data::quantity::LengthUnit;
use sparefield_geometry::fields::model::{EdgeKind, HazardKind};
use sparefield_geometry::fields::sheet::{ApproachProfile, ApproachThing, Way};
use sparefield_geometry::fields::study::Under;

/// The approach to a way: ground, what stands on it, the lowest path and the one to the aiming point. The aircraft
/// comes from the left.
#[must_use]
pub fn approach(one: &One, way: &Way, look: &ProfileLook<'_>) -> Picture {
    let profile = &way.approach;
    let mut p = Picture::new(look.size, format!("Approach from the side, {}", words::way_name(one, way)));
    let size = look.size;
    let unit = foot(look.units);
    let top = 26.0 + LABEL_ROWS as f32 * (look.sizes.small + 3.0);
    let axes = Axes {
        rect: Rect::from_min_max(pos2(LEFT, top), pos2(size.x - RIGHT, size.y - foot_room(look))),
        x: (-look.scales.before_m, look.scales.behind_m),
        y: look.scales.approach_m,
    };
    p.text(
        pos2(2.0, 8.0),
        Align2::LEFT_CENTER,
        format!("Height against the landing end, {}", look.units.height.symbol()),
        Ink::Soft,
    );
    exaggeration(&mut p, &axes, size);
    axes.levels(&mut p, unit, 5, &|v| whole(v, unit));
    ground(&mut p, way, profile, &axes);
    for thing in profile.things.iter().filter(|t| t.what != Under::Ground) {
        standing(&mut p, thing, &axes);
    }
    paths(&mut p, profile, &axes);
    thing_labels(&mut p, profile, look, &axes);
    axes.frame(&mut p);
    let length = look.units.length.metres();
    axes.along(&mut p, length, &|v| {
        if v == 0.0 { "landing end".to_owned() } else { whole(v.abs(), length) }
    });
    let foot = format!(
        "before the landing end, and behind it, {}",
        if look.units.length == LengthUnit::M { "m" } else { look.units.length.symbol() }
    );
    legend(&mut p, look, &foot);
    p
}

/// Rows for labels above the approach.
const LABEL_ROWS: usize = 3;

fn ground(p: &mut Picture, way: &Way, profile: &ApproachProfile, axes: &Axes) {
    let error = profile.height_error_m.unwrap_or(0.0);
    let outside = profile.ground.iter().rev().map(|g| (-g.before_m, g.height_m));
    let inside = way.slope.stations.iter().skip(1).map(|s| (s.along_m, s.height_m));
    let all: Vec<(f64, Option<f64>)> = outside.chain(inside).filter(|g| g.0 <= axes.x.1).collect();
    let series = |more: f64| runs(all.iter().map(|&(x, h)| h.map(|h| axes.at(x, h + more))));
    for (upper, lower) in series(error).into_iter().zip(series(-error)) {
        p.marks.push(Mark::Band { upper, lower, ink: Ink::Ground, alpha: 0.22 });
    }
    for run in series(0.0) {
        p.line(run, Ink::Ground, 2.5);
    }
    let threshold = axes.at(0.0, 0.0);
    p.line([threshold - vec2(0.0, 7.0), threshold + vec2(0.0, 7.0)], Ink::Ink, 1.5);
}

fn thing_ink(what: Under) -> Ink {
    match what {
        Under::Edge(EdgeKind::Hedge | EdgeKind::TreeLine) | Under::Hazard(HazardKind::LoneTree | HazardKind::Wood) => {
            Ink::Wood
        }
        Under::Edge(EdgeKind::Wires) | Under::Hazard(HazardKind::Wires | HazardKind::Mast) => Ink::Wires,
        Under::Hazard(HazardKind::Water) => Ink::Water,
        Under::Ground => Ink::Ground,
        Under::Edge(_) | Under::Hazard(_) | Under::Hole => Ink::Building,
    }
}

/// A thing from the side: solid where its height was measured, an empty outline where it was assumed.
fn standing(p: &mut Picture, thing: &ApproachThing, axes: &Axes) {
    let ink = thing_ink(thing.what);
    let within = |d: f64| d <= -axes.x.0;
    let tops: Vec<(f64, f64)> = thing.tops.iter().copied().filter(|t| within(t.0)).collect();
    let (Some(&first), Some(&last)) = (tops.first(), tops.last()) else { return };
    let wide = (axes.at(-first.0, 0.0).x - axes.at(-last.0, 0.0).x).abs() > 6.0;
    if wide {
        let upper: Vec<Pos2> = tops.iter().map(|t| axes.at(-t.0, t.1)).collect();
        let lower: Vec<Pos2> = tops.iter().map(|t| axes.at(-t.0, t.1 - thing.stands_m)).collect();
        if !thing.assumed && ink != Ink::Wires {
            p.marks.push(Mark::Band { upper: upper.clone(), lower: lower.clone(), ink, alpha: 0.5 });
        }
        if ink == Ink::Wires {
            // Wires that cross askew: the line itself, and a pole at each end of it.
            for (top, foot) in [upper.first().zip(lower.first()), upper.last().zip(lower.last())].into_iter().flatten()
            {
                p.line([*top, *foot], ink, 1.2);
                p.dot(*top, 3.0, ink);
            }
            p.line(upper, ink, 1.5);
            return;
        }
        let round: Vec<Pos2> = upper.into_iter().chain(lower.into_iter().rev()).collect();
        p.outline(&round, ink, 1.5);
        return;
    }
    let highest = tops.iter().copied().fold(first, |a, b| if b.1 > a.1 { b } else { a });
    let (top, foot) = (axes.at(-highest.0, highest.1), axes.at(-highest.0, highest.1 - thing.stands_m));
    let half = 3.0;
    let corners = [top - vec2(half, 0.0), top + vec2(half, 0.0), foot + vec2(half, 0.0), foot - vec2(half, 0.0)];
    if thing.assumed {
        p.outline(&corners, ink, 1.2);
    } else {
        p.area(corners, ink, 0.9);
    }
    if matches!(ink, Ink::Wires) {
        p.dot(top, 3.5, ink);
    }
}

fn paths(p: &mut Picture, profile: &ApproachProfile, axes: &Axes) {
    if !profile.run_per_height.is_finite() {
        return;
    }
    // A path enters at the left edge or at the top of the picture.
    let from = |touch_m: f64| {
        let at_edge = (touch_m - axes.x.0) / profile.run_per_height;
        let height = at_edge.min(axes.y.1);
        axes.at(touch_m - height * profile.run_per_height, height)
    };
    let to = |touch_m: f64| axes.at(touch_m.min(axes.x.1), 0.0);
    if profile.aiming_m > profile.displacement_m + 1.0 {
        p.dashed([from(profile.aiming_m), to(profile.aiming_m)], Ink::Accent, 1.5, (7.0, 4.0));
    }
    p.line([from(profile.displacement_m), to(profile.displacement_m)], Ink::Accent, 2.0);
    let touch = to(profile.displacement_m);
    p.line([touch - vec2(0.0, 6.0), touch + vec2(0.0, 6.0)], Ink::Accent, 2.0);
}

/// Names above, each over its thing, as many as have room; the table beside the picture has all.
fn thing_labels(p: &mut Picture, profile: &ApproachProfile, look: &ProfileLook<'_>, axes: &Axes) {
    let small = look.sizes.small;
    let mut ends = [f32::NEG_INFINITY; LABEL_ROWS];
    // From the far end inwards, as the pilot comes.
    for (i, thing) in profile.things.iter().enumerate().rev() {
        if thing.before_m > -axes.x.0 {
            continue;
        }
        let mut words = thing.what.words().to_owned();
        if thing.stands_m > 0.0 {
            words.push(' ');
            words.push_str(&look.units.format_height(thing.stands_m));
        }
        if thing.assumed {
            words.push('?');
        }
        let governs = profile.governing == Some(i);
        let top = axes.at(-thing.before_m, thing.top_m);
        let width = text_width(&words, small) * if governs { 1.08 } else { 1.0 };
        let left = (top.x - width / 2.0).clamp(axes.rect.left(), (axes.rect.right() - width).max(axes.rect.left()));
        let Some(row) = (0..LABEL_ROWS).find(|&r| ends[r] < left) else { continue };
        ends[row] = left + width + 8.0;
        let y = 24.0 + (LABEL_ROWS - 1 - row) as f32 * (small + 3.0) + small / 2.0;
        p.dashed([pos2(top.x, y + small / 2.0 + 1.0), top], Ink::Soft, 0.8, (2.0, 3.0));
        let at = pos2(left, y);
        if governs {
            p.bold(at, Align2::LEFT_CENTER, words, Ink::Ink);
        } else {
            p.text(at, Align2::LEFT_CENTER, words, Ink::Ink);
        }
    }
}

const LEGEND: [&str; 4] = ["lowest path", "path to the aiming point", "ground, with its error", "? height assumed"];

/// Where the entries of the legend stand: their left edges, and how many rows they fill from the top.
fn legend_places(look: &ProfileLook<'_>) -> ([(f32, usize); 4], usize) {
    let (mut x, mut row) = (4.0, 0);
    let places = LEGEND.map(|words| {
        let width = 24.0 + text_width(words, look.sizes.small) + 10.0;
        if x > 4.0 && x + width > look.size.x {
            (x, row) = (4.0, row + 1);
        }
        let place = (x, row);
        x += width;
        place
    });
    (places, row + 1)
}

const LEGEND_ROW: f32 = 17.0;

/// Room under the approach for its figures and legend.
fn foot_room(look: &ProfileLook<'_>) -> f32 {
    36.0 + LEGEND_ROW * legend_places(look).1 as f32
}

fn legend(p: &mut Picture, look: &ProfileLook<'_>, foot: &str) {
    let (places, rows) = legend_places(look);
    let below = look.size.y - LEGEND_ROW * rows as f32;
    p.text(pos2(look.size.x - RIGHT, below - 6.0), Align2::RIGHT_CENTER, foot, Ink::Soft);
    for (kind, (words, (x, row))) in LEGEND.into_iter().zip(places).enumerate() {
        let y = below + LEGEND_ROW * (row as f32 + 0.5);
        let (a, b) = (pos2(x, y), pos2(x + 18.0, y));
        let shade = [a - vec2(0.0, 5.0), b - vec2(0.0, 5.0), b + vec2(0.0, 5.0), a + vec2(0.0, 5.0)];
        match kind {
            0 => p.line([a, b], Ink::Accent, 2.0),
            1 => p.dashed([a, b], Ink::Accent, 1.5, (7.0, 4.0)),
            2 => {
                p.area(shade, Ink::Ground, 0.22);
                p.line([a, b], Ink::Ground, 2.5);
            }
            _ => p.outline(&shade.map(|q| pos2(x + 6.0 + (q.x - x) / 3.0, q.y)), Ink::Building, 1.2),
        }
        p.text(pos2(x + 24.0, y), Align2::LEFT_CENTER, words, Ink::Ink);
    }
}
