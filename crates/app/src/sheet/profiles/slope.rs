//! The ground along a strip.

use super::super::picture::{Ink, Mark, Picture};
use super::super::{One, words};
use super::ProfileLook;
use super::axes::{Axes, LEFT, RIGHT, exaggeration, foot, runs, whole};
use egui::{Align2, Rect, pos2, vec2};
use sparefield_data::quantity::format_slope;
use sparefield_geometry::fields::criteria::MAX_DOWNHILL;
use sparefield_geometry::fields::sheet::{GroundStation, Way};

/// The ground along a way, with the terrain's error as a band, and its slopes along and across below.
#[must_use]
pub fn slope(one: &One, way: &Way, look: &ProfileLook<'_>) -> Picture {
    let words = format!("Ground along the strip, {}", words::way_name(one, way));
    let mut p = Picture::new(look.size, words);
    let size = look.size;
    if way.slope.stations.iter().all(|s| s.height_m.is_none()) {
        p.text(
            (size / 2.0).to_pos2(),
            Align2::CENTER_CENTER,
            "No terrain under the strip: its slope is not known",
            Ink::Caution,
        );
        return p;
    }
    let split = size.y * 0.58;
    let x = (0.0, look.scales.strip_m);
    let ground = Axes {
        rect: Rect::from_min_max(pos2(LEFT, 22.0), pos2(size.x - RIGHT, split - 16.0)),
        x,
        y: look.scales.ground_m,
    };
    let unit = foot(look.units);
    let symbol = look.units.height.symbol();
    p.text(pos2(2.0, 8.0), Align2::LEFT_CENTER, format!("Height against the landing end, {symbol}"), Ink::Soft);
    ground.levels(&mut p, unit, 4, &|v| whole(v, unit));
    heights(&mut p, way, &ground);
    strip_marks(&mut p, way, &ground);
    exaggeration(&mut p, &ground, size);

    let slopes = Axes {
        rect: Rect::from_min_max(pos2(LEFT, split + 16.0), pos2(size.x - RIGHT, size.y - 34.0)),
        x,
        y: (-look.scales.slope * 1.1, look.scales.slope * 1.1),
    };
    p.text(
        pos2(2.0, split + 4.0),
        Align2::LEFT_CENTER,
        "Slope, %: along (line, uphill positive), across (broken, rising to the right)",
        Ink::Soft,
    );
    slopes.levels(&mut p, 0.01, 4, &|v| whole(v, 0.01));
    // What is too steep downhill.
    p.dashed([slopes.at(x.0, -MAX_DOWNHILL), slopes.at(x.1, -MAX_DOWNHILL)], Ink::Caution, 1.0, (3.0, 3.0));
    let limit = format!("{} downhill: the limit", format_slope(MAX_DOWNHILL));
    p.text(slopes.at(x.1, -MAX_DOWNHILL) + vec2(0.0, 2.0), Align2::RIGHT_TOP, limit, Ink::Caution);
    let series = |f: &dyn Fn(&GroundStation) -> Option<f64>| {
        runs(way.slope.stations.iter().map(|s| f(s).map(|v| slopes.at(s.along_m, v))))
    };
    for run in series(&|s| s.slope) {
        p.line(run, Ink::Accent, 2.0);
    }
    for run in series(&|s| s.cross_slope) {
        p.dashed(run, Ink::Ink, 1.5, (6.0, 4.0));
    }
    slopes.frame(&mut p);
    let length = look.units.length.metres();
    slopes.along(&mut p, length, &|v| whole(v, length));
    p.text(
        pos2(size.x - RIGHT, size.y - 2.0),
        Align2::RIGHT_BOTTOM,
        format!("along the strip, {}", look.units.length.symbol()),
        Ink::Soft,
    );
    p
}

fn heights(p: &mut Picture, way: &Way, axes: &Axes) {
    let error = way.slope.height_error_m.unwrap_or(0.0);
    let series = |more: f64| runs(way.slope.stations.iter().map(|s| s.height_m.map(|h| axes.at(s.along_m, h + more))));
    for (upper, lower) in series(error).into_iter().zip(series(-error)) {
        p.marks.push(Mark::Band { upper, lower, ink: Ink::Ground, alpha: 0.22 });
    }
    for run in series(0.0) {
        p.line(run, Ink::Ground, 2.5);
    }
}

/// Where the landing end is moved to, the aiming point and the needed length, along the foot of the ground.
fn strip_marks(p: &mut Picture, way: &Way, axes: &Axes) {
    let strip = &way.landing.strip;
    let y = axes.rect.bottom() + 7.0;
    let x = |m: f64| axes.at(m.min(axes.x.1), axes.y.0).x;
    let taken = strip.displacement_m.min(strip.length_m);
    let box_of = |from: f64, to: f64| {
        [pos2(x(from), y - 4.0), pos2(x(to), y - 4.0), pos2(x(to), y + 4.0), pos2(x(from), y + 4.0)]
    };
    p.outline(&box_of(0.0, strip.length_m), Ink::Accent, 1.0);
    p.area(box_of(taken, strip.length_m), Ink::Accent, 0.3);
    let stop = way.placing.stop_m.min(strip.length_m);
    p.line([pos2(x(way.placing.aiming_m), y), pos2(x(stop), y)], Ink::Ink, 2.5);
    if way.placing.stop_m > strip.length_m {
        p.dashed([pos2(x(stop), y), pos2(x(way.placing.stop_m), y)], Ink::Caution, 2.5, (4.0, 3.0));
    }
}
