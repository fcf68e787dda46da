//! What was found in the area: counted, listed by severity, shown on the map, mended.

use crate::command::Command;
use crate::model::{FindingsCommand, Mode, Model};
use crate::theme::{Theme, chooser, space};
use egui::{Button, Frame, RichText, ScrollArea, Ui};
use sparefield_data::check::{Finding, Severity, counts};

/// Width of the panel, points.
const WIDTH: f32 = 350.0;
/// How many findings are drawn; a thousand cannot be read, and the filter and mending make them fewer.
const MOST_LISTED: usize = 200;

/// The panel at the right of the map, while the area is described and somebody asked for it.
pub fn panel(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    if !model.findings.shown || model.mode != Mode::Annotate || model.area.is_none() {
        return;
    }
    let frame = Frame::new().fill(theme.colours.panel).inner_margin(12);
    egui::Panel::right("findings").exact_size(WIDTH).resizable(false).frame(frame).show(ui, |ui| {
        heading(ui, model, theme, commands);
        list(ui, model, theme, commands);
    });
}

/// The entry of a menu or a header that opens it.
pub fn opener(ui: &mut Ui, commands: &mut Vec<Command>) -> egui::Response {
    let help =
        "Look for crossing outlines, duplicates, gaps, heights that cannot be, old surveys and what is not known";
    let response = ui.button("Check this area").on_hover_text(help);
    if response.clicked() {
        commands.push(Command::SetMode(Mode::Annotate));
        commands.push(Command::Findings(FindingsCommand::Show(true)));
    }
    response
}

fn heading(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    ui.horizontal(|ui| {
        ui.label(RichText::new("Check of this area").font(theme.bold_font(theme.sizes.heading)));
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            let close = ui.button("Close").on_hover_text("Close the list of findings");
            if close.clicked() {
                commands.push(Command::Findings(FindingsCommand::Show(false)));
            }
            if model.findings.of != Some(model.land_revision) {
                ui.spinner().on_hover_text("Checking");
            }
        });
    });
    let found = counts(&model.findings.list);
    let only = model.findings.only;
    ui.horizontal_wrapped(|ui| {
        let all = found.iter().sum::<usize>();
        if ui.add(chooser(only.is_none(), &format!("All {all}"), theme)).clicked() {
            commands.push(Command::Findings(FindingsCommand::Only(None)));
        }
        for (severity, count) in Severity::ALL.into_iter().zip(found) {
            let name = format!("{count} {}", severity.words());
            let button = chooser(only == Some(severity), &name, theme);
            if ui.add(button).on_hover_text(help(severity)).clicked() {
                commands.push(Command::Findings(FindingsCommand::Only(Some(severity))));
            }
        }
    });
    ui.separator();
}

fn help(severity: Severity) -> &'static str {
    match severity {
        Severity::Wrong => "It cannot be so, and results that use it are false",
        Severity::Doubtful => "It may be so, but somebody should look",
        Severity::Incomplete => "Something is not known yet",
    }
}

fn list(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let findings = &model.findings;
    let listed = |f: &&(usize, &Finding)| findings.only.is_none_or(|only| f.1.severity == only);
    let all: Vec<(usize, &Finding)> = findings.list.iter().enumerate().collect();
    let wanted: Vec<&(usize, &Finding)> = all.iter().filter(listed).collect();
    if findings.of.is_none() {
        ui.label("Looking through the area…");
        return;
    }
    if wanted.is_empty() {
        let words = match findings.only {
            None => "Nothing was found. That says that the map is in order, not that a field is.".to_owned(),
            Some(only) => format!("Nothing {} was found.", only.words()),
        };
        ui.label(words);
        return;
    }
    let current = findings.of == Some(model.land_revision);
    ScrollArea::vertical().id_salt("findings").auto_shrink([false, false]).show(ui, |ui| {
        for (index, finding) in wanted.iter().take(MOST_LISTED) {
            one(ui, *index, finding, findings.chosen == Some(*index), current, theme, commands);
            ui.add_space(space::TIGHT);
        }
        if wanted.len() > MOST_LISTED {
            let more = format!("… and {} more; mend some of these first.", wanted.len() - MOST_LISTED);
            ui.label(RichText::new(more).size(theme.sizes.small).color(theme.colours.ink_soft));
        }
    });
}

fn one(
    ui: &mut Ui,
    index: usize,
    finding: &Finding,
    chosen: bool,
    current: bool,
    theme: &Theme,
    commands: &mut Vec<Command>,
) {
    let c = &theme.colours;
    let fill = if chosen { c.accent_soft } else { c.panel_raised };
    let frame = Frame::new().fill(fill).stroke(egui::Stroke::new(1.0, c.line)).inner_margin(8).corner_radius(5);
    frame.show(ui, |ui| {
        ui.set_width(ui.available_width());
        ui.spacing_mut().item_spacing.y = space::TIGHT;
        let sentence = capital(&finding.sentence);
        let text = RichText::new(&sentence).color(c.ink);
        ui.horizontal(|ui| {
            let ink = if finding.severity == Severity::Wrong { c.caution } else { c.ink_soft };
            ui.label(RichText::new(capital(finding.severity.words())).size(theme.sizes.small).color(ink).strong());
            ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
                if let Some(edit) = &finding.mend {
                    let mend = ui.add_enabled(current, Button::new("Mend"));
                    let mend = mend.on_hover_text(format!("{} (can be undone)", capital(&edit.words)));
                    mend.widget_info(|| {
                        let name = format!("Mend: {sentence}");
                        egui::WidgetInfo::labeled(egui::Role::Button, current, name)
                    });
                    if mend.clicked() {
                        commands.push(Command::Findings(FindingsCommand::Mend(index)));
                    }
                }
                let show = ui.add_enabled(finding.at.is_some(), Button::new("Show"));
                show.widget_info(|| {
                    let name = format!("Show: {sentence}");
                    egui::WidgetInfo::labeled(egui::Role::Button, finding.at.is_some(), name)
                });
                if show.on_hover_text("Show the place on the map").clicked() {
                    commands.push(Command::Findings(FindingsCommand::Choose(index)));
                    commands.extend(finding.at.map(Command::Reveal));
                }
            });
        });
        ui.add(egui::Label::new(text).wrap());
        let remedy = RichText::new(capital(&finding.remedy)).size(theme.sizes.small).color(c.ink_soft);
        ui.add(egui::Label::new(remedy).wrap());
    });
}

/// A text with a capital first letter.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
