//! The card in Debrief: one exercise, exercises over one another, or trends.

use super::{glide, trends, whole};
use crate::command::Command;
use crate::debrief::practise::practise;
use crate::debrief::{pictures, words};
use crate::model::{DebriefCommand, DebriefPage, Model};
use crate::theme::{Theme, space};
use crate::views::sheet::paint;
use egui::{Align, FontId, Grid, Label, Layout, RichText, ScrollArea, Ui, vec2};

/// Width of the names of measures, points.
const NAMES: f32 = 128.0;

/// The card.
pub fn card(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let mut push = |command| commands.push(Command::Debrief(command));
    tabs(ui, model.debrief.page, theme, &mut push);
    ui.separator();
    ScrollArea::vertical().id_salt("debrief card").auto_shrink([false, false]).show(ui, |ui| {
        match model.debrief.page {
            DebriefPage::Exercise => exercise(ui, model, theme, &mut push),
            DebriefPage::Overlaid => overlaid(ui, model, theme),
            DebriefPage::Sortie => whole::sortie(ui, model, theme, &mut push),
            DebriefPage::Glide => glide::glide(ui, model, theme, &mut push),
            DebriefPage::Trends => trends::trends(ui, model, theme, &mut push),
        }
    });
}

/// The pages, on one line also in the narrowest card: the room left by the names goes round them.
fn tabs(ui: &mut Ui, now: DebriefPage, theme: &Theme, push: &mut impl FnMut(DebriefCommand)) {
    const GAP: f32 = 2.0;
    // Least room at either side of a name.
    const LEAST: f32 = 3.0;
    let all = DebriefPage::ALL;
    let room = ui.available_width() - GAP * (all.len() - 1) as f32;
    let wide = |font: &FontId| -> f32 {
        let width = |page: &DebriefPage| {
            ui.painter().layout_no_wrap(page.words().to_owned(), font.clone(), theme.colours.ink).size().x
        };
        all.iter().map(width).sum()
    };
    let beside = |font: &FontId| (room - wide(font)) / (2 * all.len()) as f32;
    let usual = ui.spacing().button_padding.x;
    let font = if beside(&theme.text_font()) >= LEAST { theme.text_font() } else { theme.small_font() };
    let padding = beside(&font).clamp(0.0, usual).floor();
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = GAP;
        ui.spacing_mut().button_padding.x = padding;
        for page in all {
            let name = RichText::new(page.words()).font(font.clone());
            if ui.selectable_label(now == page, name).clicked() {
                push(DebriefCommand::Page(page));
            }
        }
    });
}

pub(super) fn heading(ui: &mut Ui, theme: &Theme, text: &str) {
    ui.add_space(space::TIGHT);
    ui.label(RichText::new(text).font(theme.bold_font(theme.sizes.text)));
}

pub(super) fn small(ui: &mut Ui, theme: &Theme, text: &str) {
    ui.add(Label::new(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft)).wrap());
}

fn exercise(ui: &mut Ui, model: &Model, theme: &Theme, push: &mut impl FnMut(DebriefCommand)) {
    let Some((sortie, one)) = model.debrief.looked_at() else {
        small(ui, theme, "Choose an exercise in the list.");
        return;
    };
    let units = model.settings.units;
    let bold = theme.bold_font(theme.sizes.text);
    ui.add(Label::new(RichText::new(words::headline(sortie, one, units)).font(bold)).wrap());
    ui.add(Label::new(words::outcome(one, units)).wrap());
    ui.add(Label::new(words::hindsight(sortie, one)).wrap());
    ui.add_space(space::TIGHT);
    for (name, value) in words::figures(sortie, one, units) {
        ui.horizontal_top(|ui| {
            let column = |ui: &mut Ui, width: f32, text: RichText| {
                ui.allocate_ui_with_layout(vec2(width, 0.0), Layout::top_down(Align::Min), |ui| {
                    ui.set_width(width);
                    ui.add(Label::new(text.size(theme.sizes.small)).wrap());
                });
            };
            column(ui, NAMES, RichText::new(name).color(theme.colours.ink_soft));
            let rest = (ui.available_width() - space::TIGHT).max(60.0);
            column(ui, rest, RichText::new(value));
        });
    }
    let changes = words::changes(sortie, one, units);
    if !changes.is_empty() {
        heading(ui, theme, "Changes of mind");
        for (change, aim) in changes.iter().zip(one.measures.aims.iter().skip(1)) {
            if ui.link(RichText::new(change).size(theme.sizes.small)).clicked() {
                push(DebriefCommand::At(sortie.flight.samples.all[aim.from].time_s));
            }
        }
    }
    if !one.measures.passed_low.is_empty() {
        heading(ui, theme, "Passed low");
        for low in &one.measures.passed_low {
            if ui.link(RichText::new(words::passed_low(sortie, low, units)).size(theme.sizes.small)).clicked() {
                push(DebriefCommand::At(low.time_s));
            }
        }
    }
    let turns = words::turns(sortie, one, units);
    if !turns.is_empty() {
        heading(ui, theme, "Turns");
        // A narrow card shows part of the table, and scrolls.
        ScrollArea::horizontal().id_salt("turns").show(ui, |ui| {
            Grid::new("debrief turns").num_columns(5).spacing([8.0, 3.0]).show(ui, |ui| {
                for text in words::TURN_HEADINGS {
                    let text = RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft);
                    ui.add(Label::new(text).extend());
                }
                ui.end_row();
                for turn in turns {
                    for cell in turn {
                        ui.add(Label::new(RichText::new(cell).size(theme.sizes.small)).extend());
                    }
                    ui.end_row();
                }
            });
        });
    }
    heading(ui, theme, "Not looked at");
    for caution in words::cautions(sortie) {
        small(ui, theme, &caution);
    }
}

fn overlaid(ui: &mut Ui, model: &Model, theme: &Theme) {
    let Some(made) = &model.debrief.made else { return };
    let units = model.settings.units;
    let size = vec2(ui.available_width().min(420.0), 320.0);
    paint::show(ui, &pictures::aligned(&[&made.sortie], size, units), theme);
    small(ui, theme, "Every exercise with a field, aligned by its strip, landing upwards: is the base leg constant?");
    let found = practise(&[&made.sortie], units);
    for (title, list) in [("What went well", &found.well), ("What to practise next", &found.next)] {
        if list.is_empty() {
            continue;
        }
        heading(ui, theme, title);
        for remark in list {
            ui.add(Label::new(&remark.said).wrap()).on_hover_text(format!("Rule: {}", remark.rule));
            small(ui, theme, &format!("Rule: {}", remark.rule));
        }
    }
}
