//! While something is drawn: live measures, typed entry of the next side, what attracts the pen.

use crate::command::Command;
use crate::edits::draft::{Attraction, Drawing};
use crate::model::{AnnotateCommand, Model};
use crate::theme::{Theme, space};
use egui::{Id, Key, RichText, TextEdit, Ui};
use sparefield_data::quantity::{format_bearing, parse_bearing, parse_length_m, parse_position};
use sparefield_geometry::fields::model::HazardKind;
use sparefield_geometry::position::{Bearing, Xy};

/// The drawing in hand.
pub(super) fn drawing(ui: &mut Ui, model: &Model, what: Drawing, theme: &Theme, commands: &mut Vec<Command>) {
    let draft = &model.annotating.draft;
    if let (Some((_, corners)), true) = (&model.annotating.left, draft.corners.is_empty()) {
        let words = format!("Bring back the {} corners left", corners.len());
        if ui.button(words).on_hover_text("Go on with the drawing that was left unfinished").clicked() {
            commands.push(Command::Annotate(AnnotateCommand::BringBack));
        }
    }
    measures(ui, model, what, theme);
    ui.add_space(space::LINE);
    if what.is_point() {
        ui.label("Or type where it stands:");
        typed(ui, "A place, such as 52.2730, -2.8249", model, commands);
    } else {
        next_corner(ui, model, commands);
    }
    ui.add_space(space::LINE);
    ui.horizontal_wrapped(|ui| {
        if what.is_point() {
            if ui.add(egui::Button::new("Leave").shortcut_text("Esc")).clicked() {
                commands.push(Command::Annotate(AnnotateCommand::Leave));
            }
            return;
        }
        let enough = draft.corners.len() >= what.least_corners();
        if ui.add_enabled(enough, egui::Button::new("Finish").shortcut_text("Enter")).clicked() {
            commands.push(Command::Annotate(AnnotateCommand::Finish));
        }
        let any = !draft.corners.is_empty();
        if ui.add_enabled(any, egui::Button::new("Take back").shortcut_text("Backspace")).clicked() {
            commands.push(Command::Annotate(AnnotateCommand::TakeBack));
        }
        if ui.add(egui::Button::new("Leave").shortcut_text("Esc")).clicked() {
            commands.push(Command::Annotate(AnnotateCommand::Leave));
        }
    });
    ui.add_space(space::LINE);
    let mut set = model.annotating.attraction;
    attraction(ui, what, &mut set);
    if set != model.annotating.attraction {
        commands.push(Command::Annotate(AnnotateCommand::SetAttraction(set)));
    }
    ui.add_space(space::LINE);
    let keys = "Without a mouse: click the map or press Tab until it is framed, move the pen with the arrow keys (Shift: \
                finer), set a corner with Space.";
    ui.label(RichText::new(keys).size(theme.sizes.small).color(theme.colours.ink_soft));
}

fn attraction(ui: &mut Ui, what: Drawing, set: &mut Attraction) {
    ui.checkbox(&mut set.neighbours, "Snap to corners and sides nearby");
    if what == Drawing::Field {
        ui.add_enabled(set.neighbours, egui::Checkbox::new(&mut set.follow, "Follow a neighbour's boundary"))
            .on_hover_text("From one place on a neighbour's boundary to another, every corner between is taken over");
    }
    ui.checkbox(&mut set.angles, "Snap to straight on and right angles");
}

fn measures(ui: &mut Ui, model: &Model, what: Drawing, theme: &Theme) {
    let units = model.settings.units;
    let draft = &model.annotating.draft;
    let corners = draft.corners.len();
    if what.is_point() {
        return;
    }
    let name = if what == Drawing::Hazard(HazardKind::Wires) { "pole" } else { "corner" };
    ui.label(match corners {
        0 => format!("No {name} set yet"),
        1 => format!("1 {name} set"),
        n => format!("{n} {name}s set"),
    });
    let Some(measures) = &draft.measures else { return };
    egui::Grid::new("measures").num_columns(2).spacing([space::GROUP, space::TIGHT]).show(ui, |ui| {
        let mut row = |name: &str, value: String| {
            ui.label(RichText::new(name).color(theme.colours.ink_soft));
            ui.label(RichText::new(value).font(theme.bold_font(theme.sizes.text)));
            ui.end_row();
        };
        if let Some(last) = measures.sides.last() {
            let convergence = draft.corners.last().map_or(0.0, |&p| model.convergence_rad(p));
            let bearing = last.bearing.map_or_else(String::new, |b| {
                format!(", {}", format_bearing(Bearing::from_rad(b.rad() + convergence)))
            });
            row("This side", format!("{}{bearing}", units.format_length(last.length_m)));
        }
        if what.is_outline() && corners >= 2 {
            row("Area", format!("{:.2} ha", measures.area_m2 / 1e4));
        }
        if !what.is_point() && corners >= 2 {
            row("All sides", units.format_length(measures.perimeter_m));
        }
        if what == Drawing::Field && corners >= 2 {
            let strip = draft.strip.as_ref().map_or_else(
                || "none fits yet".to_owned(),
                |s| {
                    let convergence = model.convergence_rad(s.start);
                    let heading = Bearing::from_rad(s.heading.rad() + convergence);
                    format!("{}, {}", units.format_length_at_least(s.length_m), format_bearing(heading))
                },
            );
            row("Longest strip", strip);
        }
    });
}

/// The next corner by typing: a direction and a length from the last one, or a place.
fn next_corner(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    let (label, hint) = if model.annotating.draft.corners.is_empty() {
        ("First corner, typed:", "a place, such as 52.2730, -2.8249")
    } else {
        ("Next corner, typed (direction and length, or a place):", "240 85 m")
    };
    ui.label(label);
    typed(ui, hint, model, commands);
}

fn typed(ui: &mut Ui, hint: &str, model: &Model, commands: &mut Vec<Command>) {
    let id = Id::unique("next corner");
    let mut text: String = ui.data(|d| d.get_temp(id)).unwrap_or_default();
    let edit = TextEdit::singleline(&mut text).hint_text(hint).desired_width(f32::INFINITY);
    let response = ui.add(edit);
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::TextInput, true, "Next corner, typed"));
    let entered = response.lost_focus() && ui.input(|i| i.key_pressed(Key::Enter));
    if entered && !text.trim().is_empty() {
        match place(model, &text) {
            Ok(to) => {
                text.clear();
                // No radius: a typed place means exactly that place.
                commands.push(Command::Annotate(AnnotateCommand::Pen { to, radius_m: 0.0 }));
                commands.push(Command::Annotate(AnnotateCommand::SetCorner));
            }
            Err(why) => commands
                .push(Command::Annotate(AnnotateCommand::Do(Box::new(Err(crate::edits::Refused::because(why)))))),
        }
        response.request_focus();
    }
    ui.data_mut(|d| d.insert_temp(id, text));
}

/// What was typed, as a place in the frame.
fn place(model: &Model, text: &str) -> Result<Xy, String> {
    let units = model.settings.units;
    let last = model.annotating.draft.corners.last().copied();
    let mut words = text.trim().splitn(2, char::is_whitespace);
    let (first, rest) = (words.next().unwrap_or_default(), words.next().map(str::trim));
    if let (Some(from), Some(rest)) = (last, rest)
        && let (Ok(bearing), Ok(length_m)) = (parse_bearing(first), parse_length_m(rest, Some(units.length)))
    {
        let grid = Bearing::from_rad(bearing.rad() - model.convergence_rad(from));
        return Ok(from + grid.unit() * length_m);
    }
    let area = model.area.as_ref().ok_or("Open terrain first.")?;
    let position = parse_position(text).map_err(|e| format!("{e}."))?;
    area.frame.to_xy(position).map_err(|e| format!("{e}."))
}
