//! What the columns of a layer mean: a chooser above each column of its first records, and a table of words.

use crate::theme::Theme;
use egui::{ComboBox, Grid, RichText, ScrollArea, Ui};
use sparefield_data::quantity::HeightUnit;
use sparefield_data::vector::{ColumnPreview, DateOrder, LayerPreview, Mapping, Meaning};
use sparefield_geometry::fields::model::Surface;

/// Records shown.
const ROWS: usize = 5;
/// Words of a surface column that are listed.
const WORDS: usize = 60;
/// Width of a column, points.
const WIDTH: f32 = 150.0;

/// The first records with what each column means.
pub(super) fn table(ui: &mut Ui, layer: &LayerPreview, mapping: &mut Mapping) {
    if layer.columns.is_empty() {
        ui.label("Its records have no columns.");
        return;
    }
    ScrollArea::horizontal().id_salt(("columns", &layer.name)).show(ui, |ui| {
        Grid::new(("records", &layer.name)).striped(true).spacing([10.0, 4.0]).show(ui, |ui| {
            for column in &layer.columns {
                meaning(ui, column, mapping);
            }
            ui.end_row();
            for column in &layer.columns {
                cell(ui, RichText::new(&column.name).strong());
            }
            ui.end_row();
            for row in layer.first.iter().take(ROWS) {
                for value in row {
                    cell(ui, RichText::new(value)).on_hover_text(value);
                }
                ui.end_row();
            }
        });
    });
}

/// A text of a column's width, cut where it is longer.
fn cell(ui: &mut Ui, text: RichText) -> egui::Response {
    let left = egui::Layout::left_to_right(egui::Align::Center);
    let inner = ui.allocate_ui_with_layout(egui::vec2(WIDTH, 18.0), left, |ui| {
        ui.set_min_width(WIDTH);
        ui.add(egui::Label::new(text).truncate())
    });
    inner.inner
}

fn meaning(ui: &mut Ui, column: &ColumnPreview, mapping: &mut Mapping) {
    let now = mapping.meaning(&column.name);
    let mut chosen = now;
    let combo = ComboBox::from_id_salt(("meaning", &column.name)).selected_text(now.words()).width(WIDTH);
    let shown = combo.show_ui(ui, |ui| {
        for meaning in Meaning::ALL {
            ui.selectable_value(&mut chosen, meaning, meaning.words());
        }
    });
    let words = format!("Meaning of {}: {}", column.name, now.words());
    shown.response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::ComboBox, true, &words));
    if chosen != now {
        mapping.set(&column.name, chosen);
    }
}

/// Words of the surface column and what they stand for; the unit of heights and the order of dates.
pub(super) fn words(ui: &mut Ui, theme: &Theme, layer: &LayerPreview, mapping: &mut Mapping) {
    let meant = |wanted: Meaning| layer.columns.iter().find(|c| mapping.meaning(&c.name) == wanted);
    let (heights, dates) = (meant(Meaning::Height).or(meant(Meaning::Below)), meant(Meaning::Surveyed));
    let (heights, dates) = (heights.is_some(), dates.is_some());
    let column = meant(Meaning::Surface).cloned();
    ui.horizontal(|ui| {
        if heights {
            ui.label("Heights without a unit are in");
            ui.selectable_value(&mut mapping.height_unit, HeightUnit::M, "metres");
            ui.selectable_value(&mut mapping.height_unit, HeightUnit::Ft, "feet");
        }
        if dates {
            ui.label("Dates such as 3/4/2026:");
            ui.selectable_value(&mut mapping.dates, DateOrder::Unknown, "not known");
            ui.selectable_value(&mut mapping.dates, DateOrder::DayFirst, "day first");
            ui.selectable_value(&mut mapping.dates, DateOrder::MonthFirst, "month first");
        }
    });
    let Some(column) = column else { return };
    let foreign: Vec<&String> = column.values.iter().filter(|v| Surface::from_words(v).is_none()).take(WORDS).collect();
    if foreign.is_empty() {
        return;
    }
    ui.label("What the words of the surface column stand for; what is left at “unknown” stays unknown");
    ScrollArea::vertical().id_salt(("words", &layer.name)).max_height(110.0).show(ui, |ui| {
        Grid::new(("word table", &layer.name)).num_columns(4).spacing([12.0, 4.0]).show(ui, |ui| {
            for (i, word) in foreign.iter().enumerate() {
                let now = mapping.surfaces.iter().find(|(w, _)| w == *word).map_or(Surface::Unknown, |(_, s)| *s);
                let mut chosen = now;
                cell(ui, RichText::new(word.as_str()));
                let combo = ComboBox::from_id_salt(("surface", *word)).selected_text(now.words()).width(120.0);
                let shown = combo.show_ui(ui, |ui| {
                    for surface in Surface::ALL {
                        ui.selectable_value(&mut chosen, surface, surface.words());
                    }
                });
                let words = format!("Surface for {word}: {}", now.words());
                shown.response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::ComboBox, true, &words));
                if chosen == Surface::Unknown && now != chosen {
                    mapping.surfaces.retain(|(w, _)| w != *word);
                } else if chosen != now {
                    mapping.set_surface(word, chosen);
                }
                if i % 2 == 1 {
                    ui.end_row();
                }
            }
        });
    });
    if column.more_values || column.values.len() > WORDS {
        let note = "There are more different words than can be listed; the others stay unknown.";
        ui.label(RichText::new(note).size(theme.sizes.small).color(theme.colours.caution));
    }
}
