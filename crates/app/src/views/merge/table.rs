//! The drawer under the map: every difference with both versions side by side, and whose is taken.

use crate::command::Command;
use crate::model::{Line, MergeCommand, Merging, Model};
use crate::theme::{Theme, space};
use egui::{Button, Frame, Label, RichText, ScrollArea, Ui, Vec2, WidgetInfo};
use sparefield_data::merge::{Difference, Take};

const ROW: f32 = 30.0;

/// The drawer, while areas are being merged.
pub fn drawer(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(merging) = &model.merging else { return };
    let frame = Frame::new().fill(theme.colours.panel).inner_margin(12);
    let panel = egui::Panel::bottom("merge").resizable(true).default_size(320.0).min_size(160.0);
    panel.frame(frame).show(ui, |ui| {
        heading(ui, model, merging, theme, commands);
        columns(ui, theme);
        table(ui, merging, theme, commands);
    });
}

fn heading(ui: &mut Ui, model: &Model, merging: &Merging, theme: &Theme, commands: &mut Vec<Command>) {
    let mut push = |command| commands.push(Command::Merge(command));
    ui.horizontal(|ui| {
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            if ui.button("Cancel").on_hover_text("Leave everything as it is").clicked() {
                push(MergeCommand::Close);
            }
            if merging.land_revision == model.land_revision {
                let take = ui.button(RichText::new("Take these").strong());
                if take.on_hover_text("Make one change of all that is chosen from theirs; it can be undone").clicked() {
                    push(MergeCommand::TakeThese);
                }
            } else if ui.button("Compare again").clicked() {
                push(MergeCommand::Compare(merging.files.clone()));
            }
            ui.with_layout(egui::Layout::left_to_right(egui::Align::Center), |ui| {
                let title = RichText::new(format!("Merge with {}", merging.whose));
                ui.add(Label::new(title.font(theme.bold_font(theme.sizes.heading))).truncate());
            });
        });
    });
    let (things, theirs) = merging.counts();
    let all = merging.merge.differences().len();
    let words = format!(
        "{all} differences in {things} things, {theirs} taken from theirs. On the map: mine solid, theirs dashed"
    );
    ui.label(RichText::new(words).size(theme.sizes.small).color(theme.colours.ink_soft));
    if merging.land_revision != model.land_revision {
        let words = "This area has changed since the two were compared. Compare again before taking anything over.";
        ui.label(RichText::new(words).color(theme.colours.caution));
    }
    ui.horizontal_wrapped(|ui| {
        if ui.button("By the rules").on_hover_text(RULES).clicked() {
            push(MergeCommand::ChooseByRules);
        }
        if ui.button("Mine throughout").clicked() {
            push(MergeCommand::ChooseAll(Take::Mine));
        }
        if ui.button("Theirs throughout").clicked() {
            push(MergeCommand::ChooseAll(Take::Theirs));
        }
    });
}

const RULES: &str = "The newer survey for what grows; what only one of you knows; with an ancestor, what only one of you \
                     changed. Nothing of yours is deleted, and no outline replaced that you may have changed";

/// Room for the two buttons that choose for a whole thing, points.
const BOTH_BUTTONS: f32 = 190.0;

/// How wide the columns are, points.
struct Widths {
    what: f32,
    /// Of each of the two versions.
    version: f32,
    why: f32,
}

impl Widths {
    /// In a narrow drawer the versions get most of what there is: by them one chooses.
    fn of(ui: &Ui) -> Self {
        let room = ui.available_width();
        let (what, why) = ((room * 0.26).clamp(130.0, 190.0), (room * 0.22).clamp(110.0, 250.0));
        let gaps = ui.spacing().item_spacing.x * 3.0;
        Self { what, version: ((room - what - why - gaps) / 2.0).max(90.0), why }
    }
}

fn columns(ui: &mut Ui, theme: &Theme) {
    ui.add_space(space::TIGHT);
    let Widths { what, version, why } = Widths::of(ui);
    ui.horizontal(|ui| {
        for (name, width) in [("Differs in", what), ("Mine", version), ("Theirs", version), ("Because", why)] {
            let text = RichText::new(name).size(theme.sizes.small).color(theme.colours.ink_soft).strong();
            cell(ui, width, theme.sizes.small + 4.0, |ui| ui.label(text));
        }
    });
}

fn cell<R>(ui: &mut Ui, width: f32, height: f32, add: impl FnOnce(&mut Ui) -> R) -> R {
    ui.allocate_ui_with_layout(Vec2::new(width, height), egui::Layout::left_to_right(egui::Align::Center), |ui| {
        ui.set_min_size(Vec2::new(width, height));
        ui.set_max_width(width);
        ui.style_mut().wrap_mode = Some(egui::TextWrapMode::Truncate);
        add(ui)
    })
    .inner
}

fn table(ui: &mut Ui, merging: &Merging, theme: &Theme, commands: &mut Vec<Command>) {
    ui.spacing_mut().item_spacing.y = 2.0;
    ScrollArea::vertical().id_salt("merge").auto_shrink([false, false]).show_rows(
        ui,
        ROW,
        merging.lines.len(),
        |ui, rows| {
            for line in &merging.lines[rows] {
                match *line {
                    Line::Thing { pair, first } => thing(ui, merging, pair, first, theme, commands),
                    Line::Difference(index) => difference(ui, merging, index, theme, commands),
                }
            }
        },
    );
}

fn thing(ui: &mut Ui, merging: &Merging, pair: usize, first: usize, theme: &Theme, commands: &mut Vec<Command>) {
    let difference = &merging.merge.differences()[first];
    let shown = merging.shown == Some(pair);
    // The date and the name of a sortie are long.
    let name_width = (ui.available_width() - BOTH_BUTTONS).max(Widths::of(ui).what);
    ui.horizontal(|ui| {
        ui.set_height(ROW);
        let name = format!("{} {}", capital(difference.kind.words()), difference.label);
        let look = Button::selectable(shown, RichText::new(&name).font(theme.bold_font(theme.sizes.text))).truncate();
        let look = cell(ui, name_width, ROW - 4.0, |ui| ui.add(look));
        let help = if difference.at.is_some() { "Show it on the map" } else { "A recorded flight" };
        if look.on_hover_text(help).clicked() {
            commands.push(Command::Merge(MergeCommand::Look(pair)));
            commands.extend(difference.at.map(Command::Reveal));
        }
        for (words, take) in [("All mine", Take::Mine), ("All theirs", Take::Theirs)] {
            let button = ui.button(words);
            button.widget_info(|| WidgetInfo::labeled(egui::Role::Button, true, format!("{words} of {name}")));
            if button.clicked() {
                commands.push(Command::Merge(MergeCommand::ChooseThing(pair, take)));
            }
        }
    });
}

fn difference(ui: &mut Ui, merging: &Merging, index: usize, theme: &Theme, commands: &mut Vec<Command>) {
    let difference = &merging.merge.differences()[index];
    let take = merging.takes.get(index).copied().unwrap_or(difference.default);
    let (widths, height) = (Widths::of(ui), ROW - 4.0);
    ui.horizontal(|ui| {
        ui.set_height(ROW);
        let what = capital(&difference.attribute.words());
        let soft = |text: String| RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft);
        cell(ui, widths.what, height, |ui| {
            ui.add_space(space::GROUP);
            ui.label(&what);
            ui.label(soft(difference.status.words().to_owned()));
        });
        for (whose, name, words) in
            [(Take::Mine, "mine", &difference.mine), (Take::Theirs, "theirs", &difference.theirs)]
        {
            let text = words.as_deref().unwrap_or("not there");
            let chosen = take == whose;
            let response = cell(ui, widths.version, height, |ui| ui.radio(chosen, text));
            response.widget_info(|| {
                let label = format!("{what} of {}, {name}: {text}", difference.label);
                WidgetInfo::selected(egui::Role::RadioButton, true, chosen, label)
            });
            if response.on_hover_text(hover(difference, text)).clicked() {
                commands.push(Command::Merge(MergeCommand::Choose(index, whose)));
            }
        }
        let why = if take == difference.default { difference.because } else { "you chose it" };
        cell(ui, widths.why, height, |ui| ui.label(soft(why.to_owned())));
    });
}

/// The whole text, which may be cut in its column, and what was there before.
fn hover(difference: &Difference, text: &str) -> String {
    match &difference.before {
        Some(before) => format!("{text}\n\nIn the common ancestor: {before}"),
        None => text.to_owned(),
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
