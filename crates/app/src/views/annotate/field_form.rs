//! What is known about the chosen field, and changes to several at once.

use super::{growth_form, remarks_form, side_form};
use crate::command::Command;
use crate::edits::{self, describe};
use crate::model::{AnnotateCommand, Model, SheetCommand, SurveyCommand};
use crate::survey::look_at::standing_words;
use crate::theme::{Theme, space};
use crate::views::typed::typed_text;
use egui::{ComboBox, Id, RichText, Ui};
use sparefield_data::area::Area;
use sparefield_data::quantity::{format_day, format_position, parse_day, parse_position};
use sparefield_geometry::fields::model::{Day, EdgeKind, Field, Stock, Surface};
use sparefield_geometry::fields::survey::SurveyStanding;
use sparefield_geometry::outline::CornerRef;

/// The form of one field.
pub(super) fn one_field(ui: &mut Ui, model: &Model, id: &str, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(area) = &model.area else { return };
    let Ok((_, field)) = edits::field(area, id) else { return };
    let text = format!("{:.2} ha, {} sides", field.area_m2() / 1e4, field.outer.len());
    ui.horizontal(|ui| {
        ui.label(RichText::new(text).color(theme.colours.ink_soft));
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            let help = "Usable length for every wind, strips, slope and approach, with the chosen aircraft (F)";
            if ui.small_button("Field sheet").on_hover_text(help).clicked() {
                commands.push(Command::Sheet(SheetCommand::Open));
            }
        });
    });
    ui.add_space(space::TIGHT);
    if let Some(corner) = model.annotating.corner {
        corner_form(ui, model, field, corner, theme, commands);
        ui.separator();
    } else if let Some(side) = model.annotating.side {
        side_form::one_side(ui, model, field, side, theme, commands);
        ui.separator();
    }
    let ids = [id.to_owned()];
    let form = Form::new(area, &ids);
    form.text(ui, commands, "Name", "name", &field.name, |f, t| f.name = t);
    form.choice(ui, commands, "Surface", "surface", field.surface, Surface::ALL, Surface::words, |f, s| f.surface = s);
    form.stock(ui, model, field, commands);
    form.survey(ui, model, field, commands);
    standing(ui, model, field, theme);
    form.text(ui, commands, "Notes", "notes", &field.notes, |f, t| f.notes = t);
    ui.add_space(space::LINE);
    sides(ui, model, field, theme, commands);
    growth_form::what_grows(ui, model, &form, field, theme, commands);
    remarks_form::remarks(ui, &form, field, commands);
    remarks_form::photographs(ui, model, &form, field, theme, commands);
    ui.add_space(space::LINE);
    ui.horizontal_wrapped(|ui| {
        if ui.add(egui::Button::new("Next corner").shortcut_text("N")).clicked() {
            commands.push(Command::Annotate(AnnotateCommand::StepCorner { back: false }));
        }
        if ui.add(egui::Button::new("Delete field").shortcut_text("Delete")).clicked() {
            let made = describe::delete_fields(area, &ids);
            commands.push(Command::Annotate(AnnotateCommand::Do(Box::new(made))));
        }
    });
}

/// Changes to everything that is chosen.
pub(super) fn many_fields(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(area) = &model.area else { return };
    let chosen = model.annotating.field_indices().iter();
    let fields: Vec<&Field> = chosen.filter_map(|&i| area.fields.get(i)).map(AsRef::as_ref).collect();
    if let Some(first) = fields.first() {
        let hectares: f64 = fields.iter().map(|f| f.area_m2()).sum::<f64>() / 1e4;
        let text = format!("{} fields, {hectares:.1} ha together", fields.len());
        ui.label(RichText::new(text).color(theme.colours.ink_soft));
        ui.add_space(space::TIGHT);
        let form = Form::new(area, model.annotating.fields());
        // What they do not agree on is shown as the first one's, and changes only when something is chosen.
        form.choice(ui, commands, "Surface", "surface", first.surface, Surface::ALL, Surface::words, |f, s| {
            f.surface = s;
        });
        form.stock(ui, model, first, commands);
        form.survey(ui, model, first, commands);
        growth_form::what_grows(ui, model, &form, first, theme, commands);
        remarks_form::remarks(ui, &form, first, commands);
        let said = |f: &Field| (f.surface, f.stock, f.surveyed, f.stock_seen);
        let same = |f: &&Field| said(f) == said(first) && f.calendar == first.calendar && f.remarks == first.remarks;
        if !fields.iter().all(same) {
            let text = "They differ: shown is what the first one says. What you set is set for all of them.";
            ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft));
        }
        ui.add_space(space::LINE);
    }
    ui.horizontal_wrapped(|ui| {
        let join = egui::Button::new("Join into one").shortcut_text("J");
        if ui.add_enabled(fields.len() >= 2, join).clicked() {
            commands.push(Command::Annotate(AnnotateCommand::Join));
        }
        if ui.button("Check round…").on_hover_text("What to look at on each of them, in order").clicked() {
            commands.push(Command::Survey(SurveyCommand::MakeRound));
        }
        if ui.add(egui::Button::new("Delete all of them").shortcut_text("Delete")).clicked() {
            commands.push(Command::Annotate(AnnotateCommand::Delete));
        }
    });
}

fn corner_form(
    ui: &mut Ui,
    model: &Model,
    field: &Field,
    corner: CornerRef,
    theme: &Theme,
    commands: &mut Vec<Command>,
) {
    let (Some(area), Some(at)) = (&model.area, edits::outline::corner_at(field, corner)) else { return };
    ui.label(RichText::new(format!("Corner {}", corner.corner + 1)).strong());
    let place = area.frame.to_lonlat(at).map_or_else(|_| String::new(), format_position);
    let id = Id::unique("corner place");
    ui.horizontal(|ui| {
        ui.label("At");
        if let Some(text) = typed_text(ui, id, "Place of the corner", &place, "", 190.0) {
            let to = parse_position(&text).map_err(|e| e.to_string());
            match to.and_then(|p| area.frame.to_xy(p).map_err(|e| e.to_string())) {
                Ok(to) => commands.push(Command::Annotate(AnnotateCommand::MoveCorner(to))),
                Err(why) => {
                    let made = Err(edits::Refused::because(format!("{why}.")));
                    commands.push(Command::Annotate(AnnotateCommand::Do(Box::new(made))));
                }
            }
        }
    });
    ui.horizontal_wrapped(|ui| {
        if ui.add(egui::Button::new("Insert after").shortcut_text("Insert")).clicked() {
            commands.push(Command::Annotate(AnnotateCommand::InsertCorner));
        }
        if ui.add(egui::Button::new("Delete corner").shortcut_text("Delete")).clicked() {
            commands.push(Command::Annotate(AnnotateCommand::Delete));
        }
    });
    let text = "Arrow keys on the map move it by 1 m, with Shift by 10 m. N goes to the next one.";
    ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft));
}

/// What stands on each side, to choose one by keyboard or pointer.
fn sides(ui: &mut Ui, model: &Model, field: &Field, theme: &Theme, commands: &mut Vec<Command>) {
    let units = model.settings.units;
    let unknown =
        field.edges.iter().filter(|e| **e == sparefield_geometry::fields::model::BoundaryEdge::UNKNOWN).count();
    let title = match unknown {
        0 => "Sides".to_owned(),
        n => format!("Sides ({n} of {} nobody looked at)", field.edges.len()),
    };
    egui::CollapsingHeader::new(title).id_salt("sides").default_open(false).show(ui, |ui| {
        let count = field.outer.len();
        for (i, edge) in field.edges.iter().enumerate() {
            let length = units.format_length(field.outer[i].distance(field.outer[(i + 1) % count]));
            let height = edge.height_m.filter(|_| edge.kind != EdgeKind::Nothing);
            let height = height.map_or_else(String::new, |h| format!(", {}", units.format_height(h)));
            let words = format!("{}: {length}, {}{height}", i + 1, edge.kind.words());
            let chosen = model.annotating.side == Some(i);
            if ui.selectable_label(chosen, RichText::new(words).size(theme.sizes.small)).clicked() {
                commands.push(Command::Annotate(AnnotateCommand::ChooseSide((!chosen).then_some(i))));
            }
        }
    });
}

/// What the survey is still worth, where the form says what was seen.
fn standing(ui: &mut Ui, model: &Model, field: &Field, theme: &Theme) {
    let standing = SurveyStanding::of(field, Some(model.today));
    let text = RichText::new(standing_words(&standing)).size(theme.sizes.small);
    let colour = if standing.is_doubtful() { theme.colours.caution } else { theme.colours.ink_soft };
    ui.label(text.color(colour));
}

/// Lines of a form that change fields.
pub(super) struct Form<'a> {
    pub(super) area: &'a Area,
    pub(super) ids: &'a [String],
    /// What is half typed belongs to these fields.
    pub(super) key: Id,
}

const LABEL_WIDTH: f32 = 74.0;

impl<'a> Form<'a> {
    fn new(area: &'a Area, ids: &'a [String]) -> Self {
        Self { area, ids, key: Id::unique(("form", ids)) }
    }
    pub(super) fn change(&self, commands: &mut Vec<Command>, what: &str, change: impl Fn(&mut Field)) {
        let made = describe::change_fields(self.area, self.ids, what, change);
        commands.push(Command::Annotate(AnnotateCommand::Do(Box::new(made))));
    }
    pub(super) fn label(ui: &mut Ui, label: &str) -> Id {
        let left = egui::Layout::left_to_right(egui::Align::Center);
        let text = ui.allocate_ui_with_layout(egui::vec2(LABEL_WIDTH, 22.0), left, |ui| {
            ui.set_min_width(LABEL_WIDTH);
            ui.label(label)
        });
        text.inner.id
    }
    pub(super) fn text(
        &self,
        ui: &mut Ui,
        commands: &mut Vec<Command>,
        label: &str,
        what: &str,
        now: &str,
        set: impl Fn(&mut Field, String),
    ) {
        ui.horizontal(|ui| {
            Self::label(ui, label);
            let id = self.key.with(("field text", what));
            if let Some(text) = typed_text(ui, id, label, now, "", ui.available_width() - 8.0) {
                self.change(commands, what, |f| set(f, text.trim().to_owned()));
            }
        });
    }
    #[allow(clippy::too_many_arguments, reason = "a line of a form: where, what it is called, what it may be")]
    fn choice<T: Copy + PartialEq, const N: usize>(
        &self,
        ui: &mut Ui,
        commands: &mut Vec<Command>,
        label: &str,
        what: &str,
        now: T,
        all: [T; N],
        words: impl Fn(T) -> &'static str,
        set: impl Fn(&mut Field, T),
    ) {
        ui.horizontal(|ui| {
            let id = Self::label(ui, label);
            let combo = ComboBox::from_id_salt(what).selected_text(words(now)).width(ui.available_width() - 8.0);
            let combo = combo.show_ui(ui, |ui| {
                for option in all {
                    if ui.selectable_label(option == now, words(option)).clicked() {
                        self.change(commands, what, |f| set(f, option));
                    }
                }
            });
            combo.response.labelled_by(id);
        });
    }
    /// Animals, and when they were looked for.
    fn stock(&self, ui: &mut Ui, model: &Model, field: &Field, commands: &mut Vec<Command>) {
        let now = field.stock;
        ui.horizontal(|ui| {
            let id = Self::label(ui, "Stock");
            let combo = ComboBox::from_id_salt("stock").selected_text(now.words()).width(ui.available_width() - 8.0);
            let combo = combo.show_ui(ui, |ui| {
                for option in Stock::ALL {
                    if ui.selectable_label(option == now, option.words()).clicked() {
                        self.change(commands, "stock", |f| f.stock = option);
                    }
                }
            });
            combo.response.labelled_by(id);
        });
        let set = |f: &mut Field, day| f.stock_seen = day;
        self.day(ui, model, commands, ("Stock seen", "stock day", "as surveyed"), field.stock_seen, set);
    }
    fn survey(&self, ui: &mut Ui, model: &Model, field: &Field, commands: &mut Vec<Command>) {
        let set = |f: &mut Field, day| f.surveyed = day;
        self.day(ui, model, commands, ("Looked at", "survey", "never"), field.surveyed, set);
    }
    /// A day: what it is called, what changes, and what stands there while there is none.
    fn day(
        &self,
        ui: &mut Ui,
        model: &Model,
        commands: &mut Vec<Command>,
        (label, what, none): (&str, &str, &str),
        now: Option<Day>,
        set: impl Fn(&mut Field, Option<Day>),
    ) {
        ui.horizontal(|ui| {
            Self::label(ui, label);
            let id = self.key.with(what);
            let shown = now.map_or_else(String::new, format_day);
            if let Some(text) = typed_text(ui, id, label, &shown, none, 110.0) {
                if text.trim().is_empty() {
                    self.change(commands, what, |f| set(f, None));
                } else {
                    match parse_day(&text) {
                        Ok(day) => self.change(commands, what, |f| set(f, Some(day))),
                        Err(e) => {
                            let made = Err(edits::Refused::because(format!("{e}.")));
                            commands.push(Command::Annotate(AnnotateCommand::Do(Box::new(made))));
                        }
                    }
                }
            }
            let today = model.today;
            let button = ui.button("Today").on_hover_text("You have just looked at it");
            let spoken = format!("{label} today");
            button.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, &spoken));
            if button.clicked() {
                self.change(commands, what, |f| set(f, Some(today)));
            }
        });
    }
}
