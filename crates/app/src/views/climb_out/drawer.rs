//! The table under the map: what is in reach, height by height. A row is chosen by clicking its height.

use crate::climb_out::words;
use crate::command::Command;
use crate::model::{ClimbOutCommand, Model};
use crate::theme::Theme;
use egui::{Align2, FontFamily, FontId, Frame, Grid, Label, Rect, RichText, ScrollArea, Ui, pos2, vec2};

/// Height of the table, points, where the window is high and where it is not.
const TABLE: f32 = 190.0;
const LOW_TABLE: f32 = 120.0;
/// Windows lower than this have a low table, points.
const LOW_WINDOW: f32 = 700.0;
/// The columns: the widest, of fields, at the end, where a narrow window cuts it off first.
const ORDER: [usize; 5] = [0, 1, 2, 4, 3];
/// Rows nearer to the height asked about than this are the one looked at, metres.
const SAME_M: f64 = 0.5;

/// The drawer, while the page of climb-outs is shown.
pub fn drawer(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(Ok(answer)) = model.climb_out().filter(|_| model.climbs_out()) else { return };
    let units = model.settings.units;
    let low = ui.ctx().content_rect().height() < LOW_WINDOW;
    let frame = Frame::new().fill(theme.colours.panel).inner_margin(egui::Margin::symmetric(12, 8));
    let height = if low { LOW_TABLE } else { TABLE };
    // The row looked at comes into sight when the height changes, and stays where the hand scrolls it to otherwise.
    let seen = egui::Id::unique("climb-out row in sight");
    let now = (model.climb_outs.end, model.climb_outs.height_m);
    let moved = ui.data(|d| d.get_temp::<(Option<usize>, f64)>(seen)) != Some(now);
    ui.data_mut(|d| d.insert_temp(seen, now));
    egui::Panel::bottom("climb-out heights").exact_size(height).resizable(false).frame(frame).show(ui, |ui| {
        let small = |words: &str| RichText::new(words).size(theme.sizes.small);
        let mut columns = Vec::new();
        let table = ScrollArea::both().id_salt("climb-out table").auto_shrink(false).show(ui, |ui| {
            Grid::new("climb-out table").num_columns(words::HEADINGS.len()).spacing([18.0, 2.0]).show(ui, |ui| {
                for heading in ORDER.map(|column| words::HEADINGS[column]) {
                    let shown = ui.label(small(heading).color(theme.colours.ink_soft));
                    columns.push((shown.rect.left(), heading));
                }
                ui.end_row();
                for step in &answer.flown.steps {
                    let cells = words::row(answer, step, units);
                    let [height, rest @ ..] = ORDER.map(|column| cells[column].as_str());
                    let chosen = (step.height_m - model.climb_outs.height_m).abs() < SAME_M;
                    let row = ui.selectable_label(chosen, small(height));
                    if chosen && moved {
                        row.scroll_to_me(Some(egui::Align::Center));
                    }
                    if row.on_hover_text("Show this height on the map").clicked() {
                        commands.push(Command::ClimbOut(ClimbOutCommand::Height(step.height_m)));
                    }
                    for cell in rest {
                        ui.add(Label::new(small(cell)).extend());
                    }
                    ui.end_row();
                }
            });
        });
        if table.state.unclamped_offset().y > 1.0 {
            headings(ui, table.inner_rect, &columns, theme);
        }
    });
}

/// The headings once more, over the rows that were scrolled up under them.
fn headings(ui: &Ui, table: Rect, columns: &[(f32, &str)], theme: &Theme) {
    let painter = ui.painter().with_clip_rect(table);
    let font = FontId::new(theme.sizes.small, FontFamily::Proportional);
    let height = ui.fonts_mut(|fonts| fonts.row_height(&font)) + 4.0;
    let strip = Rect::from_min_size(table.min, vec2(table.width(), height));
    painter.rect_filled(strip, 0.0, theme.colours.panel);
    for (left, heading) in columns {
        let at = pos2(*left, table.top());
        painter.text(at, Align2::LEFT_TOP, heading, font.clone(), theme.colours.ink_soft);
    }
}
