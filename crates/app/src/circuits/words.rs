//! A flown circuit in plain words.

use super::flights::{Flight, Moment};
use super::{Answer, FarEnd};
use sparefield_data::quantity::{UnitPrefs, format_bearing};
use sparefield_geometry::circuit::{Circuit, Join, KeyName, Leg, LegFlown, NoCircuit};
use sparefield_geometry::fields::circuit_height::Hand;
use sparefield_geometry::fields::model::EdgeKind;
use sparefield_geometry::math;
use sparefield_geometry::position::Bearing;

/// What to do when no circuit works, as a clause.
///
/// Landing ahead: the engine-failure drill of the handbooks, from the lowest height on; 30° either side is common
/// practice, no source.
#[must_use]
pub fn advice(why: &NoCircuit) -> &'static str {
    match why {
        NoCircuit::TooLow { .. } | NoCircuit::NoRoom => {
            "land ahead, within about 30° either side of the nose, or choose another field"
        }
        NoCircuit::InTheWay(_) => {
            "choose another field, join or strip; if there is none, land ahead, within about 30° either side of the nose"
        }
        NoCircuit::Wind => {
            "point into the wind while there is height and land ahead, within about 30° either side of the nose"
        }
        NoCircuit::TooHigh { .. } => "let height down elsewhere first, or choose another field",
        NoCircuit::NotFinite => "check them",
    }
}

/// What waits beyond the far end, in a few words.
#[must_use]
pub fn far_end(end: Option<FarEnd>, units: UnitPrefs) -> String {
    let Some(FarEnd { edge, .. }) = end else { return "not known".to_owned() };
    match (edge.kind, edge.height_m) {
        (EdgeKind::Unknown, _) => "not known".to_owned(),
        (EdgeKind::Nothing, _) => EdgeKind::Nothing.words().to_owned(),
        (kind, None) => kind.words().to_owned(),
        (kind, Some(h)) => format!("{}, {}", kind.words(), units.format_height_at_most(h)),
    }
}

/// Where it stops against the end of the strip, in one sentence.
#[must_use]
pub fn stop(answer: &Answer, circuit: &Circuit, units: UnitPrefs) -> String {
    let over = -circuit.long_margin_m;
    let end = far_end(answer.far_end, units);
    if over > 0.0 {
        let beyond = units.format_length_at_most(over);
        return format!(
            "Even without the general safety factor it needs {beyond} more strip than there is, and does not stop before \
             the end (boundary there: {end}): choose another field."
        );
    }
    let left = units.format_length_at_least(circuit.long_margin_m);
    format!("It stops with {left} of strip left, without the general safety factor; boundary beyond the end: {end}.")
}

/// The hand in words.
#[must_use]
pub fn hand(hand: Hand) -> &'static str {
    match hand {
        Hand::Left => "left",
        Hand::Right => "right",
    }
}

/// Minutes and seconds, the begun second left out.
#[must_use]
pub fn clock(seconds: f64) -> String {
    let whole = if seconds.is_finite() { seconds.max(0.0) as u64 } else { 0 };
    format!("{}:{:02}", whole / 60, whole % 60)
}

/// How the circuit goes, in one sentence.
#[must_use]
pub fn sentence(flight: &Flight, units: UnitPrefs) -> String {
    let circuit = &flight.circuit;
    let how = match circuit.plan.join {
        Join::StraightIn => "Straight in".to_owned(),
        join => format!("{} join, {} hand", capital(join.words()), hand(circuit.plan.hand)),
    };
    let orbits = match circuit.plan.orbits {
        0 => String::new(),
        1 => ", one whole turn first to lose height".to_owned(),
        n => format!(", {n} whole turns first to lose height"),
    };
    let s_turns = if circuit.plan.has_s_turns() { ", S-turns on the approach to lose height" } else { "" };
    let base = match circuit.plan.join {
        Join::StraightIn => String::new(),
        _ => format!(", base leg {}", base_leg(flight, units)),
    };
    format!("{how}{orbits}{s_turns}{base}.")
}

/// Where the base leg lies and why there.
fn base_leg(flight: &Flight, units: UnitPrefs) -> String {
    let circuit = &flight.circuit;
    let distance = units.format_length(circuit.base_leg_distance_m);
    let own = units.format_length(flight.pilots_base_m);
    let here = format!("{distance} from the landing end");
    if distance == own {
        format!("{here}, your distance")
    } else if circuit.base_leg_is_pilots {
        format!("{here}; yours is {own}, moved to use the height up")
    } else {
        let height = units.format_height(flight.final_height_m);
        format!("{here}; yours is {own}, wings level by {height} asks for more")
    }
}

/// A short name of a key position, for the map.
#[must_use]
pub fn short(name: KeyName) -> &'static str {
    match name {
        KeyName::EngineStops => "stops",
        KeyName::EndOfReaction => "act",
        KeyName::Joined => "join",
        KeyName::Abeam => "abeam",
        KeyName::TurnToBase => "base turn",
        KeyName::TurnToFinal => "final turn",
        KeyName::WingsLevel => "wings level",
        KeyName::Touchdown => "touchdown",
    }
}

/// A turn in words: which way, onto what, how far round.
#[must_use]
pub fn turn(leg: &LegFlown) -> Option<String> {
    let turned_rad = leg.turned_rad?;
    let way = if turned_rad < 0.0 { "left" } else { "right" };
    let degrees = (turned_rad.abs() * 180.0 / math::PI).round();
    Some(match leg.leg {
        Leg::Orbit => format!("whole turn {way}, {degrees}°"),
        Leg::STurns => format!("S-turn {way}, {degrees}°"),
        Leg::Joining => format!("{way} towards the join, {degrees}°"),
        onto => format!("{way} onto {}, {degrees}°", onto.words()),
    })
}

/// Until when the choice can change, in one sentence; `name` gives a field's name.
#[must_use]
pub fn last_change(flight: &Flight, units: UnitPrefs, name: &dyn Fn(usize) -> String) -> String {
    match &flight.answer.last_change {
        Some(change) => format!(
            "The choice can change until {} above the landing place, {} after the engine stopped: from there {} could \
             still be made.",
            units.format_height_at_most(change.commit.height_m),
            clock(change.commit.at.time_s),
            name(change.field),
        ),
        None => "From the beginning none of the next four fields in the list could be made by a circuit of its own: \
                 this choice does not change."
            .to_owned(),
    }
}

/// What the aircraft does at a moment, in one line.
#[must_use]
pub fn moment(moment: &Moment, convergence_rad: f64, units: UnitPrefs) -> String {
    let leg = match (moment.leg, moment.turning) {
        (Leg::Reaction, _) => "reacting, straight on".to_owned(),
        (Leg::Joining, true) => "turning towards the join".to_owned(),
        (Leg::Joining, false) => "towards the join".to_owned(),
        (Leg::Orbit, _) => "whole turn".to_owned(),
        (Leg::STurns, _) => "S-turns".to_owned(),
        (leg, true) => format!("turning onto {}", leg.words()),
        (leg, false) => leg.words().to_owned(),
    };
    let motion = &moment.motion;
    let bank_deg = (motion.bank_rad.abs() * 180.0 / math::PI).round();
    let bank = match motion.bank_rad {
        _ if bank_deg < 1.0 => "wings level".to_owned(),
        b if b < 0.0 => format!("{bank_deg}° bank left"),
        _ => format!("{bank_deg}° bank right"),
    };
    let heading = format_bearing(Bearing::from_rad(motion.heading().rad() + convergence_rad));
    let speed = units.format_speed(motion.airspeed_ms());
    format!("{} up, {leg}, heading {heading}, {bank}, {speed}", height_above(moment.height_m, units))
}

/// A height above the landing place, rounded down; the ground itself is 0.
#[must_use]
pub fn height_above(height_m: f64, units: UnitPrefs) -> String {
    if height_m.abs() < 0.15 { units.format_height(0.0) } else { units.format_height_at_least(height_m) }
}

/// The text with its first letter large.
#[must_use]
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_clock_shows_whole_seconds_and_never_more_than_passed() {
        assert_eq!([0.0, 59.99, 61.0, f64::NAN, -3.0].map(clock), ["0:00", "0:59", "1:01", "0:00", "0:00"]);
    }

    #[test]
    fn a_height_in_hand_is_rounded_down_and_the_ground_is_nought() {
        let units = UnitPrefs::default();
        assert_eq!(height_above(-0.01, units), "0\u{a0}ft");
        assert_eq!(height_above(59.9, units), "190\u{a0}ft");
    }
}
