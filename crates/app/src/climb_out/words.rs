//! Every word about climb-outs.

use super::Answer;
use sparefield_data::quantity::{UnitPrefs, format_bearing};
use sparefield_geometry::climb_out::{Ahead, ClimbOutStep, FieldInReach, Side, TurnBack};
use sparefield_geometry::fields::circuit_height::Hand;

/// Half as much again as a practised turn back takes: AOPA, turn-back practice, May 2011.
pub const HALF_MORE: f64 = 1.5;

/// Columns of the table.
pub const HEADINGS: [&str; 5] = ["Above the runway", "Beyond its end", "Glide ahead", "Fields in reach", "Turn back"];

/// Which runway, in one line.
#[must_use]
pub fn title(answer: &Answer) -> String {
    let home = answer.area.home.as_ref().map_or("home strip", |h| h.name.as_str());
    format!("Climb-out from {home}, runway {}", answer.name)
}

/// The sentence that says it all.
#[must_use]
pub fn headline(answer: &Answer, units: UnitPrefs) -> String {
    let first = answer.reached_from().first().map(|(index, height_m)| {
        let name = answer.area.fields[answer.fields[*index].index].label();
        format!("From {} on a field stays in reach, {name} first.", units.format_height_at_most(*height_m))
    });
    let fields = first.unwrap_or_else(|| {
        "No field that would take the aircraft stays in reach at any height looked at: land ahead.".to_owned()
    });
    format!("{fields} {}", turn_back_sentence(answer, units))
}

/// What every number of it rests on, in one sentence.
#[must_use]
pub fn flown_with(answer: &Answer) -> String {
    let aircraft = &answer.conditions.aircraft;
    format!(
        "Flown with {:.0}\u{a0}s of reaction, a climb of {:.0}° in still air from 50 ft over the runway’s end, and banks of {}.",
        aircraft.reaction_time_s,
        answer.options.climb_rad.to_degrees(),
        banks(answer)
    )
}

fn banks(answer: &Answer) -> String {
    let allowed = |bank: &&f64| **bank <= answer.conditions.aircraft.max_bank_rad + 1e-9;
    let tried = answer.options.turn_back.banks_rad.iter().filter(allowed);
    let words: Vec<String> = tried.map(|bank| format!("{}°", (bank.to_degrees() * 10.0).round() / 10.0)).collect();
    if words.is_empty() { "none, for the aircraft allows none that is tried".to_owned() } else { words.join(", ") }
}

/// From which height a turn back would work, in one sentence.
#[must_use]
pub fn turn_back_sentence(answer: &Answer, units: UnitPrefs) -> String {
    match answer.flown.least_turn_back_m {
        Some(height_m) => format!(
            "A turn back reaches the runway by simulation from {}, with half as much again from {}.",
            units.format_height_at_most(height_m),
            units.format_height_at_most(height_m * HALF_MORE)
        ),
        None => "No turn back reaches the runway from any height looked at.".to_owned(),
    }
}

/// One row of the table.
#[must_use]
pub fn row(answer: &Answer, step: &ClimbOutStep, units: UnitPrefs) -> [String; 5] {
    [
        units.format_height(step.height_m),
        units.format_length(step.beyond_end_m),
        step.ahead.as_ref().map_or_else(|| "ground not known".to_owned(), |a| ahead(answer, a, units)),
        fields(answer, step, units),
        step.turn_back.as_ref().map_or_else(|| "none can be flown".to_owned(), |t| turn_back(t, units)),
    ]
}

/// The farthest glide ahead.
#[must_use]
pub fn ahead(answer: &Answer, ahead: &Ahead, units: UnitPrefs) -> String {
    let track = format_bearing(answer.area.to_true(ahead.track, answer.runway.departure_end));
    format!("{} on {track}", units.format_length_at_least(ahead.distance_m))
}

/// Fields in reach, most spare height first.
pub fn in_reach(step: &ClimbOutStep) -> impl Iterator<Item = &FieldInReach> {
    step.fields.iter().filter(|f| f.spare_m >= 0.0)
}

/// One field in reach: its name, where it lies, and how much is in hand.
#[must_use]
pub fn field(answer: &Answer, field: &FieldInReach, units: UnitPrefs) -> String {
    let name = answer.area.fields[answer.fields[field.index].index].label();
    format!("{name} ({}, +{})", side(field.side), units.format_height_at_least(field.spare_m))
}

fn fields(answer: &Answer, step: &ClimbOutStep, units: UnitPrefs) -> String {
    const NAMED: usize = 2;
    let found: Vec<&FieldInReach> = in_reach(step).collect();
    let named: Vec<String> = found.iter().take(NAMED).map(|f| field(answer, f, units)).collect();
    match found.len() {
        0 => "none".to_owned(),
        n if n > NAMED => format!("{} and {} more", named.join(", "), n - NAMED),
        _ => named.join(", "),
    }
}

/// Where a field lies.
#[must_use]
pub fn side(side: Side) -> &'static str {
    match side {
        Side::Ahead => "ahead",
        Side::Left => "left",
        Side::Right => "right",
    }
}

/// A turn back.
#[must_use]
pub fn turn_back(turn: &TurnBack, units: UnitPrefs) -> String {
    let hand = match turn.hand {
        Hand::Left => "left",
        Hand::Right => "right",
    };
    if turn.spare_m >= 0.0 {
        let over = if turn.landing_distance_m > turn.runway_left_m { "; the runway left is too short" } else { "" };
        format!("{hand}, {} over{over}", units.format_height_at_least(turn.spare_m))
    } else {
        format!("short by {}", units.format_height_at_most(-turn.spare_m))
    }
}
