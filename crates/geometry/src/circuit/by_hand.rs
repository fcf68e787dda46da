//! A glide that the pilot flies: what is held at each tick goes in, the way to a stop comes out.
//!
//! The pilot says which bank and which airspeed to hold; the aircraft rolls at its roll rate and changes its airspeed as a
//! circuit does, by the same equations of motion. Ticks have one length, so the same holds at the same ticks give the
//! same bits. The wind follows the ground under the beginning, as in a straight glide. Nothing is flared: the touchdown is
//! where the path meets the ground, and from there the aircraft runs straight on. The slope of the ground does not change
//! the run.

use super::clearance::Surroundings;
use super::column::AirColumn;
use super::motion::{Control, Flying, Glider, Gust, Motion};
use super::plan::FIFTY_FT_M;
use crate::air::Wind;
use crate::aircraft::Aircraft;
use crate::fields::hazards::distance_to_m;
use crate::math;
use crate::position::Xy;

/// Length of a tick, seconds.
pub const TICK_S: f64 = 0.05;

/// Ticks between two points of the track that is kept.
const TICKS_A_POINT: u32 = 5;

/// Longest flight that is followed, seconds.
const LONGEST_S: f64 = 3_600.0;

/// How near the middle of the aircraft comes to what it strikes, metres: half a span. Common practice, no source.
const HALF_SPAN_M: f64 = 5.0;

/// Steepest bank that is flown, radians, whatever the aircraft file says.
const STEEPEST_RAD: f64 = 80.0 * math::PI / 180.0;

/// The least part of the landing distance that is run on the ground. Common practice, no source.
const LEAST_RUN_SHARE: f64 = 0.3;

/// What the pilot holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hold {
    /// Bank, radians, right positive.
    pub bank_rad: f64,
    /// Equivalent airspeed with wings level, m/s.
    pub level_speed_ms: f64,
}

/// The first touch of the ground.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Touchdown {
    /// State at the touch.
    pub at: Motion,
    /// Motion over the ground, m/s.
    pub over_ground_ms: Xy,
    /// Rate of descent, m/s.
    pub sink_ms: f64,
}

/// How a flight ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HandEnd {
    /// Stopped on the ground.
    Stopped,
    /// Struck a hazard, by its index.
    Struck(usize),
    /// Over or on ground whose height is not known.
    UnknownGround,
    /// Flown longer than is followed.
    TooLong,
}

/// A flight under way.
#[derive(Clone, Debug)]
pub struct HandFlight {
    flying: Flying,
    air: AirColumn,
    slowest_ms: f64,
    fastest_ms: f64,
    steepest_rad: f64,
    brakes_ms2: f64,
    now: Motion,
    ticks: u32,
    touchdown: Option<Touchdown>,
    running_ms: f64,
    end: Option<HandEnd>,
    track: Vec<Motion>,
}

impl HandFlight {
    /// Begins in a state; `run_factor` lengthens the ground run for what the ground is like, 1 for dry short grass.
    #[must_use]
    pub fn new(
        aircraft: &Aircraft,
        wind: &Wind,
        surroundings: &Surroundings<'_>,
        from: &Motion,
        run_factor: f64,
    ) -> Self {
        let ground = surroundings.terrain.height_at(from.position);
        let air = AirColumn::new(wind, ground.unwrap_or(wind.ground_amsl_m), from.height_amsl_m + 50.0);
        let run_factor = if run_factor.is_finite() { run_factor.max(1.0) } else { 1.0 };
        let is_state = [from.position.x, from.position.y, from.height_amsl_m, from.heading_rad, from.time_s]
            .iter()
            .all(|v| v.is_finite());
        let mut flight = Self {
            flying: Flying::of(aircraft),
            air,
            slowest_ms: aircraft.min_glide_speed_ms.min(aircraft.straight_speed_ms()),
            fastest_ms: aircraft.max_speed_ms,
            steepest_rad: aircraft.max_bank_rad.min(STEEPEST_RAD),
            brakes_ms2: brakes_ms2(aircraft) / run_factor,
            now: *from,
            ticks: 0,
            touchdown: None,
            running_ms: 0.0,
            end: (!is_state || ground.is_none()).then_some(HandEnd::UnknownGround),
            track: Vec::new(),
        };
        let hold = flight.within(Hold { bank_rad: from.bank_rad, level_speed_ms: from.level_speed_ms });
        (flight.now.bank_rad, flight.now.level_speed_ms) = (hold.bank_rad, hold.level_speed_ms);
        flight.track.push(flight.now);
        flight
    }

    /// The present state.
    #[must_use]
    pub fn now(&self) -> Motion {
        self.now
    }
    /// The touchdown, once there was one.
    #[must_use]
    pub fn touchdown(&self) -> Option<&Touchdown> {
        self.touchdown.as_ref()
    }
    /// How it ended, once it did.
    #[must_use]
    pub fn end(&self) -> Option<HandEnd> {
        self.end
    }
    /// States kept on the way: the first and the present one, the touchdown, and some each second.
    #[must_use]
    pub fn track(&self) -> Vec<Motion> {
        let last = self.track.last().is_none_or(|m| m.time_s < self.now.time_s).then_some(self.now);
        self.track.iter().copied().chain(last).collect()
    }

    /// What can be held of what is asked; what is no number is wings level or the present airspeed.
    #[must_use]
    pub fn within(&self, hold: Hold) -> Hold {
        let bank = if hold.bank_rad.is_nan() { 0.0 } else { hold.bank_rad };
        let speed = if hold.level_speed_ms.is_nan() { self.now.level_speed_ms } else { hold.level_speed_ms };
        let speed = if speed.is_nan() { self.flying.glide_ms } else { speed };
        Hold {
            bank_rad: bank.max(-self.steepest_rad).min(self.steepest_rad),
            level_speed_ms: speed.min(self.fastest_ms).max(self.slowest_ms),
        }
    }

    /// Flies one tick. Does nothing once the flight has ended.
    pub fn tick(&mut self, surroundings: &Surroundings<'_>, hold: Hold) {
        if self.end.is_some() {
            return;
        }
        self.ticks += 1;
        if self.touchdown.is_some() {
            self.run(surroundings);
        } else {
            self.fly(surroundings, self.within(hold));
        }
        let kept = self.track.last() == Some(&self.now);
        if !kept && (self.end.is_some() || self.ticks.is_multiple_of(TICKS_A_POINT)) {
            self.track.push(self.now);
        }
    }

    fn fly(&mut self, surroundings: &Surroundings<'_>, hold: Hold) {
        let most = |change: f64, rate: f64| (change / TICK_S).max(-rate).min(rate);
        let control = Control {
            roll_rad_s: most(hold.bank_rad - self.now.bank_rad, self.flying.roll_rad_s),
            speed_change_ms2: most(hold.level_speed_ms - self.now.level_speed_ms, self.flying.speed_change_ms2),
        };
        let glider = Glider { flying: &self.flying, air: &self.air };
        let before = self.now;
        let next = glider.step_turning(Gust::default(), &before, control, TICK_S);
        let ground = |m: &Motion| surroundings.terrain.height_at(m.position);
        let (Some(under), Some(then)) = (ground(&before), ground(&next)) else {
            self.end = Some(HandEnd::UnknownGround);
            return;
        };
        let (above, left) = (before.height_amsl_m - under, next.height_amsl_m - then);
        if left > 0.0 {
            self.now = next;
            self.end = (next.time_s > LONGEST_S).then_some(HandEnd::TooLong);
        } else {
            let share = if above > 0.0 { (above / (above - left)).clamp(0.0, 1.0) } else { 0.0 };
            let at = before.towards(&next, share);
            let over_ground_ms = (next.position - before.position) * (1.0 / TICK_S);
            let sink_ms = (before.height_amsl_m - next.height_amsl_m) / TICK_S;
            self.touchdown = Some(Touchdown { at, over_ground_ms, sink_ms });
            self.running_ms = over_ground_ms.norm();
            self.now = at;
            self.track.push(at);
        }
        self.end = self.struck(surroundings).map(HandEnd::Struck).or(self.end);
    }

    /// Runs on over the ground, slower and slower.
    fn run(&mut self, surroundings: &Surroundings<'_>) {
        let along = self.touchdown.map_or(Xy::default(), |t| t.over_ground_ms);
        let along = along * (1.0 / along.norm().max(f64::MIN_POSITIVE));
        let lasts = (self.running_ms / self.brakes_ms2).min(TICK_S);
        let passed = self.running_ms * lasts - 0.5 * self.brakes_ms2 * lasts * lasts;
        let position = self.now.position + along * passed;
        let Some(height_amsl_m) = surroundings.terrain.height_at(position) else {
            self.end = Some(HandEnd::UnknownGround);
            return;
        };
        self.running_ms -= self.brakes_ms2 * lasts;
        let time_s = self.now.time_s + lasts;
        self.now = Motion { position, height_amsl_m, bank_rad: 0.0, time_s, ..self.now };
        if lasts < TICK_S {
            self.end = Some(HandEnd::Stopped);
        }
        self.end = self.struck(surroundings).map(HandEnd::Struck).or(self.end);
    }

    /// The first hazard at the present place that is as high as the aircraft.
    fn struck(&self, surroundings: &Surroundings<'_>) -> Option<usize> {
        let (at, aside) = (self.now.position, Xy::new(HALF_SPAN_M, HALF_SPAN_M));
        let above = self.now.height_amsl_m - surroundings.terrain.height_at(at)?;
        let near = surroundings.hazards.numbers_near(at - aside, at + aside);
        near.filter(|&i| {
            let hazard = &surroundings.hazards.all()[i];
            above <= hazard.height_or_assumed().0 && distance_to_m(&hazard.shape, at) <= HALF_SPAN_M
        })
        .min()
    }
}

/// How hard the aircraft slows down on the ground, m/s², so that its landing distance is kept in still air.
///
/// The distance from 50 ft to the touch is that of the glide at approach speed, and the rest is run at an even
/// deceleration: v² = 2·a·s.
fn brakes_ms2(aircraft: &Aircraft) -> f64 {
    let speed = aircraft.approach_speed_ms;
    let air_m = FIFTY_FT_M * speed / aircraft.glide.sink_ms(speed, 1.0);
    let whole = aircraft.landing_distance_m;
    let run_m = (whole - air_m).max(LEAST_RUN_SHARE * whole);
    speed * speed / (2.0 * run_m)
}
