//! The area's drill sets: made, copied, changed and deleted; every change can be undone.

use crate::edits::{Made, Refused, drills};
use crate::model::{DrillCommand, Model};
use crate::theme::{Theme, space};
use crate::views::typed::typed_text;
use egui::{Align, Button, ComboBox, Grid, Id, Label, Layout, RichText, Ui};
use sparefield_data::area::Area;
use sparefield_data::quantity::{
    QuantityError, format_bearing, parse_angle_rad, parse_height_m, parse_length_m, parse_speed_ms, parse_time_s,
    parse_wind,
};
use sparefield_geometry::drill::{DrillSet, DrillWind, Place, Told};

const WIDTH: f32 = 176.0;

/// The page.
pub(super) fn sets(ui: &mut Ui, model: &Model, theme: &Theme, push: &mut impl FnMut(DrillCommand)) {
    let Some(area) = &model.area else { return };
    let set = model.drill_set();
    ui.horizontal_wrapped(|ui| {
        if ui
            .button("Take in…")
            .on_hover_text("Sets from a document that somebody handed out; Undo takes them out")
            .clicked()
        {
            push(DrillCommand::PickSets);
        }
        if let Some(set) = set {
            let help = "This set as a document: everyone who takes it in gets the same failures";
            if ui.button("Hand out…").on_hover_text(help).clicked() {
                push(DrillCommand::PickHandOut(set.id.clone()));
            }
        }
    });
    let mut make = |made: Made| push(DrillCommand::Do(Box::new(made)));
    ui.horizontal_wrapped(|ui| {
        if ui.button("New set").clicked() {
            make(drills::new_set(area));
        }
        if let Some(set) = set {
            if ui.button("Copy").on_hover_text("The same conditions with other failures").clicked() {
                make(drills::copy_set(area, &set.id));
            }
            if ui.button("Delete").on_hover_text("Results of it stay; Undo brings it back").clicked() {
                make(drills::delete_set(area, &set.id));
            }
        }
    });
    let Some(set) = set.cloned() else {
        let text = "A drill set says where engines stop, how high, in which winds, and with what. Everyone who has it \
                    gets the same failures. Make one with New set.";
        ui.add(Label::new(RichText::new(text).color(theme.colours.ink_soft)).wrap());
        return;
    };
    ui.add_space(space::TIGHT);
    let mut choose = None;
    ComboBox::from_id_salt("edited set").selected_text(&set.name).width(ui.available_width() - 8.0).truncate().show_ui(
        ui,
        |ui| {
            for one in area.drill_sets.iter() {
                if ui.selectable_label(one.id == set.id, &one.name).clicked() {
                    choose = Some(one.id.clone());
                }
            }
        },
    );
    ui.add_space(space::TIGHT);
    form(ui, model, area, &set, &mut make);
    places(ui, model, area, &set, theme, &mut make);
    winds(ui, model, area, &set, theme, &mut make);
    if let Some(id) = choose {
        push(DrillCommand::Set(id));
    }
}

/// Puts a number into its place in a set.
type Put = fn(&mut DrillSet, f64);

/// What was typed, as a value or as a refusal.
fn read<T>(value: Result<T, QuantityError>) -> Result<T, Refused> {
    value.map_err(|e| Refused::because(format!("{e}.")))
}

fn form(ui: &mut Ui, model: &Model, area: &Area, set: &DrillSet, make: &mut impl FnMut(Made)) {
    let units = model.settings.units;
    let id = set.id.as_str();
    let text = |ui: &mut Ui, label: &str, now: &str| {
        ui.label(label);
        let typed = typed_text(ui, Id::unique(("drill set", id, label)), label, now, "", WIDTH);
        ui.end_row();
        typed
    };
    Grid::new("drill set form").num_columns(2).spacing([space::LINE, 6.0]).show(ui, |ui| {
        if let Some(name) = text(ui, "Name", &set.name) {
            make(drills::change_set(area, id, |s| name.trim().clone_into(&mut s.name)));
        }
        if let Some(typed) = text(ui, "Drills", &set.drills.to_string()) {
            let count = typed.trim().parse::<u32>();
            let count = count.map_err(|_ignored| Refused::because(format!("“{typed}” is not a number of drills.")));
            make(count.and_then(|n| drills::change_set(area, id, |s| s.drills = n)));
        }
        let heights: [(&str, f64, Put); 2] = [
            ("Lowest", set.lowest_agl_m, |s, v| s.lowest_agl_m = v),
            ("Highest", set.highest_agl_m, |s, v| s.highest_agl_m = v),
        ];
        for (label, now, put) in heights {
            if let Some(typed) = text(ui, label, &units.format_height(now)) {
                let height = read(parse_height_m(&typed, Some(units.height)));
                make(height.and_then(|h| drills::change_set(area, id, |s| put(s, h))));
            }
        }
        let times: [(&str, f64, Put); 2] = [
            ("Runs at least", set.shortest_run_s, |s, v| s.shortest_run_s = v),
            ("Runs at most", set.longest_run_s, |s, v| s.longest_run_s = v),
        ];
        for (label, now, put) in times {
            if let Some(typed) = text(ui, label, &format!("{now:.0} s")) {
                let time = read(parse_time_s(&typed, true));
                make(time.and_then(|t| drills::change_set(area, id, |s| put(s, t))));
            }
        }
        ui.label("Aircraft");
        ComboBox::from_id_salt("drill aircraft").width(WIDTH - 8.0).truncate().selected_text(&set.aircraft).show_ui(
            ui,
            |ui| {
                for aircraft in &model.hangar {
                    if ui.selectable_label(aircraft.name == set.aircraft, &aircraft.name).clicked() {
                        make(drills::change_set(area, id, |s| s.aircraft.clone_from(&aircraft.name)));
                    }
                }
            },
        );
        ui.end_row();
        if let Some(typed) = text(ui, "Seed", &set.seed.to_string()) {
            let seed = typed.trim().parse::<u64>();
            let seed = seed.map_err(|_ignored| Refused::because(format!("“{typed}” is not a whole number.")));
            make(seed.and_then(|n| drills::change_set(area, id, |s| s.seed = n)));
        }
    });
}

fn heading(ui: &mut Ui, text: &str, theme: &Theme) {
    ui.add_space(space::LINE);
    ui.label(RichText::new(text).font(theme.bold_font(theme.sizes.text)));
}

fn places(ui: &mut Ui, model: &Model, area: &Area, set: &DrillSet, theme: &Theme, make: &mut impl FnMut(Made)) {
    heading(ui, "Where engines stop", theme);
    let units = model.settings.units;
    let id = set.id.as_str();
    for (i, place) in set.places.iter().enumerate() {
        ui.horizontal(|ui| {
            let (words, radius) = match place {
                Place::Route { line, .. } => (format!("along a route of {} legs", line.len() - 1), None),
                Place::Area { .. } => ("inside an outline".to_owned(), None),
                Place::Circle { radius_m, .. } => ("in a circle of".to_owned(), Some(*radius_m)),
                Place::HomeStrip { within_m } => ("over the home strip within".to_owned(), Some(*within_m)),
            };
            ui.label(words);
            if let Some(now) = radius {
                let label = format!("Radius of place {}", i + 1);
                let typed =
                    typed_text(ui, Id::unique(("drill place", id, i)), &label, &units.format_length(now), "", 74.0);
                if let Some(typed) = typed {
                    let radius = read(parse_length_m(&typed, Some(units.length)));
                    make(radius.and_then(|r| {
                        drills::change_set(area, id, |s| match &mut s.places[i] {
                            Place::Circle { radius_m, .. } => *radius_m = r,
                            Place::HomeStrip { within_m } => *within_m = r,
                            Place::Route { .. } | Place::Area { .. } => {}
                        })
                    }));
                }
            }
            let remove = ui.add_enabled(set.places.len() > 1, Button::new("×").small());
            remove
                .widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, format!("Remove place {}", i + 1)));
            if remove.on_hover_text("Remove this place").clicked() {
                make(drills::change_set(area, id, |s| {
                    s.places.remove(i);
                }));
            }
        });
    }
    ui.horizontal_wrapped(|ui| {
        let mut add = |place: Place| make(drills::change_set(area, id, |s| s.places.push(place)));
        let here = model.conditions.position;
        if ui.button("Add a circle").on_hover_text("Round where the aircraft stands on the Look page").clicked() {
            add(Place::Circle { centre: here, radius_m: 3_000.0 });
        }
        if area.home.is_some()
            && ui
                .button("Add the home strip")
                .on_hover_text("Fan stops overhead, from every height and direction")
                .clicked()
        {
            add(Place::HomeStrip { within_m: 150.0 });
        }
    });
}

fn winds(ui: &mut Ui, model: &Model, area: &Area, set: &DrillSet, theme: &Theme, make: &mut impl FnMut(Made)) {
    heading(ui, "Winds, as told", theme);
    let units = model.settings.units;
    let id = set.id.as_str();
    let at = area.home.as_ref().map_or_else(|| area.centre(), |h| h.position);
    for (i, wind) in set.winds.iter().enumerate() {
        let from = wind.from_grid.map_or_else(|| "variable".to_owned(), |b| format_bearing(area.to_true(b, at)));
        let now = format!("{from}/{}", units.format_speed(wind.speed_ms));
        ui.horizontal(|ui| {
            let label = format!("Wind {}", i + 1);
            if let Some(typed) = typed_text(ui, Id::unique(("drill wind", id, i)), &label, &now, "250/12", 100.0) {
                make(read(parse_wind(&typed)).and_then(|w| {
                    drills::change_set(area, id, |s| {
                        s.winds[i].from_grid = w.from.map(|b| area.to_grid(b, at));
                        s.winds[i].speed_ms = w.speed_ms;
                    })
                }));
            }
            ui.label("told");
            // From the right, so that what is told has the room that is left.
            ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
                let remove = ui.add_enabled(set.winds.len() > 1, Button::new("×").small());
                let label = format!("Remove wind {}", i + 1);
                remove.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, &label));
                if remove.on_hover_text("Remove this wind").clicked() {
                    make(drills::change_set(area, id, |s| {
                        s.winds.remove(i);
                    }));
                }
                let told = ComboBox::from_id_salt(("told", i)).width(ui.available_width()).truncate();
                let told = told.selected_text(wind.told.words()).show_ui(ui, |ui| {
                    for told in [Told::Everything, Told::Direction, Told::Nothing] {
                        if ui.selectable_label(told == wind.told, told.words()).clicked() {
                            make(drills::change_set(area, id, |s| s.winds[i].told = told));
                        }
                    }
                });
                // The column may be too narrow for all of the words.
                told.response.on_hover_text(wind.told.words());
            });
        });
        ui.horizontal(|ui| {
            ui.add_space(space::LINE);
            ui.label("may differ by");
            let now = format!("{:.0}°", wind.direction_error_rad.to_degrees());
            let label = format!("Direction of wind {} may differ by", i + 1);
            if let Some(typed) = typed_text(ui, Id::unique(("drill turn", id, i)), &label, &now, "", 46.0) {
                let angle = read(parse_angle_rad(&typed));
                make(angle.and_then(|a| drills::change_set(area, id, |s| s.winds[i].direction_error_rad = a)));
            }
            ui.label("and");
            let now = units.format_speed(wind.speed_error_ms);
            let label = format!("Speed of wind {} may differ by", i + 1);
            if let Some(typed) = typed_text(ui, Id::unique(("drill speed", id, i)), &label, &now, "", 62.0) {
                let speed = read(parse_speed_ms(&typed, Some(units.speed)));
                make(speed.and_then(|v| drills::change_set(area, id, |s| s.winds[i].speed_error_ms = v)));
            }
        });
    }
    if ui.button("Add a wind").clicked() {
        let wind = set.winds.last().copied().unwrap_or(DrillWind {
            from_grid: None,
            speed_ms: 4.0,
            told: Told::Everything,
            direction_error_rad: 0.35,
            speed_error_ms: 1.5,
        });
        make(drills::change_set(area, id, |s| s.winds.push(wind)));
    }
}
