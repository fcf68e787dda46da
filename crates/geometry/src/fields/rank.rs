//! Which field to choose: every field judged for this aircraft, wind and arrival, and put in order.
//!
//! # Gates
//! A field is out when, for every strip and direction, one of these holds; the reason says which:
//! - no strip of the aircraft's width and margins fits, or the usable length is less than the needed length;
//! - the tailwind, the crosswind or the wind as a whole is beyond the aircraft;
//! - the slope is more than 2 % downhill, 10 % uphill or 5 % across ([`super::criteria`] names the sources);
//! - wires stand across the approach so that a path to the landing end does not clear them by 50 ft;
//! - a standing tall crop, seen or to be expected since: a light aircraft turns over in it;
//! - there is no terrain under the landing end, so neither slope nor arrival height is known;
//! - it is not in reach, or is reached with less height than a circuit needs.
//!
//! # Limits
//! What an instructor would accept only for want of better holds the verdict down instead: stock, ploughed, soft or
//! unknown ground, an unknown boundary under the approach, an old survey, little height in hand. Verdict and score are
//! made from the same nine numbers ([`super::criteria`]), so a field at least as good in each that passes the same gates
//! never has a worse verdict or place. Unknown is never counted as good, and a survey is worth less each day
//! ([`super::survey`]).
//!
//! # Choice of strip
//! Every candidate strip is judged in both directions; the best verdict counts, then the fewest gates, then the score.

use super::approach::{WindComponents, approach_gradient, displacement_m};
use super::circuit_height::overhead_from_landing;
use super::circuit_height::{CircuitHeight, CircuitSetting};
use super::criteria::{
    MAX_CROSS_SLOPE, MAX_DOWNHILL, MAX_TAILWIND_SHARE, MAX_UPHILL, SLOPE_UNKNOWN, Surroundings, UNKNOWN_AT_MOST,
    Weights, allowed_verdict, alternatives_value, approach_value, clearness_value, freshness_value, length_value,
    slope_value, spare_value, wind_value,
};
use super::flown::{CircuitBasis, FlownSpare};
use super::model::{Day, Field, QuietZone, Surface};
use super::needed::{LandingCase, SafetyFactor};
use super::reasons;
use super::strip::{bounds, inside_ring};
use super::study::{APPROACH_LENGTH_M, EndStudy, FieldStudy, StripGround, StripStudy, WIRES_MARGIN_M};
use super::survey::{SurfaceSource, SurveyStanding};
use super::verdict::{CriterionKind, RankedField, Verdict};
use crate::air::{Wind, isa_density_ratio};
use crate::aircraft::Aircraft;
use crate::circuit::NoCircuit;
use crate::position::{Bearing, Xy};
use crate::reach::Arrival;
use core::borrow::Borrow;
use rayon::prelude::*;
use rstar::RTree;
use rstar::primitives::GeomWithData;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

pub use super::approach::ObstacleRule;

/// Distance within which another field counts as an alternative, metres. Common practice, no source.
pub const ALTERNATIVE_WITHIN_M: f64 = 1_000.0;

/// Choices that a ranking depends on.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct RankOptions {
    /// Weights of the criteria.
    pub weights: Weights,
    /// How obstacles take length.
    pub obstacle_rule: ObstacleRule,
    /// General safety factor.
    pub safety: SafetyFactor,
    /// The day from which the age of surveys counts; `None` makes every survey's age unknown.
    pub today: Option<Day>,
    /// Whether nobody gave any hazards: that none is near then says nothing.
    pub hazards_unknown: bool,
}

/// What fields are ranked for.
#[derive(Clone, Copy, Debug)]
pub struct RankInput<'a> {
    /// The aircraft the studies were made for.
    pub aircraft: &'a Aircraft,
    /// The wind.
    pub wind: &'a Wind,
    /// Choices.
    pub options: &'a RankOptions,
    /// Places not to be overflown low.
    pub quiet_zones: &'a [Arc<QuietZone>],
}

/// Why a strip does not serve; several may hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Gate {
    TooShort,
    WindTooStrong,
    Tailwind,
    Crosswind,
    Downhill,
    Uphill,
    CrossSlope,
    Wires,
    Surface,
    NoTerrain,
    NotInReach,
    TooLow,
    NoCircuit,
}

impl Gate {
    pub(super) const ALL: [Self; 13] = [
        Self::NotInReach,
        Self::TooLow,
        Self::NoCircuit,
        Self::TooShort,
        Self::WindTooStrong,
        Self::Tailwind,
        Self::Crosswind,
        Self::Wires,
        Self::Downhill,
        Self::Uphill,
        Self::CrossSlope,
        Self::Surface,
        Self::NoTerrain,
    ];
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Gates(u16);

impl Gates {
    fn set(&mut self, gate: Gate, holds: bool) {
        if holds {
            self.0 |= 1 << gate as u16;
        }
    }
    pub(super) fn has(self, gate: Gate) -> bool {
        self.0 & (1 << gate as u16) != 0
    }
    fn count(self) -> u32 {
        self.0.count_ones()
    }
    fn clear(&mut self, gate: Gate) {
        self.0 &= !(1 << gate as u16);
    }
    /// The gate that alone holds.
    fn only(self) -> Option<Gate> {
        Gate::ALL.into_iter().find(|gate| self.0 == 1 << *gate as u16)
    }
}

/// One strip in one direction, judged.
#[derive(Clone, Copy, Debug)]
pub(super) struct Judged<'a> {
    pub(super) study: &'a StripStudy,
    pub(super) end: &'a EndStudy,
    pub(super) start: Xy,
    pub(super) far_end: Xy,
    pub(super) heading: Bearing,
    pub(super) ground: Option<StripGround>,
    pub(super) case: LandingCase,
    pub(super) gradient: f64,
    pub(super) displacement_m: f64,
    /// Which obstacle governs.
    pub(super) governing: Option<usize>,
    pub(super) usable_m: f64,
    pub(super) needed_m: f64,
    pub(super) headwind_ms: f64,
    pub(super) crosswind_ms: f64,
    pub(super) arrival_m: Option<f64>,
    pub(super) circuit: Option<CircuitHeight>,
    /// What flying a circuit gave, where one was flown.
    pub(super) flown: Option<CircuitBasis>,
    pub(super) spare_m: Option<f64>,
    pub(super) quiet_zone: Option<usize>,
    pub(super) values: [f64; 9],
    pub(super) known: [bool; 9],
    pub(super) gates: Gates,
    pub(super) verdict: Verdict,
    pub(super) score: f64,
}

impl Judged<'_> {
    /// Height that the circuit takes from the arrival height, metres.
    pub(super) fn circuit_height_m(&self) -> Option<f64> {
        if self.flown.is_some() {
            self.arrival_m.zip(self.spare_m).map(|(arrival, spare)| arrival - spare)
        } else {
            self.circuit.map(|c| c.total_m)
        }
    }
    pub(super) fn is_better_than(&self, other: &Self) -> bool {
        self.key().order(&other.key()).is_lt()
    }
    fn key(&self) -> Key {
        Key { verdict: self.verdict, gates: self.gates.count(), score: self.score, usable_m: self.usable_m }
    }
}

/// What decides between two strips of a field.
#[derive(Clone, Copy, Debug)]
struct Key {
    verdict: Verdict,
    gates: u32,
    score: f64,
    usable_m: f64,
}

impl Key {
    /// Better first; the last key only makes the choice the same every time.
    fn order(&self, other: &Self) -> core::cmp::Ordering {
        self.verdict
            .cmp(&other.verdict)
            .then(self.gates.cmp(&other.gates))
            .then(other.score.total_cmp(&self.score))
            .then(other.usable_m.total_cmp(&self.usable_m))
    }
}

/// What all strips of a field share.
pub(super) struct Place<'a> {
    pub(super) field: &'a Field,
    pub(super) study: &'a FieldStudy,
    pub(super) input: &'a RankInput<'a>,
    pub(super) survey: SurveyStanding,
    arrival: Option<Arrival>,
    /// Whether height on arriving counts; it does not when a field is looked at by itself.
    counts_reach: bool,
    density_ratio: f64,
    pub(super) circuits: CircuitSetting<'a>,
    zones: Vec<usize>,
}

impl<'a> Place<'a> {
    pub(super) fn new(
        field: &'a Field,
        study: &'a FieldStudy,
        input: &'a RankInput<'a>,
        zone_bounds: &[Option<(Xy, Xy)>],
        arrival: Option<Arrival>,
    ) -> Self {
        let threshold = study.strips.iter().find_map(|s| s.ends[0].threshold_amsl_m);
        let ground = study.ground_amsl_m.or(threshold).unwrap_or(input.wind.ground_amsl_m);
        let reach = study.radius_m + APPROACH_LENGTH_M;
        let c = study.centre;
        let zones = zone_bounds
            .iter()
            .enumerate()
            .filter_map(|(i, b)| {
                let (low, high) = (*b)?;
                let near =
                    low.x <= c.x + reach && high.x >= c.x - reach && low.y <= c.y + reach && high.y >= c.y - reach;
                near.then_some(i)
            })
            .collect();
        Self {
            field,
            study,
            input,
            survey: SurveyStanding::of(field, input.options.today),
            arrival: arrival.filter(|a| a.height_amsl_m.is_finite()),
            counts_reach: true,
            density_ratio: isa_density_ratio(ground),
            circuits: CircuitSetting::new(input.aircraft, input.wind, ground),
            zones,
        }
    }

    /// The field by itself, for an aircraft that arrives with all the height it could want.
    pub(super) fn by_itself(
        field: &'a Field,
        study: &'a FieldStudy,
        input: &'a RankInput<'a>,
        zone_bounds: &[Option<(Xy, Xy)>],
    ) -> Self {
        Self { counts_reach: false, ..Self::new(field, study, input, zone_bounds, None) }
    }

    /// The best strip and direction, if there is any strip.
    pub(super) fn best(&self) -> Option<Judged<'a>> {
        let mut best: Option<Judged<'a>> = None;
        for strip in &self.study.strips {
            for end in [0, 1] {
                if let Some(judged) = self.judge(strip, end, best.as_ref().map(Judged::key)) {
                    best = Some(judged);
                }
            }
        }
        best
    }

    /// Every strip in both directions, best first; too little height by the estimate counts for nothing here.
    pub(super) fn every(&self) -> Vec<Judged<'a>> {
        let strips = self.study.strips.iter().flat_map(|strip| [(strip, 0), (strip, 1)]);
        let mut all: Vec<Judged<'a>> = strips.filter_map(|(strip, end)| self.judge(strip, end, None)).collect();
        let key = |j: &Judged<'_>| {
            let mut j = *j;
            for gate in [Gate::TooLow, Gate::NotInReach] {
                j.gates.clear(gate);
            }
            j.values[5] = 1.0;
            let verdict = if j.gates == Gates::default() { allowed_verdict(&j.values) } else { Verdict::Out };
            Key {
                verdict,
                gates: j.gates.count(),
                score: self.input.options.weights.score(&j.values),
                usable_m: j.usable_m,
            }
        };
        all.sort_by(|a, b| key(a).order(&key(b)));
        all
    }

    /// A judged strip with what flying a circuit to it gave.
    pub(super) fn with_flown(&self, judged: &Judged<'a>, flown: Result<FlownSpare, NoCircuit>) -> Judged<'a> {
        let mut j = *judged;
        for gate in [Gate::TooLow, Gate::NotInReach, Gate::WindTooStrong] {
            j.gates.clear(gate);
        }
        j.gates.set(Gate::WindTooStrong, j.gradient <= 0.0);
        match flown {
            Ok(FlownSpare { spare_m, basis }) => {
                j.spare_m = Some(spare_m);
                j.flown = Some(basis);
            }
            Err(why) => {
                j.flown = Some(CircuitBasis::None(why));
                j.spare_m = None;
                match why {
                    NoCircuit::TooLow { short_by_m } => j.spare_m = Some(-short_by_m),
                    NoCircuit::Wind => j.gates.set(Gate::WindTooStrong, true),
                    _ => j.gates.set(Gate::NoCircuit, true),
                }
            }
        }
        // Out of reach overhead and too low for a straight way in: the first says it all.
        let too_low = j.spare_m.is_some_and(|s| s.is_nan() || s < 0.0);
        j.gates.set(if j.arrival_m.is_some() { Gate::TooLow } else { Gate::NotInReach }, too_low);
        j.values[5] = j.spare_m.map_or(0.0, spare_value);
        j.known[5] = j.spare_m.is_some();
        j.score = self.input.options.weights.score(&j.values);
        j.verdict = if j.gates == Gates::default() { allowed_verdict(&j.values) } else { Verdict::Out };
        j
    }

    /// A strip landed on from one end, whatever else there is.
    pub(super) fn one(&self, strip: &'a StripStudy, end: usize) -> Option<Judged<'a>> {
        self.judge(strip, end, None)
    }

    /// The strip in one direction, `None` when it is no better than the best so far.
    #[allow(clippy::neg_cmp_op_on_partial_ord, reason = "what is not a number must not pass a gate")]
    fn judge(&self, strip: &'a StripStudy, end: usize, best: Option<Key>) -> Option<Judged<'a>> {
        let RankInput { aircraft, wind, options, .. } = self.input;
        let line = if end == 0 { strip.strip } else { strip.strip.reversed() };
        let ground = if end == 0 { strip.ground } else { strip.ground.map(StripGround::reversed) };
        let end = &strip.ends[end];
        let heading = line.heading;
        let air = WindComponents::new(wind.surface, heading);
        let mut gates = Gates::default();

        let gradient = approach_gradient(aircraft, self.density_ratio, wind.surface, heading);
        gates.set(Gate::WindTooStrong, gradient.is_none());
        let gradient = gradient.unwrap_or(0.0);
        let (mut displacement, mut governing) = (0.0, None);
        for (i, p) in end.obstacles.iter().enumerate() {
            let d = displacement_m(options.obstacle_rule, gradient, p.height_m, p.before_threshold_m);
            if d > displacement {
                (displacement, governing) = (d, Some(i));
            }
        }
        let usable_m = (line.length_m - displacement).max(0.0);
        let in_way = |p: &super::study::ApproachPoint| {
            displacement_m(options.obstacle_rule, gradient, p.height_m + WIRES_MARGIN_M, p.before_threshold_m) > 0.0
        };
        gates.set(Gate::Wires, end.wires.iter().any(in_way));

        let case = LandingCase {
            surface: self.survey.surface_for_length(),
            slope: ground.map(|g| g.slope - g.slope_error),
            headwind_ms: air.headwind_ms,
            density_ratio: self.density_ratio,
            safety: options.safety,
        };
        let needed_m = case.needed_m(aircraft);
        gates.set(Gate::TooShort, !(usable_m >= needed_m));
        gates.set(Gate::Tailwind, !(air.headwind_ms >= -MAX_TAILWIND_SHARE * aircraft.approach_speed_ms));
        gates.set(Gate::Crosswind, !(air.crosswind_ms.abs() <= aircraft.max_crosswind_ms));
        if let Some(g) = ground {
            gates.set(Gate::Downhill, !(g.slope >= -MAX_DOWNHILL));
            gates.set(Gate::Uphill, g.slope > MAX_UPHILL);
            gates.set(Gate::CrossSlope, !(g.cross_slope.abs() <= MAX_CROSS_SLOPE));
        }
        gates.set(Gate::NoTerrain, ground.is_none() || end.threshold_amsl_m.is_none());
        gates.set(Gate::Surface, self.survey.surface.surface == Surface::TallCrop);

        gates.set(Gate::NotInReach, self.counts_reach && self.arrival.is_none());

        let assumed = governing.is_some_and(|i| end.obstacles[i].assumed);
        let approach = approach_value(displacement, line.length_m)
            .min(if end.unknown_edge || end.ground_gap { UNKNOWN_AT_MOST } else { 1.0 })
            .min(if assumed { 0.8 } else { 1.0 });
        let mut surroundings = Surroundings {
            hazards_known: !options.hazards_unknown,
            wires_near: self.study.nearby.wires,
            tall_near: self.study.nearby.tall,
            wires_under_approach: !end.wires.is_empty(),
            stock: self.survey.stock_value(),
            low_over_quiet_zone: false,
        };
        let mut values = [
            length_value(usable_m, needed_m),
            wind_value(air.headwind_ms, air.crosswind_ms, aircraft.max_crosswind_ms, aircraft.approach_speed_ms),
            ground.map_or(SLOPE_UNKNOWN, |g| {
                slope_value(g.slope, g.slope_error, g.cross_slope, g.cross_error, g.roughness_m)
            }),
            self.survey.surface_value(),
            approach,
            if self.arrival.is_some() || !self.counts_reach { 1.0 } else { 0.0 },
            clearness_value(surroundings),
            freshness_value(self.survey.confidence),
            0.0,
        ];
        let key = |gates: Gates, values: &[f64; 9]| Key {
            verdict: if gates == Gates::default() { allowed_verdict(values) } else { Verdict::Out },
            gates: gates.count(),
            score: options.weights.score(values),
            usable_m,
        };
        let worse = |k: Key| best.is_some_and(|b| !k.order(&b).is_lt());
        // Circuits and quiet zones cost most and can only make it worse.
        if worse(key(gates, &values)) {
            return None;
        }
        let along = heading.unit();
        let over = overhead_from_landing(self.study.centre, line.start, along, line.length_m, displacement, needed_m);
        let circuit = self.arrival.and_then(|a| self.circuits.height(heading, a.track, over));
        let arrival_m = self.arrival.zip(end.threshold_amsl_m).map(|(a, t)| a.height_amsl_m - t);
        let spare_m = arrival_m.zip(circuit).map(|(a, c)| a - c.total_m);
        gates.set(Gate::WindTooStrong, self.arrival.is_some() && circuit.is_none());
        gates.set(Gate::TooLow, spare_m.is_some_and(|s| !(s >= 0.0)));
        values[5] = if self.counts_reach { spare_m.map_or(0.0, spare_value) } else { 1.0 };
        let quiet_zone = self.low_over(line.start, heading, gradient);
        surroundings.low_over_quiet_zone = quiet_zone.is_some();
        values[6] = clearness_value(surroundings);
        let key = key(gates, &values);
        if worse(key) {
            return None;
        }

        let known = [
            !assumed && ground.is_some(),
            true,
            ground.is_some_and(|g| g.cross_error < MAX_CROSS_SLOPE),
            self.survey.surface.source == SurfaceSource::Seen && !self.survey.is_doubtful(),
            !(end.unknown_edge || end.ground_gap || assumed),
            spare_m.is_some(),
            self.field.stock != super::model::Stock::Unknown && !options.hazards_unknown,
            self.survey.age_days.is_some(),
            true,
        ];
        Some(Judged {
            study: strip,
            end,
            start: line.start,
            far_end: line.end,
            heading,
            ground,
            case,
            gradient,
            displacement_m: displacement,
            governing,
            usable_m,
            needed_m,
            headwind_ms: air.headwind_ms,
            crosswind_ms: air.crosswind_ms,
            arrival_m,
            circuit,
            flown: None,
            spare_m,
            quiet_zone,
            values,
            known,
            gates,
            verdict: key.verdict,
            score: key.score,
        })
    }

    /// The quiet zone that the final passes lower over than it should.
    fn low_over(&self, start: Xy, heading: Bearing, gradient: f64) -> Option<usize> {
        let back = -heading.unit();
        self.zones.iter().copied().find(|&i| {
            let zone = &self.input.quiet_zones[i];
            (0..=20)
                .map(|k| f64::from(k) * APPROACH_LENGTH_M / 20.0)
                .any(|d| d * gradient < zone.below_agl_m && inside_ring(&zone.outer, start + back * d))
        })
    }
}

/// Fields in the order of choice: by verdict, then score, then identifier.
///
/// `studies` and `arrivals` belong to `fields` by index; an arrival is overhead the field's centre, `None` where the
/// field is not in reach. A field without a study is out. The same on any number of threads.
#[must_use]
pub fn rank<F: Borrow<Field> + Sync, S: Borrow<FieldStudy> + Sync>(
    fields: &[F],
    studies: &[S],
    input: &RankInput<'_>,
    arrivals: &[Option<Arrival>],
) -> Vec<RankedField> {
    let estimated = ranked_by_estimate(fields, studies, input, arrivals);
    let mut ranked: Vec<RankedField> = estimated.into_iter().map(|(field, _)| field).collect();
    add_alternatives(&mut ranked, studies);
    in_order(&mut ranked, fields);
    ranked
}

/// Every field judged by the estimated circuit height, in the caller's order, with the gate that alone keeps it out.
pub(super) fn ranked_by_estimate<F: Borrow<Field> + Sync, S: Borrow<FieldStudy> + Sync>(
    fields: &[F],
    studies: &[S],
    input: &RankInput<'_>,
    arrivals: &[Option<Arrival>],
) -> Vec<(RankedField, Option<Gate>)> {
    let zone_bounds: Vec<_> = input.quiet_zones.iter().map(|z| bounds(&z.outer)).collect();
    fields
        .par_iter()
        .enumerate()
        .with_min_len(8)
        .map(|(index, field)| {
            let Some(study) = studies.get(index) else {
                return (reasons::not_studied(index, field.borrow(), input), None);
            };
            let arrival = arrivals.get(index).copied().flatten();
            let place = Place::new(field.borrow(), study.borrow(), input, &zone_bounds, arrival);
            let best = place.best();
            let only = best.as_ref().and_then(|j| j.gates.only());
            (reasons::ranked_field(index, &place, best.as_ref()), only)
        })
        .collect()
}

/// Puts ranked fields in order: by verdict, then score, then identifier.
pub(super) fn in_order<F: Borrow<Field>>(ranked: &mut [RankedField], fields: &[F]) {
    ranked.sort_by(|a, b| {
        a.verdict
            .cmp(&b.verdict)
            .then(b.score.total_cmp(&a.score))
            .then_with(|| fields[a.index].borrow().id.cmp(&fields[b.index].borrow().id))
            .then(a.index.cmp(&b.index))
    });
    for (place, field) in ranked.iter_mut().enumerate() {
        field.rank = place + 1;
    }
}

/// Counts the other fields that are not out beside each; changes scores only, never verdicts.
pub(super) fn add_alternatives<S: Borrow<FieldStudy>>(ranked: &mut [RankedField], studies: &[S]) {
    let centre = |r: &RankedField| {
        studies.get(r.index).map(|s| s.borrow().centre).filter(|c| c.x.is_finite() && c.y.is_finite())
    };
    let usable = ranked.iter().filter(|r| r.verdict != Verdict::Out);
    let points = usable.filter_map(|r| centre(r).map(|c| GeomWithData::new([c.x, c.y], r.index))).collect();
    let tree = RTree::bulk_load(points);
    for field in ranked {
        let Some(c) = centre(field) else { continue };
        let within = tree.locate_within_distance([c.x, c.y], ALTERNATIVE_WITHIN_M * ALTERNATIVE_WITHIN_M);
        let others = within.filter(|p| p.data != field.index).count();
        let value = alternatives_value(others);
        if let Some(criterion) = field.criteria.iter_mut().find(|c| c.kind == CriterionKind::Alternatives) {
            field.score += criterion.weight * (value - criterion.value);
            criterion.value = value;
        }
        if others > 0 && field.verdict != Verdict::Out {
            field.reasons.push(reasons::others_beside(others));
        }
    }
}

#[cfg(test)]
#[path = "rank_tests.rs"]
mod tests;
