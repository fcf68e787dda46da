//! What grows on a field through the year: crop, year, and a row of twelve months.
//!
//! Every surface has a pattern and a letter of its own, so that nobody needs colour.

use super::field_form::Form;
use crate::command::Command;
use crate::model::Model;
use crate::theme::{Theme, space};
use crate::views::typed::typed_text;
use egui::{Align2, ComboBox, Painter, Pos2, Rect, RichText, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};
use sparefield_geometry::fields::model::{Calendar, Field, MONTHS, Surface};

/// Height of a month in the row, points.
const CELL: f32 = 40.0;

/// The months chosen, first and last, 0 for January; the last may lie before the first, over the turn of the year.
type Months = (usize, usize);

/// The section of what grows.
pub(super) fn what_grows(
    ui: &mut Ui,
    model: &Model,
    form: &Form<'_>,
    field: &Field,
    theme: &Theme,
    commands: &mut Vec<Command>,
) {
    let calendar = &field.calendar;
    let title = match (calendar.crop.as_str(), calendar.year) {
        _ if calendar.is_empty() => "What grows through the year".to_owned(),
        ("", None) => "What grows every year".to_owned(),
        ("", Some(year)) => format!("What grows in {year}"),
        (crop, None) => format!("What grows: {crop}"),
        (crop, Some(year)) => format!("What grows in {year}: {crop}"),
    };
    let open = !calendar.is_empty();
    egui::CollapsingHeader::new(title).id_salt(("what grows", form.key)).default_open(open).show(ui, |ui| {
        form.text(ui, commands, "Crop", "crop", &calendar.crop, |f, t| f.calendar.crop = t);
        year(ui, model, form, calendar, commands);
        let id = form.key.with("months");
        let this_month = model.today.month_index();
        let mut chosen: Months = ui.data(|d| d.get_temp(id)).unwrap_or((this_month, this_month));
        row(ui, calendar, this_month, &mut chosen, theme);
        set(ui, form, calendar, &mut chosen, commands);
        legend(ui, calendar, theme);
        ui.data_mut(|d| d.insert_temp(id, chosen));
        let text = "Drag over months, or choose from and to, then say what grows. What is expected never counts for more \
                    than what was seen.";
        ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft));
        ui.add_space(space::TIGHT);
    });
}

fn year(ui: &mut Ui, model: &Model, form: &Form<'_>, calendar: &Calendar, commands: &mut Vec<Command>) {
    let this_year = model.today.civil().0;
    ui.horizontal(|ui| {
        let label = Form::label(ui, "Year");
        let words = |year: Option<i32>| year.map_or_else(|| "every year".to_owned(), |y| y.to_string());
        let combo = ComboBox::from_id_salt("calendar year").selected_text(words(calendar.year)).width(110.0);
        let combo = combo.show_ui(ui, |ui| {
            for year in [None, Some(this_year - 1), Some(this_year), Some(this_year + 1)] {
                if ui.selectable_label(calendar.year == year, words(year)).clicked() {
                    form.change(commands, "calendar year", |f| f.calendar.year = year);
                }
            }
        });
        combo.response.labelled_by(label);
        let id = form.key.with("other year");
        if let Some(text) = typed_text(ui, id, "Another year", "", "other", 76.0)
            && let Ok(year) = text.trim().parse::<i32>()
            && (1..=9_999).contains(&year)
        {
            form.change(commands, "calendar year", |f| f.calendar.year = Some(year));
        }
    });
}

/// The twelve months. A click chooses one, Shift and a click up to there, a drag several.
fn row(ui: &mut Ui, calendar: &Calendar, this_month: usize, chosen: &mut Months, theme: &Theme) {
    let width = ui.available_width() - 8.0;
    let (row, _) = ui.allocate_exact_size(vec2(width, CELL), Sense::hover());
    let cell = |month: usize| {
        let left = row.left() + width * month as f32 / 12.0;
        Rect::from_min_size(pos2(left, row.top()), vec2(width / 12.0, CELL))
    };
    for (month, &grows) in calendar.months.iter().enumerate() {
        let rect = cell(month);
        let response = ui.interact(rect, ui.scope_id().with(("month", month)), Sense::click_and_drag());
        let now = if month == this_month { ", this month" } else { "" };
        let words = format!("{}: {}{now}", MONTHS[month], grows.map_or("not known", Surface::words));
        let is_chosen = holds(*chosen, month);
        response.widget_info(|| WidgetInfo::selected(Role::Button, true, is_chosen, &words));
        if response.clicked() {
            let extend = ui.input(|i| i.modifiers.shift);
            *chosen = if extend { (chosen.0, month) } else { (month, month) };
        }
        if response.drag_started() {
            *chosen = (month, month);
        }
        if response.dragged()
            && let Some(at) = response.interact_pointer_pos()
        {
            let over = ((at.x - row.left()) / width * 12.0).floor().clamp(0.0, 11.0) as usize;
            // A drag to the left starts where it ends.
            *chosen = (month.min(over), month.max(over));
        }
        let focus = response.has_focus();
        draw_month(
            ui.painter(),
            rect,
            month,
            grows,
            Marks { this_month: month == this_month, is_chosen, focus },
            theme,
        );
        response.on_hover_text(words);
    }
}

fn holds((first, last): Months, month: usize) -> bool {
    if first <= last { (first..=last).contains(&month) } else { month >= first || month <= last }
}

/// What marks a month besides what grows.
#[derive(Clone, Copy)]
struct Marks {
    this_month: bool,
    is_chosen: bool,
    focus: bool,
}

fn draw_month(painter: &Painter, rect: Rect, month: usize, grows: Option<Surface>, marks: Marks, theme: &Theme) {
    let c = &theme.colours;
    let rect = rect.shrink2(vec2(0.75, 0.0));
    let fill = if marks.is_chosen { c.accent_soft } else { c.panel_sunken };
    painter.rect_filled(rect, 2.0, fill);
    let below = Rect::from_min_max(pos2(rect.left(), rect.top() + 16.0), rect.max);
    let font = if marks.this_month { theme.bold_font(theme.sizes.small) } else { theme.small_font() };
    painter.text(pos2(rect.center().x, rect.top() + 8.0), Align2::CENTER_CENTER, &MONTHS[month][..1], font, c.ink);
    pattern(&painter.with_clip_rect(below.intersect(painter.clip_rect())), below, grows, theme);
    let middle = below.center();
    let letter = letter(grows);
    painter.rect_filled(Rect::from_center_size(middle, vec2(13.0, 15.0)), 2.0, fill);
    painter.text(middle, Align2::CENTER_CENTER, letter, theme.bold_font(theme.sizes.small), c.ink);
    let stroke = match marks {
        Marks { focus: true, .. } => Stroke::new(2.5, c.accent),
        Marks { this_month: true, .. } => Stroke::new(2.0, c.ink),
        Marks { is_chosen: true, .. } => Stroke::new(1.5, c.accent),
        _ => Stroke::new(1.0, c.line),
    };
    painter.rect_stroke(rect, 2.0, stroke, egui::StrokeKind::Inside);
}

/// One letter for what grows.
fn letter(grows: Option<Surface>) -> &'static str {
    match grows {
        Some(Surface::Stubble) => "S",
        Some(Surface::GrazedGrass) => "G",
        Some(Surface::LongGrass) => "L",
        Some(Surface::ShortCrop) => "C",
        Some(Surface::TallCrop) => "T",
        Some(Surface::Ploughed) => "P",
        Some(Surface::SoftOrWet) => "W",
        Some(Surface::Unknown) | None => "?",
    }
}

/// A pattern for what grows: how it looks from above or from the side.
fn pattern(painter: &Painter, rect: Rect, grows: Option<Surface>, theme: &Theme) {
    let stroke = Stroke::new(1.0, theme.colours.ink_soft);
    let rows =
        |step: f32| (0..).map(move |i| rect.top() + 3.0 + i as f32 * step).take_while(move |y| *y < rect.bottom());
    let columns =
        |step: f32| (0..).map(move |i| rect.left() + 2.0 + i as f32 * step).take_while(move |x| *x < rect.right());
    let line = |a: Pos2, b: Pos2| {
        painter.line_segment([a, b], stroke);
    };
    let tufts = |height: f32, lean: f32, across: f32, down: f32| {
        for y in rows(down) {
            for x in columns(across) {
                line(pos2(x, y + height), pos2(x + lean, y));
            }
        }
    };
    match grows {
        Some(Surface::Stubble) => tufts(3.0, 0.0, 4.0, 7.0),
        Some(Surface::GrazedGrass) => {
            for y in rows(5.0) {
                for x in columns(5.0) {
                    painter.circle_filled(pos2(x, y), 0.9, theme.colours.ink_soft);
                }
            }
        }
        Some(Surface::LongGrass) => tufts(8.0, 4.0, 5.0, 11.0),
        Some(Surface::ShortCrop) => {
            for x in columns(7.0) {
                for y in rows(4.0) {
                    line(pos2(x, y), pos2(x, y + 2.0));
                }
            }
        }
        Some(Surface::TallCrop) => {
            for x in columns(3.0) {
                line(pos2(x, rect.top()), pos2(x, rect.bottom()));
            }
        }
        Some(Surface::Ploughed) => {
            for y in rows(4.0) {
                line(pos2(rect.left(), y), pos2(rect.right(), y));
            }
        }
        Some(Surface::SoftOrWet) => {
            for y in rows(7.0) {
                for x in columns(8.0) {
                    line(pos2(x, y + 2.0), pos2(x + 2.0, y));
                    line(pos2(x + 2.0, y), pos2(x + 4.0, y + 2.0));
                    line(pos2(x + 4.0, y + 2.0), pos2(x + 6.0, y));
                }
            }
        }
        Some(Surface::Unknown) | None => {}
    }
}

/// What the letters in the row mean.
fn legend(ui: &mut Ui, calendar: &Calendar, theme: &Theme) {
    let mut used: Vec<Option<Surface>> = Vec::new();
    for month in calendar.months {
        if !used.contains(&month) {
            used.push(month);
        }
    }
    let words = used.into_iter().map(|s| format!("{} {}", letter(s), s.map_or("not known", Surface::words)));
    let text = words.collect::<Vec<_>>().join(" · ");
    ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft));
}

/// From and to, and what grows then.
fn set(ui: &mut Ui, form: &Form<'_>, calendar: &Calendar, chosen: &mut Months, commands: &mut Vec<Command>) {
    let month = |ui: &mut Ui, spoken: &str, now: &mut usize| {
        let combo = ComboBox::from_id_salt(spoken).selected_text(&MONTHS[*now][..3]).width(54.0).height(420.0);
        let combo = combo.show_ui(ui, |ui| {
            for (i, name) in MONTHS.iter().enumerate() {
                ui.selectable_value(now, i, *name);
            }
        });
        combo.response.widget_info(|| WidgetInfo::labeled(Role::ComboBox, true, spoken));
    };
    ui.spacing_mut().item_spacing.x = 5.0;
    ui.horizontal(|ui| {
        month(ui, "From month", &mut chosen.0);
        ui.label("to");
        month(ui, "To month", &mut chosen.1);
        let now = calendar.months[chosen.0];
        let combo = ComboBox::from_id_salt("grows").selected_text(now.map_or("not known", Surface::words));
        let combo = combo.width(ui.available_width() - 8.0).height(320.0).show_ui(ui, |ui| {
            let all = Surface::ALL.into_iter().filter(|s| *s != Surface::Unknown).map(Some);
            for option in all.chain([None]) {
                if ui.selectable_label(false, option.map_or("not known", Surface::words)).clicked() {
                    let months = *chosen;
                    form.change(commands, "calendar", |f| fill(&mut f.calendar, months, option));
                }
            }
        });
        combo.response.widget_info(|| WidgetInfo::labeled(Role::ComboBox, true, "Grows in these months"));
    });
}

fn fill(calendar: &mut Calendar, months: Months, grows: Option<Surface>) {
    for (month, of) in calendar.months.iter_mut().enumerate() {
        if holds(months, month) {
            *of = grows;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_may_run_over_the_turn_of_the_year() {
        let mut calendar = Calendar::default();
        fill(&mut calendar, (10, 1), Some(Surface::Stubble));
        let filled: Vec<usize> = (0..12).filter(|&m| calendar.months[m].is_some()).collect();
        assert_eq!(filled, [0, 1, 10, 11]);
        fill(&mut calendar, (11, 11), None);
        assert_eq!(calendar.months[11], None);
    }

    #[test]
    fn every_surface_has_a_letter_of_its_own() {
        let mut letters: Vec<&str> = Surface::ALL.into_iter().map(|s| letter(Some(s))).collect();
        letters.sort_unstable();
        letters.dedup();
        assert_eq!(letters.len(), Surface::ALL.len());
    }
}
