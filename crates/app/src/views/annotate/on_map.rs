//! Pointer and keys on the map while annotating.

use super::{overlay, tools};
use crate::command::Command;
use crate::edits;
use crate::edits::things::vertices;
use crate::model::{AnnotateCommand, Grip, Model, Thing, Tool};
use crate::theme::Theme;
use crate::views::map::{Hands, Shown, View};
use egui::{CursorIcon, EventFilter, Id, Key, Modifiers, Pos2, Rect, Response, Role, Sense, Ui, Vec2, WidgetInfo};
use sparefield_data::area::Area;
use sparefield_geometry::outline::place::{ends_of, ring_of};
use sparefield_geometry::outline::{CornerRef, RingRef, SideRef};
use sparefield_geometry::position::Xy;

/// How near the pointer must be to a corner or side to catch it, points.
const CATCH_PT: f64 = 12.0;
/// Side of a corner's handle, points.
const HANDLE_PT: f32 = 18.0;
/// A side shorter than this on the screen has no handle to insert a corner, points.
const LEAST_SIDE_PT: f32 = 44.0;
/// Room that each corner needs to have a handle, as a share of width and height on the screen, points. Corners are
/// then about twice as far apart, and handles do not hide the field.
const LEAST_ROOM_PT: f32 = 8.0;
/// Points that one press of an arrow key moves the pen by.
const PEN_STEP_PT: f64 = 10.0;
/// Metres that one press of an arrow key moves a corner by.
const CORNER_STEP_M: f64 = 1.0;

/// What the map leaves to this module in this frame.
#[must_use]
pub fn hands(ui: &Ui, model: &Model) -> Hands {
    let annotating = &model.annotating;
    let modifiers = ui.input(|i| i.modifiers);
    let lasso_or_move = annotating.tool == Tool::Choose && (modifiers.shift || modifiers.command);
    Hands {
        choose: false,
        pan_by_drag: annotating.tool != Tool::Sides && !lasso_or_move,
        pan_by_arrows: !(matches!(annotating.tool, Tool::Draw(_)) || annotating.corner.is_some()),
    }
}

/// Takes pointer and keys, and draws what is being done over the map.
pub fn on_map(ui: &Ui, shown: &Shown, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let mut push = |command: AnnotateCommand| commands.push(Command::Annotate(command));
    let map = &shown.response;
    let view = &shown.view;
    let radius_m = CATCH_PT * view.camera.metres_per_point;
    match model.annotating.tool {
        Tool::Draw(_) => draw_with(ui, map, view, radius_m, model, &mut push),
        Tool::Sides => paint_with(map, view, radius_m, &mut push),
        Tool::Choose => {
            handles(ui, map, view, radius_m, model, &mut push);
            choose_with(ui, map, view, radius_m, model, &mut push);
        }
    }
    let elsewhere = model.asking || ui.ctx().text_edit_focused() || egui::Popup::is_any_open(ui.ctx());
    if !elsewhere {
        keys(ui, map, view, model, &mut push);
        tools::keys(ui, commands);
    }
    overlay::draw(ui, shown, model, theme);
}

fn draw_with(
    ui: &Ui,
    map: &Response,
    view: &View,
    radius_m: f64,
    model: &Model,
    push: &mut impl FnMut(AnnotateCommand),
) {
    let draft = &model.annotating.draft;
    if let Some(pointer) = map.hover_pos() {
        ui.ctx().set_cursor_icon(CursorIcon::Crosshair);
        let moved = ui.input(|i| i.pointer.delta() != Vec2::ZERO || i.pointer.any_click());
        if moved || draft.pen.is_none() {
            push(AnnotateCommand::Pen { to: view.to_world(pointer), radius_m });
        }
    } else if !map.has_focus() && draft.pen.is_some() {
        push(AnnotateCommand::LiftPen);
    }
    if map.double_clicked() {
        push(AnnotateCommand::Finish);
    } else if map.clicked()
        && let Some(pointer) = map.interact_pointer_pos()
    {
        push(AnnotateCommand::Pen { to: view.to_world(pointer), radius_m });
        push(AnnotateCommand::SetCorner);
    }
}

fn paint_with(map: &Response, view: &View, radius_m: f64, push: &mut impl FnMut(AnnotateCommand)) {
    let at = map.interact_pointer_pos().map(|p| view.to_world(p));
    if let Some(at) = at.filter(|_| map.dragged() || map.clicked()) {
        push(AnnotateCommand::PaintAt { at, radius_m });
    }
    if map.clicked() || map.drag_stopped() {
        push(AnnotateCommand::PaintEnd);
    }
}

fn choose_with(
    ui: &Ui,
    map: &Response,
    view: &View,
    radius_m: f64,
    model: &Model,
    push: &mut impl FnMut(AnnotateCommand),
) {
    let modifiers = ui.input(|i| i.modifiers);
    if map.clicked()
        && let Some(pointer) = map.interact_pointer_pos()
    {
        push(AnnotateCommand::ChooseAt { at: view.to_world(pointer), radius_m, add: modifiers.shift });
    }
    let held = model.annotating.in_hand.is_some();
    if map.drag_started()
        && modifiers.command
        && !model.annotating.fields().is_empty()
        && let Some(press) = ui.input(|i| i.pointer.press_origin())
    {
        push(AnnotateCommand::Grab(Grip::Fields(view.to_world(press))));
    }
    if held && matches!(model.annotating.in_hand.as_ref().map(|h| &h.grip), Some(Grip::Fields(_))) {
        if let Some(pointer) = map.interact_pointer_pos() {
            push(AnnotateCommand::Drag { to: view.to_world(pointer), radius_m, alone: false });
        }
        if map.drag_stopped() {
            push(AnnotateCommand::Drop);
        }
    }
    lasso(ui, map, view, modifiers, push);
}

/// Where the points of a lasso under way are kept between frames.
pub(super) fn lasso_id() -> Id {
    Id::unique("lasso of annotate")
}

fn lasso(ui: &Ui, map: &Response, view: &View, modifiers: Modifiers, push: &mut impl FnMut(AnnotateCommand)) {
    if map.drag_started() && modifiers.shift {
        ui.data_mut(|d| d.insert_temp::<Vec<Xy>>(lasso_id(), Vec::new()));
    }
    let Some(mut points) = ui.data(|d| d.get_temp::<Vec<Xy>>(lasso_id())) else { return };
    if let Some(pointer) = map.interact_pointer_pos().filter(|_| map.dragged()) {
        let at = view.to_world(pointer);
        let step = 3.0 * view.camera.metres_per_point;
        if points.last().is_none_or(|last| last.distance(at) > step) {
            points.push(at);
        }
        ui.data_mut(|d| d.insert_temp(lasso_id(), points));
    } else {
        ui.data_mut(|d| d.remove::<Vec<Xy>>(lasso_id()));
        push(AnnotateCommand::Lasso(points));
    }
}

/// One handle over the map. It takes the pointer before the map does.
struct Handle<'a> {
    at: Pos2,
    grip: Grip,
    name: String,
    click: Option<AnnotateCommand>,
    map: &'a Response,
}

impl Handle<'_> {
    fn show(self, ui: &Ui, view: &View, radius_m: f64, push: &mut impl FnMut(AnnotateCommand)) {
        let rect = Rect::from_center_size(self.at, Vec2::splat(HANDLE_PT)).intersect(self.map.rect);
        if !rect.is_positive() {
            return;
        }
        let id = self.map.id.with(("annotate handle", &self.name));
        let hold = ui.interact(rect, id, Sense::click_and_drag());
        hold.widget_info(|| WidgetInfo::labeled(Role::GraphicsObject, true, self.name.as_str()));
        let hold = hold.on_hover_and_drag_cursor(CursorIcon::Move);
        if hold.drag_started() {
            push(AnnotateCommand::Grab(self.grip));
        }
        if hold.dragged()
            && let Some(pointer) = hold.interact_pointer_pos()
        {
            let alone = ui.input(|i| i.modifiers.alt);
            push(AnnotateCommand::Drag { to: view.to_world(pointer), radius_m, alone });
        }
        if hold.drag_stopped() {
            push(AnnotateCommand::Drop);
        }
        if hold.clicked()
            && let Some(click) = self.click
        {
            push(click);
        }
    }
}

/// The corners of a thing that can be taken hold of.
pub(super) fn corners_of(area: &Area, thing: &Thing) -> Vec<Xy> {
    match thing {
        Thing::Field(id) => edits::field(area, id).map(|(_, f)| f.outer.clone()),
        Thing::Hazard(id) => edits::hazard(area, id).map(|h| vertices(h).to_vec()),
        Thing::QuietZone(id) => edits::quiet_zone(area, id).map(|z| z.outer.clone()),
        Thing::Proposal(_) => Ok(Vec::new()),
    }
    .unwrap_or_default()
}

/// Whether corners are far enough apart on the screen to take hold of one of them and not of its neighbour.
pub(super) fn has_room(view: &View, corners: &[Xy]) -> bool {
    let box_ = Rect::from_points(&corners.iter().map(|&p| view.to_screen(p)).collect::<Vec<_>>());
    corners.len() < 2 || (box_.width() + box_.height()) / corners.len() as f32 >= LEAST_ROOM_PT
}

/// Handles of what is chosen.
fn handles(ui: &Ui, map: &Response, view: &View, radius_m: f64, model: &Model, push: &mut impl FnMut(AnnotateCommand)) {
    let (Some(area), [one]) = (&model.area, model.annotating.chosen.as_slice()) else { return };
    if !has_room(view, &corners_of(area, one)) {
        return;
    }
    let visible = |p: Xy| map.rect.contains(view.to_screen(p));
    let mut all: Vec<Handle<'_>> = Vec::new();
    match one {
        Thing::Field(id) => {
            let Ok((_, field)) = edits::field(area, id) else { return };
            let rings = std::iter::once(RingRef::Outer).chain((0..field.holes.len()).map(RingRef::Hole));
            for ring in rings {
                let Some(points) = ring_of(field, ring) else { continue };
                let of = match ring {
                    RingRef::Outer => String::new(),
                    RingRef::Hole(i) => format!(" of hole {}", i + 1),
                };
                for side in 0..points.len() {
                    let which = SideRef { ring, side };
                    let Some((a, b)) = ends_of(field, which) else { continue };
                    let middle = (a + b) * 0.5;
                    let long = view.to_screen(a).distance(view.to_screen(b)) >= LEAST_SIDE_PT;
                    if long && visible(middle) {
                        all.push(Handle {
                            at: view.to_screen(middle),
                            grip: Grip::NewCorner(id.clone(), which),
                            name: format!("Side {}{of}, drag to insert a corner", side + 1),
                            click: (ring == RingRef::Outer).then_some(AnnotateCommand::ChooseSide(Some(side))),
                            map,
                        });
                    }
                }
                for (corner, &at) in points.iter().enumerate().filter(|(_, p)| visible(**p)) {
                    let which = CornerRef { ring, corner };
                    all.push(Handle {
                        at: view.to_screen(at),
                        grip: Grip::Corner(id.clone(), which),
                        name: format!("Corner {}{of}, drag to move", corner + 1),
                        click: Some(AnnotateCommand::ChooseCorner(Some(which))),
                        map,
                    });
                }
            }
        }
        Thing::Hazard(id) => {
            let Ok(hazard) = edits::hazard(area, id) else { return };
            for (i, &at) in vertices(hazard).iter().enumerate().filter(|(_, p)| visible(**p)) {
                all.push(Handle {
                    at: view.to_screen(at),
                    grip: Grip::HazardVertex(id.clone(), i),
                    name: format!("Place {} of the hazard, drag to move", i + 1),
                    click: None,
                    map,
                });
            }
        }
        Thing::QuietZone(id) => {
            let Ok(zone) = edits::quiet_zone(area, id) else { return };
            for (i, &at) in zone.outer.iter().enumerate().filter(|(_, p)| visible(**p)) {
                all.push(Handle {
                    at: view.to_screen(at),
                    grip: Grip::ZoneCorner(id.clone(), i),
                    name: format!("Corner {} of the quiet zone, drag to move", i + 1),
                    click: None,
                    map,
                });
            }
        }
        Thing::Proposal(_) => {}
    }
    for handle in all {
        handle.show(ui, view, radius_m, push);
    }
}

fn keys(ui: &Ui, map: &Response, view: &View, model: &Model, push: &mut impl FnMut(AnnotateCommand)) {
    let annotating = &model.annotating;
    let drawing = matches!(annotating.tool, Tool::Draw(_));
    let pressed = |modifiers: Modifiers, key: Key| ui.input_mut(|i| i.consume_key(modifiers, key));
    if pressed(Modifiers::NONE, Key::Escape) {
        push(AnnotateCommand::Leave);
    }
    if drawing {
        if pressed(Modifiers::NONE, Key::Enter) {
            push(AnnotateCommand::Finish);
        }
        if pressed(Modifiers::NONE, Key::Backspace) {
            push(AnnotateCommand::TakeBack);
        }
    } else {
        if pressed(Modifiers::NONE, Key::Delete) || pressed(Modifiers::NONE, Key::Backspace) {
            push(AnnotateCommand::Delete);
        }
        if pressed(Modifiers::SHIFT, Key::N) {
            push(AnnotateCommand::StepCorner { back: true });
        } else if pressed(Modifiers::NONE, Key::N) {
            push(AnnotateCommand::StepCorner { back: false });
        }
        if pressed(Modifiers::NONE, Key::Insert) {
            push(AnnotateCommand::InsertCorner);
        }
        if pressed(Modifiers::COMMAND, Key::A)
            && let Some(area) = &model.area
        {
            push(AnnotateCommand::Choose(area.fields.iter().map(|f| Thing::Field(f.id.clone())).collect()));
        }
    }
    if map.has_focus() {
        arrows(ui, map, view, model, drawing, push);
    }
}

/// Arrow keys move the pen or the chosen corner while the map has the keyboard.
fn arrows(ui: &Ui, map: &Response, view: &View, model: &Model, drawing: bool, push: &mut impl FnMut(AnnotateCommand)) {
    let annotating = &model.annotating;
    if !drawing && annotating.corner.is_none() {
        return;
    }
    let filter = EventFilter { horizontal_arrows: true, vertical_arrows: true, ..EventFilter::default() };
    ui.memory_mut(|m| m.set_focus_lock_filter(map.id, filter));
    let step = |modifiers: Modifiers| {
        ui.input_mut(|i| {
            let mut count = |key| i.count_and_consume_key(modifiers, key) as f64;
            Xy::new(count(Key::ArrowRight) - count(Key::ArrowLeft), count(Key::ArrowUp) - count(Key::ArrowDown))
        })
    };
    let (shifted, plain) = (step(Modifiers::SHIFT), step(Modifiers::NONE));
    if drawing {
        let by = (plain + shifted * 0.1) * (PEN_STEP_PT * view.camera.metres_per_point);
        let from = annotating
            .draft
            .pen
            .as_ref()
            .map(|p| p.at)
            .or_else(|| annotating.draft.corners.last().copied())
            .unwrap_or(view.camera.centre);
        let space = ui.input_mut(|i| i.consume_key(Modifiers::NONE, Key::Space));
        if by != Xy::default() || (space && annotating.draft.pen.is_none()) {
            // A pen moved by keys must be able to leave what it snapped to.
            push(AnnotateCommand::Pen { to: from + by, radius_m: 0.0 });
        }
        if space {
            push(AnnotateCommand::SetCorner);
        }
        return;
    }
    let by = (plain + shifted * 10.0) * CORNER_STEP_M;
    let corner = annotating.one_field().zip(annotating.corner);
    if by != Xy::default()
        && let (Some(area), Some((id, corner))) = (&model.area, corner)
        && let Ok((_, field)) = edits::field(area, id)
        && let Some(at) = edits::outline::corner_at(field, corner)
    {
        push(AnnotateCommand::MoveCorner(at + by));
    }
}
