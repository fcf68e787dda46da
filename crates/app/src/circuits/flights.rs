//! Circuits into a chosen field and one beside it, with what the window shows of them.

use super::many::{Many, SAMPLES};
use super::{Answer, Around, Wanted, many_words, words};
use crate::assess::Assessment;
use sparefield_data::area::Area;
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::circuit::{Budget, Circuit, Leg, Motion, TrackPoint};
use sparefield_geometry::grid::Terrain;
use std::sync::Arc;

/// Seconds between two points of a height profile.
const PROFILE_STEP_S: f64 = 0.5;

/// What circuits are asked for. Two questions are the same when the answer must be.
#[derive(Clone, Debug)]
pub struct Ask {
    /// The area.
    pub area: Arc<Area>,
    /// From where, in which wind, in which aircraft.
    pub assessment: Arc<Assessment>,
    /// Index of the field.
    pub field: usize,
    /// Index of the field it is compared with.
    pub beside: Option<usize>,
    /// Which circuits.
    pub wanted: Wanted,
    /// For the words of a refusal.
    pub units: UnitPrefs,
    /// Whether the circuit is also flown many times.
    pub many: bool,
}

impl PartialEq for Ask {
    fn eq(&self, other: &Self) -> bool {
        self.is_about_the_same(other) && self.many == other.many && Arc::ptr_eq(&self.assessment, &other.assessment)
    }
}

impl Ask {
    /// Whether only the place, the aircraft or the wind differ: an older answer may be shown until the newer is there.
    #[must_use]
    pub fn is_about_the_same(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.area, &other.area)
            && (self.field, self.beside, self.wanted, self.units)
                == (other.field, other.beside, other.wanted, other.units)
    }
}

/// A flown circuit with its height profile.
#[derive(Clone, Debug)]
pub struct Flight {
    /// The circuit.
    pub circuit: Circuit,
    /// The answer it belongs to, for the landing and the last change of mind.
    pub answer: Answer,
    /// Height over time and distance.
    pub profile: Vec<ProfilePoint>,
    /// The pilot's own distance of the base leg, metres.
    pub pilots_base_m: f64,
    /// Height by which wings shall be level on final, metres.
    pub final_height_m: f64,
    /// Clearance above the ground that is asked for before the final, metres.
    pub clearance_m: f64,
}

/// A point of a height profile. Heights are above the landing place, metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProfilePoint {
    /// Seconds since the engine stopped.
    pub time_s: f64,
    /// Distance flown over the ground, metres.
    pub distance_m: f64,
    /// Height of the aircraft.
    pub height_m: f64,
    /// Height of the ground under it, where it is known.
    pub ground_m: Option<f64>,
}

/// Circuits as shown, or one sentence each that says why there is none.
#[derive(Clone, Debug)]
pub struct Flights {
    /// What was asked.
    pub ask: Ask,
    /// Into the chosen field.
    pub chosen: Result<Flight, String>,
    /// Into the field beside it.
    pub beside: Option<Result<Flight, String>>,
    /// Whether the last change of mind was looked for.
    pub has_last_change: bool,
    /// The circuit into the chosen field flown many times; `None` until it was, and where there is none.
    pub many: Option<FlownMany>,
}

/// A circuit flown many times with the words for it, or one sentence that says why it was not.
pub type FlownMany = Result<(Arc<Many>, Arc<ManyWords>), String>;

/// What is said of a circuit flown many times.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ManyWords {
    /// Which share stopped in the strip.
    pub sentence: String,
    /// What became of the others, and how many.
    pub misses: Vec<(String, usize)>,
    /// What hurts most.
    pub what_hurts: String,
    /// Where most come down.
    pub spread: String,
}

/// Answers a question. With `first`, the last change of mind is left out, which takes longer than the rest.
#[must_use]
pub fn fly(ask: &Ask, around: &Around, first: bool, stopped: &dyn Fn() -> bool) -> Flights {
    let into = |field: usize| -> Result<Flight, String> {
        let ranked = ask.assessment.ranked.iter().find(|r| r.index == field);
        let ranked = ranked.ok_or("This field is not in the list; choose another.")?;
        let answer = around
            .answer(&ask.assessment, ranked, ask.wanted, &|| first || stopped())
            .map_err(|e| words::capital(&e.to_string()) + ".")?;
        match &answer.circuit {
            Err(why) => Err(around.refusal(why, ask.units)),
            Ok(circuit) => {
                let aircraft = ask.assessment.aircraft();
                Ok(Flight {
                    circuit: circuit.clone(),
                    profile: profile(circuit, answer.landing.aim_amsl_m, &ask.area.terrain),
                    pilots_base_m: aircraft.base_leg_distance_m,
                    final_height_m: aircraft.final_height_m,
                    clearance_m: aircraft.terrain_clearance_m,
                    answer,
                })
            }
        }
    };
    Flights {
        ask: ask.clone(),
        chosen: into(ask.field),
        beside: ask.beside.map(into),
        has_last_change: !first,
        many: None,
    }
}

/// The same answer with the chosen circuit flown many times; `None` when that was stopped, or is not asked for.
#[must_use]
pub fn fly_many(made: &Flights, around: &Around, stopped: &dyn Fn() -> bool) -> Option<Flights> {
    let answer = &made.chosen.as_ref().ok().filter(|_| made.ask.many)?.answer;
    let budget = Budget { samples: SAMPLES, ..Budget::default() };
    let many = around.many(&made.ask.assessment, answer, made.ask.wanted, &budget, stopped)?;
    if stopped() {
        return None;
    }
    let told = many.map_err(|e| words::capital(&e.to_string()) + ".").map(|many| {
        let words = ManyWords {
            sentence: many_words::sentence(&many),
            misses: many_words::misses(&many, around),
            what_hurts: many_words::what_hurts(&many),
            spread: many_words::spread(&many, made.ask.units),
        };
        (Arc::new(many), Arc::new(words))
    });
    Some(Flights { many: Some(told), ..made.clone() })
}

fn profile(circuit: &Circuit, aim_amsl_m: f64, terrain: &Terrain) -> Vec<ProfilePoint> {
    let mut out: Vec<ProfilePoint> = Vec::new();
    let mut distance_m = 0.0;
    let mut before: Option<&TrackPoint> = None;
    for (i, point) in circuit.track.iter().enumerate() {
        let m = &point.motion;
        distance_m += before.map_or(0.0, |b| b.motion.position.distance(m.position));
        before = Some(point);
        let due = out.last().is_none_or(|p| m.time_s >= p.time_s + PROFILE_STEP_S);
        if due || i + 1 == circuit.track.len() {
            out.push(ProfilePoint {
                time_s: m.time_s,
                distance_m,
                height_m: m.height_amsl_m - aim_amsl_m,
                ground_m: terrain.height_at(m.position).map(|g| g - aim_amsl_m),
            });
        }
    }
    out
}

/// What the aircraft does at a moment of the flight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// Where it is and how it moves.
    pub motion: Motion,
    /// The leg, or the leg being turned onto.
    pub leg: Leg,
    /// Whether it is turning.
    pub turning: bool,
    /// Height above the landing place, metres.
    pub height_m: f64,
    /// Distance flown so far, metres.
    pub distance_m: f64,
}

impl Flight {
    /// The flight at a time since the engine stopped; its beginning or end for times outside it. `None` only for a
    /// track without points.
    #[must_use]
    pub fn at(&self, time_s: f64) -> Option<Moment> {
        let track = &self.circuit.track;
        let next = track.partition_point(|p| p.motion.time_s <= time_s);
        let (before, after) = match (next.checked_sub(1).and_then(|i| track.get(i)), track.get(next)) {
            (Some(b), Some(a)) => (b, a),
            (Some(only), None) | (None, Some(only)) => (only, only),
            (None, None) => return None,
        };
        let gap = after.motion.time_s - before.motion.time_s;
        let part = if gap > 0.0 { ((time_s - before.motion.time_s) / gap).clamp(0.0, 1.0) } else { 0.0 };
        let motion = before.motion.towards(&after.motion, part);
        Some(Moment {
            motion,
            leg: after.leg,
            turning: after.turning,
            height_m: motion.height_amsl_m - self.answer.landing.aim_amsl_m,
            distance_m: self.distance_at(motion.time_s),
        })
    }

    /// Distance flown until a time, metres.
    #[must_use]
    pub fn distance_at(&self, time_s: f64) -> f64 {
        between(&self.profile, time_s, |p| p.time_s, |p| p.distance_m)
    }
    /// When a distance has been flown, seconds.
    #[must_use]
    pub fn time_at(&self, distance_m: f64) -> f64 {
        between(&self.profile, distance_m, |p| p.distance_m, |p| p.time_s)
    }
    /// Seconds from the engine's stop to the touchdown.
    #[must_use]
    pub fn duration_s(&self) -> f64 {
        self.circuit.duration_s
    }
}

/// `value` where `key` has a value, straight between points and held beyond the ends; `key` grows.
fn between(
    points: &[ProfilePoint],
    at: f64,
    key: impl Fn(&ProfilePoint) -> f64,
    value: impl Fn(&ProfilePoint) -> f64,
) -> f64 {
    let next = points.partition_point(|p| key(p) <= at);
    match (next.checked_sub(1).and_then(|i| points.get(i)), points.get(next)) {
        (Some(a), Some(b)) => {
            let gap = key(b) - key(a);
            let part = if gap > 0.0 { (at - key(a)) / gap } else { 0.0 };
            value(a) + (value(b) - value(a)) * part
        }
        (Some(only), None) | (None, Some(only)) => value(only),
        (None, None) => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_and_distance_are_read_straight_between_points_and_held_beyond_the_ends() {
        let point = |time_s, distance_m| ProfilePoint { time_s, distance_m, height_m: 0.0, ground_m: None };
        let points = [point(0.0, 0.0), point(2.0, 30.0), point(4.0, 40.0)];
        let distance = |t| between(&points, t, |p| p.time_s, |p| p.distance_m);
        assert_eq!([-1.0, 1.0, 3.0, 9.0].map(distance), [0.0, 15.0, 35.0, 40.0]);
        assert_eq!(between(&points, 35.0, |p| p.distance_m, |p| p.time_s), 3.0);
        assert_eq!(between(&[], 35.0, |p| p.distance_m, |p| p.time_s), 0.0);
    }
}
