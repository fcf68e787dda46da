//! Flown circuits: a ribbon that is wide where there is height and narrow near the ground, with its key positions, the
//! gate where the choice can last change, and the aircraft that flies it.

use super::cloud::{self, CloudMark};
use super::furniture::STRIP_HEIGHT;
use super::paint::Brush;
use super::{MapInput, aircraft};
use crate::theme::with_alpha;
use egui::{
    Align2, Color32, Galley, Mesh, Pos2, Rect, Response, Role, Sense, Shape, Stroke, StrokeKind, Ui, Vec2, WidgetInfo,
    pos2, vec2,
};
use sparefield_geometry::position::{Bearing, Xy};
use std::sync::Arc;

/// Height from which the ribbon is no wider, metres.
const WIDEST_FROM_M: f64 = 250.0;
/// Half the ribbon's width on the ground and high up, points.
const HALF_WIDTH: (f32, f32) = (1.5, 4.2);
/// Points between arrowheads along a leg.
const ARROW_EVERY: f32 = 95.0;
/// How far from its place a label may stand, points.
const LABEL_GAPS: [f32; 6] = [8.0, 16.0, 28.0, 44.0, 66.0, 92.0];
/// Room of the button in the upper right corner, from the corner leftwards and down, points.
const LAYERS_BUTTON: Vec2 = vec2(84.0, 46.0);
/// Fields smaller than this on the screen keep free of labels, points.
const LARGE_FIELD: f32 = 260.0;
/// On the screen smaller than this a circuit has no labels at all, or only those of its end and its gate; points.
const NO_LABELS_BELOW: f32 = 60.0;
const FEW_LABELS_BELOW: f32 = 150.0;

/// A point of a flown track.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RibbonPoint {
    /// Where.
    pub at: Xy,
    /// Height above the landing place, metres.
    pub height_m: f64,
    /// Whether it belongs to a turn.
    pub turning: bool,
}

/// A key position.
#[derive(Clone, Debug, PartialEq)]
pub struct KeyMark {
    /// Where.
    pub at: Xy,
    /// Short name and height, such as "base turn 560 ft".
    pub label: String,
    /// Whether its label goes first where there is room for few.
    pub matters: bool,
}

/// A turn.
#[derive(Clone, Debug, PartialEq)]
pub struct TurnMark {
    /// Its middle.
    pub at: Xy,
    /// Unit vector away from the centre of the turn.
    pub outward: Xy,
    /// Height lost in it, such as "−120 ft".
    pub label: String,
}

/// The last place from which the choice can change.
#[derive(Clone, Debug, PartialEq)]
pub struct GateMark {
    /// Where.
    pub at: Xy,
    /// Heading there.
    pub heading: Bearing,
    /// Height, and which field is second.
    pub label: String,
}

/// A circuit as the map shows it.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct CircuitMark {
    /// The track in the order flown.
    pub track: Vec<RibbonPoint>,
    /// Key positions.
    pub keys: Vec<KeyMark>,
    /// Turns.
    pub turns: Vec<TurnMark>,
    /// Where the pilot aims.
    pub aim: Xy,
    /// Where the glide meets the ground.
    pub touchdown: Xy,
    /// Where the aircraft stops.
    pub stop: Xy,
    /// The last place from which the choice can change.
    pub gate: Option<GateMark>,
}

/// An aircraft on its way round a circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct FlownMark {
    /// Where it is.
    pub at: Xy,
    /// Where its nose points.
    pub heading: Bearing,
    /// Bank, radians, right positive.
    pub bank_rad: f64,
    /// Height above the landing place in the user's words.
    pub height: String,
    /// What it does, for those who do not see it.
    pub words: String,
    /// Whether it flies the circuit compared with.
    pub is_beside: bool,
}

/// What is shown of circuits.
#[derive(Clone, Copy, Debug, Default)]
pub struct ShownCircuits<'a> {
    /// Into the chosen field.
    pub chosen: Option<&'a CircuitMark>,
    /// The one it is compared with.
    pub beside: Option<&'a CircuitMark>,
    /// Where flights into the chosen field come down.
    pub cloud: Option<&'a CloudMark>,
    /// Aircraft on their way.
    pub flown: &'a [FlownMark],
}

/// The tracks with what stands on them; labels are drawn apart, since they take their room first.
pub(super) fn ribbons(brush: &mut Brush<'_>, input: &MapInput<'_>) {
    let c = &input.theme.colours;
    if let Some(mark) = input.circuits.beside {
        let colour = c.circuit_beside;
        let points: Vec<Xy> = mark.track.iter().map(|p| p.at).collect();
        let path = brush.path(&points);
        brush.line(&path, Stroke::new(5.0, with_alpha(c.halo, 0.8)));
        brush.dashed(&path, Stroke::new(2.2, colour), &[11.0, 3.0, 2.5, 3.0]);
        arrows(brush, &path, colour);
        for key in &mark.keys {
            square(brush, key.at, 3.0, colour);
        }
        ends(brush, mark, colour);
    }
    if let Some(mark) = input.circuits.cloud {
        cloud::draw(brush, mark);
    }
    if let Some(mark) = input.circuits.chosen {
        let colour = c.circuit;
        ribbon(brush, &mark.track, colour);
        for key in &mark.keys {
            square(brush, key.at, 4.0, colour);
        }
        ends(brush, mark, colour);
        if let Some(gate) = &mark.gate {
            draw_gate(brush, gate);
        }
    }
}

/// A point of the ribbon on the screen.
struct Edge {
    at: Pos2,
    half: f32,
    turning: bool,
}

fn ribbon(brush: &mut Brush<'_>, track: &[RibbonPoint], colour: Color32) {
    let halo = brush.theme.colours.halo;
    let mut edges: Vec<Edge> = Vec::new();
    for (i, point) in track.iter().enumerate() {
        let at = brush.view.to_screen(point.at);
        let near = edges.last().is_some_and(|e| (e.at - at).length() < 1.5 && e.turning == point.turning);
        if near && i + 1 < track.len() {
            continue;
        }
        let share = (point.height_m / WIDEST_FROM_M).clamp(0.0, 1.0) as f32;
        let half = HALF_WIDTH.0 + (HALF_WIDTH.1 - HALF_WIDTH.0) * share;
        edges.push(Edge { at, half, turning: point.turning });
    }
    let seen = brush.view.rect.expand(40.0);
    band(brush, &edges, seen, 1.8, with_alpha(halo, 0.9));
    band(brush, &edges, seen, 0.0, colour);
    // A light line along the middle tells a leg from a turn.
    for leg in edges.chunk_by(|a, b| a.turning == b.turning).filter(|run| !run[0].turning) {
        let path: Vec<Pos2> = leg.iter().map(|e| e.at).collect();
        brush.line(&path, Stroke::new(1.1, halo));
        arrows(brush, &path, colour);
    }
}

fn band(brush: &mut Brush<'_>, edges: &[Edge], seen: Rect, more: f32, colour: Color32) {
    let mut mesh = Mesh::default();
    for (i, pair) in edges.windows(2).enumerate() {
        let [a, b] = [&pair[0], &pair[1]];
        if !seen.intersects(Rect::from_two_pos(a.at, b.at)) {
            continue;
        }
        let side = |k: usize| {
            let (from, to) = (&edges[k.saturating_sub(1)], &edges[(k + 1).min(edges.len() - 1)]);
            (to.at - from.at).normalized().rot90()
        };
        let (na, nb) = (side(i) * (a.half + more), side(i + 1) * (b.half + more));
        let first = mesh.vertices.len() as u32;
        for p in [a.at - na, a.at + na, b.at - nb, b.at + nb] {
            mesh.colored_vertex(p, colour);
        }
        mesh.add_triangle(first, first + 1, first + 2);
        mesh.add_triangle(first + 1, first + 3, first + 2);
    }
    brush.add(Shape::mesh(mesh));
}

/// Arrowheads along a path that show which way it is flown.
fn arrows(brush: &mut Brush<'_>, path: &[Pos2], colour: Color32) {
    let halo = brush.theme.colours.halo;
    let total: f32 = path.windows(2).map(|w| (w[1] - w[0]).length()).sum();
    if total.is_nan() || total < 34.0 {
        return;
    }
    let count = (total / ARROW_EVERY).ceil().clamp(1.0, 60.0);
    let step = total / count;
    let (mut walked, mut next) = (0.0, step / 2.0);
    for pair in path.windows(2) {
        let run = pair[1] - pair[0];
        let length = run.length();
        while length > 0.0 && walked + length >= next {
            let unit = run / length;
            let at = pair[0] + unit * (next - walked);
            next += step;
            if !brush.view.rect.contains(at) {
                continue;
            }
            let across = unit.rot90() * 6.5;
            let head = vec![at + unit * 7.0, at - unit * 5.0 + across, at - unit * 5.0 - across];
            brush.add(Shape::convex_polygon(head, colour, Stroke::new(1.4, halo)));
        }
        walked += length;
    }
}

fn square(brush: &mut Brush<'_>, at: Xy, half: f32, colour: Color32) {
    let at = brush.view.to_screen(at);
    if !brush.view.rect.expand(10.0).contains(at) {
        return;
    }
    let rect = Rect::from_center_size(at, Vec2::splat(2.0 * half));
    brush.add(Shape::rect_filled(rect.expand(1.4), 0.0, colour));
    brush.add(Shape::rect_filled(rect.shrink(0.6), 0.0, brush.theme.colours.halo));
}

/// Aiming point, touchdown and stop.
fn ends(brush: &mut Brush<'_>, mark: &CircuitMark, colour: Color32) {
    let halo = brush.theme.colours.halo;
    let [aim, touchdown, stop] = [mark.aim, mark.touchdown, mark.stop].map(|p| brush.view.to_screen(p));
    let run = stop - touchdown;
    if run.length() > 4.0 {
        let across = run.normalized().rot90() * 7.0;
        for (width, ink) in [(5.0, halo), (2.2, colour)] {
            brush.dashed(&[touchdown, stop], Stroke::new(width, ink), &[4.0, 3.0]);
            brush.line(&[stop - across, stop + across], Stroke::new(width, ink));
        }
    }
    for (width, ink) in [(5.0, halo), (2.0, colour)] {
        brush.add(Shape::circle_stroke(aim, 6.5, Stroke::new(width, ink)));
    }
    brush.add(Shape::circle_filled(touchdown, 3.6, halo));
    brush.add(Shape::circle_filled(touchdown, 2.6, colour));
}

fn draw_gate(brush: &mut Brush<'_>, gate: &GateMark) {
    let (ink, halo) = (brush.theme.colours.ink, brush.theme.colours.halo);
    let at = brush.view.to_screen(gate.at);
    let along = brush.view.direction(gate.heading);
    let across = along.rot90() * 17.0;
    for (width, colour) in [(6.0, halo), (2.6, ink)] {
        brush.line(&[at - across, at + across], Stroke::new(width, colour));
        for end in [at - across, at + across] {
            brush.line(&[end - along * 5.0, end + along * 5.0], Stroke::new(width, colour));
        }
    }
}

/// Labels of the circuits. They keep clear of the ribbon, of each other and of the edges; those without room are left
/// out, the least important first. What comes later keeps clear of the ribbon, too.
pub(super) fn labels(brush: &mut Brush<'_>, input: &MapInput<'_>) {
    let Some(mark) = input.circuits.chosen else { return };
    let drawn = drawn_over(brush, input, mark);
    place_labels(brush, input, mark, drawn.clone());
    for rect in drawn {
        brush.occupy(rect);
    }
}

/// Places that tracks and the gate are drawn over.
fn drawn_over(brush: &Brush<'_>, input: &MapInput<'_>, mark: &CircuitMark) -> Vec<Rect> {
    let both = [Some(mark), input.circuits.beside];
    let mut avoid: Vec<Rect> = Vec::new();
    for track in both.into_iter().flatten().map(|m| &m.track) {
        let mut last: Option<Pos2> = None;
        for at in track.iter().map(|p| brush.view.to_screen(p.at)) {
            if brush.view.rect.contains(at) && last.is_none_or(|l| (l - at).length() > 7.0) {
                avoid.push(Rect::from_center_size(at, Vec2::splat(9.0)));
                last = Some(at);
            }
        }
    }
    if let Some(gate) = &mark.gate {
        let aside = brush.view.direction(gate.heading).rot90();
        let size = vec2(20.0 + 28.0 * aside.x.abs(), 20.0 + 28.0 * aside.y.abs());
        avoid.push(Rect::from_center_size(brush.view.to_screen(gate.at), size));
    }
    avoid
}

fn place_labels(brush: &mut Brush<'_>, input: &MapInput<'_>, mark: &CircuitMark, mut avoid: Vec<Rect>) {
    let c = &input.theme.colours;
    // The button of the layers lies over this corner.
    avoid.push(Rect::from_min_max(
        brush.view.rect.right_top() - LAYERS_BUTTON,
        brush.view.rect.right_top() + LAYERS_BUTTON,
    ));
    // The chosen field's own number and strip are not covered, as long as there is room beside it.
    if let Some(field) = input.selected.and_then(|i| input.fields.get(i)) {
        let corners: Vec<Pos2> = field.outer.iter().map(|p| brush.view.to_screen(*p)).collect();
        let room = Rect::from_points(&corners);
        if room.size().max_elem() < LARGE_FIELD {
            avoid.push(Rect::from_center_size(room.center(), room.size() * 0.7));
        }
    }
    let places: Vec<Pos2> = mark.track.iter().map(|p| brush.view.to_screen(p.at)).collect();
    let size = Rect::from_points(&places).size().max_elem();
    if places.is_empty() || size.is_nan() || size < NO_LABELS_BELOW {
        return;
    }
    let few = size < FEW_LABELS_BELOW;
    let bold = input.theme.bold_font(12.0);
    if let Some(gate) = &mark.gate {
        let at = brush.view.to_screen(gate.at);
        let aside = brush.view.direction(gate.heading).rot90();
        let galley = brush.galley(gate.label.clone(), bold.clone(), c.ink);
        label(brush, at, aside, galley, c.ink, &avoid, 14.0);
    }
    let mut keys: Vec<&KeyMark> = mark.keys.iter().filter(|k| k.matters || !few).collect();
    keys.sort_by_key(|k| !k.matters);
    for key in keys {
        let galley = brush.galley(key.label.clone(), bold.clone(), c.ink);
        let at = brush.view.to_screen(key.at);
        label(brush, at, vec2(1.0, 0.0), galley, c.ink, &avoid, 0.0);
    }
    if few {
        return;
    }
    let stop = brush.galley("stop", bold.clone(), c.ink);
    label(brush, brush.view.to_screen(mark.stop), vec2(1.0, 0.0), stop, c.ink, &avoid, 0.0);
    for turn in &mark.turns {
        let galley = brush.galley(turn.label.clone(), bold.clone(), c.circuit);
        let outward = vec2(turn.outward.x as f32, -turn.outward.y as f32);
        label(brush, brush.view.to_screen(turn.at), outward, galley, c.circuit, &avoid, 0.0);
    }
}

/// Writes a label near a place, first in the direction asked, then round it and farther off.
fn label(
    brush: &mut Brush<'_>,
    at: Pos2,
    first: Vec2,
    galley: Arc<Galley>,
    colour: Color32,
    avoid: &[Rect],
    farther: f32,
) {
    let view = brush.view.rect;
    let inner = Rect::from_min_max(view.min, pos2(view.right(), view.bottom() - STRIP_HEIGHT)).shrink(4.0);
    if !inner.contains(at) {
        return;
    }
    let half = galley.size() / 2.0 + vec2(3.0, 1.0);
    let turns = [0.0f32, 45.0, -45.0, 90.0, -90.0, 135.0, -135.0, 180.0];
    for gap in LABEL_GAPS.map(|g| g + farther) {
        for turn in turns {
            let way = egui::emath::Rot2::from_angle(turn.to_radians()) * first;
            let out = gap + (way.x.abs() * half.x).max(way.y.abs() * half.y).max(half.y);
            let rect = Rect::from_center_size(at + way * out, half * 2.0);
            if !inner.contains_rect(rect) || avoid.iter().any(|a| a.intersects(rect)) || !brush.claim(rect) {
                continue;
            }
            let end = rect.clamp(at);
            if (end - at).length() > LABEL_GAPS[0] + farther + 5.0 {
                brush.line(&[at, end], Stroke::new(3.0, with_alpha(brush.theme.colours.halo, 0.8)));
                brush.line(&[at, end], Stroke::new(1.0, colour));
            }
            brush.halo_text(rect.center(), Align2::CENTER_CENTER, galley, colour);
            return;
        }
    }
}

/// Aircraft on their way, over everything else.
pub(super) fn flown(brush: &mut Brush<'_>, ui: &Ui, map: &Response, input: &MapInput<'_>) {
    let c = &input.theme.colours;
    if let Some(mark) = input.circuits.cloud {
        cloud::spot(brush, ui, map, mark);
    }
    // The one that is chosen lies on top.
    for mark in input.circuits.flown.iter().rev() {
        let at = brush.view.to_screen(mark.at);
        if !brush.view.rect.contains(at) {
            continue;
        }
        let colour = if mark.is_beside { c.circuit_beside } else { c.circuit };
        aircraft::delta(brush, at, Some(mark.heading), mark.bank_rad, colour);
        let galley = brush.galley(mark.height.clone(), input.theme.bold_font(13.0), c.ink);
        let nose = brush.view.direction(mark.heading);
        let outward = if nose.x <= 0.0 { 1.0 } else { -1.0 };
        let place = at + vec2(outward * (26.0 + galley.size().x / 2.0), 12.0);
        let rect = Rect::from_center_size(place, galley.size()).expand2(vec2(4.0, 1.0));
        brush.add(Shape::rect_filled(rect, 3.0, with_alpha(c.halo, 0.92)));
        brush.add(Shape::rect_stroke(rect, 3.0, Stroke::new(1.2, colour), StrokeKind::Inside));
        let corner = Align2::CENTER_CENTER.anchor_size(place, galley.size()).min;
        brush.add(Shape::galley(corner, galley, c.ink));
        let id = map.id.with(if mark.is_beside { "flown beside" } else { "flown" });
        let spot = ui.interact(Rect::from_center_size(at, Vec2::splat(30.0)), id, Sense::empty());
        spot.widget_info(|| WidgetInfo::labeled(Role::GraphicsObject, true, &mark.words));
    }
}
