//! The field sheet over the map: the sentence first, then the rose, the strips, the ground and the approach from the
//! side, and what all of it rests on. Beside it, where wanted, a second field at the same scales.

mod header;
pub(crate) mod paint;
mod parts;

pub use header::SheetView;

use crate::command::Command;
use crate::model::Model;
use crate::sheet::profiles::Scales;
use crate::sheet::{Made, One, plan, rose, words};
use crate::theme::{Theme, space};
use egui::{RichText, ScrollArea, Ui, vec2};
use parts::Part;
use sparefield_geometry::fields::sheet::{Way, Which};

/// From this width on, the rose and the plan stand beside each other, points.
const TWO_COLUMNS: f32 = 700.0;
/// Room between columns, points.
const GAP: f32 = 14.0;
/// Room for the scroll bar, points.
const BAR: f32 = 10.0;

/// The sheet of the chosen field.
pub fn sheet(ui: &mut Ui, model: &Model, view: &mut SheetView, theme: &Theme, commands: &mut Vec<Command>) {
    let Some(state) = &model.sheet else { return };
    header::header(ui, model, state, view, theme, commands);
    ui.separator();
    let Some(made) = &state.made else {
        match &state.problem {
            Some(why) => {
                let text = words::sentence_start(why);
                ui.add(egui::Label::new(RichText::new(text).color(theme.colours.caution)).wrap());
            }
            None => {
                ui.label("Working out the sheet…");
            }
        }
        return;
    };
    let salt = ("sheet", made.ask.field, made.ask.beside);
    ScrollArea::vertical().id_salt(salt).auto_shrink([false, false]).show(ui, |ui| {
        ui.set_max_width(ui.available_width() - BAR);
        ui.spacing_mut().item_spacing.y = 6.0;
        match &made.sheets[..] {
            [one] => single(ui, made, one, model, theme, commands),
            [first, second] => compared(ui, made, [first, second], model, theme, commands),
            _ => {
                ui.label("This field is no longer there.");
            }
        }
        ui.add_space(space::GROUP);
    });
}

fn single(ui: &mut Ui, made: &Made, one: &One, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let way = one.way(model.sheet.as_ref().and_then(|s| s.way));
    let width = ui.available_width();
    let two = width >= TWO_COLUMNS;
    let column = if two { (width - GAP) / 2.0 } else { width };
    let side = column.min(430.0);
    let size = vec2(column, side);
    let part = Part {
        made,
        one,
        way,
        model,
        theme,
        rim_m: rose::rim_m(rose::longest_m(one), model.settings.units),
        plan_scale: plan::scale(&one.field, size),
        scales: Scales::of(&way.into_iter().collect::<Vec<_>>()),
        own: true,
    };
    part.sentence(ui);
    if two {
        ui.horizontal_top(|ui| {
            ui.spacing_mut().item_spacing.x = GAP;
            ui.vertical(|ui| {
                ui.set_width(column);
                part.rose(ui, side, commands);
            });
            ui.vertical(|ui| {
                ui.set_width(column);
                part.plan(ui, size);
                part.ways(ui, commands);
            });
        });
    } else {
        part.rose(ui, side, commands);
        part.plan(ui, size);
        part.ways(ui, commands);
    }
    part.approach(ui, width);
    part.things(ui);
    part.ground(ui, width);
    if two {
        ui.horizontal_top(|ui| {
            ui.spacing_mut().item_spacing.x = GAP;
            ui.vertical(|ui| {
                ui.set_width(column);
                part.figures(ui);
            });
            ui.vertical(|ui| {
                ui.set_width(column);
                part.reasons(ui);
            });
        });
    } else {
        part.figures(ui);
        part.reasons(ui);
    }
    part.assumptions(ui);
    part.not_looked_at(ui);
}

fn compared(ui: &mut Ui, made: &Made, pair: [&One; 2], model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    differences(ui, pair, model, theme);
    let width = ui.available_width();
    let column = (width - GAP) / 2.0;
    let side = column.min(400.0);
    let size = vec2(column, side * 0.8);
    let chosen = model.sheet.as_ref().and_then(|s| s.way);
    let ways = [pair[0].way(chosen), pair[1].way(None)];
    let longest = pair.iter().map(|one| rose::longest_m(one)).fold(0.0, f64::max);
    let plan_scale = pair.iter().map(|one| plan::scale(&one.field, size)).fold(f32::INFINITY, f32::min);
    let both: Vec<&Way> = ways.iter().copied().flatten().collect();
    let scales = Scales::of(&both);
    let part = |i: usize| Part {
        made,
        one: pair[i],
        way: ways[i],
        model,
        theme,
        rim_m: rose::rim_m(longest, model.settings.units),
        plan_scale,
        scales,
        own: i == 0,
    };
    let parts = [part(0), part(1)];
    // Row by row, so that like stands beside like whatever the length of the words.
    let mut row = |draw: &mut dyn FnMut(&Part<'_>, &mut Ui, &mut Vec<Command>)| {
        ui.horizontal_top(|ui| {
            ui.spacing_mut().item_spacing.x = GAP;
            for part in &parts {
                ui.push_id(part.one.index, |ui| {
                    ui.vertical(|ui| {
                        ui.set_width(column);
                        draw(part, ui, commands);
                    });
                });
            }
        });
    };
    row(&mut |part, ui, _| {
        part.name(ui);
        part.sentence(ui);
    });
    row(&mut |part, ui, commands| part.rose(ui, side, commands));
    row(&mut |part, ui, _| part.plan(ui, size));
    row(&mut |part, ui, _| part.approach(ui, column));
    row(&mut |part, ui, _| part.ground(ui, column));
    row(&mut |part, ui, _| part.assumptions(ui));
    parts[0].not_looked_at(ui);
}

/// What differs, in words, before any picture.
fn differences(ui: &mut Ui, pair: [&One; 2], model: &Model, theme: &Theme) {
    let rows = words::differences(pair[0], pair[1], model.settings.units);
    let narrow = ui.available_width() < TWO_COLUMNS;
    let shares: &[f32] = if narrow { &[0.36, 0.32, 0.32] } else { &[0.22, 0.17, 0.17, 0.44] };
    let bold = |which: Which, row: &words::Differs| row.ahead == Some(which);
    // Without room for a fourth column the sentences follow below.
    let mut below: Vec<String> = Vec::new();
    let mut cells: Vec<Vec<(String, bool)>> = vec![vec![
        (String::new(), false),
        (pair[0].field.label().to_owned(), true),
        (pair[1].field.label().to_owned(), true),
        ("Difference".to_owned(), false),
    ]];
    for row in rows {
        let (first, second) = (bold(Which::First, &row), bold(Which::Second, &row));
        if narrow {
            below.push(row.said.clone());
        }
        cells.push(vec![(row.what, false), (row.first, first), (row.second, second), (row.said, false)]);
    }
    for row in &mut cells {
        row.truncate(shares.len());
    }
    parts::table(ui, theme, shares, &cells);
    for said in below {
        ui.add(egui::Label::new(RichText::new(said).size(theme.sizes.small)).wrap());
    }
    ui.add_space(space::LINE);
}
