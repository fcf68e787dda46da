//! The conditions in one line each: aircraft, height, heading, wind. Each is typed, dragged, or changed by arrow keys.

use crate::assess::{HeightInput, Rules};
use crate::command::Command;
use crate::model::{MAX_HEIGHT_M, Model, ProfileChoice, height_metres};
use crate::theme::{Theme, space};
use egui::{ComboBox, DragValue, Id, Response, RichText, Slider, SliderClamping, Ui, WidgetInfo};
use sparefield_data::quantity::{self, HeightUnit, SpeedUnit, UnitPrefs};
use sparefield_geometry::fields::approach::ObstacleRule;
use sparefield_geometry::fields::needed::SafetyFactor;
use sparefield_geometry::position::Bearing;

const LABEL_WIDTH: f32 = 66.0;

/// How long a value that was not understood is explained.
const PROBLEM_SECONDS: f64 = 8.0;

fn problem_id() -> Id {
    Id::unique("what was not understood")
}

/// What could not be understood a moment ago, in a line of its own so that it covers nothing.
pub(super) fn problem(ui: &mut Ui, theme: &Theme) {
    let Some((text, until)) = ui.data(|d| d.get_temp::<(String, f64)>(problem_id())) else { return };
    let left = until - ui.input(|i| i.time);
    if left <= 0.0 {
        ui.data_mut(|d| d.remove::<(String, f64)>(problem_id()));
        return;
    }
    let mut chars = text.chars();
    let start = chars.next().map_or_else(String::new, |c| c.to_uppercase().collect());
    let text = RichText::new(format!("{start}{}", chars.as_str())).color(theme.colours.caution);
    ui.add(egui::Label::new(text).wrap());
    ui.ctx().request_repaint_after(std::time::Duration::from_secs_f64(left));
}

/// The conditions of the model, and the commands that change them.
pub fn conditions(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    ui.spacing_mut().item_spacing.y = 6.0;
    aircraft_line(ui, model, commands);
    height_line(ui, model, theme, commands);
    heading_line(ui, model, commands);
    wind_line(ui, model, commands);
    if let Some(gust) = model.conditions.wind_gust_ms {
        let text = format!("gusts {}: no number here allows for them", model.settings.units.format_speed(gust));
        second_line(ui, theme, &text);
    }
    problem(ui, theme);
    egui::CollapsingHeader::new("Rules used").id_salt("rules").show(ui, |ui| rules(ui, model, commands));
}

fn line(ui: &mut Ui, label: &str, contents: impl FnOnce(&mut Ui, Id)) {
    ui.horizontal(|ui| {
        let left = egui::Layout::left_to_right(egui::Align::Center);
        let text = ui.allocate_ui_with_layout(egui::vec2(LABEL_WIDTH, 22.0), left, |ui| {
            ui.set_min_width(LABEL_WIDTH);
            ui.label(label)
        });
        contents(ui, text.inner.id);
    });
}

pub(super) fn aircraft_line(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    line(ui, "Aircraft", |ui, label| {
        let combo = ComboBox::from_id_salt("aircraft")
            .selected_text(model.conditions.aircraft.name.as_str())
            .width(ui.available_width() - 8.0)
            .show_ui(ui, |ui| {
                for (i, a) in model.hangar.iter().enumerate() {
                    let chosen = a.name == model.conditions.aircraft.name;
                    if ui.selectable_label(chosen, a.name.as_str()).clicked() && !chosen {
                        commands.push(Command::SetAircraft(i));
                    }
                }
            });
        combo.response.labelled_by(label).on_hover_text("Open an aircraft file (TOML) to add your own");
    });
}

fn height_line(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let units = model.settings.units;
    let height = model.conditions.height;
    line(ui, "Height", |ui, label| {
        let step = if units.height == HeightUnit::Ft { 50.0 * 0.304_8 } else { 20.0 };
        let typed = Typed {
            value: height_metres(height),
            range: 0.0..=MAX_HEIGHT_M,
            speed: step / 10.0,
            format: &|v| units.format_height(v),
            parse: &|s| quantity::parse_height_m(s, Some(units.height)).map_err(|e| e.to_string()),
        };
        let above_ground = matches!(height, HeightInput::AboveGround(_));
        if let Some(v) = typed.show(ui, label, commands) {
            let set = if above_ground { HeightInput::AboveGround(v) } else { HeightInput::AboveSea(v) };
            commands.push(Command::SetHeight(set));
        }
        let ground = model.ground_under_aircraft();
        ComboBox::from_id_salt("datum")
            .selected_text(if above_ground { "above ground" } else { "above sea" })
            .width(112.0)
            .show_ui(ui, |ui| {
                let Some(ground) = ground else {
                    ui.label("No ground height here");
                    return;
                };
                if ui.selectable_label(above_ground, "above ground").clicked() && !above_ground {
                    commands.push(Command::SetHeight(HeightInput::AboveGround(height_metres(height) - ground)));
                }
                if ui.selectable_label(!above_ground, "above sea").clicked() && above_ground {
                    commands.push(Command::SetHeight(HeightInput::AboveSea(height_metres(height) + ground)));
                }
            })
            .response
            .on_hover_text("What the height is measured from, and what stays the same while you drag the aircraft");
    });
    if let Some(ground) = model.ground_under_aircraft() {
        let other = match height {
            HeightInput::AboveGround(m) => {
                format!("{} above sea, ground {}", units.format_height(m + ground), units.format_height(ground))
            }
            HeightInput::AboveSea(m) => {
                format!("{} above ground, ground {}", units.format_height(m - ground), units.format_height(ground))
            }
        };
        second_line(ui, theme, &other);
    }
}

fn heading_line(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    let convergence = model.convergence_rad(model.conditions.position);
    line(ui, "Heading", |ui, label| {
        let mut first_turn = model.conditions.heading.is_some();
        let heading = model.conditions.heading.unwrap_or_default();
        let shown = Bearing::from_rad(heading.rad() + convergence);
        ui.add_enabled_ui(first_turn, |ui| {
            if let Some(b) = bearing_drag(ui, label, shown, commands) {
                commands.push(Command::TurnAircraft(Bearing::from_rad(b.rad() - convergence)));
            }
        });
        let explain = "Counts the time until you act and the turn from this heading. \
                       Without it the glide starts at once in every direction";
        if ui.checkbox(&mut first_turn, "count the first turn").on_hover_text(explain).changed() {
            commands.push(if first_turn { Command::TurnAircraft(heading) } else { Command::ForgetHeading });
        }
    });
}

pub(super) fn wind_line(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    let units = model.settings.units;
    let (from, speed) = (model.conditions.wind_from, model.conditions.wind_speed_ms);
    line(ui, "Wind", |ui, label| {
        ui.label("from");
        // A whole wind may be typed into the direction: 250/12, 25012KT, calm.
        let whole = std::cell::Cell::new(None);
        let typed = Typed {
            value: from.deg(),
            range: -360.0..=720.0,
            speed: 0.5,
            format: &|v| quantity::format_bearing(Bearing::from_deg(v)),
            parse: &|text| match (quantity::parse_bearing(text), quantity::parse_wind(text)) {
                (Ok(b), _) => Ok(b.deg()),
                (Err(_), Ok(wind)) if !wind.is_variable() => {
                    let from = wind.from.unwrap_or(from);
                    whole.set(Some((from, wind.speed_ms, wind.gust_ms)));
                    Ok(from.deg())
                }
                (Err(e), _) => Err(e.to_string()),
            },
        };
        let turned = typed.show(ui, label, commands);
        let gust_ms = model.conditions.wind_gust_ms;
        if let Some((from, speed_ms, gust_ms)) = whole.get() {
            commands.push(Command::SetWind { from, speed_ms, gust_ms });
        } else if let Some(deg) = turned {
            commands.push(Command::SetWind { from: Bearing::from_deg(deg), speed_ms: speed, gust_ms });
        }
        ui.label("at");
        let typed = Typed {
            value: speed,
            range: 0.0..=40.0,
            speed: 0.1,
            format: &|v| units.format_speed(v),
            parse: &|s| quantity::parse_speed_ms(s, Some(units.speed)).map_err(|e| e.to_string()),
        };
        if let Some(v) = typed.show(ui, label, commands) {
            commands.push(Command::SetWind { from, speed_ms: v, gust_ms });
        }
    });
    line(ui, "", |ui, _| {
        ComboBox::from_id_salt("profile")
            .selected_text(model.conditions.profile.words())
            .width(ui.available_width() - 8.0)
            .show_ui(ui, |ui| {
                for p in ProfileChoice::ALL {
                    let chosen = p == model.conditions.profile;
                    if ui.selectable_label(chosen, p.words()).clicked() && !chosen {
                        commands.push(Command::SetProfile(p));
                    }
                }
            })
            .response
            .on_hover_text("How the wind changes from 10 m above the ground upwards");
    });
}

fn rules(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    ui.label("Length taken by what stands under the approach");
    let rules = model.conditions.rules;
    for (obstacle, words) in [
        (ObstacleRule::Gradient, "by the approach gradient in this wind"),
        (ObstacleRule::Times8, "at least 8 times its height"),
        (ObstacleRule::Times10, "at least 10 times its height"),
    ] {
        if ui.radio(rules.obstacle == obstacle, words).clicked() {
            commands.push(Command::SetRules(Rules { obstacle, ..rules }));
        }
    }
    ui.label("General factor on the landing distance");
    for (safety, words) in [
        (SafetyFactor::Recommended, "1.43, as handbooks recommend"),
        (SafetyFactor::Own(1.25), "1.25"),
        (SafetyFactor::Own(1.0), "1.0, nothing in hand"),
    ] {
        if ui.radio((rules.safety.value() - safety.value()).abs() < 1e-9, words).clicked() {
            commands.push(Command::SetRules(Rules { safety, ..rules }));
        }
    }
}

fn second_line(ui: &mut Ui, theme: &Theme, text: &str) {
    ui.horizontal(|ui| {
        ui.add_space(LABEL_WIDTH + space::LINE);
        ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft));
    });
}

fn bearing_drag(ui: &mut Ui, label: Id, shown: Bearing, commands: &mut Vec<Command>) -> Option<Bearing> {
    let typed = Typed {
        value: shown.deg(),
        range: -360.0..=720.0,
        speed: 0.5,
        format: &|v| quantity::format_bearing(Bearing::from_deg(v)),
        parse: &|s| quantity::parse_bearing(s).map(Bearing::deg).map_err(|e| e.to_string()),
    };
    typed.show(ui, label, commands).map(Bearing::from_deg)
}

/// A number that is typed with its unit, dragged, or changed by arrow keys.
pub(super) struct Typed<'a> {
    pub(super) value: f64,
    pub(super) range: std::ops::RangeInclusive<f64>,
    pub(super) speed: f64,
    pub(super) format: &'a dyn Fn(f64) -> String,
    pub(super) parse: &'a dyn Fn(&str) -> Result<f64, String>,
}

impl Typed<'_> {
    /// Shows it; gives the new value where it changed. What could not be understood is said beside it.
    pub(super) fn show(self, ui: &mut Ui, label: Id, commands: &mut Vec<Command>) -> Option<f64> {
        let mut value = self.value;
        let problem: std::cell::RefCell<Option<String>> = std::cell::RefCell::default();
        let drag = DragValue::new(&mut value)
            .speed(self.speed)
            .range(self.range.clone())
            .update_while_editing(false)
            .custom_formatter(|v, _| (self.format)(v))
            .custom_parser(|text| match (self.parse)(text) {
                Ok(v) if !self.range.contains(&v) => {
                    let (low, high) = ((self.format)(*self.range.start()), (self.format)(*self.range.end()));
                    *problem.borrow_mut() = Some(format!("“{}” is not between {low} and {high}", text.trim()));
                    None
                }
                Ok(v) => Some(v),
                Err(e) => {
                    *problem.borrow_mut() = Some(e);
                    None
                }
            });
        let response: Response = ui.add(drag).labelled_by(label);
        if let Some(text) = problem.into_inner() {
            let until = ui.input(|i| i.time) + PROBLEM_SECONDS;
            ui.data_mut(|d| d.insert_temp(problem_id(), (text, until)));
        } else if response.changed() {
            ui.data_mut(|d| d.remove::<(String, f64)>(problem_id()));
        }
        if response.drag_stopped() || response.lost_focus() {
            commands.push(Command::EndGesture);
        }
        // Comparing the shown text avoids a change from rounding when the box is merely left.
        let changed = value != self.value && (self.format)(value) != (self.format)(self.value);
        (changed || (response.dragged() && value != self.value)).then_some(value)
    }
}

/// Room for the value after a slider, points.
const VALUE_ROOM: f32 = 84.0;

/// A height that is slid, typed with a unit, or changed by arrow keys, after its label.
pub(super) struct HeightRow {
    pub(super) label: &'static str,
    /// What the slider is called by a screen reader.
    pub(super) asked: &'static str,
    pub(super) value_m: f64,
    pub(super) range_m: (f64, f64),
    /// Step of the slider where heights are in metres; in feet it is fifty.
    pub(super) step_m: f64,
}

impl HeightRow {
    /// Shows it in a row; gives the new height where it changed.
    pub(super) fn show(self, ui: &mut Ui, units: UnitPrefs, commands: &mut Vec<Command>) -> Option<f64> {
        let (low, high) = self.range_m;
        let unit = units.height.metres();
        let step = if units.height == HeightUnit::Ft { 50.0 } else { self.step_m };
        let label = ui.label(self.label);
        let mut value = self.value_m / unit;
        ui.spacing_mut().slider_width = (ui.available_width() - VALUE_ROOM).clamp(40.0, 140.0);
        // A height that was typed stays as it is: only the hand on the slider goes in steps.
        let range = (low / unit / step - 0.01).ceil() * step..=(high / unit / step + 0.01).floor() * step;
        let slider =
            ui.add(Slider::new(&mut value, range).step_by(step).clamping(SliderClamping::Edits).show_value(false));
        slider.widget_info(|| WidgetInfo::slider(true, value, self.asked));
        let slid = slider.changed().then_some(value * unit);
        let typed = Typed {
            value: self.value_m,
            range: low..=high,
            speed: step * unit / 10.0,
            format: &|v| units.format_height(v),
            parse: &|s| quantity::parse_height_m(s, Some(units.height)).map_err(|e| e.to_string()),
        };
        typed.show(ui, label.id, commands).or(slid)
    }
}

/// The units menu.
pub fn units_menu(ui: &mut Ui, units: UnitPrefs, commands: &mut Vec<Command>) {
    let mut set = units;
    ui.label("Heights");
    for (u, words) in [(HeightUnit::Ft, "feet"), (HeightUnit::M, "metres")] {
        ui.radio_value(&mut set.height, u, words);
    }
    ui.separator();
    ui.label("Wind speeds");
    for (u, words) in [
        (SpeedUnit::Mph, "miles an hour"),
        (SpeedUnit::Kt, "knots"),
        (SpeedUnit::Kmh, "kilometres an hour"),
        (SpeedUnit::Ms, "metres a second"),
    ] {
        ui.radio_value(&mut set.speed, u, words);
    }
    if set != units {
        commands.push(Command::SetUnits(set));
    }
}
