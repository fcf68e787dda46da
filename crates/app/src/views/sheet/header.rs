//! The head of the sheet: which field, which wind, which other field beside it, and saving it as a page.

use crate::command::Command;
use crate::model::{MAX_SHEET_WIND_MS, Model, SheetCommand, SheetState};
use crate::theme::Theme;
use crate::views::conditions::Typed;
use crate::views::marks;
use egui::containers::menu::{MenuButton, MenuConfig};
use egui::{PopupCloseBehavior, RichText, ScrollArea, TextEdit, Ui};
use sparefield_data::quantity::{self, format_bearing};
use sparefield_geometry::fields::verdict::{RankedField, Verdict};
use sparefield_geometry::position::Bearing;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, TryRecvError, channel};

/// Most fields that are offered at once to compare with.
const OFFERED: usize = 200;

/// What is being typed in the sheet's head.
#[derive(Default)]
pub struct SheetView {
    /// Part of the name of a field to compare with.
    filter: String,
    /// The file to save to, while it is asked for.
    save_to: Option<String>,
    picking: Option<Receiver<Option<PathBuf>>>,
}

pub(super) fn header(
    ui: &mut Ui,
    model: &Model,
    state: &SheetState,
    view: &mut SheetView,
    theme: &Theme,
    commands: &mut Vec<Command>,
) {
    let name = field_name(model, model.selected);
    ui.horizontal(|ui| {
        let buttons = 330.0;
        let width = (ui.available_width() - buttons).max(80.0);
        ui.allocate_ui(egui::vec2(width, 26.0), |ui| {
            let title = RichText::new(format!("Field sheet: {name}")).font(theme.bold_font(theme.sizes.heading));
            ui.add(egui::Label::new(title).truncate());
        });
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            ui.add_space(8.0);
            if ui.button("Close").on_hover_text("Back to the map (Esc or F)").clicked() {
                commands.push(Command::Sheet(SheetCommand::Close));
            }
            let ready = state.made.is_some() && view.save_to.is_none();
            let save = ui.add_enabled(ready, egui::Button::new("Save as page…"));
            if save.on_hover_text("As PDF, as HTML or as pictures, by the ending of the name").clicked() {
                view.save_to = Some(format!("{}.pdf", file_name(&name)));
            }
            compare_button(ui, model, state, view, theme, commands);
        });
    });
    wind_line(ui, model, state, theme, commands);
    save_line(ui, view, commands);
}

fn field_name(model: &Model, index: Option<usize>) -> String {
    let area = model.area.as_ref();
    let field = area.zip(index).and_then(|(area, index)| area.fields.get(index));
    field.map_or_else(String::new, |f| f.label().to_owned())
}

/// A name as part of a file's name on any system.
fn file_name(name: &str) -> String {
    let kept: String = name.chars().map(|c| if c.is_alphanumeric() || c == '-' { c } else { '-' }).collect();
    let kept = kept.trim_matches('-');
    if kept.is_empty() { "field-sheet".to_owned() } else { format!("{kept}-sheet") }
}

fn compare_button(
    ui: &mut Ui,
    model: &Model,
    state: &SheetState,
    view: &mut SheetView,
    theme: &Theme,
    commands: &mut Vec<Command>,
) {
    if state.beside.is_some() {
        let explain = format!("Take {} away", field_name(model, state.beside));
        if ui.button("Compare no more").on_hover_text(explain).clicked() {
            commands.push(Command::Sheet(SheetCommand::Beside(None)));
        }
        return;
    }
    let config = MenuConfig::new().close_behavior(PopupCloseBehavior::CloseOnClickOutside);
    MenuButton::new("Compare with…").config(config).ui(ui, |ui| {
        ui.set_width(300.0);
        let label = ui.label("Name or number of the other field");
        let edit = TextEdit::singleline(&mut view.filter).desired_width(f32::INFINITY);
        let edit = ui.add(edit.background_color(theme.colours.panel_sunken)).labelled_by(label.id);
        if ui.memory(|memory| memory.focused().is_none()) {
            // Opened to type a name.
            edit.request_focus();
        }
        let found = offered(model, &view.filter);
        if found.is_empty() {
            ui.label("No field is called that.");
        }
        ScrollArea::vertical().max_height(320.0).auto_shrink([false, true]).show(ui, |ui| {
            for ranked in found {
                let text = format!(
                    "{} · {}",
                    field_name(model, Some(ranked.index)),
                    if ranked.verdict == Verdict::Out { "out" } else { ranked.verdict.words() }
                );
                ui.horizontal(|ui| {
                    let (rect, _) = ui.allocate_exact_size(egui::vec2(28.0, 26.0), egui::Sense::hover());
                    marks::rank_badge(ui, theme, rect.center(), ranked.verdict, ranked.rank);
                    if ui.selectable_label(false, text).clicked() {
                        commands.push(Command::Sheet(SheetCommand::Beside(Some(ranked.index))));
                        ui.close();
                    }
                });
            }
        });
    });
}

/// Fields in the order of choice whose name or number holds a text, without the one whose sheet is open.
fn offered<'a>(model: &'a Model, filter: &str) -> Vec<&'a RankedField> {
    let (Some(area), Some(assessment)) = (&model.area, &model.assessment) else { return Vec::new() };
    let filter = filter.trim().to_lowercase();
    let named = |r: &&RankedField| {
        let Some(field) = area.fields.get(r.index) else { return false };
        filter.is_empty() || field.name.to_lowercase().contains(&filter) || field.id.to_lowercase().contains(&filter)
    };
    let others = assessment.ranked.iter().filter(|r| Some(r.index) != model.selected);
    others.filter(named).take(OFFERED).collect()
}

fn wind_line(ui: &mut Ui, model: &Model, state: &SheetState, theme: &Theme, commands: &mut Vec<Command>) {
    let units = model.settings.units;
    let (from, speed) = model.sheet_wind();
    ui.horizontal_wrapped(|ui| {
        let label = ui.label("In a wind from").id;
        let typed = Typed {
            value: from.deg(),
            range: -360.0..=720.0,
            speed: 0.5,
            format: &|v| format_bearing(Bearing::from_deg(v)),
            parse: &|text| quantity::parse_bearing(text).map(Bearing::deg).map_err(|e| e.to_string()),
        };
        if let Some(deg) = typed.show(ui, label, commands) {
            commands.push(Command::Sheet(SheetCommand::From(Some(Bearing::from_deg(deg)))));
        }
        for (text, spoken, steps) in [("−5°", "Wind 5° anticlockwise", -1), ("+5°", "Wind 5° clockwise", 1)] {
            let button = ui.button(text).on_hover_text(spoken);
            button.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, spoken));
            if button.clicked() {
                commands.push(Command::Sheet(SheetCommand::Step(steps)));
            }
        }
        let label = ui.label("at").id;
        let typed = Typed {
            value: speed,
            range: 0.0..=MAX_SHEET_WIND_MS,
            speed: 0.1,
            format: &|v| units.format_speed(v),
            parse: &|s| quantity::parse_speed_ms(s, Some(units.speed)).map_err(|e| e.to_string()),
        };
        if let Some(speed) = typed.show(ui, label, commands) {
            commands.push(Command::Sheet(SheetCommand::Speed(speed)));
        }
        if state.has_own_wind() {
            let present = format!(
                "Back to the present {}/{}",
                format_bearing(model.conditions.wind_from),
                units.format_speed(model.conditions.wind_speed_ms)
            );
            if ui.button(present).clicked() {
                commands.push(Command::Sheet(SheetCommand::From(None)));
            }
        } else {
            ui.label(RichText::new("the present wind").color(theme.colours.ink_soft));
        }
    });
}

fn save_line(ui: &mut Ui, view: &mut SheetView, commands: &mut Vec<Command>) {
    if let Some(picking) = &view.picking {
        match picking.try_recv() {
            Ok(Some(path)) => {
                view.save_to = Some(path.to_string_lossy().into_owned());
                view.picking = None;
            }
            Ok(None) | Err(TryRecvError::Disconnected) => view.picking = None,
            Err(TryRecvError::Empty) => {}
        }
    }
    let Some(name) = &mut view.save_to else { return };
    let (mut save, mut cancel, mut pick) = (false, false, false);
    ui.horizontal_wrapped(|ui| {
        let label = ui.label("Page to write");
        let width = (ui.available_width() - 250.0).clamp(120.0, 420.0);
        let edit = ui.add(TextEdit::singleline(name).desired_width(width)).labelled_by(label.id);
        save = edit.lost_focus() && ui.input(|i| i.key_pressed(egui::Key::Enter));
        pick = ui.add_enabled(view.picking.is_none(), egui::Button::new("Choose…")).clicked();
        save |= ui.add_enabled(!name.trim().is_empty(), egui::Button::new("Write")).clicked();
        cancel = ui.button("Cancel").clicked();
    });
    if pick {
        let start = name.clone();
        view.picking = pick_file(ui.ctx().clone(), &start);
    }
    if save && !name.trim().is_empty() {
        let mut path = PathBuf::from(name.trim());
        if path.extension().is_none() {
            path.set_extension("pdf");
        }
        commands.push(Command::Sheet(SheetCommand::SavePage(path)));
    }
    if save || cancel {
        view.save_to = None;
        view.picking = None;
    }
}

/// Asks the system's dialogue on a thread of its own: it may stay open for long.
fn pick_file(ctx: egui::Context, name: &str) -> Option<Receiver<Option<PathBuf>>> {
    let (send, picked) = channel();
    let dialog = rfd::AsyncFileDialog::new().set_title("Save the field sheet").set_file_name(name).save_file();
    let thread = std::thread::Builder::new().name("choose a file".into()).spawn(move || {
        let file = pollster::block_on(dialog).map(|f| f.path().to_owned());
        // Nobody waits any more when the sheet is closed.
        drop(send.send(file));
        ctx.request_repaint();
    });
    match thread {
        Ok(_) => Some(picked),
        Err(e) => {
            log::error!("the file dialogue could not be opened: {e}");
            None
        }
    }
}
