//! Finding circuits: the one that needs least height, and the one to fly.
//!
//! Every join, hand and size is flown coarsely by the same simulation that is shown in the end. What needs least height
//! decides how much is spare; what uses the height up, so that the glide path meets the ground at the aiming point, is
//! flown. Candidates are taken in the order of their merit until one is clear of ground, hazards and quiet zones.

use super::clearance::{Surroundings, TooLow};
use super::column::AirColumn;
use super::flight::{Flown, Grain, Start, Stuck, Unwatched, fly};
use super::judge::Judge;
use super::motion::{Flying, Glider, Motion};
use super::no_circuit::NoCircuit;
use super::pattern::{BaseJoin, Limits, Shape};
use super::plan::{Join, Landing, Plan};
use super::record::{Circuit, describe};
use crate::air::Wind;
use crate::aircraft::Aircraft;
use crate::fields::circuit_height::Hand;
use crate::math;
use crate::reach::AircraftState;

/// Sizes that are tried, as multiples of the smallest.
const SIZES: [f64; 14] = [1.0, 1.2, 1.5, 1.9, 2.4, 3.0, 3.8, 4.8, 6.2, 8.0, 11.0, 15.0, 20.0, 27.0];

/// Most whole turns that are flown to lose height.
const MOST_ORBITS: u8 = 12;

/// Turns onto final through less than this count as landing ahead: wings need not be level by the final height.
pub(super) const AHEAD_RAD: f64 = 30.0 * math::PI / 180.0;

/// How exactly the height is used up before a plan is shown, metres over the aiming point.
const AT_AIM_M: f64 = 0.05;

/// How many shapes are followed up beyond the grid.
const REFINED: usize = 4;

/// Most candidates that are held against the surroundings.
const MOST_JUDGED: usize = 40;

/// What a search depends on beside the aircraft's own numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CircuitOptions {
    /// Below this height above the landing place every turn goes towards it, metres. Common practice, no source: never
    /// turn your back on the field; 500 ft.
    pub turn_towards_below_m: f64,
    /// Joins that may be used; empty for all.
    pub joins: [bool; 5],
    /// The hand that must be used.
    pub hand: Option<Hand>,
    /// Whether quiet zones are kept clear of.
    pub heed_quiet_zones: bool,
}

impl Default for CircuitOptions {
    fn default() -> Self {
        Self { turn_towards_below_m: 152.4, joins: [true; 5], hand: None, heed_quiet_zones: true }
    }
}

impl CircuitOptions {
    /// Only this join, where given, and only this hand.
    #[must_use]
    pub fn only(join: Option<Join>, hand: Option<Hand>) -> Self {
        let joins = Join::ALL.map(|j| join.is_none_or(|wanted| wanted == j));
        Self { joins, hand, ..Self::default() }
    }
    fn allows(&self, shape: &Shape) -> bool {
        let join = Join::ALL.iter().position(|j| *j == shape.join).is_some_and(|i| self.joins[i]);
        let is_handless = shape.join == Join::StraightIn && shape.s_turns == 0;
        join && (is_handless || self.hand.is_none_or(|hand| hand == shape.hand))
    }
}

/// A way round that needs least height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Least {
    /// The plan.
    pub plan: Plan,
    /// Height left over the aiming point, metres: what could be lost now and the circuit still works.
    pub spare_m: f64,
}

/// One landing for one aircraft in one wind, ready to be flown to.
#[derive(Clone, Debug)]
pub struct CircuitTask<'a> {
    pub(super) aircraft: &'a Aircraft,
    pub(super) flying: Flying,
    pub(super) air: AirColumn,
    pub(super) landing: Landing,
    pub(super) limits: Limits,
    pub(super) surroundings: Surroundings<'a>,
    pub(super) options: CircuitOptions,
}

#[derive(Clone, Copy, Debug)]
struct Candidate {
    shape: Shape,
    size_m: f64,
    plan: Plan,
    spare_m: f64,
}

impl<'a> CircuitTask<'a> {
    /// For a landing, up to a height above sea level from which it will be flown.
    ///
    /// # Errors
    /// When the wind does not allow the approach, or a number is not finite.
    pub fn new(
        aircraft: &'a Aircraft,
        wind: &Wind,
        landing: Landing,
        surroundings: Surroundings<'a>,
        options: CircuitOptions,
        top_amsl_m: f64,
    ) -> Result<Self, NoCircuit> {
        if !landing.is_finite() || !top_amsl_m.is_finite() {
            return Err(NoCircuit::NotFinite);
        }
        let flying = Flying::of(aircraft);
        let air = AirColumn::new(wind, landing.aim_amsl_m, top_amsl_m + 50.0);
        let limits = Limits::new(
            Glider { flying: &flying, air: &air },
            &landing,
            aircraft.final_height_m,
            aircraft.base_leg_distance_m,
        )
        .ok_or(NoCircuit::Wind)?;
        if ![limits.base_m, limits.radius_m].iter().all(|v| v.is_finite()) {
            return Err(NoCircuit::NotFinite);
        }
        Ok(Self { aircraft, flying, air, landing, limits, surroundings, options })
    }

    /// The landing.
    #[must_use]
    pub fn landing(&self) -> &Landing {
        &self.landing
    }

    /// How the aircraft is flown here.
    #[must_use]
    pub fn flying(&self) -> &Flying {
        &self.flying
    }

    /// The air here.
    #[must_use]
    pub fn air(&self) -> &AirColumn {
        &self.air
    }

    pub(super) fn glider(&self) -> Glider<'_> {
        Glider { flying: &self.flying, air: &self.air }
    }

    /// A state as the start of a flight, after a reaction time: gliding, wings level; without a heading, towards the landing.
    #[must_use]
    pub fn start(&self, state: &AircraftState, reaction_s: f64) -> Start {
        let towards = self.landing.aim - state.position;
        let heading = state.heading.or(towards.bearing()).unwrap_or(self.landing.heading);
        let motion = Motion {
            position: state.position,
            height_amsl_m: state.height_amsl_m,
            heading_rad: heading.rad(),
            bank_rad: 0.0,
            level_speed_ms: self.flying.glide_ms,
            time_s: 0.0,
        };
        Start { motion, reaction_s }
    }

    /// The circuit that needs least height from a start.
    ///
    /// # Errors
    /// Says why no circuit works.
    pub fn least(&self, start: &Start) -> Result<Least, NoCircuit> {
        let mut found = self.grid(start, false)?;
        found.sort_by(|a, b| b.spare_m.total_cmp(&a.spare_m));
        if found.is_empty() {
            return Err(NoCircuit::NoRoom);
        }
        // The best of the grid is not always near the best of all: the leaders of several shapes are followed up.
        let mut leaders: Vec<Candidate> = Vec::with_capacity(REFINED);
        for candidate in &found {
            if leaders.len() < REFINED && leaders.iter().all(|l| l.shape != candidate.shape) {
                leaders.push(*candidate);
            }
        }
        found.extend(leaders.into_iter().map(|leader| self.refined(start, &leader)));
        found.sort_by(|a, b| b.spare_m.total_cmp(&a.spare_m));
        let best = found[0];
        if best.spare_m < 0.0 {
            return Err(NoCircuit::TooLow { short_by_m: -best.spare_m });
        }
        let mut blocked = None;
        for (i, candidate) in found.iter().take_while(|c| c.spare_m >= 0.0).take(MOST_JUDGED).enumerate() {
            match self.judge(start, &candidate.plan, Grain::COARSE) {
                Ok(_) => {
                    // What comes after a blocked one has not been followed up yet.
                    let better = if i == 0 { *candidate } else { self.refined(start, candidate) };
                    let is_clear = self.judge(start, &better.plan, Grain::COARSE).is_ok();
                    let kept = if is_clear { better } else { *candidate };
                    return Ok(Least { plan: kept.plan, spare_m: kept.spare_m });
                }
                Err(why) => blocked = blocked.or(why),
            }
        }
        Err(blocked.map_or(NoCircuit::NoRoom, NoCircuit::InTheWay))
    }

    /// The circuit to fly from a state: it uses the height up and meets the ground at the aiming point.
    ///
    /// # Errors
    /// Says why no circuit works.
    pub fn circuit(&self, start: &Start) -> Result<Circuit, NoCircuit> {
        let least = self.least(start)?;
        let mut ways = self.ways(start)?;
        ways.sort_by(|a, b| a.1.total_cmp(&b.1));
        for (candidate, _) in ways.iter().take(MOST_JUDGED) {
            let Ok(_) = self.judge(start, &candidate.plan, Grain::COARSE) else { continue };
            let Some(exact) = self.exact(start, candidate) else { continue };
            if let Some(circuit) = describe(self, &exact.plan, start, least.spare_m) {
                return Ok(circuit);
            }
        }
        // Nothing uses all the height up: of what stops within the strip, that which leaves least over.
        let grid = self.grid(start, true)?;
        let mut over: Vec<Least> = grid.iter().map(|c| Least { plan: c.plan, spare_m: c.spare_m }).collect();
        over.push(least);
        over.retain(|way| way.spare_m >= 0.0);
        over.sort_by(|a, b| a.spare_m.total_cmp(&b.spare_m));
        for way in over.iter().take(MOST_JUDGED) {
            let told = describe(self, &way.plan, start, least.spare_m);
            if let Some(circuit) = told.filter(|c| c.aim_error_m >= -0.5 && c.long_margin_m >= 0.0) {
                return Ok(circuit);
            }
        }
        Err(if least.spare_m < 1.0 {
            // What seemed just enough in the search is not.
            NoCircuit::TooLow { short_by_m: 1.0 - least.spare_m }
        } else {
            NoCircuit::TooHigh { spare_m: least.spare_m }
        })
    }

    /// Flies a plan without looking where: height left over the aiming point, and the flight.
    pub(super) fn flown(&self, start: &Start, plan: &Plan, grain: Grain) -> Result<Flown, Stuck> {
        fly(self.glider(), &self.landing, plan, start, grain, &mut Unwatched)
    }

    /// Height left over the aiming point, metres; `None` where the plan cannot be flown or breaks the rule for wings
    /// level on final.
    fn spare(&self, start: &Start, plan: &Plan, grain: Grain) -> Result<Option<f64>, Stuck> {
        let flown = match self.flown(start, plan, grain) {
            Ok(flown) => flown,
            Err(Stuck::Wind) => return Err(Stuck::Wind),
            Err(_) => return Ok(None),
        };
        let spare = flown.at_aim.height_amsl_m - self.landing.aim_amsl_m;
        let wings_level = flown.wings_level.height_amsl_m - self.landing.aim_amsl_m;
        let is_ahead = plan.join == Join::StraightIn && self.is_ahead(&start.motion);
        // Spare height is used up, or made good, before the final: wings come level as high as the final is long.
        let is_late = spare >= 0.0 && !(wings_level - spare >= self.aircraft.final_height_m - 2.0);
        if is_late && !is_ahead {
            return Ok(None);
        }
        Ok(spare.is_finite().then_some(spare))
    }

    /// Whether the landing lies within the turn that counts as landing ahead.
    fn is_ahead(&self, from: &Motion) -> bool {
        let ahead = |to: f64| math::wrap_pi(to - from.heading_rad).abs() <= AHEAD_RAD;
        let towards = (self.landing.aim - from.position).bearing();
        ahead(self.landing.heading.rad()) && towards.is_some_and(|b| ahead(b.rad()))
    }

    fn shapes(&self, from: &Motion, to_lose_height: bool) -> Vec<Shape> {
        let l = &self.landing;
        let far = l.length_m - l.aim_from_start_m;
        let r = self.limits.radius_m;
        let mut shapes = Vec::with_capacity(24);
        for hand in [Hand::Left, Hand::Right] {
            let mut push = |join, from_along_m, s_turns| {
                let shape = Shape { join, hand, from_along_m, orbits: 0, base: BaseJoin::Usual, s_turns };
                if self.options.allows(&shape) {
                    shapes.push(shape);
                }
                if join == Join::Base && self.options.allows(&shape) {
                    shapes.push(Shape { base: BaseJoin::AsLegs, ..shape });
                    shapes.push(Shape { base: BaseJoin::Direct, ..shape });
                    if to_lose_height {
                        let aside = (from.position - l.aim).dot(l.side(hand)).max(2.2 * r);
                        shapes.push(Shape { base: BaseJoin::FartherOut(aside), ..shape });
                    }
                }
            };
            if hand == Hand::Left {
                push(Join::StraightIn, 0.0, 0);
            }
            push(Join::Base, 0.0, 0);
            for along in [-0.5 * self.limits.base_m, 0.0, far.max(r)] {
                push(Join::Downwind, along, 0);
            }
            // Where the aircraft comes abeam first, flying against the landing direction.
            let abeam = l.along_of(from.position) - r;
            if abeam > -self.limits.base_m && abeam < far + 800.0 {
                push(Join::Downwind, abeam, 0);
            }
            for along in [0.5 * far, far + r] {
                push(Join::Crosswind, along, 0);
            }
            push(Join::Overhead, 0.0, 0);
            if to_lose_height {
                push(Join::StraightIn, 0.0, 2);
            }
        }
        shapes
    }

    fn sizes(&self, shape: &Shape, from: &Motion) -> Vec<f64> {
        let (mut least, most) = shape.sizes(&self.limits);
        let has_one_corner = shape.has_one_corner();
        if has_one_corner && shape.base == BaseJoin::Usual && self.is_ahead(from) {
            least = 0.3 * self.limits.radius_m;
        }
        let mut sizes: Vec<f64> = if shape.s_turns > 0 {
            (0..=6).map(|i| most * f64::from(i) / 6.0).collect()
        } else {
            SIZES.iter().map(|k| least * k).collect()
        };
        // Where the aircraft already is: abeam at this distance, or this far out.
        let offset = from.position - self.landing.aim;
        let natural =
            if has_one_corner { -offset.dot(self.landing.along()) } else { offset.dot(self.landing.side(shape.hand)) };
        sizes.push(natural);
        sizes.push(0.9 * natural);
        sizes.retain(|s| s.is_finite() && *s >= least && *s <= most);
        sizes.sort_by(f64::total_cmp);
        sizes
    }

    /// Whether a way round with one corner is what it is called: straight in, or a base leg from its own side.
    fn is_as_named(&self, shape: &Shape, size_m: f64, from: &Motion) -> bool {
        if shape.base == BaseJoin::AsLegs {
            // Two crabs of 40° make half a circle of heading out of this at most.
            let begin = self.landing.place(shape.hand, -self.limits.base_m, size_m) - from.position;
            let onto = -self.landing.side(shape.hand);
            return begin.dot(onto) < -0.17 * begin.norm();
        }
        if !shape.has_one_corner() {
            return true;
        }
        let along = self.landing.along();
        let way = self.landing.aim - along * size_m - from.position;
        let straightness = way.dot(along) / way.norm();
        if shape.base == BaseJoin::Direct {
            let from_side = (from.position - self.landing.aim).dot(self.landing.side(shape.hand)) >= 0.0;
            from_side && (-0.7..0.5).contains(&straightness)
        } else {
            straightness >= 0.5
        }
    }

    /// Every shape at every size that can be flown, and the height it leaves.
    fn grid(&self, start: &Start, to_lose_height: bool) -> Result<Vec<Candidate>, NoCircuit> {
        let Start { motion: from, reaction_s } = start;
        if ![from.position.x, from.position.y, from.height_amsl_m, from.heading_rad, *reaction_s]
            .iter()
            .all(|v| v.is_finite())
        {
            return Err(NoCircuit::NotFinite);
        }
        let mut found: Vec<Candidate> = Vec::with_capacity(200);
        let mut blown_away = false;
        for shape in self.shapes(&start.motion, to_lose_height) {
            let mut flyable: Option<Candidate> = None;
            for size_m in self.sizes(&shape, &start.motion) {
                if !self.is_as_named(&shape, size_m, &start.motion) {
                    continue;
                }
                let plan = shape.plan(&self.landing, &self.limits, size_m);
                match self.spare(start, &plan, Grain::COARSE) {
                    Ok(Some(spare_m)) => {
                        let candidate = Candidate { shape, size_m, plan, spare_m };
                        // Where no heading turns through more than half a circle this is the usual way over again.
                        let usual = Shape { base: BaseJoin::Usual, ..shape };
                        let is_again = shape.base == BaseJoin::AsLegs
                            && found.iter().any(|c| c.shape == usual && c.size_m == size_m && c.spare_m == spare_m);
                        if !is_again {
                            found.push(candidate);
                            flyable = Some(candidate);
                        }
                    }
                    Ok(None) => {
                        // Between the last that could be flown and this one may lie the size that uses the height up.
                        if let Some(last) = flyable.take().filter(|last| to_lose_height && last.spare_m > 0.0) {
                            found.extend(self.up_to_the_limit(start, &last, size_m));
                        }
                    }
                    Err(_) => blown_away = true,
                }
            }
        }
        if found.is_empty() && blown_away { Err(NoCircuit::Wind) } else { Ok(found) }
    }

    /// What can be flown between a size and a larger one that cannot, by halving.
    fn up_to_the_limit(&self, start: &Start, last: &Candidate, too_large_m: f64) -> Vec<Candidate> {
        let (mut low, mut high) = (last.size_m, too_large_m);
        let mut found = Vec::new();
        for _ in 0..4 {
            let size_m = 0.5 * (low + high);
            let plan = last.shape.plan(&self.landing, &self.limits, size_m);
            if let Ok(Some(spare_m)) = self.spare(start, &plan, Grain::COARSE) {
                found.push(Candidate { shape: last.shape, size_m, plan, spare_m });
                low = size_m;
            } else {
                high = size_m;
            }
        }
        found
    }

    /// The same shape with its numbers moved until nothing near needs less height.
    fn refined(&self, start: &Start, first: &Candidate) -> Candidate {
        let (least, most) = first.shape.sizes(&self.limits);
        let least = least.min(first.size_m);
        let moves_along = matches!(first.shape.join, Join::Downwind | Join::Crosswind | Join::Overhead);
        let mut best = *first;
        let (mut size_step, mut along_step) = (0.12 * first.size_m, 60.0);
        for _ in 0..5 {
            for sign in [-1.0, 1.0] {
                let mut tried = vec![(best.shape, (best.size_m + sign * size_step).clamp(least, most))];
                if moves_along {
                    let along = best.shape.from_along_m + sign * along_step;
                    tried.push((Shape { from_along_m: along, ..best.shape }, best.size_m));
                }
                for (shape, size_m) in tried {
                    let plan = shape.plan(&self.landing, &self.limits, size_m);
                    if let Ok(Some(spare_m)) = self.spare(start, &plan, Grain::COARSE)
                        && spare_m > best.spare_m
                    {
                        best = Candidate { shape, size_m, plan, spare_m };
                    }
                }
            }
            size_step *= 0.5;
            along_step *= 0.5;
        }
        best
    }

    /// Holds a plan against the surroundings: the least height above ground before the final, or what is in the way.
    pub(super) fn judge(&self, start: &Start, plan: &Plan, grain: Grain) -> Result<Judge<'_>, Option<TooLow>> {
        let mut judge = Judge::new(&self.surroundings, &self.landing, &self.options);
        let flown = fly(self.glider(), &self.landing, plan, start, grain, &mut judge);
        if judge.too_low.is_some() {
            return Err(judge.too_low);
        }
        match flown {
            Ok(_) if !judge.turned_away() => Ok(judge),
            _ => Err(None),
        }
    }

    /// Every shape with as many orbits as leave a size that uses the height up, and what speaks against each.
    fn ways(&self, start: &Start) -> Result<Vec<(Candidate, f64)>, NoCircuit> {
        let grid = self.grid(start, true)?;
        let mut ways = Vec::new();
        let mut next = 0;
        while next < grid.len() {
            let shape = grid[next].shape;
            let count = grid[next..].iter().take_while(|c| c.shape == shape).count();
            let family = &grid[next..next + count];
            next += count;
            let most = family.iter().map(|c| c.spare_m).fold(f64::NEG_INFINITY, f64::max);
            for orbits in 0..=MOST_ORBITS {
                let Some(used) = self.used_by_orbits(start, family, orbits) else { break };
                if used > most {
                    break;
                }
                let crosses = |pair: &&[Candidate]| pair[0].spare_m - used >= 0.0 && pair[1].spare_m - used < 0.0;
                let Some(pair) = family.windows(2).find(crosses) else { continue };
                let turning = Shape { orbits, ..shape };
                if let Some(found) = self.solved(start, turning, pair[0].size_m, pair[1].size_m) {
                    ways.push((found, self.against(&start.motion, &found)));
                }
            }
        }
        Ok(ways)
    }

    /// The size between two at which no height is left over the aiming point, by false position.
    fn solved(&self, start: &Start, shape: Shape, small: f64, large: f64) -> Option<Candidate> {
        let at = |size_m: f64| {
            let plan = shape.plan(&self.landing, &self.limits, size_m);
            let spare_m = self.spare(start, &plan, Grain::COARSE).ok()??;
            Some(Candidate { shape, size_m, plan, spare_m })
        };
        let (mut low, mut high) = (at(small)?, at(large)?);
        if !(low.spare_m >= 0.0 && high.spare_m < 0.0) {
            // Orbits lose not quite the same everywhere: one of the ends may do as it is.
            return [low, high].into_iter().find(|c| c.spare_m.abs() < 2.0);
        }
        for _ in 0..8 {
            let t = low.spare_m / (low.spare_m - high.spare_m);
            let t = t.clamp(0.05, 0.95);
            let mid = at(low.size_m + (high.size_m - low.size_m) * t)?;
            if mid.spare_m >= 0.0 {
                low = mid;
            } else {
                high = mid;
            }
            if mid.spare_m.abs() < 0.3 {
                return Some(mid);
            }
        }
        Some(low)
    }

    /// The same plan, its size put right in a fine simulation.
    fn exact(&self, start: &Start, candidate: &Candidate) -> Option<Candidate> {
        let at = |size_m: f64| {
            let plan = candidate.shape.plan(&self.landing, &self.limits, size_m);
            let spare_m = self.spare(start, &plan, Grain::FINE).ok()??;
            Some(Candidate { size_m, plan, spare_m, ..*candidate })
        };
        let mut last = at(candidate.size_m)?;
        if last.spare_m.abs() < AT_AIM_M {
            return Some(last);
        }
        let mut now = at(candidate.size_m + last.spare_m)?;
        for _ in 0..8 {
            if now.spare_m.abs() < AT_AIM_M {
                return Some(now);
            }
            let slope = (now.spare_m - last.spare_m) / (now.size_m - last.size_m);
            let step = (-now.spare_m / slope).clamp(-200.0, 200.0);
            if !step.is_finite() {
                return None;
            }
            last = now;
            now = at(last.size_m + step)?;
        }
        None
    }

    /// Height that whole turns use up in a family of plans, drift and all, metres.
    fn used_by_orbits(&self, start: &Start, family: &[Candidate], orbits: u8) -> Option<f64> {
        if orbits == 0 {
            return Some(0.0);
        }
        let sample = &family[family.len() / 2];
        let plan = Shape { orbits, ..sample.shape }.plan(&self.landing, &self.limits, sample.size_m);
        let flown = self.flown(start, &plan, Grain::COARSE).ok()?;
        let used = sample.spare_m - (flown.at_aim.height_amsl_m - self.landing.aim_amsl_m);
        used.is_finite().then_some(used)
    }

    /// What speaks against a way round; less is better. Common practice, no source: the pilot's usual distance, no more
    /// orbits than needed, and a circuit that can still be shortened before one that comes straight in.
    fn against(&self, from: &Motion, way: &Candidate) -> f64 {
        let usual = self.aircraft.base_leg_distance_m.max(2.2 * self.limits.radius_m);
        let shape = &way.shape;
        let join = match shape.join {
            Join::Downwind => 0.0,
            Join::Crosswind => 0.1,
            Join::Base => 0.15,
            Join::Overhead => 0.25,
            Join::StraightIn if shape.s_turns > 0 => 0.8,
            Join::StraightIn => 0.4,
        };
        let size = match shape.join {
            Join::StraightIn => 0.0,
            // A base leg that is not where it always is.
            Join::Base if shape.has_own_base() => 2.0 * math::ln(way.size_m / self.limits.base_m).abs(),
            _ => math::ln(way.size_m / usual).abs(),
        };
        join + size + 0.25 * f64::from(shape.orbits) + self.doubling_back(from, &way.plan)
    }

    /// One for every 60° by which a corner turns further than 100°: doubling back is neither easy to judge nor cheap.
    fn doubling_back(&self, from: &Motion, plan: &Plan) -> f64 {
        let mut places = vec![from.position];
        places.extend(plan.corners().iter().map(|c| c.at));
        places.push(self.landing.aim);
        let mut sum = 0.0;
        for w in places.windows(3) {
            let (Some(a), Some(b)) = ((w[1] - w[0]).bearing(), (w[2] - w[1]).bearing()) else { continue };
            sum += (a.turn_to(b).abs() - 100f64.to_radians()).max(0.0) / 60f64.to_radians();
        }
        sum
    }
}
