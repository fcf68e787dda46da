//! The field from above: its strips, and what stands on each side.

use super::One;
use super::above::Placing;
use super::picture::{Ink, Picture, text_width};
use super::relief::Relief;
use crate::theme::Sizes;
use egui::{Align2, Pos2, Rect, Vec2, pos2, vec2};
use sparefield_data::quantity::{UnitPrefs, format_bearing};
use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind, Field, Hazard, HazardKind, HazardShape};
use sparefield_geometry::fields::sheet::Way;
use sparefield_geometry::fields::study::StudyOptions;
use sparefield_geometry::position::{Bearing, Xy};
use std::sync::Arc;

/// Least distance between two poles that are drawn, points.
const POLES_APART: f32 = 9.0;
/// How far round the field hazards are shown, metres.
const NEAR_M: f64 = 120.0;
/// Room round the field for labels, points.
const ROOM: f32 = 34.0;

/// How the plan is drawn.
#[derive(Clone, Copy, Debug)]
pub struct PlanLook<'a> {
    /// Its size, points.
    pub size: Vec2,
    /// Points for each metre.
    pub scale: f32,
    /// The way that is filled in.
    pub way: Option<&'a Way>,
    /// Hazards of the area.
    pub hazards: &'a [Arc<Hazard>],
    /// The ground under it, where it is printed.
    pub ground: Option<&'a Relief>,
    /// Units.
    pub units: UnitPrefs,
    /// Sizes of text.
    pub sizes: &'a Sizes,
}

fn extent(field: &Field) -> Option<(Xy, Xy)> {
    let (low, high) = super::above::extent(field.outer.iter().copied())?;
    (high.x > low.x && high.y > low.y).then_some((low, high))
}

/// The scale at which a field fits into a size, points for each metre.
#[must_use]
pub fn scale(field: &Field, size: Vec2) -> f32 {
    extent(field).map_or(1.0, |(low, high)| {
        let room = size - Vec2::splat(2.0 * ROOM);
        (room.x / (high.x - low.x) as f32).min(room.y / (high.y - low.y) as f32).max(1e-4)
    })
}

/// The field from above, north upwards.
#[must_use]
pub fn picture(one: &One, look: &PlanLook<'_>) -> Picture {
    let mut p = Picture::new(look.size, "The field from above with its strips, north upwards");
    let Some((low, high)) = extent(&one.field) else { return p };
    let middle = (low + high) * 0.5;
    let scale = look.scale;
    let centre = look.size / 2.0;
    let place = |q: Xy| pos2((q.x - middle.x) as f32 * scale + centre.x, (middle.y - q.y) as f32 * scale + centre.y);
    if let Some(ground) = look.ground {
        ground.under(&mut p, &Placing { middle, scale, size: look.size });
    }
    hazards(&mut p, look.hazards, &place, (low, high));
    sides(&mut p, &one.field, &place);
    for strip in &one.sheet.strips {
        let corners = strip.ways[0].placing.corners.map(place);
        p.outline(&corners, Ink::Soft, 1.0);
    }
    let mut labels = Labels { p: &mut p, taken: Vec::new(), size: look.size, small: look.sizes.small };
    labels.keep(Rect::from_min_size(pos2(0.0, look.size.y - 24.0), vec2(130.0, 24.0)));
    labels.keep(Rect::from_min_size(pos2(look.size.x - 34.0, 0.0), vec2(34.0, 44.0)));
    if let Some(way) = look.way {
        chosen(labels.p, way, &place);
    }
    for way in one.sheet.strips.iter().flat_map(|s| &s.ways) {
        let strip = &way.landing.strip;
        let back = (place(strip.start) - place(strip.end)).normalized();
        let at = place(strip.start) + back * 22.0;
        let text = format_bearing(one.true_bearing(strip.heading));
        let this = look
            .way
            .is_some_and(|w| w.landing.strip_index == way.landing.strip_index && w.landing.end == way.landing.end);
        labels.add(at, &text, if this { Ink::Accent } else { Ink::Soft }, this);
    }
    side_labels(&mut labels, &one.field, look.units, &place);
    north(&mut p, look.size);
    scale_bar(&mut p, look.size, look.scale, look.units);
    p
}

fn height_of(edge: BoundaryEdge) -> (f64, bool) {
    StudyOptions::default().assumed.height_m(edge)
}

fn edge_ink(kind: EdgeKind) -> Ink {
    match kind {
        EdgeKind::Wires => Ink::Wires,
        EdgeKind::Hedge | EdgeKind::TreeLine => Ink::Wood,
        EdgeKind::Wall | EdgeKind::Fence => Ink::Building,
        EdgeKind::Nothing | EdgeKind::Unknown => Ink::Soft,
    }
}

fn sides(p: &mut Picture, field: &Field, place: &dyn Fn(Xy) -> Pos2) {
    for (i, &a) in field.outer.iter().enumerate() {
        let b = field.outer[(i + 1) % field.outer.len()];
        let edge = field.edges.get(i).copied().unwrap_or(BoundaryEdge::UNKNOWN);
        let (height, assumed) = height_of(edge);
        let width = 1.2 + (height as f32 * 0.3).min(5.0);
        let line = [place(a), place(b)];
        if assumed {
            p.dashed(line, edge_ink(edge.kind), width, (7.0, 4.0));
        } else {
            p.line(line, edge_ink(edge.kind), width);
        }
    }
    for hole in &field.holes {
        let points: Vec<Pos2> = hole.iter().map(|&q| place(q)).collect();
        p.outline(&points, Ink::Soft, 1.5);
    }
}

fn side_labels(labels: &mut Labels<'_>, field: &Field, units: UnitPrefs, place: &dyn Fn(Xy) -> Pos2) {
    let mut middle = Vec2::ZERO;
    for &q in &field.outer {
        middle += place(q).to_vec2();
    }
    let middle = (middle / field.outer.len().max(1) as f32).to_pos2();
    // Long sides first: they have the room.
    let mut order: Vec<(f32, usize)> = (0..field.outer.len())
        .map(|i| ((place(field.outer[i]) - place(field.outer[(i + 1) % field.outer.len()])).length(), i))
        .collect();
    order.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut said: Vec<(String, Pos2)> = Vec::new();
    for (length, i) in order {
        if length < 26.0 {
            break;
        }
        let edge = field.edges.get(i).copied().unwrap_or(BoundaryEdge::UNKNOWN);
        if edge.kind == EdgeKind::Nothing && edge.height_m.is_none_or(|h| h <= 0.0) {
            continue;
        }
        let (height, assumed) = height_of(edge);
        let what = if edge.kind == EdgeKind::Unknown { "not known" } else { edge.kind.words() };
        let text = format!("{what} {}{}", units.format_height(height), if assumed { "?" } else { "" });
        let (a, b) = (place(field.outer[i]), place(field.outer[(i + 1) % field.outer.len()]));
        let at = a + (b - a) * 0.5;
        if said.iter().any(|(t, q)| *t == text && (*q - at).length() < 130.0) {
            continue;
        }
        let mut away = (b - a).normalized().rot90();
        if (at - middle).dot(away) < 0.0 {
            away = -away;
        }
        // Far enough out that a level line of text stays clear of the side.
        let half = text_width(&text, labels.small) / 2.0;
        let room = 10.0 + away.x.abs() * half;
        if labels.add(at + away * room, &text, Ink::Ink, false) {
            said.push((text, at));
        }
    }
}

/// Labels that keep clear of each other and of the picture's edges.
struct Labels<'a> {
    p: &'a mut Picture,
    taken: Vec<Rect>,
    size: Vec2,
    small: f32,
}

impl Labels<'_> {
    fn keep(&mut self, rect: Rect) {
        self.taken.push(rect);
    }
    fn add(&mut self, at: Pos2, text: &str, ink: Ink, bold: bool) -> bool {
        let size = vec2(text_width(text, self.small), self.small + 3.0);
        let room = Rect::from_min_size(Pos2::ZERO, self.size).shrink(2.0);
        if !at.is_finite() || room.width() <= size.x || room.height() <= size.y {
            return false;
        }
        let half = size / 2.0;
        let at = at.clamp(room.min + half, room.max - half);
        let rect = Rect::from_center_size(at, size);
        let free = !self.taken.iter().any(|t| t.intersects(rect));
        if free {
            self.taken.push(rect);
            if bold {
                self.p.bold(at, Align2::CENTER_CENTER, text, ink);
            } else {
                self.p.text(at, Align2::CENTER_CENTER, text, ink);
            }
        }
        free
    }
}

/// The way looked at: its usable part filled, the part that the approach takes hollow, an arrowhead where the landing
/// end is moved to, and the needed length from the aiming point on.
fn chosen(p: &mut Picture, way: &Way, place: &dyn Fn(Xy) -> Pos2) {
    let strip = &way.landing.strip;
    let placing = &way.placing;
    let along = strip.heading.unit();
    let [right_start, right_end, left_end, left_start] = placing.corners;
    let taken = placing.displaced - strip.start;
    let usable = [right_start + taken, right_end, left_end, left_start + taken].map(place);
    p.area(usable, Ink::Accent, 0.3);
    p.outline(&placing.corners.map(place), Ink::Accent, 1.5);
    if strip.displacement_m > 0.0 {
        p.line([place(right_start + taken), place(left_start + taken)], Ink::Accent, 1.5);
    }
    let towards = (place(strip.end) - place(strip.start)).normalized();
    p.dashed([place(strip.start) - towards * 60.0, place(strip.start)], Ink::Soft, 1.5, (6.0, 4.0));
    let stop = strip.start + along * placing.stop_m.min(strip.length_m);
    p.line([place(placing.aiming), place(stop)], Ink::Ink, 2.5);
    if placing.stop_m > strip.length_m {
        // What is missing runs out of the field.
        let over = strip.start + along * placing.stop_m.min(strip.length_m * 3.0);
        p.dashed([place(stop), place(over)], Ink::Caution, 2.5, (4.0, 3.0));
    }
    let across = towards.rot90() * 6.0;
    p.line([place(placing.aiming) - across, place(placing.aiming) + across], Ink::Ink, 2.5);
    p.arrowhead(place(placing.displaced) + towards * 13.0, towards, 13.0, Ink::Accent);
}

/// Hazards in a box of the frame and a little round it, cut to the picture.
pub(crate) fn hazards(p: &mut Picture, hazards: &[Arc<Hazard>], place: &dyn Fn(Xy) -> Pos2, (low, high): (Xy, Xy)) {
    let (low, high) = (low - Xy::new(NEAR_M, NEAR_M), high + Xy::new(NEAR_M, NEAR_M));
    let near = |q: &Xy| q.x > low.x && q.x < high.x && q.y > low.y && q.y < high.y;
    let within = Rect::from_min_size(Pos2::ZERO, p.size);
    let inside = |a: Pos2, b: Pos2| crate::views::map::cut_to(a, b, within);
    for hazard in hazards {
        match &hazard.shape {
            HazardShape::Point(q) if near(q) && within.contains(place(*q)) => {
                let ink = if hazard.kind == HazardKind::LoneTree { Ink::Wood } else { Ink::Building };
                p.dot(place(*q), 4.5, ink);
            }
            HazardShape::Line(line) => {
                for pair in line.windows(2) {
                    if let Some((a, b)) = inside(place(pair[0]), place(pair[1])) {
                        p.line([a, b], Ink::Wires, 1.5);
                    }
                }
                // From far away poles would run together into a bar.
                let mut last: Option<Pos2> = None;
                for at in line.iter().map(|q| place(*q)).filter(|at| within.contains(*at)) {
                    if last.is_none_or(|last| (at - last).length() >= POLES_APART) {
                        p.dot(at, 2.5, Ink::Wires);
                        last = Some(at);
                    }
                }
            }
            HazardShape::Area { outer, .. } if outer.iter().any(near) => {
                let ink = match hazard.kind {
                    HazardKind::Water => Ink::Water,
                    HazardKind::Building => Ink::Building,
                    _ => Ink::Wood,
                };
                for (i, q) in outer.iter().enumerate() {
                    if let Some((a, b)) = inside(place(*q), place(outer[(i + 1) % outer.len()])) {
                        p.line([a, b], ink, 2.0);
                    }
                }
            }
            HazardShape::Point(_) | HazardShape::Area { .. } => {}
        }
    }
}

/// An arrow to the north in the upper right corner.
pub(crate) fn north(p: &mut Picture, size: Vec2) {
    let foot = pos2(size.x - 16.0, 38.0);
    let tip = foot - vec2(0.0, 22.0);
    p.line([foot, tip], Ink::Soft, 1.5);
    p.arrowhead(tip, vec2(0.0, -1.0), 8.0, Ink::Soft);
    p.bold(tip - vec2(0.0, 1.0), Align2::CENTER_BOTTOM, "N", Ink::Soft);
}

/// A scale in the lower left corner; `scale` is points for each metre.
pub(crate) fn scale_bar(p: &mut Picture, size: Vec2, scale: f32, units: UnitPrefs) {
    let unit = units.length.metres();
    let wanted = 90.0 / f64::from(scale) / unit;
    let steps = [10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1_000.0, 2_000.0, 5_000.0, 10_000.0, 20_000.0];
    let length = steps.iter().rev().copied().find(|s| *s <= wanted).unwrap_or(10.0) * unit;
    let width = (length * f64::from(scale)) as f32;
    let (left, y) = (8.0, size.y - 8.0);
    p.line([pos2(left, y - 5.0), pos2(left, y), pos2(left + width, y), pos2(left + width, y - 5.0)], Ink::Soft, 1.5);
    p.text(pos2(left + width + 6.0, y + 2.0), Align2::LEFT_BOTTOM, units.format_length(length), Ink::Soft);
}

/// The wind over a picture, blowing from a grid bearing: an arrow in the upper left corner.
pub fn wind(p: &mut Picture, from: Bearing, words: &str) {
    let unit = from.unit();
    let from = vec2(unit.x as f32, -unit.y as f32) * 15.0;
    let centre = pos2(22.0, 22.0);
    p.line([centre + from, centre - from], Ink::Ink, 2.0);
    p.arrowhead(centre - from, -from, 9.0, Ink::Ink);
    p.text(pos2(42.0, 22.0), Align2::LEFT_CENTER, words, Ink::Ink);
}
