//! Trends over every sortie of the area: is the base leg constant, does the choice come sooner, how long the first action
//! takes, and how often a better field was left.

use crate::debrief::pictures;
use crate::debrief::trends::{Filter, Measure, WindClass};
use crate::model::{DebriefCommand, Model};
use crate::theme::{Theme, space};
use crate::views::sheet::paint;
use egui::{Button, ComboBox, Grid, Label, RichText, ScrollArea, Ui, vec2};
use sparefield_data::quantity::UnitPrefs;

/// What trends are narrowed by.
const FILTERS: [&str; 3] = ["Wind", "Flown by", "Flown in"];
/// Greatest width of a list that opens, points, and what it takes beside its words.
const CHOOSER: f32 = 190.0;
const ARROW: f32 = 8.0;
/// Width below which the card is narrow, points.
const NARROW: f32 = 300.0;
/// Width of the name of a measure there, points.
const NARROW_NAME: f32 = 92.0;

fn say(measure: Measure, units: UnitPrefs, value: f64) -> String {
    match measure {
        Measure::BaseLeg => units.format_length(value),
        Measure::Choice | Measure::OnFinal => units.format_height(value),
        Measure::Delay => format!("{value:.0} s"),
        Measure::Regret => format!("{value:.1}"),
    }
}

/// The page.
pub(super) fn trends(ui: &mut Ui, model: &Model, theme: &Theme, push: &mut impl FnMut(DebriefCommand)) {
    let debrief = &model.debrief;
    let trends = &debrief.trends;
    let small = |ui: &mut Ui, text: &str| {
        ui.add(Label::new(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft)).wrap());
    };
    if trends.sorties == 0 {
        small(ui, "Trends run over every sortie that this area keeps. Add flights, and look through them.");
        return;
    }
    if let Some((done, all)) = debrief.looking_through {
        ui.label(format!("Looking through {} of {all}…", done + 1));
        if ui.button("Stop looking through").clicked() {
            push(DebriefCommand::Stop);
        }
    } else if trends.missing + trends.stale.any > 0 {
        match trends.missing {
            0 => {}
            1 => small(ui, "1 sortie has not been looked through as it is now, and does not count yet."),
            n => small(ui, &format!("{n} sorties have not been looked through as they are now, and do not count yet.")),
        }
        if let Some(stale) = trends.stale.words() {
            small(ui, &stale);
        }
        let help =
            "Every exercise is measured against the fields and the aircraft as they are now, and kept with its sortie";
        if ui.button("Look through them").on_hover_text(help).clicked() {
            push(DebriefCommand::LookThrough);
        }
    }
    let filter = &debrief.filter;
    let mut wanted = filter.clone();
    // As wide as the card leaves beside the longest label.
    let wide =
        |label: &&str| ui.painter().layout_no_wrap((*label).to_owned(), theme.text_font(), theme.colours.ink).size().x;
    let label = FILTERS.iter().map(wide).fold(0.0, f32::max);
    let room = ui.available_width() - label - ui.spacing().item_spacing.x - ARROW;
    let width = room.clamp(80.0, CHOOSER);
    Grid::new("debrief trend filters").num_columns(2).min_col_width(label).show(ui, |ui| {
        choice(ui, FILTERS[0], width, filter.wind.words(), |ui| {
            for class in WindClass::ALL {
                ui.selectable_value(&mut wanted.wind, class, class.words());
            }
        });
        names(ui, FILTERS[1], width, "anybody", &trends.pilots, &mut wanted.pilot);
        names(ui, FILTERS[2], width, "any aircraft", &trends.aircraft, &mut wanted.aircraft);
    });
    if wanted != *filter {
        push(DebriefCommand::Filter(wanted));
    }
    if trends.exercises == 0 {
        let nothing = if *filter == Filter::default() {
            "No exercise was measured yet."
        } else {
            "No exercise passes the filter: choose another wind, pilot or aircraft."
        };
        small(ui, nothing);
        return;
    }
    let (exercises, sorties) = (trends.exercises, trends.sorties - trends.missing);
    small(ui, &format!("{exercises} exercises; {sorties} of {} sorties looked through.", trends.sorties));
    ui.add_space(space::TIGHT);
    let units = model.settings.units;
    // A narrow card tells the middle half under the middle; where even that is too wide, the table scrolls.
    let narrow = ui.available_width() < NARROW;
    let columns = if narrow { 3 } else { 4 };
    ScrollArea::horizontal().id_salt("trends").show(ui, |ui| {
        Grid::new("debrief trend table").num_columns(columns).min_col_width(0.0).spacing([9.0, 4.0]).show(ui, |ui| {
            let soft = |text: &str| RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft);
            ui.label("");
            ui.label(soft("n"));
            under_or_beside(ui, narrow, |ui| {
                ui.label(soft("middle"));
                ui.label(soft("middle half"));
            });
            ui.end_row();
            for (measure, along) in Measure::ALL.into_iter().zip(&trends.along) {
                let shown = debrief.measure == measure;
                let name = RichText::new(measure.words()).size(theme.sizes.small);
                let look = Button::selectable(shown, name);
                let response = if narrow {
                    let wrapped = |ui: &mut Ui| {
                        ui.set_max_width(NARROW_NAME);
                        ui.spacing_mut().button_padding.x = 4.0;
                        ui.add(look.wrap())
                    };
                    ui.vertical(wrapped).inner
                } else {
                    ui.add(look)
                };
                if response.on_hover_text("Show it along time below").clicked() {
                    push(DebriefCommand::Measure(measure));
                }
                ui.label(along.values.len().to_string());
                if let Some(s) = along.spread {
                    let say = |v| say(measure, units, v);
                    under_or_beside(ui, narrow, |ui| {
                        ui.label(RichText::new(say(s.middle)).size(theme.sizes.small));
                        let spread = format!("{} to {}", say(s.low), say(s.high));
                        ui.add(Label::new(RichText::new(spread).size(theme.sizes.small)).extend());
                    });
                } else {
                    ui.label("–");
                }
                ui.end_row();
            }
        });
    });
    ui.add_space(space::TIGHT);
    let size = vec2(ui.available_width().min(420.0), 150.0);
    if let Some(i) = Measure::ALL.iter().position(|m| *m == debrief.measure) {
        let own = trends.own_base_leg_m.filter(|_| debrief.measure == Measure::BaseLeg);
        let say = |v: f64| say(debrief.measure, units, v);
        paint::show(ui, &pictures::along(&trends.along[i], own, size, &say, debrief.measure.words()), theme);
        let line = if own.is_some() { "yours by the aircraft file" } else { "the middle of all" };
        small(
            ui,
            &format!(
                "In the order flown. Level line: {line}. Thick: the middle of the last ten; thin: half of them lie between. \
                 Measured with fields and aircraft as they were when each sortie was looked through."
            ),
        );
    }
}

/// Two things as one cell of a grid, under one another, or as two.
fn under_or_beside(ui: &mut Ui, under: bool, two: impl FnOnce(&mut Ui)) {
    if under {
        ui.vertical(|ui| {
            ui.spacing_mut().item_spacing.y = 0.0;
            two(ui);
        });
    } else {
        two(ui);
    }
}

/// A label with what is chosen behind it, as a row of a grid.
fn choice(ui: &mut Ui, label: &str, width: f32, shown: &str, choices: impl FnOnce(&mut Ui)) {
    let name = ui.label(label);
    let combo = ComboBox::from_id_salt(("debrief trends", label)).selected_text(shown).width(width).truncate();
    combo.show_ui(ui, choices).response.labelled_by(name.id);
    ui.end_row();
}

fn names(ui: &mut Ui, label: &str, width: f32, any: &str, all: &[String], wanted: &mut Option<String>) {
    let shown = wanted.clone().unwrap_or_else(|| any.to_owned());
    choice(ui, label, width, &shown, |ui| {
        ui.selectable_value(wanted, None, any);
        for name in all {
            ui.selectable_value(wanted, Some(name.clone()), name);
        }
    });
}
