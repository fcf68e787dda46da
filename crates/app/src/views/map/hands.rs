//! What pointer and keys do: pan, zoom, choose, move and turn the aircraft.

use super::aircraft::{GRIP, nose_at};
use super::camera::View;
use super::furniture::STRIP_HEIGHT;
use super::{AircraftMark, MapEvent, MapInput, MapState};
use egui::{
    CursorIcon, EventFilter, Id, Key, Modifiers, PointerButton, Rect, Response, Role, Sense, Ui, Vec2, WidgetInfo, vec2,
};
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, Xy};

/// Name of the map for screen readers and tests.
pub const MAP_LABEL: &str = "Map, drag to pan, scroll to zoom, arrow keys to move";
/// Name of the handle that moves the aircraft.
pub const AIRCRAFT_LABEL: &str = "Aircraft, drag to move";
/// Name of the handle that turns the aircraft.
pub const NOSE_LABEL: &str = "Aircraft's nose, drag to turn";

/// Points of one press of an arrow key.
const PAN_STEP_PT: f32 = 60.0;
/// Points of one nudge of the aircraft.
const NUDGE_PT: f64 = 4.0;
/// Degrees of one press of a bracket key.
const TURN_STEP_DEG: f64 = 5.0;
/// Zoom factor of one press of plus.
const ZOOM_STEP: f64 = 1.3;

fn aircraft_id(map: &Response) -> Id {
    map.id.with("aircraft")
}
fn nose_id(map: &Response) -> Id {
    map.id.with("nose")
}

/// Whether the aircraft, and its nose, have the keyboard.
pub(super) fn parts_focused(ui: &Ui, map: &Response) -> (bool, bool) {
    ui.memory(|m| (m.has_focus(aircraft_id(map)), m.has_focus(nose_id(map))))
}
/// Whether the aircraft is being dragged.
pub(super) fn aircraft_held(ui: &Ui, map: &Response) -> bool {
    ui.ctx().is_being_dragged(aircraft_id(map))
}

pub(super) fn handle(ui: &Ui, map: &Response, state: &mut MapState, input: &MapInput<'_>) -> Vec<MapEvent> {
    let mut events = Vec::new();
    let mut over_handle = false;
    if let Some(mark) = input.aircraft {
        over_handle = handles(ui, map, state, mark, &mut events);
    }
    zoom(ui, map, state);
    let by_hand = input.hands.pan_by_drag && map.dragged_by(PointerButton::Primary);
    if by_hand || map.dragged_by(PointerButton::Middle) {
        state.pan(map.drag_delta());
        ui.ctx().set_cursor_icon(CursorIcon::Grabbing);
    }
    if map.clicked() || map.drag_started() {
        map.request_focus();
    }
    if input.hands.choose {
        choose(ui, map, state, input, over_handle, &mut events);
    }
    keys(ui, map, state, input, &mut events);
    events
}

/// The two handles of the aircraft. They lie over the map and take the pointer first. Returns whether it is on one.
fn handles(ui: &Ui, map: &Response, state: &mut MapState, mark: &AircraftMark, events: &mut Vec<MapEvent>) -> bool {
    let view = state.view(map.rect);
    let at = view.to_screen(mark.position);
    let mut over = false;

    let grip = Rect::from_center_size(at, Vec2::splat(2.0 * GRIP)).intersect(map.rect);
    if grip.is_positive() {
        let hold = ui.interact(grip, aircraft_id(map), Sense::drag() | Sense::FOCUSABLE);
        hold.widget_info(|| WidgetInfo::labeled(Role::GraphicsObject, true, AIRCRAFT_LABEL));
        let hold =
            hold.on_hover_and_drag_cursor(if hold_is_down(ui, map) { CursorIcon::Grabbing } else { CursorIcon::Grab });
        over |= hold.hovered() || hold.dragged();
        if hold.drag_started() {
            // The aircraft does not jump to the pointer: the place that was taken hold of stays under it.
            let press = ui.input(|i| i.pointer.press_origin()).unwrap_or(at);
            state.drag_offset = at - press;
            hold.request_focus();
        }
        if hold.dragged()
            && let Some(pointer) = hold.interact_pointer_pos()
        {
            events.push(MapEvent::MoveAircraft(view.to_world(pointer + state.drag_offset)));
        }
        if hold.drag_stopped() {
            events.push(MapEvent::DropAircraftEnd);
        }
        if hold.has_focus() {
            nudge(ui, aircraft_id(map), &view, mark, Modifiers::NONE, events);
        }
    }

    let knob = Rect::from_center_size(nose_at(&view, at, mark.heading), Vec2::splat(20.0));
    // While it is dragged its place follows the pointer, even beyond the edge.
    if map.rect.contains(knob.center()) || state.nose_grip.is_some() {
        let turn = ui.interact(knob, nose_id(map), Sense::drag() | Sense::FOCUSABLE);
        let heading_deg = mark.heading.unwrap_or(Bearing::NORTH).deg();
        turn.widget_info(|| WidgetInfo::slider(true, heading_deg, NOSE_LABEL));
        let turn = turn.on_hover_and_drag_cursor(CursorIcon::Crosshair);
        over |= turn.hovered() || turn.dragged();
        if turn.drag_started() {
            turn.request_focus();
        }
        state.nose_grip = None;
        if turn.dragged()
            && let Some(pointer) = turn.interact_pointer_pos()
        {
            let to = pointer - at;
            if to.length() > 3.0 {
                let on_screen = math::atan2(f64::from(to.x), f64::from(-to.y));
                let bearing = Bearing::from_rad(on_screen + view.up().rad());
                // With Shift the nose snaps to whole tens, the way headings are spoken.
                let bearing = if ui.input(|i| i.modifiers.shift) { nearest(bearing, 10.0) } else { bearing };
                state.nose_grip = Some(bearing.rad());
                events.push(MapEvent::TurnAircraft(bearing));
            }
        }
        if turn.drag_stopped() {
            events.push(MapEvent::DropAircraftEnd);
        }
        if turn.has_focus() {
            lock_keys(ui, nose_id(map));
            let (left, right) = ui.input(|i| {
                let left = i.num_presses(Key::ArrowLeft) + i.num_presses(Key::ArrowDown);
                (left, i.num_presses(Key::ArrowRight) + i.num_presses(Key::ArrowUp))
            });
            turn_by(right as f64 - left as f64, mark, events);
        }
    }
    over
}

fn hold_is_down(ui: &Ui, map: &Response) -> bool {
    aircraft_held(ui, map)
}

fn nearest(bearing: Bearing, step_deg: f64) -> Bearing {
    Bearing::from_deg((bearing.deg() / step_deg).round() * step_deg)
}

fn lock_keys(ui: &Ui, id: Id) {
    let filter = EventFilter { horizontal_arrows: true, vertical_arrows: true, ..EventFilter::default() };
    ui.memory_mut(|m| m.set_focus_lock_filter(id, filter));
}

fn nudge(ui: &Ui, id: Id, view: &View, mark: &AircraftMark, with: Modifiers, events: &mut Vec<MapEvent>) {
    lock_keys(ui, id);
    let step = ui.input_mut(|i| {
        let mut step = Xy::default();
        for (key, east, north) in [
            (Key::ArrowLeft, -1.0, 0.0),
            (Key::ArrowRight, 1.0, 0.0),
            (Key::ArrowUp, 0.0, 1.0),
            (Key::ArrowDown, 0.0, -1.0),
        ] {
            let presses = i.count_and_consume_key(with, key) as f64;
            step = step + Xy::new(east, north) * presses;
        }
        step
    });
    if step != Xy::default() {
        events.push(MapEvent::MoveAircraft(mark.position + step * (NUDGE_PT * view.camera.metres_per_point)));
        events.push(MapEvent::DropAircraftEnd);
    }
}

fn turn_by(steps: f64, mark: &AircraftMark, events: &mut Vec<MapEvent>) {
    if steps != 0.0 {
        let heading = mark.heading.unwrap_or(Bearing::NORTH);
        // To whole fives first, so that a heading set by hand comes back to round figures.
        let turned = Bearing::from_deg((heading.deg() / TURN_STEP_DEG).round() * TURN_STEP_DEG + steps * TURN_STEP_DEG);
        events.push(MapEvent::TurnAircraft(turned));
        events.push(MapEvent::DropAircraftEnd);
    }
}

fn zoom(ui: &Ui, map: &Response, state: &mut MapState) {
    if !map.contains_pointer() {
        return;
    }
    let (scroll, pinch, pointer) = ui.input(|i| (i.smooth_scroll_delta(), i.zoom_delta(), i.pointer.hover_pos()));
    let Some(pointer) = pointer else { return };
    let factor = math::exp(f64::from(scroll.y) / 220.0) * f64::from(pinch);
    if factor != 1.0 {
        state.zoom(map.rect, pointer, factor);
    }
}

fn choose(
    ui: &Ui,
    map: &Response,
    state: &mut MapState,
    input: &MapInput<'_>,
    over_handle: bool,
    events: &mut Vec<MapEvent>,
) {
    let view = state.view(map.rect);
    let on_map = |p: egui::Pos2| p.y < map.rect.bottom() - STRIP_HEIGHT;
    let pointer = map.hover_pos().filter(|p| on_map(*p) && !over_handle && !map.dragged());
    let under = pointer.and_then(|p| state.fields.hit(&view, p, input.fields));
    if under != state.hover {
        state.hover = under;
        events.push(MapEvent::HoverField(under));
    }
    if map.double_clicked() {
        if let Some(p) = map.interact_pointer_pos() {
            let place = view.to_world(p);
            state.zoom(map.rect, p, 2.0);
            state.camera.centre = place;
        }
    } else if map.clicked()
        && let Some(p) = map.interact_pointer_pos().filter(|p| on_map(*p))
    {
        let hit = state.fields.hit(&view, p, input.fields);
        if hit != input.selected {
            events.push(MapEvent::SelectField(hit));
        }
    }
    if let Some(i) = under {
        if !over_handle {
            ui.ctx().set_cursor_icon(CursorIcon::PointingHand);
        }
        let words = (input.hover_text)(i);
        if !words.is_empty() {
            map.clone().on_hover_text_at_pointer(words);
        }
    }
}

fn keys(ui: &Ui, map: &Response, state: &mut MapState, input: &MapInput<'_>, events: &mut Vec<MapEvent>) {
    let parts = parts_focused(ui, map);
    if !(map.has_focus() || parts.0 || parts.1) {
        return;
    }
    if map.has_focus() {
        let view = state.view(map.rect);
        if let Some(mark) = input.aircraft {
            nudge(ui, map.id, &view, mark, Modifiers::SHIFT, events);
        }
        lock_keys(ui, map.id);
        let arrows = input.hands.pan_by_arrows;
        let pan = ui.input_mut(|i| {
            let mut pan = Vec2::ZERO;
            for (key, by) in [
                (Key::ArrowLeft, vec2(1.0, 0.0)),
                (Key::ArrowRight, vec2(-1.0, 0.0)),
                (Key::ArrowUp, vec2(0.0, 1.0)),
                (Key::ArrowDown, vec2(0.0, -1.0)),
            ] {
                if arrows {
                    pan += by * i.count_and_consume_key(Modifiers::NONE, key) as f32;
                }
            }
            pan
        });
        state.pan(pan * PAN_STEP_PT);
    }
    let (closer, farther, fit, left, right) = ui.input(|i| {
        (
            i.num_presses(Key::Plus) + i.num_presses(Key::Equals),
            i.num_presses(Key::Minus),
            i.key_pressed(Key::Num0) || i.key_pressed(Key::Home),
            i.num_presses(Key::OpenBracket),
            i.num_presses(Key::CloseBracket),
        )
    });
    let steps = closer as f64 - farther as f64;
    if steps != 0.0 {
        state.zoom(map.rect, map.rect.center(), math::pow(ZOOM_STEP, steps));
    }
    if fit {
        state.fit();
        state.settle_camera(map.rect, input);
    }
    if let Some(mark) = input.aircraft {
        turn_by(right as f64 - left as f64, mark, events);
    }
}
