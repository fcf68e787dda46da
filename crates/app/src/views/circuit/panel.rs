//! The card's page about the circuit: which one, how it goes, its key positions and turns, and another beside it.

use crate::circuits::flights::Flight;
use crate::circuits::many::SAMPLES;
use crate::circuits::{many_words, words, workings};
use crate::command::Command;
use crate::model::{CircuitCommand, Model};
use crate::not_looked_at;
use crate::theme::{Theme, space};
use crate::views::working;
use egui::{ComboBox, Grid, RichText, Ui, WidgetInfo};
use sparefield_geometry::circuit::Join;
use sparefield_geometry::fields::circuit_height::Hand;
use sparefield_geometry::fields::verdict::Verdict;

/// How many fields are offered to compare with.
const MOST_OFFERED: usize = 20;

/// The card's two pages to choose from.
pub fn tabs(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    ui.horizontal(|ui| {
        for (text, in_card, help) in [
            ("Field", false, "What speaks for and against the field (C)"),
            ("Circuit", true, "How the circuit from here goes (C)"),
        ] {
            let chosen = model.circuits.in_card == in_card;
            if ui.selectable_label(chosen, text).on_hover_text(help).clicked() && !chosen {
                commands.push(Command::Circuit(CircuitCommand::InCard(in_card)));
            }
        }
    });
}

/// The page.
pub fn page(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let circuits = &model.circuits;
    if !circuits.shown {
        ui.label("The circuit is not shown.");
        if ui.button("Fly the circuit").clicked() {
            commands.push(Command::Circuit(CircuitCommand::Show(true)));
        }
        return;
    }
    match (circuits.chosen(), circuits.refusal()) {
        (Some(flight), _) => {
            let text = words::sentence(flight, model.settings.units);
            ui.label(RichText::new(text).font(theme.bold_font(theme.sizes.text)));
        }
        (None, Some(why)) => {
            ui.label(RichText::new(why).font(theme.bold_font(theme.sizes.text)).color(theme.colours.caution));
        }
        (None, None) => {
            ui.label("Flying the circuit…");
        }
    }
    choosers(ui, model, commands);
    if let Some(flight) = circuits.chosen() {
        margins(ui, model, flight, theme, commands);
        robust(ui, model, theme, commands);
        until(ui, model, flight, theme);
        key_positions(ui, model, flight, theme);
        turns(ui, model, flight, theme);
    }
    heading(ui, theme, "Not looked at");
    ui.add(egui::Label::new(RichText::new(not_looked_at::BY_CIRCUIT).size(theme.sizes.small)).wrap());
    ui.add_space(space::GROUP);
}

fn heading(ui: &mut Ui, theme: &Theme, text: &str) {
    ui.add_space(space::LINE);
    ui.label(RichText::new(text).font(theme.bold_font(theme.sizes.small)).color(theme.colours.ink_soft));
}

fn name(model: &Model, index: usize) -> String {
    let field = model.area.as_ref().and_then(|a| a.fields.get(index));
    field.map_or_else(|| "another field".to_owned(), |f| f.label().to_owned())
}

fn choosers(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    let wanted = model.circuits.wanted;
    let mut push = |command| commands.push(Command::Circuit(command));
    ui.horizontal(|ui| {
        let label = ui.label("Join");
        let words = wanted.join.map_or("any", Join::words);
        let combo = ComboBox::from_id_salt("join").selected_text(words).width(120.0).show_ui(ui, |ui| {
            for join in std::iter::once(None).chain(Join::ALL.map(Some)) {
                let text = join.map_or("any", Join::words);
                if ui.selectable_label(wanted.join == join, text).clicked() {
                    push(CircuitCommand::Join(join));
                }
            }
        });
        combo.response.labelled_by(label.id);
    });
    ui.horizontal(|ui| {
        ui.label("Hand");
        for (hand, text, spoken) in [
            (None, "any", "Either hand"),
            (Some(Hand::Left), "left", "Left hand"),
            (Some(Hand::Right), "right", "Right hand"),
        ] {
            let chosen = wanted.hand == hand;
            let button = ui.selectable_label(chosen, text);
            button.widget_info(|| WidgetInfo::selected(egui::Role::RadioButton, true, chosen, spoken));
            if button.clicked() {
                push(CircuitCommand::Hand(hand));
            }
        }
    });
    let mut over = wanted.over_quiet_zones;
    let help = "Quiet zones are kept clear of unless this is chosen: in an emergency the pilot may have to";
    if ui.checkbox(&mut over, "over quiet zones if need be").on_hover_text(help).changed() {
        push(CircuitCommand::OverQuietZones(over));
    }
    ui.horizontal(|ui| {
        let label = ui.label("Compare with");
        let beside = model.circuit_ask().and_then(|a| a.beside);
        let text = beside.map_or_else(|| "no other field".to_owned(), |i| name(model, i));
        let width = ui.available_width() - 8.0;
        let combo = ComboBox::from_id_salt("beside").selected_text(text).width(width).truncate().show_ui(ui, |ui| {
            if ui.selectable_label(beside.is_none(), "no other field").clicked() {
                push(CircuitCommand::Beside(None));
            }
            let ranked = model.assessment.iter().flat_map(|a| a.ranked.iter());
            let others = ranked.filter(|r| Some(r.index) != model.selected && r.verdict != Verdict::Out);
            for other in others.take(MOST_OFFERED) {
                let text = format!("{}. {}", other.rank, name(model, other.index));
                if ui.selectable_label(beside == Some(other.index), text).clicked() {
                    push(CircuitCommand::Beside(Some(other.index)));
                }
            }
        });
        combo.response.labelled_by(label.id);
    });
}

/// The numbers, beside those of the other field where there is one.
fn margins(ui: &mut Ui, model: &Model, flight: &Flight, theme: &Theme, commands: &mut Vec<Command>) {
    let units = model.settings.units;
    let convergence = |f: &Flight| model.convergence_rad(f.answer.landing.aim);
    let rows = workings::rows(flight, convergence(flight), units);
    let other = model.circuits.made.as_ref().and_then(|m| m.beside.as_ref());
    if other.is_none() {
        heading(ui, theme, "Numbers, each opens to its working");
        for row in &rows {
            // The field's page has numbers of the same names.
            let name = format!("circuit: {}", row.what);
            let open = model.open_working.as_deref() == Some(name.as_str());
            if working::number_row(ui, theme, row.what, &row.value, open) {
                commands.push(Command::OpenWorking((!open).then_some(name)));
            }
            if open {
                let inputs = row.inputs.iter().map(|(name, value)| (name.as_str(), value.clone()));
                working::show(ui, theme, row.how, inputs, row.source);
            }
        }
        return;
    }
    heading(ui, theme, "Side by side");
    if let Some(Err(why)) = other {
        let text = format!(
            "{}: {why}",
            model.circuit_ask().and_then(|a| a.beside).map_or_else(String::new, |b| name(model, b))
        );
        ui.add(egui::Label::new(RichText::new(text).color(theme.colours.caution)).wrap());
    }
    let beside = other.and_then(|o| o.as_ref().ok()).map(|f| (f, workings::rows(f, convergence(f), units)));
    let width = ui.available_width();
    Grid::new("margins").num_columns(if beside.is_some() { 3 } else { 2 }).striped(true).show(ui, |ui| {
        let small = |text: &str| RichText::new(text).size(theme.sizes.small);
        let cell = |ui: &mut Ui, text: &str, share: f32| {
            ui.scope(|ui| {
                ui.set_max_width(width * share);
                ui.add(egui::Label::new(small(text)).wrap());
            });
        };
        if let Some((f, _)) = &beside {
            cell(ui, "", 0.4);
            cell(ui, &format!("{} (ribbon)", name(model, flight.answer.field)), 0.28);
            cell(ui, &format!("{} (broken line)", name(model, f.answer.field)), 0.28);
            ui.end_row();
            cell(ui, "Circuit", 0.4);
            cell(ui, &how(flight), 0.28);
            cell(ui, &how(f), 0.28);
            ui.end_row();
        }
        for (i, row) in rows.iter().enumerate() {
            ui.scope(|ui| {
                ui.set_max_width(width * if beside.is_some() { 0.4 } else { 0.62 });
                ui.add(egui::Label::new(small(row.what)).wrap()).on_hover_text(row.how);
            });
            ui.label(RichText::new(&row.value).font(theme.bold_font(theme.sizes.small)));
            if let Some(other) = beside.as_ref().and_then(|b| b.1.get(i)) {
                ui.label(RichText::new(&other.value).font(theme.bold_font(theme.sizes.small)));
            }
            ui.end_row();
        }
    });
}

fn how(flight: &Flight) -> String {
    let circuit = &flight.circuit;
    match circuit.plan.join {
        Join::StraightIn => circuit.plan.join.words().to_owned(),
        join => format!("{}, {} hand", join.words(), words::hand(circuit.plan.hand)),
    }
}

/// How it comes out when nothing is quite as expected.
fn robust(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    heading(ui, theme, "How robust it is");
    let small = |text: &str| egui::Label::new(RichText::new(text).size(theme.sizes.small)).wrap();
    match model.circuits.many().filter(|_| model.circuits.current) {
        None => {
            ui.label(format!("Flying it {} times…", many_words::grouped(SAMPLES)));
        }
        Some(Err(why)) => {
            ui.add(egui::Label::new(RichText::new(why).color(theme.colours.caution)).wrap());
        }
        Some(Ok((_, told))) => {
            ui.add(egui::Label::new(RichText::new(&told.sentence).font(theme.bold_font(theme.sizes.text))).wrap());
            Grid::new("misses").num_columns(2).striped(true).show(ui, |ui| {
                for (what, flights) in &told.misses {
                    let count = RichText::new(many_words::grouped(*flights)).font(theme.bold_font(theme.sizes.small));
                    ui.label(count);
                    ui.add(small(what));
                    ui.end_row();
                }
            });
            ui.add(small(&told.what_hurts));
            ui.add(small(&told.spread));
        }
    }
    let mut cloud = model.circuits.cloud;
    let help = "Where some hundreds of these flights came down, or met something";
    if ui.checkbox(&mut cloud, "Touchdowns on the map").on_hover_text(help).changed() {
        commands.push(Command::Circuit(CircuitCommand::Cloud(cloud)));
    }
    if cloud {
        ui.add(small("On the map dots stopped in the strip, crosses did not."));
    }
    ui.add(small(not_looked_at::BY_FLIGHTS));
}

fn until(ui: &mut Ui, model: &Model, flight: &Flight, theme: &Theme) {
    heading(ui, theme, "Until when the choice can change");
    let looked = model.circuits.made.as_ref().is_some_and(|m| m.has_last_change);
    let text = if looked {
        words::last_change(flight, model.settings.units, &|i| name(model, i))
    } else {
        "Looking for it…".to_owned()
    };
    ui.add(egui::Label::new(text).wrap());
}

fn key_positions(ui: &mut Ui, model: &Model, flight: &Flight, theme: &Theme) {
    heading(ui, theme, "Key positions, height above the landing place");
    Grid::new("keys").num_columns(3).striped(true).min_col_width(70.0).show(ui, |ui| {
        for key in &flight.circuit.keys {
            ui.label(words::capital(key.name.words()));
            let height = words::height_above(key.height_m, model.settings.units);
            ui.label(RichText::new(height).font(theme.bold_font(theme.sizes.text)));
            ui.label(words::clock(key.time_s));
            ui.end_row();
        }
    });
}

fn turns(ui: &mut Ui, model: &Model, flight: &Flight, theme: &Theme) {
    heading(ui, theme, "Height lost in each turn");
    Grid::new("turns").num_columns(2).striped(true).show(ui, |ui| {
        for leg in &flight.circuit.legs {
            let Some(text) = words::turn(leg) else { continue };
            ui.label(words::capital(&text));
            let lost = model.settings.units.format_height_at_most(leg.lost_m);
            ui.label(RichText::new(lost).font(theme.bold_font(theme.sizes.text)));
            ui.end_row();
        }
    });
}
