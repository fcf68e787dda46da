//! Fan stops as a rose: a wedge where the nose points, a ring for every height, the lowest in the middle.

use super::{FanStops, Practised, words};
use crate::sheet::picture::{Ink, Mark, Picture};
use egui::{Align2, Pos2, Vec2, pos2, vec2};
use sparefield_data::area::Area;
use sparefield_geometry::drill::{FAN_CELLS, FanCell, FanRecord, HEADINGS, HEIGHT_STEPS};
use sparefield_geometry::math;
use sparefield_geometry::position::Bearing;

/// Room for the headings round the rose, points.
const RIM: f32 = 34.0;
/// Radius of the hole in the middle, as a share of that of the rim.
const HOLE: f32 = 0.27;
/// Points along the arc of one wedge.
const ARC: usize = 7;
/// How much of an arc is left free between two wedges, radians.
const GAP_RAD: f64 = 0.012;

/// What a rose shows.
#[derive(Clone, Copy, Debug)]
pub struct FanLook<'a> {
    /// The area.
    pub area: &'a Area,
    /// Side of the square, points.
    pub side: f32,
    /// From where the strip is in reach, where that is known.
    pub stops: Option<&'a FanStops>,
    /// What was practised, where anybody is named.
    pub practised: Option<&'a Practised>,
    /// The cell looked at.
    pub looked: Option<FanCell>,
}

/// Middle of a rose, and the radius of its rim.
fn middle(side: f32) -> (Pos2, f32) {
    (pos2(side / 2.0, side / 2.0), (side / 2.0 - RIM).max(40.0))
}

/// Inner and outer radius of a ring.
fn ring(radius: f32, step: usize) -> (f32, f32) {
    let each = radius * (1.0 - HOLE) / HEIGHT_STEPS as f32;
    let inner = radius * HOLE + each * step as f32;
    (inner + 1.0, inner + each - 1.0)
}

/// The cell at a place in the picture; `None` in the middle and outside the rim.
#[must_use]
pub fn cell_at(side: f32, at: Pos2) -> Option<FanCell> {
    let (centre, radius) = middle(side);
    let off = at - centre;
    let share = (off.length() / radius - HOLE) / (1.0 - HOLE);
    if !(0.0..=1.0).contains(&share) {
        return None;
    }
    let bearing = Bearing::from_rad(math::atan2(f64::from(off.x), f64::from(-off.y)));
    let direction = (bearing.rad() / math::TAU * HEADINGS as f64).round() as usize;
    Some(FanCell::new((share * HEIGHT_STEPS as f32) as usize, direction))
}

fn out(bearing: Bearing, radius: f32) -> Vec2 {
    let unit = bearing.unit();
    vec2(unit.x as f32, -unit.y as f32) * radius
}

/// Points along the arc of a cell at a radius, clockwise.
fn arc(cell: FanCell, centre: Pos2, radius: f32) -> Vec<Pos2> {
    let half = math::PI / HEADINGS as f64 - GAP_RAD;
    let at = |i: usize| cell.heading().rad() + half * (2.0 * i as f64 / (ARC - 1) as f64 - 1.0);
    (0..ARC).map(|i| centre + out(Bearing::from_rad(at(i)), radius)).collect()
}

/// The rose.
#[must_use]
pub fn rose(look: &FanLook<'_>) -> Picture {
    let (centre, radius) = middle(look.side);
    let words = look.stops.map_or_else(
        || "Fan stops by heading and height; the wind’s part is being worked out".to_owned(),
        |stops| format!("Fan stops by heading and height: in reach from {} of {FAN_CELLS}", stops.in_reach()),
    );
    let mut p = Picture::new(Vec2::splat(look.side), words);
    for cell in FanCell::all() {
        let (inner, outer) = ring(radius, cell.step());
        wedge(&mut p, look, cell, centre, (inner, outer));
        let middle = centre + out(cell.heading(), 0.5 * (inner + outer));
        if let Some(practised) = look.practised {
            record(&mut p, &practised.records[cell.index()], middle);
        }
    }
    for direction in 0..HEADINGS {
        let at = centre + out(FanCell::new(0, direction).heading(), radius + 0.5 * RIM);
        p.text(at, Align2::CENTER_CENTER, words::heading(look.area, direction), Ink::Soft);
    }
    marked(&mut p, look, centre, radius);
    strip(&mut p, look, centre, radius * HOLE);
    p
}

/// One wedge: lit where the strip is in reach, in dusk and barred where it is not.
fn wedge(p: &mut Picture, look: &FanLook<'_>, cell: FanCell, centre: Pos2, (inner, outer): (f32, f32)) {
    let (upper, lower) = (arc(cell, centre, outer), arc(cell, centre, inner));
    let way = look.stops.map(|stops| &stops.state(cell).way);
    let band = |ink, alpha| Mark::Band { upper: upper.clone(), lower: lower.clone(), ink, alpha };
    match way {
        None => {}
        Some(Ok(way)) if way.spare_m >= words::SOME_SPARE_M => p.marks.push(band(Ink::Roomy, 0.42)),
        Some(Ok(_)) => p.marks.push(band(Ink::Roomy, 0.16)),
        Some(Err(_)) => {
            p.marks.push(band(Ink::Soft, 0.24));
            for share in [0.2, 0.4, 0.6, 0.8] {
                p.line(arc(cell, centre, inner + (outer - inner) * share), Ink::Soft, 0.8);
            }
        }
    }
    p.outline(&outline(&upper, &lower), Ink::Line, 1.0);
}

fn outline(upper: &[Pos2], lower: &[Pos2]) -> Vec<Pos2> {
    upper.iter().chain(lower.iter().rev()).copied().collect()
}

/// How often, how many stopped, and whether the last did: a disc where it did, a cross where it did not.
fn record(p: &mut Picture, record: &FanRecord, at: Pos2) {
    let Some(last) = &record.last else { return };
    let ink = if last.stopped_in_strip() { Ink::Ink } else { Ink::Caution };
    p.bold(at - vec2(0.0, 4.0), Align2::CENTER_CENTER, format!("{}/{}", record.stopped, record.drills), ink);
    let mark = at + vec2(0.0, 6.0);
    if last.stopped_in_strip() {
        p.dot(mark, 2.4, ink);
    } else {
        let (a, b) = (vec2(2.6, 2.6), vec2(2.6, -2.6));
        p.line([mark - a, mark + a], ink, 1.6);
        p.line([mark - b, mark + b], ink, 1.6);
    }
}

/// Frames round the cell that comes next and the one looked at.
fn marked(p: &mut Picture, look: &FanLook<'_>, centre: Pos2, radius: f32) {
    let frame = |cell: FanCell, off: f32| {
        let (inner, outer) = ring(radius, cell.step());
        let mut points = outline(&arc(cell, centre, outer + off), &arc(cell, centre, inner - off));
        points.extend(points.first().copied());
        points
    };
    if let Some(next) = look.practised.and_then(|p| p.next) {
        p.dashed(frame(next, -2.0), Ink::Accent, 2.0, (4.0, 3.0));
    }
    if let Some(looked) = look.looked {
        p.line(frame(looked, 1.0), Ink::Ink, 2.4);
    }
}

/// The runway as it lies, and an arrow the way the wind blows.
fn strip(p: &mut Picture, look: &FanLook<'_>, centre: Pos2, hole: f32) {
    let Some(home) = &look.area.home else { return };
    if let Some(end) = home.ends.first() {
        let along = out(look.area.to_grid(end.heading_true, home.position), 0.72 * hole);
        p.line([centre - along, centre + along], Ink::Soft, 5.0);
    }
    let Some(stops) = look.stops else { return };
    if let Some(from) = stops.assessment.wind.surface.from_bearing() {
        let with = out(from, 0.82 * hole);
        p.line([centre + with, centre - with * 0.6], Ink::Accent, 1.8);
        p.arrowhead(centre - with, -with, 8.0, Ink::Accent);
    }
}

/// What stands for what, in words, one line for each.
pub const LEGEND: [&str; 4] = [
    "Each wedge lies where the nose points; rings go from the lowest height in the middle to the highest outside.",
    "Full tint: a circuit works with 150 ft or more to spare. Light tint: with less. Grey and barred: none works.",
    "2/3 with a dot: two of three drills stopped in the strip, the last one too. With a cross: the last one did not.",
    "Broken frame: what to practise next. In the middle the runway, and an arrow the way the wind blows.",
];
