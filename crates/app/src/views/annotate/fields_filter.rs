//! Which fields are listed, in which order, and what can be done with all of them.

use crate::command::Command;
use crate::model::{Model, SurveyCommand};
use crate::survey::filter::{Filter, NotSince, SortBy};
use crate::theme::Theme;
use crate::views::typed::typed_text;
use egui::{ComboBox, Id, RichText, Role, TextEdit, Ui, WidgetInfo};
use sparefield_data::quantity::format_day;
use sparefield_geometry::fields::model::Surface;

/// The filter above the list.
pub(super) fn fields_filter(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let filter = &model.survey.filter;
    let mut set = filter.clone();
    ui.horizontal(|ui| {
        let clear = if filter.is_on() { 66.0 } else { 8.0 };
        let edit = TextEdit::singleline(&mut set.text).hint_text("Search name, notes or crop");
        let response = ui.add(edit.desired_width(ui.available_width() - clear - 8.0));
        response.widget_info(|| WidgetInfo::labeled(Role::TextInput, true, "Search fields"));
        if filter.is_on() && ui.button("Clear").on_hover_text("Show every field").clicked() {
            set = Filter { sort: filter.sort, ..Filter::default() };
        }
    });
    let title = if filter.is_on() { "Filter (on) and order" } else { "Filter and order" };
    egui::CollapsingHeader::new(title).id_salt("filter").default_open(false).show(ui, |ui| more(ui, model, &mut set));
    if set != *filter {
        commands.push(Command::Survey(SurveyCommand::SetFilter(set)));
    }
    let Some(area) = &model.area else { return };
    let shown = model.survey.shown.order.len();
    let text = match (filter.is_on(), shown) {
        (false, n) => {
            format!("{n} fields, {} hazards, {} quiet zones", area.hazards.len(), area.quiet_zones.len())
        }
        (true, n) => format!("{n} of {} fields shown, the others faint", area.fields.len()),
    };
    ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft));
    ui.horizontal(|ui| {
        if ui.add_enabled(shown > 0, egui::Button::new("Choose all shown")).clicked() {
            commands.push(Command::Survey(SurveyCommand::ChooseShown));
        }
        let round = ui.add_enabled(shown > 0, egui::Button::new("Check round…"));
        if round.on_hover_text("Fields shown, in the order of a walk or flight, with what to look at").clicked() {
            commands.push(Command::Survey(SurveyCommand::MakeRound));
        }
    });
}

fn more(ui: &mut Ui, model: &Model, set: &mut Filter) {
    let filter = &model.survey.filter;
    ui.horizontal(|ui| {
        ui.label("Not looked at");
        not_since(ui, model, filter.not_since, set);
    });
    ui.horizontal(|ui| {
        let words = filter.surface.map_or("any surface", Surface::words);
        let combo = ComboBox::from_id_salt("shown surface").selected_text(words).width(112.0);
        let combo = combo.show_ui(ui, |ui| {
            ui.selectable_value(&mut set.surface, None, "any surface");
            for surface in Surface::ALL {
                ui.selectable_value(&mut set.surface, Some(surface), surface.words());
            }
        });
        combo.response.widget_info(|| WidgetInfo::labeled(Role::ComboBox, true, "Surface shown"));
        ui.checkbox(&mut set.sides_unknown, "sides unknown");
    });
    ui.horizontal(|ui| {
        let label = ui.label("In order").id;
        let combo = ComboBox::from_id_salt("order").selected_text(filter.sort.words()).width(140.0);
        let combo = combo.show_ui(ui, |ui| {
            for sort in SortBy::ALL {
                ui.selectable_value(&mut set.sort, sort, sort.words());
            }
        });
        combo.response.labelled_by(label);
    });
}

fn not_since(ui: &mut Ui, model: &Model, now: NotSince, set: &mut Filter) {
    let words = if matches!(now, NotSince::Day(_)) { "since a day".to_owned() } else { now.words() };
    let combo = ComboBox::from_id_salt("not since").selected_text(words).width(104.0);
    let combo = combo.show_ui(ui, |ui| {
        for option in NotSince::OFFERED {
            ui.selectable_value(&mut set.not_since, option, option.words());
        }
        if ui.selectable_label(matches!(now, NotSince::Day(_)), "since a day").clicked() {
            set.not_since = NotSince::Day(model.today);
        }
    });
    combo.response.widget_info(|| WidgetInfo::labeled(Role::ComboBox, true, "Not looked at"));
    if let NotSince::Day(day) = now {
        let id = Id::unique("not since day");
        if let Some(text) = typed_text(ui, id, "Not looked at since", &format_day(day), "", 92.0)
            && let Ok(since) = NotSince::from_words(&text)
        {
            set.not_since = since;
        }
    }
}
