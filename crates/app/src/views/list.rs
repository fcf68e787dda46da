//! The ranked list: one row for each field, tied to the map by hovering and choosing.

use super::marks;
use crate::circuits::many_words::sentence_of;
use crate::command::Command;
use crate::model::Model;
use crate::theme::{Theme, space};
use egui::{Align2, Key, Pos2, Rect, Response, RichText, ScrollArea, Sense, Stroke, Ui, Vec2, WidgetInfo};
use sparefield_data::area::Area;
use sparefield_data::quantity::{UnitPrefs, format_bearing};
use sparefield_geometry::fields::verdict::{RankedField, ReasonKind, Verdict};
use sparefield_geometry::position::Bearing;

const ROW: f32 = 50.0;

/// What to do in an area without fields.
const NO_FIELDS: &str =
    "This area has no fields yet. Draw them in Annotate, or import a file of outlines (Area, Import…).";

/// The ranked list.
pub fn ranked_list(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(area) = &model.area else { return };
    let Some(assessment) = &model.assessment else {
        if let Some(why) = &model.cannot_assess {
            ui.label(RichText::new(why).color(theme.colours.caution));
        } else if area.fields.is_empty() {
            ui.label(NO_FIELDS);
        } else {
            match model.studied {
                Some(share) => {
                    let text = format!("Looking at {} fields", area.fields.len());
                    ui.add(egui::ProgressBar::new(share).text(text));
                }
                None => {
                    ui.label("Looking at the fields…");
                }
            }
        }
        return;
    };
    if let Some(why) = &model.cannot_assess {
        ui.label(RichText::new(why).color(theme.colours.caution));
    }
    if area.fields.is_empty() {
        ui.label(NO_FIELDS);
        return;
    }
    let shown: Vec<&RankedField> =
        assessment.ranked.iter().filter(|r| model.settings.list_out || r.verdict != Verdict::Out).collect();
    header(ui, model, &assessment.ranked, theme, commands);
    if shown.is_empty() {
        ui.add_space(space::LINE);
        ui.label("No field passes the checks from here. In the air that would mean landing ahead as you were taught. Here, try another place or more height, or turn on “list fields that are out” to read why.");
        return;
    }
    let scroll_to = keyboard(ui, &shown, model, commands);
    let mut any_hovered = false;
    let mut area_ui = ScrollArea::vertical().id_salt("ranked").auto_shrink([false, false]).min_scrolled_height(0.0);
    if let Some(row) = scroll_to {
        let offset = (row as f32 * (ROW + 2.0) - ui.available_height() / 2.0).max(0.0);
        area_ui = area_ui.vertical_scroll_offset(offset);
    }
    ui.spacing_mut().item_spacing.y = 2.0;
    area_ui.show_rows(ui, ROW, shown.len(), |ui, rows| {
        for ranked in &shown[rows] {
            let response = row(ui, ranked, area, model, theme);
            if response.hovered() {
                any_hovered = true;
                if model.hovered != Some(ranked.index) {
                    commands.push(Command::Hover(Some(ranked.index)));
                }
            }
            if response.clicked() {
                let again = model.selected == Some(ranked.index);
                commands.push(Command::Select((!again).then_some(ranked.index)));
            }
        }
    });
    let pointer_here = ui.ctx().input(|i| i.pointer.hover_pos()).is_some_and(|p| ui.max_rect().contains(p));
    if !any_hovered && pointer_here && model.hovered.is_some() {
        commands.push(Command::Hover(None));
    }
}

fn header(ui: &mut Ui, model: &Model, ranked: &[RankedField], theme: &Theme, commands: &mut Vec<Command>) {
    let count = |v: Verdict| ranked.iter().filter(|r| r.verdict == v).count();
    let (roomy, workable, last) = (count(Verdict::Roomy), count(Verdict::Workable), count(Verdict::LastResort));
    let mut words = format!(
        "{} of {} fields pass the checks from here: {roomy} roomy, {workable} workable, {last} last resort",
        roomy + workable + last,
        ranked.len()
    );
    if model.assessing {
        words.push_str(" · being worked out anew");
    }
    ui.label(RichText::new(words).color(theme.colours.ink_soft).size(theme.sizes.small));
    let mut list_out = model.settings.list_out;
    if ui.checkbox(&mut list_out, "list fields that are out").changed() {
        commands.push(Command::ListOut(list_out));
    }
}

/// Up and down change the choice while no text is being typed; gives the row to scroll to.
fn keyboard(ui: &Ui, shown: &[&RankedField], model: &Model, commands: &mut Vec<Command>) -> Option<usize> {
    if ui.ctx().text_edit_focused() {
        return None;
    }
    let step = ui.input_mut(|i| {
        let next = isize::from(i.consume_key(egui::Modifiers::NONE, Key::PageDown));
        let previous = isize::from(i.consume_key(egui::Modifiers::NONE, Key::PageUp));
        next - previous
    });
    if step == 0 {
        return None;
    }
    let now = shown.iter().position(|r| Some(r.index) == model.selected);
    let last = shown.len() as isize - 1;
    let row = now.map_or(if step > 0 { 0 } else { last }, |n| (n as isize + step).clamp(0, last)) as usize;
    commands.push(Command::Select(Some(shown[row].index)));
    Some(row)
}

fn row(ui: &mut Ui, ranked: &RankedField, area: &Area, model: &Model, theme: &Theme) -> Response {
    let (rect, response) = ui.allocate_exact_size(Vec2::new(ui.available_width(), ROW), Sense::click());
    let field = &area.fields[ranked.index];
    let units = model.settings.units;
    let convergence = model.convergence_rad(field.centroid());
    let summary = summary(ranked, units, convergence);
    let spare = ranked.spare_height_m.map(|s| signed_height(units, s));
    let many = model.listed_shares.as_ref().and_then(|shares| shares.share(ranked.index));
    let chosen = model.selected == Some(ranked.index);
    let response = match many {
        Some((flights, share)) => response.on_hover_text(sentence_of(flights, share)),
        None => response,
    };
    response.widget_info(|| {
        let spoken = format!(
            "{}. {}, {summary}{}{}",
            ranked.rank,
            field.label(),
            spare.as_ref().map(|s| format!(", spare height {s}")).unwrap_or_default(),
            many.map(|(_, share)| format!(", {} of 100 flights stop in the strip", of_100(share))).unwrap_or_default()
        );
        WidgetInfo::selected(egui::Role::ListItem, true, chosen, spoken)
    });
    if !ui.is_rect_visible(rect) {
        return response;
    }
    let c = &theme.colours;
    let hovered = model.hovered == Some(ranked.index) || response.hovered();
    if chosen {
        ui.painter().rect_filled(rect, 5.0, c.accent_soft);
    } else if hovered {
        ui.painter().rect_filled(rect, 5.0, c.panel_sunken);
    }
    if response.has_focus() {
        ui.painter().rect_stroke(rect, 5.0, Stroke::new(1.5, c.accent), egui::StrokeKind::Inside);
    }
    marks::rank_badge(ui, theme, Pos2::new(rect.left() + 20.0, rect.center().y), ranked.verdict, ranked.rank);
    let left = rect.left() + 42.0;
    let mut right = rect.right() - 8.0;
    let top = rect.top() + 8.0;
    if ranked.verdict != Verdict::Out
        && let Some(spare) = &spare
    {
        let text = ui.painter().text(
            Pos2::new(right, top),
            Align2::RIGHT_TOP,
            spare,
            theme.bold_font(theme.sizes.text),
            c.ink,
        );
        right = text.left() - 8.0;
    }
    if let Some((_, share)) = many {
        let text = format!("{} % stop", of_100(share));
        let text =
            ui.painter().text(Pos2::new(right, top + 2.0), Align2::RIGHT_TOP, text, theme.small_font(), c.ink_soft);
        right = text.left() - 8.0;
    }
    let name = Rect::from_min_max(Pos2::new(left, rect.top()), Pos2::new(right, rect.bottom()));
    let bold = theme.bold_font(theme.sizes.text);
    clipped_text(ui, name, Pos2::new(left, top), field.label(), bold, c.ink);
    let second = Rect::from_min_max(Pos2::new(left, rect.top()), Pos2::new(rect.right() - 8.0, rect.bottom()));
    clipped_text(ui, second, Pos2::new(left, top + 20.0), &summary, theme.small_font(), c.ink_soft);
    response
}

/// A share of 100, rounded down.
fn of_100(share: f64) -> f64 {
    (share * 100.0).floor()
}

/// Text that ends in an ellipsis where it does not fit.
fn clipped_text(ui: &Ui, within: Rect, at: Pos2, text: &str, font: egui::FontId, colour: egui::Color32) {
    let mut job = egui::text::LayoutJob::simple_singleline(text.to_owned(), font, colour);
    job.wrap = egui::text::TextWrapping::truncate_at_width(within.width().max(10.0));
    let galley = ui.painter().layout_job(job);
    ui.painter().galley(at, galley, colour);
}

fn summary(ranked: &RankedField, units: UnitPrefs, convergence: f64) -> String {
    let verdict = ranked.verdict.words();
    if ranked.verdict == Verdict::Out {
        let why = ranked.reasons.iter().find(|r| r.kind == ReasonKind::Gate);
        return why.map_or_else(|| verdict.to_owned(), |r| format!("{verdict}: {}", words(r, units, convergence)));
    }
    match &ranked.strip {
        Some(s) => format!(
            "{verdict} · land {} · {} for {}",
            format_bearing(Bearing::from_rad(s.heading.rad() + convergence)),
            units.format_length_at_least(s.usable_length_m),
            units.format_length_at_most(s.needed_length_m)
        ),
        None => verdict.to_owned(),
    }
}

/// A reason in the pilot's units, with true bearings.
#[must_use]
pub fn words(reason: &sparefield_geometry::fields::verdict::Reason, units: UnitPrefs, convergence: f64) -> String {
    use sparefield_geometry::fields::verdict::Quantity;
    reason.words(|q| match q {
        Quantity::Direction(b) => format_bearing(Bearing::from_rad(b.rad() + convergence)),
        other => sparefield_data::quantity::format_quantity(other, &units),
    })
}

/// A height in hand with its sign, rounded down.
#[must_use]
pub fn signed_height(units: UnitPrefs, metres: f64) -> String {
    if metres < 0.0 {
        format!("−{}", units.format_height_at_most(-metres))
    } else {
        format!("+{}", units.format_height_at_least(metres))
    }
}
