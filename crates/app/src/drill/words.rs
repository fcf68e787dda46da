//! Drills in words, for the window and the command line.

use crate::circuits::many_words::sentence_of;
use crate::not_looked_at::BY_FLIGHTS;
use sparefield_data::area::Area;
use sparefield_data::quantity::{UnitPrefs, WindWords, format_bearing};
use sparefield_geometry::air::WindVector;
use sparefield_geometry::circuit::Join;
use sparefield_geometry::drill::{
    ByHand, ChangeOfMind, DrillResult, DrillRobustness, Failure, ManyFlights, Outcome, Standing, Told,
};
use sparefield_geometry::fields::circuit_height::Hand;
use sparefield_geometry::position::{Bearing, Xy};

/// Less than this is nothing that anybody could fly or judge, metres.
const HARDLY_M: f64 = 1.0;

/// A wind of the frame as people give it.
#[must_use]
pub fn wind(wind: WindVector, at: Xy, area: &Area, units: UnitPrefs) -> String {
    let from = wind.from_bearing();
    let turned = from.map_or(wind, |from| WindVector::coming_from(area.to_true(from, at), wind.speed_ms()));
    units.format_wind(turned, WindWords::Long)
}

/// What the pilot is told of the wind.
#[must_use]
pub fn told_wind(failure: &Failure, area: &Area, units: UnitPrefs) -> String {
    match (failure.told, failure.told_wind.from_bearing()) {
        (Told::Everything, _) => format!("as told: {}", wind(failure.told_wind, failure.position, area, units)),
        (Told::Direction, Some(from)) => {
            format!("as told: from {}, strength not known", format_bearing(area.to_true(from, failure.position)))
        }
        _ => "not known".to_owned(),
    }
}

/// Where something lies seen from the cockpit: twelve o'clock is ahead.
#[must_use]
pub fn clock(turn_rad: f64) -> String {
    let hour = (turn_rad.rem_euclid(std::f64::consts::TAU) / std::f64::consts::TAU * 12.0).round() as u32 % 12;
    format!("{} o’clock", if hour == 0 { 12 } else { hour })
}

/// A join and a hand.
#[must_use]
pub fn way(join: Join, hand: Hand) -> String {
    let hand = if hand == Hand::Left { "left" } else { "right" };
    if join == Join::StraightIn { "straight in".to_owned() } else { format!("{} join, {hand} hand", join.words()) }
}

/// A landing as it stood.
#[must_use]
pub fn standing(standing: &Standing, at: Xy, area: &Area, units: UnitPrefs) -> String {
    let heading = area.to_true(Bearing::from_rad(standing.heading_grid_rad), at);
    let spare = standing.spare_height_m.map_or_else(
        || "no circuit works".to_owned(),
        |spare| format!("{} spare height", units.format_height_at_least(spare)),
    );
    format!(
        "{} landing {}, {}, score {:.2}, {spare}",
        standing.field_name,
        format_bearing(heading),
        standing.verdict.words(),
        standing.score
    )
}

/// By how much it ended beside the strip; nothing where that says nothing.
#[must_use]
pub fn miss(outcome: &Outcome, units: UnitPrefs) -> Option<(&'static str, String)> {
    match outcome {
        Outcome::Overran { by_m } => Some(("beyond", units.format_length_at_most(*by_m))),
        Outcome::Undershot { by_m } => Some(("short by", units.format_length_at_most(*by_m))),
        Outcome::Beside { by_m } => Some(("beside it by", units.format_length_at_most(*by_m))),
        Outcome::TooLow { short_by_m } if *short_by_m < HARDLY_M => Some(("wanting", "less than a metre".to_owned())),
        Outcome::TooLow { short_by_m } => Some(("wanting", units.format_height_at_most(*short_by_m))),
        _ => None,
    }
}

/// A change of mind.
#[must_use]
pub fn change(change: &ChangeOfMind, units: UnitPrefs) -> String {
    let open = match (change.still_open, change.first_still_open) {
        (true, true) => "both could still be made",
        (true, false) => "the new one could be made, the first no longer",
        (false, true) => "the new one could not be made any more",
        (false, false) => "neither could be made any more",
    };
    format!("after {:.1} s, at {}: {open}", change.at_s, units.format_height(change.height_m))
}

/// Everything that is told of a result beside its one sentence: a label and words each.
#[must_use]
pub fn lines(result: &DrillResult, area: &Area, units: UnitPrefs) -> Vec<(&'static str, String)> {
    let at = result.position;
    let mut all: Vec<(&'static str, String)> = miss(&result.outcome, units).into_iter().collect();
    let mut say = |label, words| all.push((label, words));
    say("true wind", wind(result.true_wind, at, area, units));
    if let Some(time) = result.time_to_choose_s {
        say("chosen", format!("{time:.1} s after the engine stopped"));
    }
    if let Some(chosen) = &result.chosen_at_failure {
        say("yours", standing(chosen, at, area, units));
    }
    if let Some(best) = &result.best_at_failure {
        say("best", standing(best, at, area, units));
    }
    for (label, regret) in [("regret", result.regret_at_failure), ("at choice", result.regret_at_choice)] {
        if let Some(regret) = regret {
            let none = regret.score == 0.0 && regret.spare_height_m < HARDLY_M;
            let spare = units.format_height_at_most(regret.spare_height_m);
            say(
                label,
                if none {
                    "none: it was the best".to_owned()
                } else {
                    format!("{:.2} in score, {spare} in spare height, against the best", regret.score)
                },
            );
        }
    }
    for one in &result.changes {
        say("changed", change(one, units));
    }
    if let Some(height) = result.commit_height_m {
        say("committed", format!("below {} there was no other landing left", units.format_height(height)));
    }
    if let (Some(join), Some(hand)) = (result.join, result.hand) {
        say("flown", way(join, hand));
    }
    if let Some(distance) = result.base_leg_distance_m {
        let own = units.format_length(result.base_leg_constant_m);
        say("base leg", format!("{} from the landing end; your own is {own}", units.format_length(distance)));
    }
    if let (Some(short), Some(long)) = (result.short_margin_m, result.long_margin_m) {
        let (short, long) = (units.format_length_at_least(short), units.format_length_at_least(long));
        say("margins", format!("{short} before the touchdown, {long} beyond the stop"));
    }
    if let Some(clear) = result.least_clearance_m {
        let clear = units.format_height_at_least(clear);
        say("clearance", format!("{clear} above the ground at least, before the final"));
    }
    if let Some(hand) = &result.by_hand {
        all.extend(by_hand(hand, units));
    }
    if let Some(known) = &result.robustness {
        all.extend(flown_many(known));
    }
    all
}

/// What was measured of a flight by hand, a label and words each.
fn by_hand(hand: &ByHand, units: UnitPrefs) -> Vec<(&'static str, String)> {
    let degrees = |rad: f64| format!("{:.0}°", rad.abs().to_degrees());
    let mut all = vec![(
        "your hand",
        format!(
            "flown by you; bank up to {}, airspeed {} to {}",
            degrees(hand.steepest_bank_rad),
            units.format_speed(hand.slowest_ms),
            units.format_speed(hand.fastest_ms),
        ),
    )];
    if let (Some(sink), Some(bank)) = (hand.touchdown_sink_ms, hand.touchdown_bank_rad) {
        let words =
            format!("sinking {}, as no flare is flown, with {} of bank", units.format_sink(sink), degrees(bank));
        all.push(("touchdown", words));
    }
    all
}

/// How the circuits come out when they are flown many times, a label and words each.
fn flown_many(known: &DrillRobustness) -> Vec<(&'static str, String)> {
    let words = |many: &ManyFlights| sentence_of(many.flights, many.share);
    let mut all = Vec::new();
    if let Some(chosen) = &known.chosen {
        all.push(("yours, flown many times", format!("From where you chose it: {}", uncapital(&words(chosen)))));
    }
    if let Some(best) = &known.best {
        let text = format!("From where the engine stopped, after the reaction: {}", uncapital(&words(best)));
        all.push(("the best, flown many times", text));
    }
    if !all.is_empty() {
        all.push(("of these flights", BY_FLIGHTS.to_owned()));
    }
    all
}

fn uncapital(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}
