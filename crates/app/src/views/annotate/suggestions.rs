//! Fields suggested by the computer: the search, and the list to accept or refuse from.

use crate::command::Command;
use crate::model::{AnnotateCommand, Model, Source, Sources, SuggestCommand, Thing};
use crate::theme::{Theme, space};
use egui::{ProgressBar, RichText, ScrollArea, TextEdit, Ui};

const ROW: f32 = 26.0;

/// The search and its results.
pub(super) fn suggestions(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    ScrollArea::vertical().id_salt("suggestions").auto_shrink([false, false]).show(ui, |ui| {
        search(ui, model, theme, commands);
        ui.separator();
        results(ui, model, commands);
    });
}

/// What the search is made from, and how it stands.
fn search(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let state = &model.suggesting;
    ui.horizontal(|ui| {
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            if ui.button("Back to the list").clicked() {
                commands.push(Command::Suggest(SuggestCommand::Show(false)));
            }
            ui.with_layout(egui::Layout::left_to_right(egui::Align::Center), |ui| {
                ui.label(RichText::new("Suggested fields").font(theme.bold_font(theme.sizes.heading)));
            });
        });
    });
    let text = "Places that might take a landing, found in terrain, land cover and a surface model. Nobody has looked at \
                them: each is a reason to go and look, never a field by itself.";
    ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft));
    sources(ui, model, commands);
    match state.running {
        Some(share) => {
            ui.horizontal(|ui| {
                ui.add(ProgressBar::new(share).desired_width(ui.available_width() - 70.0).text("Looking"));
                if ui.button("Stop").clicked() {
                    commands.push(Command::Suggest(SuggestCommand::Stop));
                }
            });
        }
        None => {
            ui.horizontal_wrapped(|ui| {
                if ui.button("Search").clicked() {
                    commands.push(Command::Suggest(SuggestCommand::Search));
                }
                let measure = ui.button("Measure sides").on_hover_text(
                    "Reads from the surface model what stands on sides of your fields that nobody described, and how \
                     high. What you said is never changed.",
                );
                if measure.clicked() {
                    commands.push(Command::Suggest(SuggestCommand::Measure));
                }
            });
        }
    }
    if !state.said.is_empty() {
        egui::CollapsingHeader::new("What was read").id_salt("what was read").show(ui, |ui| {
            for line in &state.said {
                ui.label(RichText::new(line).size(theme.sizes.small).color(theme.colours.ink_soft));
            }
        });
    }
}

/// Open suggestions, best first, with what can be done about them.
fn results(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    let Some(area) = &model.area else { return };
    let open: Vec<_> = area.proposals.iter().filter(|p| !p.refused).collect();
    let refused = area.proposals.len() - open.len();
    let chosen = model.annotating.proposals();
    ui.label(match open.len() {
        0 => "No suggestion is open. Search makes some.".to_owned(),
        n => format!("{n} open, best first. Click one to look at it, or hold Shift and drag round several on the map."),
    });
    ui.horizontal_wrapped(|ui| {
        if ui.add_enabled(!chosen.is_empty(), egui::Button::new(counted("Accept", chosen.len()))).clicked() {
            commands.push(Command::Suggest(SuggestCommand::Accept(chosen.clone())));
        }
        if ui.add_enabled(!chosen.is_empty(), egui::Button::new(counted("Refuse", chosen.len()))).clicked() {
            commands.push(Command::Suggest(SuggestCommand::Refuse(chosen.clone())));
        }
        if refused > 0 && ui.button(format!("Reconsider {refused} refused")).clicked() {
            commands.push(Command::Suggest(SuggestCommand::Reconsider));
        }
    });
    let units = model.settings.units;
    // Only the rows in sight are laid out: there may be hundreds.
    let room = egui::vec2(ui.available_width(), ROW * open.len() as f32);
    let (rect, _) = ui.allocate_exact_size(room, egui::Sense::hover());
    let clip = ui.clip_rect();
    let first = ((clip.top() - rect.top()) / ROW).floor().max(0.0) as usize;
    let last = ((clip.bottom() - rect.top()) / ROW).ceil().max(0.0) as usize;
    for (row, proposal) in open.iter().enumerate().take(last).skip(first) {
        let thing = Thing::Proposal(proposal.field.id.clone());
        let is_chosen = model.annotating.chosen.contains(&thing);
        let words = format!(
            "{}. {} usable, {:.1} ha",
            row + 1,
            units.format_length_at_least(proposal.strip_length_m),
            proposal.field.area_m2() / 1e4
        );
        let place = egui::pos2(rect.left(), rect.top() + ROW * row as f32);
        let place = egui::Rect::from_min_size(place, egui::vec2(rect.width(), ROW));
        let clicked = ui.scope_builder(egui::UiBuilder::new().max_rect(place), |ui| {
            ui.selectable_label(is_chosen, words).clicked()
        });
        if clicked.inner {
            commands.push(Command::Annotate(AnnotateCommand::Choose(vec![thing])));
            commands.push(Command::Reveal(proposal.field.centroid()));
        }
    }
}

/// A verb, and how many it is about when there are any.
fn counted(verb: &str, count: usize) -> String {
    if count == 0 { verb.to_owned() } else { format!("{verb} {count}") }
}

/// What the search is made from.
fn sources(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    let mut set: Sources = model.suggesting.sources.clone();
    let sample = model.area.as_ref().is_some_and(|a| a.is_sample);
    let none = if sample { "that of the sample area" } else { "none" };
    egui::CollapsingHeader::new("Made from").id_salt("made from").default_open(!sample).show(ui, |ui| {
        for source in Source::ALL {
            let name = ui.label(source.words());
            let hint = if source == Source::Classes { "ESA WorldCover" } else { none };
            ui.horizontal(|ui| {
                let choose = "Choose…";
                let room = ui.available_width() - 90.0;
                let edit = TextEdit::singleline(set.of(source)).hint_text(hint).desired_width(room);
                ui.add(edit).labelled_by(name.id);
                let button = ui.button(choose);
                button.widget_info(|| {
                    egui::WidgetInfo::labeled(egui::Role::Button, true, format!("{choose} {}", source.words()))
                });
                if button.clicked() {
                    commands.push(Command::Suggest(SuggestCommand::ChooseFile(source)));
                }
            });
        }
    });
    ui.checkbox(&mut set.only_shown, "Only what the map shows");
    if set != model.suggesting.sources {
        commands.push(Command::Suggest(SuggestCommand::Set(set)));
    }
    ui.add_space(space::TIGHT);
}
