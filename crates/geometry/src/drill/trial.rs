//! A failure flown as the pilot chose: straight on while nothing is decided, then the circuit of the latest choice.

use crate::air::Wind;
use crate::aircraft::Aircraft;
use crate::circuit::{
    Circuit, CircuitOptions, CircuitTask, Join, Landing, Motion, NoCircuit, Start, StraightGlide, Surroundings,
};
use crate::fields::circuit_height::Hand;
use crate::fields::verdict::Verdict;
use crate::reach::AircraftState;

/// Longest flight that is followed, seconds.
const LONGEST_S: f64 = 3_600.0;

/// A landing that can be chosen, as judged from some state.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// The field's identifier.
    pub field_id: String,
    /// Its name for people.
    pub name: String,
    /// Verdict of this landing.
    pub verdict: Verdict,
    /// Score from 0 to 1.
    pub score: f64,
    /// The landing in the true wind.
    pub landing: Landing,
}

impl Offer {
    /// Whether both are the same field landed on in the same direction.
    #[must_use]
    pub fn is_same_landing(&self, other: &Self) -> bool {
        self.field_id == other.field_id && self.landing.heading.turn_to(other.landing.heading).abs() < 0.02
    }
}

/// What the pilot chose at a moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// Seconds since the engine stopped.
    pub at_s: f64,
    /// Field and direction, as judged when the engine stopped.
    pub offer: Offer,
    /// The join, where the pilot named one.
    pub join: Option<Join>,
    /// The hand, where the pilot named one.
    pub hand: Option<Hand>,
}

/// A failure in its surroundings and its true wind.
#[derive(Clone, Copy, Debug)]
pub struct Trial<'a> {
    /// The aircraft.
    pub aircraft: &'a Aircraft,
    /// The wind that blows.
    pub wind: &'a Wind,
    /// Ground, hazards, quiet zones.
    pub surroundings: Surroundings<'a>,
    /// The state when the engine stops; its heading is known.
    pub state: AircraftState,
    /// Joins that may be used, in the order of [`Join::ALL`].
    pub joins: [bool; 5],
}

/// A choice as it was made, and what came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Moment {
    /// Where the aircraft was.
    pub at: Motion,
    /// The circuit from there; `None` when the aircraft was on the ground already.
    pub circuit: Option<Result<Circuit, NoCircuit>>,
}

/// A drill flown to the ground.
#[derive(Clone, Debug, PartialEq)]
pub struct Flown {
    /// One for every choice.
    pub moments: Vec<Moment>,
    /// Everything flown, from the engine's stop to the ground.
    pub track: Vec<Motion>,
}

impl Flown {
    /// The circuit of the last choice, where there is one that works.
    #[must_use]
    pub fn circuit(&self) -> Option<&Circuit> {
        self.moments.last()?.circuit.as_ref()?.as_ref().ok()
    }
}

impl<'a> Trial<'a> {
    /// The state when the engine stops, as a motion.
    #[must_use]
    pub fn beginning(&self) -> Motion {
        Motion {
            position: self.state.position,
            height_amsl_m: self.state.height_amsl_m,
            heading_rad: self.state.heading.unwrap_or_default().rad(),
            bank_rad: 0.0,
            level_speed_ms: self.aircraft.straight_speed_ms(),
            time_s: 0.0,
        }
    }

    /// Gliding straight on since the engine stopped, until a time or the ground.
    #[must_use]
    pub fn straight_on(&self, until_s: f64) -> StraightGlide {
        self.glide(&self.beginning(), until_s)
    }

    fn glide(&self, from: &Motion, until_s: f64) -> StraightGlide {
        StraightGlide::fly(self.aircraft, self.wind, self.surroundings.terrain, from, until_s.min(LONGEST_S))
    }

    /// The search for circuits to a landing, with one join or hand where the pilot named it.
    ///
    /// # Errors
    /// When the wind does not allow the approach.
    pub fn task(&self, landing: Landing, join: Option<Join>, hand: Option<Hand>) -> Result<CircuitTask<'a>, NoCircuit> {
        let named = CircuitOptions::only(join, hand);
        let joins = core::array::from_fn(|i| named.joins[i] && (join.is_some() || self.joins[i]));
        let options = CircuitOptions { joins, ..named };
        let top = self.state.height_amsl_m.max(landing.aim_amsl_m);
        CircuitTask::new(self.aircraft, self.wind, landing, self.surroundings, options, top)
    }

    /// Flies what the pilot chose, in the order of the list; no choice may come before the one above it.
    #[must_use]
    pub fn fly(&self, choices: &[Choice]) -> Flown {
        let mut track = vec![self.beginning()];
        let mut moments: Vec<Moment> = Vec::with_capacity(choices.len());
        let mut on_ground = false;
        for choice in choices {
            let last = track[track.len() - 1];
            let at_s = if choice.at_s > last.time_s { choice.at_s } else { last.time_s };
            on_ground |= self.follow(&mut track, moments.last(), at_s);
            let at = Motion { bank_rad: 0.0, ..track[track.len() - 1] };
            let circuit = (!on_ground).then(|| {
                let task = self.task(choice.offer.landing, choice.join, choice.hand)?;
                task.circuit(&Start { motion: at, reaction_s: 0.0 })
            });
            moments.push(Moment { at, circuit });
        }
        if !on_ground {
            self.follow(&mut track, moments.last(), LONGEST_S);
        }
        Flown { moments, track }
    }

    /// Goes on until a time: along the circuit being flown, else straight on. Says whether the ground came first.
    fn follow(&self, track: &mut Vec<Motion>, flying: Option<&Moment>, until_s: f64) -> bool {
        let from = track[track.len() - 1];
        let Some(Ok(circuit)) = flying.and_then(|m| m.circuit.as_ref()) else {
            let glide = self.glide(&from, until_s);
            track.extend(glide.track.iter().skip(1));
            return glide.on_ground;
        };
        let mut before = from;
        for motion in circuit.track.iter().map(|p| p.motion).filter(|m| m.time_s > from.time_s) {
            if motion.time_s >= until_s {
                track.push(between(&before, &motion, until_s));
                return false;
            }
            track.push(motion);
            before = motion;
        }
        true
    }
}

fn between(a: &Motion, b: &Motion, at_s: f64) -> Motion {
    let share = ((at_s - a.time_s) / (b.time_s - a.time_s)).clamp(0.0, 1.0);
    let mix = |a: f64, b: f64| a + (b - a) * share;
    Motion {
        position: a.position + (b.position - a.position) * share,
        height_amsl_m: mix(a.height_amsl_m, b.height_amsl_m),
        heading_rad: mix(a.heading_rad, b.heading_rad),
        bank_rad: mix(a.bank_rad, b.bank_rad),
        level_speed_ms: mix(a.level_speed_ms, b.level_speed_ms),
        time_s: at_s,
    }
}
