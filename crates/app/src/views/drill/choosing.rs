//! The failure: what the pilot is told, the clock, and the fields to choose from.

use super::ahead;
use crate::drill::words;
use crate::model::{DrillCommand, Model, Session, Stage};
use crate::theme::{Theme, chooser, space};
use egui::{Button, ComboBox, Label, RichText, ScrollArea, Ui, vec2};
use sparefield_data::quantity::format_bearing;
use sparefield_geometry::circuit::Join;
use sparefield_geometry::fields::circuit_height::Hand;
use sparefield_geometry::position::Bearing;

/// Room below the list for what belongs to the choice, points.
const BELOW: f32 = 182.0;
/// The same where the pilot flies it, who has the controls there.
const BELOW_BY_HAND: f32 = 236.0;
/// And what a gamepad takes more, which is told there what it does.
const BELOW_WITH_PAD: f32 = 20.0;
/// Room that a list that opens takes beside its words, points.
const ARROW: f32 = 8.0;

/// The page while a drill is under way.
pub(super) fn choosing(
    ui: &mut Ui,
    model: &Model,
    session: &Session,
    theme: &Theme,
    push: &mut impl FnMut(DrillCommand),
) {
    let rehearsal = &session.prepared.rehearsal;
    let failure = rehearsal.failure();
    let units = model.settings.units;
    let running = matches!(session.stage, Stage::Running);
    let here = session.shown();
    let (headline, colour) = if running {
        ("Engine running".to_owned(), theme.colours.ink)
    } else {
        (format!("The engine has stopped: {:.0} s", session.now_s.floor()), theme.colours.caution)
    };
    ui.label(RichText::new(headline).font(theme.bold_font(theme.sizes.large)).color(colour));
    let above = rehearsal.area().terrain.height_at(here.position).map(|g| here.height_amsl_m - g);
    let height = above.map_or_else(
        || format!("{} above sea", units.format_height(here.height_amsl_m)),
        |h| format!("{} above the ground", units.format_height(h.max(0.0))),
    );
    ui.label(RichText::new(height).font(theme.bold_font(theme.sizes.heading)));
    let soft = |text: String| Label::new(RichText::new(text).color(theme.colours.ink_soft)).wrap();
    ui.add(soft(format!("Wind {}", words::told_wind(failure, rehearsal.area(), units))));
    if running {
        ui.add(soft("Fly on, and keep a field in mind.".to_owned()));
        ui.add_space(space::LINE);
        leave(ui, push);
        return;
    }
    ui.add_space(space::TIGHT);
    let pad = session.by_hand.as_ref().is_some_and(|hand| hand.pad.is_there());
    let below = if session.is_by_hand { BELOW_BY_HAND } else { BELOW } + if pad { BELOW_WITH_PAD } else { 0.0 };
    let room = (ui.available_height() - below).max(60.0);
    ScrollArea::vertical().id_salt("drill fields").max_height(room).auto_shrink([false, true]).show(ui, |ui| {
        for (n, index) in session.prepared.listed.iter().enumerate() {
            let field = &rehearsal.area().fields[*index];
            let way = field.centroid() - here.position;
            let turn = way.bearing().map_or(0.0, |b| here.heading().turn_to(b));
            let key = if n < 9 { format!("{} ", n + 1) } else { String::new() };
            let text = format!("{key}{}   {}, {}", field.label(), words::clock(turn), units.format_length(way.norm()));
            let chosen = session.field == Some(*index);
            let button = chooser(chosen, &text, theme).min_size(vec2(ui.available_width(), 22.0)).truncate();
            if ui.add(button).clicked() {
                push(DrillCommand::Choose(*index));
            }
        }
    });
    ui.add_space(space::TIGHT);
    details(ui, model, session, push);
    if let Some(why) = &session.refused {
        ui.add(Label::new(RichText::new(why).color(theme.colours.caution)).wrap());
    }
    ui.add_space(space::TIGHT);
    if let Some(hand) = &session.by_hand {
        ahead::controls(ui, model, hand, theme, push);
        return;
    }
    let chosen = session.choices.last().map(|c| c.offer.name.as_str());
    let words = match chosen {
        Some(name) => format!("Settle on {name}"),
        None => "No field: land ahead".to_owned(),
    };
    let text = RichText::new(words).font(theme.bold_font(theme.sizes.text));
    let button = Button::new(text).min_size(vec2(ui.available_width() - 1.0, 32.0)).shortcut_text("Space").truncate();
    let help = "Leave it at that and see what comes of it; until then you can change your mind";
    if ui.add(button).on_hover_text(help).clicked() {
        push(DrillCommand::Settle);
    }
    leave(ui, push);
}

fn leave(ui: &mut Ui, push: &mut impl FnMut(DrillCommand)) {
    if ui.add(Button::new("Leave the drill").shortcut_text("Esc")).clicked() {
        push(DrillCommand::Leave);
    }
}

/// Direction, join and hand.
fn details(ui: &mut Ui, model: &Model, session: &Session, push: &mut impl FnMut(DrillCommand)) {
    let at = session.prepared.rehearsal.failure().position;
    let convergence = model.convergence_rad(at);
    let say = |b: Option<Bearing>| {
        b.map_or_else(
            || "land either way".to_owned(),
            |b| format!("land {}", format_bearing(Bearing::from_rad(b.rad() + convergence))),
        )
    };
    ui.add_enabled_ui(session.field.is_some(), |ui| {
        ComboBox::from_id_salt("drill direction")
            .width(ui.available_width() - ARROW)
            .truncate()
            .selected_text(say(session.towards))
            .show_ui(ui, |ui| {
                let all = core::iter::once(None).chain(session.directions.iter().copied().map(Some));
                for direction in all {
                    if ui.selectable_label(session.towards == direction, say(direction)).clicked() {
                        push(DrillCommand::Towards(direction));
                    }
                }
            })
            .response
            .on_hover_text("The direction of landing; either way leaves it to the wind that blows");
    });
    // By hand, the way round is flown and not named.
    if session.is_by_hand {
        return;
    }
    ui.horizontal(|ui| {
        let half = (ui.available_width() - ui.spacing().item_spacing.x) / 2.0 - ARROW;
        let join = |join: Option<Join>| join.map_or("any join", Join::words);
        ComboBox::from_id_salt("drill join")
            .width(half)
            .truncate()
            .selected_text(join(session.join))
            .show_ui(ui, |ui| {
                for one in core::iter::once(None).chain(Join::ALL.into_iter().map(Some)) {
                    if ui.selectable_label(session.join == one, join(one)).clicked() {
                        push(DrillCommand::Join(one));
                    }
                }
            })
            .response
            .on_hover_text("How to join the circuit");
        let hand = |hand: Option<Hand>| match hand {
            None => "either hand",
            Some(Hand::Left) => "left hand",
            Some(Hand::Right) => "right hand",
        };
        ComboBox::from_id_salt("drill hand")
            .width(half)
            .truncate()
            .selected_text(hand(session.hand))
            .show_ui(ui, |ui| {
                for one in [None, Some(Hand::Left), Some(Hand::Right)] {
                    if ui.selectable_label(session.hand == one, hand(one)).clicked() {
                        push(DrillCommand::Hand(one));
                    }
                }
            })
            .response
            .on_hover_text("Which way round");
    });
}
