//! The ranking with circuits that were flown: for the fields that matter, what a simulated circuit leaves over takes
//! the place of the estimate.
//!
//! The best of the list are looked at, those that only the estimate says are too low, and those near enough that are out
//! of reach overhead: a straight-in approach or a base join needs no height for that. Of each, the best strip and the
//! best in another direction are flown from the aircraft's state; where something is in the way, from where the reach
//! around it arrives overhead.

use super::model::Field;
use super::rank::{Gate, Judged, Place, RankInput, add_alternatives, in_order, ranked_by_estimate};
use super::reasons;
use super::strip::bounds;
use super::study::FieldStudy;
use super::verdict::{RankedField, StripVerdict, Verdict};
use crate::circuit::Join;
use crate::circuit::{CircuitOptions, CircuitTask, Landing, NoCircuit, Start, Surroundings};
use crate::fields::circuit_height::Hand;
use crate::math;
use crate::position::Bearing;
use crate::reach::{AircraftState, Arrival};
use core::borrow::Borrow;
use rayon::prelude::*;
use serde::Serialize;

/// Directions flown for one field.
const DIRECTIONS: usize = 2;

/// Strips that point less than this apart count as one direction, radians.
const SAME_DIRECTION_RAD: f64 = 60.0 * math::PI / 180.0;

/// What circuits are flown in.
#[derive(Clone, Copy, Debug)]
pub struct FlownInput<'a> {
    /// Where the aircraft is.
    pub state: &'a AircraftState,
    /// Ground, hazards and quiet zones.
    pub surroundings: Surroundings<'a>,
    /// How many fields of each group are flown to.
    pub most: usize,
}

/// How a field's circuit was found.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "basis")]
pub enum CircuitBasis {
    /// Estimated for joining from overhead; ground and hazards round it were not looked at.
    Estimated,
    /// Flown by simulation over the ground and hazards.
    Flown {
        /// How the circuit that needs least height begins.
        join: Join,
        /// Which way it turns.
        hand: Hand,
        /// Whether it starts overhead, after a way round what stands between.
        from_overhead: bool,
    },
    /// Flown, and none works.
    None(NoCircuit),
}

/// What flying to one landing gave.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct FlownSpare {
    pub(super) spare_m: f64,
    pub(super) basis: CircuitBasis,
}

/// Fields in the order of choice, as [`super::rank::rank`] gives them, with flown circuits for the best of them.
///
/// `stopped` is asked before each field; a ranking that is stopped keeps the estimates for the rest. The same on any
/// number of threads as long as it is not stopped.
#[must_use]
pub fn rank_flown<F: Borrow<Field> + Sync, S: Borrow<FieldStudy> + Sync>(
    fields: &[F],
    studies: &[S],
    input: &RankInput<'_>,
    arrivals: &[Option<Arrival>],
    flown: &FlownInput<'_>,
    stopped: &(dyn Fn() -> bool + Sync),
) -> Vec<RankedField> {
    let estimated = ranked_by_estimate(fields, studies, input, arrivals);
    let chosen = worth_flying(&estimated, studies, flown);
    let zone_bounds: Vec<_> = input.quiet_zones.iter().map(|z| bounds(&z.outer)).collect();
    let better: Vec<(usize, RankedField)> = chosen
        .par_iter()
        .with_max_len(1)
        .filter_map(|&at| {
            if stopped() {
                return None;
            }
            let index = estimated[at].0.index;
            let (field, study) = (fields[index].borrow(), studies.get(index)?.borrow());
            let arrival = arrivals.get(index).copied().flatten();
            let place = Place::new(field, study, input, &zone_bounds, arrival);
            let best = best_flown(&place, arrival, input, flown)?;
            Some((at, reasons::ranked_field(index, &place, Some(&best))))
        })
        .collect();
    let mut ranked: Vec<RankedField> = estimated.into_iter().map(|(field, _)| field).collect();
    for (at, field) in better {
        ranked[at] = field;
    }
    add_alternatives(&mut ranked, studies);
    in_order(&mut ranked, fields);
    ranked
}

/// The strip of a field that points most nearly along a heading, as judged for landing that way: of those within 10° of
/// the nearest, the best. `None` when the field has no strip.
#[must_use]
pub fn strip_towards(
    field: &Field,
    study: &FieldStudy,
    input: &RankInput<'_>,
    heading: Bearing,
) -> Option<StripVerdict> {
    let zone_bounds: Vec<_> = input.quiet_zones.iter().map(|z| bounds(&z.outer)).collect();
    let place = Place::new(field, study, input, &zone_bounds, None);
    let every = place.every();
    let off = |j: &Judged<'_>| j.heading.turn_to(heading).abs();
    let nearest = every.iter().map(off).fold(f64::INFINITY, f64::min);
    // Best first, so the first that is near enough is the best of them.
    let best = every.iter().find(|j| off(j) <= nearest + 10f64.to_radians())?;
    Some(reasons::strip_verdict(&place, best))
}

/// Indices into the list of what is worth flying to.
fn worth_flying<S: Borrow<FieldStudy>>(
    estimated: &[(RankedField, Option<Gate>)],
    studies: &[S],
    flown: &FlownInput<'_>,
) -> Vec<usize> {
    let group = |wanted: &dyn Fn(&RankedField, Option<Gate>) -> bool| {
        let found = estimated.iter().enumerate().filter(|(_, (field, gate))| wanted(field, *gate));
        found.map(|(i, _)| i).collect::<Vec<usize>>()
    };
    let score = |i: &usize| estimated[*i].0.score;
    let mut usable = group(&|field, _| field.verdict != Verdict::Out);
    usable.sort_by(|a, b| {
        let (one, other) = (&estimated[*a].0, &estimated[*b].0);
        one.verdict.cmp(&other.verdict).then(score(b).total_cmp(&score(a)))
    });
    let mut low = group(&|_, gate| gate == Some(Gate::TooLow));
    low.sort_by(|a, b| score(b).total_cmp(&score(a)));
    let mut near = group(&|_, gate| gate == Some(Gate::NotInReach));
    let away = |i: &usize| {
        let centre = studies.get(estimated[*i].0.index).map(|s| s.borrow().centre);
        centre.map_or(f64::INFINITY, |c| c.distance(flown.state.position))
    };
    near.sort_by(|a, b| away(a).total_cmp(&away(b)));
    let most = flown.most;
    usable.into_iter().take(most).chain(low.into_iter().take(most)).chain(near.into_iter().take(most)).collect()
}

/// The best of a field's strips with flown circuits.
fn best_flown<'a>(
    place: &Place<'a>,
    arrival: Option<Arrival>,
    input: &RankInput<'_>,
    flown: &FlownInput<'_>,
) -> Option<Judged<'a>> {
    let mut directions: Vec<Judged<'a>> = Vec::with_capacity(DIRECTIONS);
    for judged in place.every() {
        let is_new = |d: &Judged<'_>| d.heading.turn_to(judged.heading).abs() >= SAME_DIRECTION_RAD;
        if directions.len() < DIRECTIONS && directions.iter().all(is_new) {
            directions.push(judged);
        }
    }
    let mut best: Option<Judged<'a>> = None;
    for judged in directions {
        let strip = reasons::strip_verdict(place, &judged);
        let Some(landing) = Landing::on(&strip) else { continue };
        let judged = place.with_flown(&judged, spare(landing, arrival, input, flown));
        if best.as_ref().is_none_or(|b| judged.is_better_than(b)) {
            best = Some(judged);
        }
    }
    best
}

fn spare(
    landing: Landing,
    arrival: Option<Arrival>,
    input: &RankInput<'_>,
    flown: &FlownInput<'_>,
) -> Result<FlownSpare, NoCircuit> {
    let aircraft = input.aircraft;
    let top = flown.state.height_amsl_m;
    let task = CircuitTask::new(aircraft, input.wind, landing, flown.surroundings, CircuitOptions::default(), top)?;
    // Without a heading nothing is taken off for the reaction, as in reach.
    let reaction_s = if flown.state.heading.is_some() { aircraft.reaction_time_s } else { 0.0 };
    let fly = |start: &Start, from_overhead: bool| {
        task.least(start).map(|least| FlownSpare {
            spare_m: least.spare_m,
            basis: CircuitBasis::Flown { join: least.plan.join, hand: least.plan.hand, from_overhead },
        })
    };
    let direct = fly(&task.start(flown.state, reaction_s), false);
    let (Err(NoCircuit::InTheWay(_)), Some(arrival)) = (direct, arrival) else { return direct };
    let overhead =
        AircraftState { position: landing.aim, height_amsl_m: arrival.height_amsl_m, heading: arrival.track };
    fly(&task.start(&overhead, 0.0), true).or(direct)
}
