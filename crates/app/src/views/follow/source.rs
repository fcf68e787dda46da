//! What is listened to, as the pilot names it.

use crate::command::Command;
use crate::model::{FollowCommand, Model, SourceForm, SourceKind};
use crate::theme::{Theme, space};
use egui::{ComboBox, RichText, TextEdit, Ui};
use sparefield_data::live::serial_ports;

const LABEL: f32 = 74.0;
/// Bit rates of receivers, the usual first.
const RATES: [u32; 6] = [4_800, 9_600, 19_200, 38_400, 57_600, 115_200];

/// The form.
pub(super) fn form(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    ui.label(RichText::new("Where positions come from").font(theme.bold_font(theme.sizes.heading)));
    let mut form = model.follow.form.clone();
    ComboBox::from_id_salt("source kind")
        .selected_text(form.kind.words())
        .width(ui.available_width() - 8.0)
        .show_ui(ui, |ui| {
            for kind in SourceKind::ALL {
                ui.selectable_value(&mut form.kind, kind, kind.words());
            }
        })
        .response
        .on_hover_text("Where positions come from");
    let mut choose = false;
    match form.kind {
        SourceKind::Gpsd => {
            text_line(ui, "Server", &mut form.host);
            text_line(ui, "Port", &mut form.gpsd_port);
        }
        SourceKind::Tcp => {
            text_line(ui, "Server", &mut form.host);
            text_line(ui, "Port", &mut form.nmea_port);
        }
        SourceKind::Udp => text_line(ui, "Port", &mut form.nmea_port),
        SourceKind::Serial => serial(ui, &mut form),
        SourceKind::Replay => {
            text_line(ui, "File", &mut form.file);
            choose = ui.button("Choose a file…").clicked();
        }
    }
    if form != model.follow.form {
        commands.push(Command::Follow(FollowCommand::Form(form)));
    }
    if choose {
        commands.push(Command::Follow(FollowCommand::ChooseFile));
    }
    ui.add_space(space::LINE);
    let text = RichText::new("Connect").font(theme.bold_font(theme.sizes.heading));
    if ui.add(egui::Button::new(text).min_size(egui::vec2(ui.available_width(), 36.0))).clicked() {
        commands.push(Command::Follow(FollowCommand::Connect));
    }
    if let Some(problem) = &model.follow.problem {
        ui.add(egui::Label::new(RichText::new(problem).color(theme.colours.caution)).wrap());
    }
    let text = "The ranked list then follows the aircraft. Heights must count from mean sea level, as NMEA and gpsd give \
                them. If positions stop, the list turns grey and says how old it is.";
    let text = RichText::new(text).size(theme.sizes.text).color(theme.colours.ink_soft);
    ui.add(egui::Label::new(text).wrap());
}

fn text_line(ui: &mut Ui, label: &str, text: &mut String) {
    ui.horizontal(|ui| {
        let left = egui::Layout::left_to_right(egui::Align::Center);
        let label = ui.allocate_ui_with_layout(egui::vec2(LABEL, 24.0), left, |ui| {
            ui.set_min_width(LABEL);
            ui.label(label)
        });
        ui.add(TextEdit::singleline(text).desired_width(ui.available_width() - 12.0)).labelled_by(label.inner.id);
    });
}

fn serial(ui: &mut Ui, form: &mut SourceForm) {
    text_line(ui, "Line", &mut form.line);
    ui.horizontal(|ui| {
        // The system is asked only when the list opens.
        ui.menu_button("Lines of this computer", |ui| {
            let names = serial_ports();
            if names.is_empty() {
                ui.label("This computer has no serial line");
            }
            for name in names {
                if ui.button(&name).clicked() {
                    form.line = name;
                    ui.close();
                }
            }
        });
        ComboBox::from_id_salt("bits in a second").selected_text(format!("{} bits/s", form.baud)).show_ui(ui, |ui| {
            for rate in RATES {
                ui.selectable_value(&mut form.baud, rate, format!("{rate} bits/s"));
            }
        });
    });
}
