//! What the pilot has in mind: the circuit as planned and flown in expected air, and what moving the base leg does.

#[cfg(test)]
use super::gusts::Gusts;
use super::inputs::{Draw, Uncertainty};
use super::obstacles::Obstacles;
#[cfg(test)]
use super::pilot::Run;
use super::pilot::{End, Pilot};
use crate::circuit::flight::{Grain, Part, Start, Watch, fly};
use crate::circuit::motion::{Flying, Gust, Motion};
use crate::circuit::plan::{Leg, Plan};
use crate::circuit::search::CircuitTask;
use crate::math;
use crate::position::Xy;

/// A wind weaker than this has no direction to be turned from, m/s.
const CALM_MS: f64 = 1.0;

/// One turn of the planned circuit as flown.
#[derive(Clone, Copy, Debug)]
pub(super) struct PlannedTurn {
    pub(super) begin: Xy,
    pub(super) height_amsl_m: f64,
    pub(super) angle_rad: f64,
    pub(super) onto: Leg,
    /// Follows the one before, or the reaction, without a leg between.
    pub(super) at_once: bool,
    /// Place and height where the leg to it begins.
    pub(super) leg_from: (Xy, f64),
    /// The leg to it.
    pub(super) leg: Leg,
    /// Whether it moves with the base leg.
    pub(super) moves: bool,
}

/// What the pilot has in mind: the circuit as planned, and what moving the base leg does.
#[derive(Clone, Debug)]
pub(super) struct Brief<'a> {
    pub(super) task: &'a CircuitTask<'a>,
    pub(super) start: Start,
    pub(super) turns: Vec<PlannedTurn>,
    pub(super) limits: (f64, f64),
    /// Height that one metre of base leg moved away costs until the turn to base, and after it.
    pub(super) cost: (f64, f64),
    /// Height lost for each metre on final.
    pub(super) final_slope: f64,
    /// How much further along the plan comes down in these coarse steps than in fine ones, metres: taken off every flight.
    pub(super) coarse_m: f64,
    pub(super) obstacles: Obstacles<'a>,
    pub(super) wind_10_m_ms: f64,
    pub(super) planned_ground_ms: f64,
}

#[derive(Default)]
struct Begins(Vec<(Motion, Part)>);

impl Watch for Begins {
    fn begin(&mut self, at: &Motion, part: Part) {
        self.0.push((*at, part));
    }
    fn step(&mut self, _: &Motion, _: &Motion, _: Part) -> bool {
        true
    }
}

impl<'a> Brief<'a> {
    /// `None` when the plan cannot be flown.
    pub(super) fn new(
        task: &'a CircuitTask<'a>,
        plan: &Plan,
        start: &Start,
        uncertainty: &Uncertainty,
    ) -> Option<Self> {
        let mut begins = Begins::default();
        let flown = fly(task.glider(), &task.landing, plan, start, Grain::FINE, &mut begins).ok()?;
        let begins = begins.0;
        let has_base = plan.corners().last().and_then(|c| c.leg) == Some(Leg::Base);
        let mut turns: Vec<PlannedTurn> = Vec::with_capacity(begins.len());
        for (i, (at, part)) in begins.iter().enumerate() {
            if !part.turn {
                continue;
            }
            let end = begins.get(i + 1).map_or(flown.wings_level, |b| b.0);
            let before = i.checked_sub(1).map(|j| begins[j]);
            let legs_before = begins[..i].iter().rev().take_while(|b| !b.1.turn && b.1.leg != Leg::Reaction);
            let from = legs_before.last().copied();
            turns.push(PlannedTurn {
                begin: at.position,
                height_amsl_m: at.height_amsl_m,
                angle_rad: end.heading_rad - at.heading_rad,
                onto: part.leg,
                at_once: before.is_none_or(|(_, p)| p.turn || p.leg == Leg::Reaction),
                leg_from: from.map_or((at.position, at.height_amsl_m), |b| (b.0.position, b.0.height_amsl_m)),
                leg: from.map_or(part.leg, |b| b.1.leg),
                moves: has_base && matches!(part.leg, Leg::Base | Leg::Final),
            });
        }
        let landing = &task.landing;
        let places: Vec<Xy> = begins.iter().map(|b| b.0.position).chain([landing.aim]).collect();
        let obstacles = Obstacles::new(task.surroundings, *landing, task.options.heed_quiet_zones, &places);
        let wind_at = |above: f64| task.air.wind_at(landing.aim_amsl_m + above).speed_ms();
        let touching =
            Motion { height_amsl_m: landing.aim_amsl_m, level_speed_ms: task.flying.approach_ms, ..start.motion };
        let (planned_ground_ms, _) = task.glider().tracking_rates(Gust::default(), &touching, landing.along())?;
        let mut brief = Self {
            task,
            start: *start,
            turns,
            limits: (-uncertainty.base_nearer_m, uncertainty.base_farther_m),
            cost: (0.0, 0.0),
            final_slope: 0.0,
            coarse_m: 0.0,
            obstacles,
            wind_10_m_ms: wind_at(10.0),
            planned_ground_ms,
        };
        (brief.cost, brief.final_slope) = brief.cost_of_moving();
        let mut gusts = None;
        let mut pilot = Pilot::new(&brief, &Draw::NONE, task.flying, &task.air, &mut gusts);
        pilot.looks = false;
        let plain = pilot.fly();
        let slope = brief.final_slope - landing.slope;
        let fine_m = (flown.at_aim.height_amsl_m - landing.aim_amsl_m) / slope;
        if plain.end == End::Down && slope > 0.0 && fine_m.is_finite() {
            brief.coarse_m = plain.along_m - fine_m;
        }
        Some(brief)
    }

    /// What moving the base leg costs before and after the turn to base, the slope of the final, and what coarse steps come to.
    #[cfg(test)]
    pub(super) fn costs(&self) -> ((f64, f64), f64, f64) {
        (self.cost, self.final_slope, self.coarse_m)
    }

    /// The wind at 20 ft over the landing place, m/s.
    pub(super) fn wind_20_ft_ms(&self) -> f64 {
        self.task.air.wind_at(self.task.landing.aim_amsl_m + 6.096).speed_ms()
    }

    /// What a metre costs before and after the turn to base, and on final, by flying the plan twice, its base leg moved.
    fn cost_of_moving(&self) -> ((f64, f64), f64) {
        const BY_M: f64 = 40.0;
        let heights = |moved_m: f64| {
            let mut gusts = None;
            let mut pilot = Pilot::new(self, &Draw::NONE, self.task.flying, &self.task.air, &mut gusts);
            pilot.moved_m = moved_m;
            pilot.judges = false;
            pilot.looks = false;
            let run = pilot.fly();
            (pilot.base_turn_amsl_m, run.along_m, pilot.final_slope)
        };
        let (near, far) = (heights(-BY_M), heights(BY_M));
        let slope = 0.5 * (near.2 + far.2);
        let before = (near.0 - far.0) / (2.0 * BY_M);
        // Further along when it comes down is so much more height.
        let all = (near.1 - far.1) / (2.0 * BY_M) * slope;
        if before.is_finite() && all.is_finite() && slope > 0.0 {
            ((before, all - before), slope)
        } else {
            ((0.0, 0.0), 0.0)
        }
    }

    /// The aircraft, its pilot and the air of one flight.
    pub(super) fn varied(&self, draw: &Draw) -> Varied {
        let plain = self.task.flying;
        let mut flying = plain;
        flying.sink_factor *= draw.sink;
        flying.glide_ms = (plain.glide_ms + draw.airspeed_ms).max(0.5 * plain.glide_ms);
        flying.approach_ms = (plain.approach_ms + draw.airspeed_ms).max(0.5 * plain.approach_ms);
        flying.bank_rad = (plain.bank_rad + draw.bank_rad).clamp(0.25 * plain.bank_rad, 1.2);
        if self.wind_10_m_ms >= CALM_MS {
            let speed_factor = 1.0 + draw.wind_speed_ms / self.wind_10_m_ms;
            return Varied { flying, speed_factor, veer_rad: draw.wind_direction_rad, added: Xy::default() };
        }
        let (sin, cos) = math::sin_cos(draw.calm_from_rad);
        Varied { flying, speed_factor: 1.0, veer_rad: 0.0, added: Xy::new(sin, cos) * draw.wind_speed_ms }
    }

    /// One flight by itself: what flights side by side are held against.
    #[cfg(test)]
    pub(super) fn run(&self, draw: &Draw, gusts: Option<Gusts<'_>>) -> Run {
        let Varied { flying, speed_factor, veer_rad, added } = self.varied(draw);
        let air = self.task.air.disturbed_and(speed_factor, veer_rad, added);
        let mut gusts = gusts;
        Pilot::new(self, draw, flying, &air, &mut gusts).fly()
    }
}

/// What differs from flight to flight beside what the pilot does.
#[derive(Clone, Copy, Debug)]
pub(super) struct Varied {
    pub(super) flying: Flying,
    /// Factor on the wind, how far it is turned clockwise, radians, and what is added to it, m/s.
    pub(super) speed_factor: f64,
    pub(super) veer_rad: f64,
    pub(super) added: Xy,
}
