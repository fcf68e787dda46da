//! Trends over the sorties that were looked at: is the base leg constant, does the choice come sooner, how long the first
//! action takes, and how often a better field was left.

use crate::debrief::{Debriefed, Sortie, pictures, words};
use crate::model::Model;
use crate::theme::{Theme, space};
use crate::views::sheet::paint;
use egui::{Grid, Id, Label, RichText, TextEdit, Ui, vec2};
use sparefield_data::quantity::UnitPrefs;

/// What is typed to see only some sorties.
#[derive(Clone, Default)]
struct Filter {
    text: String,
}

/// One measure of an exercise for the table.
type Value = fn(&Sortie, &Debriefed) -> Option<f64>;
/// How such a measure is written.
type Say = fn(UnitPrefs, f64) -> String;

/// Height above ground at which the last choice was made, metres.
fn choice_m(sortie: &Sortie, one: &Debriefed) -> Option<f64> {
    let last = one.measures.aims.last()?;
    sortie.flight.flying[last.from].height_agl_m
}

/// Verdicts between the field flown to and the best in hindsight: 0 when it was as good.
fn regret(sortie: &Sortie, one: &Debriefed) -> Option<f64> {
    let best = &sortie.candidates[one.hindsight.as_ref()?.candidate];
    let flown = &sortie.candidates[one.measures.landing?];
    Some(f64::from(flown.verdict as u8) - f64::from(best.verdict as u8)).map(|r| r.max(0.0))
}

/// The page.
pub(super) fn trends(ui: &mut Ui, model: &Model, theme: &Theme) {
    let id = Id::unique("debrief trends");
    let mut filter: Filter = ui.data(|d| d.get_temp(id)).unwrap_or_default();
    let hint = "Only sorties whose name, aircraft or pilot holds…";
    let edit = ui.add(TextEdit::singleline(&mut filter.text).hint_text(hint).desired_width(f32::INFINITY));
    if edit.changed() {
        ui.data_mut(|d| d.insert_temp(id, filter.clone()));
    }
    let units = model.settings.units;
    let wanted = filter.text.trim().to_lowercase();
    let made: Vec<_> = model
        .debrief
        .library
        .values()
        .filter(|m| {
            let s = &m.key.sortie;
            let text = format!("{} {} {} {}", s.name, s.aircraft, s.pilot, m.key.aircraft.name).to_lowercase();
            text.contains(&wanted)
        })
        .collect();
    let count: usize = made.iter().map(|m| m.sortie.exercises.len()).sum();
    let text = format!("{count} exercises of {} sorties opened since the program began.", made.len());
    ui.add(Label::new(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft)).wrap());
    ui.add_space(space::TIGHT);
    let length = |u: UnitPrefs, v: f64| u.format_length(v);
    let height = |u: UnitPrefs, v: f64| u.format_height(v);
    let seconds = |_: UnitPrefs, v: f64| format!("{v:.0} s");
    let plain = |_: UnitPrefs, v: f64| format!("{v:.0}");
    let rows: [(&str, Value, Say); 5] = [
        ("base leg", |_, e| e.measures.base_leg_distance_m, length),
        ("last choice at", choice_m, height),
        ("to gliding speed", |_, e| e.measures.to_glide_speed_s, seconds),
        ("on final at", |_, e| e.measures.on_final_m, height),
        ("verdicts below best", regret, plain),
    ];
    Grid::new("debrief trend table").num_columns(5).spacing([7.0, 4.0]).show(ui, |ui| {
        for text in ["", "n", "middle", "least", "most"] {
            ui.label(RichText::new(text).size(theme.sizes.small).color(theme.colours.ink_soft));
        }
        ui.end_row();
        for (name, value, say) in rows {
            let mut values: Vec<f64> =
                made.iter().flat_map(|m| m.sortie.exercises.iter().filter_map(|e| value(&m.sortie, e))).collect();
            values.sort_by(f64::total_cmp);
            let name = RichText::new(name).size(theme.sizes.small);
            ui.add(Label::new(name).extend());
            ui.label(values.len().to_string());
            match (values.first(), values.last()) {
                (Some(low), Some(high)) => {
                    for v in [values[values.len() / 2], *low, *high] {
                        ui.label(RichText::new(say(units, v)).size(theme.sizes.small));
                    }
                }
                _ => {
                    ui.label("–");
                }
            }
            ui.end_row();
        }
    });
    ui.add_space(space::TIGHT);
    let mut by_time: Vec<_> = made.iter().map(|m| (m.key.sortie.started, *m)).collect();
    by_time.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.key.sortie.id.cmp(&b.1.key.sortie.id)));
    let in_order: Vec<&Sortie> = by_time.iter().map(|m| &m.1.sortie).collect();
    let size = vec2(ui.available_width().min(420.0), 150.0);
    paint::show(ui, &pictures::base_legs(&in_order, size, units), theme);
    ui.add(
        Label::new(
            RichText::new("Base-leg distances in the order flown; the line is yours by the aircraft file.")
                .size(theme.sizes.small)
                .color(theme.colours.ink_soft),
        )
        .wrap(),
    );
    for (started, m) in by_time {
        let when = started.map_or_else(|| m.key.sortie.name.clone(), |t| t.strftime("%Y-%m-%d").to_string());
        let legs: Vec<String> = m
            .sortie
            .exercises
            .iter()
            .map(|e| e.measures.base_leg_distance_m.map_or_else(|| "–".to_owned(), |d| units.format_length(d)))
            .collect();
        let text = format!("{when}: {} exercises, base legs {}", m.sortie.exercises.len(), legs.join(", "));
        ui.add(Label::new(RichText::new(text).size(theme.sizes.small)).wrap())
            .on_hover_text(words::cover(&m.sortie, units));
    }
}
