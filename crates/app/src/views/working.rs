//! A number that opens to how it came about: formula, inputs, source.

use crate::circuits::words::capital;
use crate::theme::Theme;
use egui::{Align2, Pos2, RichText, Sense, Ui, Vec2};

/// Room for a value in a working, points.
const VALUE_WIDTH: f32 = 78.0;

/// One number; whether it was pressed.
pub(super) fn number_row(ui: &mut Ui, theme: &Theme, label: &str, value: &str, open: bool) -> bool {
    let c = &theme.colours;
    let (rect, response) = ui.allocate_exact_size(Vec2::new(ui.available_width(), 24.0), Sense::click());
    response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, open, format!("{label}: {value}")));
    if response.hovered() || response.has_focus() {
        ui.painter().rect_filled(rect, 4.0, c.panel_sunken);
    }
    let mark = if open { "▾" } else { "▸" };
    let mid = rect.center().y;
    let painter = ui.painter();
    painter.text(Pos2::new(rect.left() + 4.0, mid), Align2::LEFT_CENTER, mark, theme.small_font(), c.ink_soft);
    painter.text(Pos2::new(rect.left() + 20.0, mid), Align2::LEFT_CENTER, capital(label), theme.text_font(), c.ink);
    painter.text(
        Pos2::new(rect.right() - 6.0, mid),
        Align2::RIGHT_CENTER,
        value,
        theme.bold_font(theme.sizes.text),
        c.ink,
    );
    response.on_hover_text("How this number came about").clicked()
}

/// How it came about.
pub(super) fn show<'a>(
    ui: &mut Ui,
    theme: &Theme,
    formula: &str,
    inputs: impl Iterator<Item = (&'a str, String)>,
    source: &str,
) {
    let frame = egui::Frame::new()
        .fill(theme.colours.panel_sunken)
        .corner_radius(5.0)
        .inner_margin(egui::Margin::symmetric(10, 8));
    frame.show(ui, |ui| {
        ui.set_width(ui.available_width());
        ui.label(formula);
        for (name, value) in inputs {
            ui.horizontal_top(|ui| {
                let width = ui.available_width() - VALUE_WIDTH - 8.0;
                ui.allocate_ui(Vec2::new(width, 0.0), |ui| {
                    ui.set_width(width);
                    ui.add(egui::Label::new(RichText::new(name).size(theme.sizes.small)).wrap());
                });
                ui.with_layout(egui::Layout::right_to_left(egui::Align::TOP), |ui| {
                    ui.label(RichText::new(value).size(theme.sizes.small));
                });
            });
        }
        let source = format!("Source: {source}");
        ui.label(RichText::new(source).size(theme.sizes.small).color(theme.colours.ink_soft));
    });
}
