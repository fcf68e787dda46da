//! The equations of motion of a gliding point mass in layered wind.
//!
//! The state is place, height, the heading of the air velocity, bank, and the equivalent airspeed that would be flown with
//! wings level, V₁. In a bank φ the load factor is n = 1/cos φ and the speed V = V₁·√n, as at constant angle of attack.
//!
//! Airspeed is a command that the pilot holds; height is what pays for it. With true airspeed V, sink s(V, n) from the
//! glide curve, wind W(h) and the direction of flight ê, the energy of the air-relative motion gives
//!
//! ḣ = −s − (V/g)·(V̇ + Ẇ·ê),  Ẇ = (dW/dh)·ḣ,
//!
//! so that descending through a dying headwind costs V·ΔW/g. In turns ψ̇ = g·tan φ/V. Path angles are taken as small: the
//! airspeed counts as horizontal, as it does in the glide ratio itself. A crosswind that changes with height turns no
//! heading: the pilot holds the track.
//!
//! # Source
//! Point-mass glide equations, e.g. Etkin, *Dynamics of Atmospheric Flight* (1972), with wind as in chapter 5.3; the speed
//! in turns from Welch, Welch & Irving, *The Complete Soaring Pilot's Handbook*.

use super::column::{AirAt, AirColumn};
use crate::aircraft::{Aircraft, GlideCurve, GlidingTurn};
use crate::math::{self, GRAVITY_MS2};
use crate::position::{Bearing, Xy};

/// Steepest effect of a wind gradient that is followed: beyond, a pilot no longer holds the airspeed but lets it go.
/// Common practice, no source.
pub(super) const LEAST_GRADIENT_FACTOR: f64 = 0.25;

/// What the glider can do, and how it is flown.
#[derive(Clone, Copy, Debug)]
pub struct Flying {
    pub(super) curve: GlideCurve,
    /// Factor on the sink rate: 1 is the glide curve, more is worse.
    pub sink_factor: f64,
    /// Gliding equivalent airspeed with wings level, m/s.
    pub glide_ms: f64,
    /// Equivalent airspeed on final, m/s.
    pub approach_ms: f64,
    /// Bank of turns, radians.
    pub bank_rad: f64,
    /// Roll rate, rad/s.
    pub roll_rad_s: f64,
    /// Change of airspeed, m/s². Common practice, no source: 1 m/s each second.
    pub speed_change_ms2: f64,
}

impl Flying {
    /// As the aircraft's numbers say.
    #[must_use]
    pub fn of(aircraft: &Aircraft) -> Self {
        Self {
            curve: aircraft.glide,
            sink_factor: 1.0,
            glide_ms: aircraft.straight_speed_ms(),
            approach_ms: aircraft.approach_speed_ms,
            bank_rad: aircraft.turn_bank_rad.min(aircraft.max_bank_rad),
            roll_rad_s: aircraft.roll_rate_rad_s,
            speed_change_ms2: 1.0,
        }
    }

    /// Sink with wings level at an equivalent airspeed and sea-level density, m/s.
    pub(super) fn level_sink_ms(&self, speed_ms: f64) -> f64 {
        self.curve.sink_ms(speed_ms, 1.0) * self.sink_factor
    }

    /// Height lost for each radian of a steady turn at sea-level density, metres.
    pub(super) fn turn_loss_m_per_rad(&self) -> f64 {
        let turn = GlidingTurn::at_constant_incidence(&self.curve, self.glide_ms, self.bank_rad, 1.0);
        turn.loss_m_per_rad * self.sink_factor
    }

    /// Heading turned while rolling from level to a bank at a true wings-level airspeed, radians.
    ///
    /// ∫ g·tan φ/(V₁√n·p) dφ with n = 1/cos φ is 2g(1 − √cos φ)/(V₁·p).
    pub(super) fn roll_turn(&self, bank_rad: f64, level_true_ms: f64) -> f64 {
        2.0 * GRAVITY_MS2 * (1.0 - math::cos(bank_rad).sqrt()) / (level_true_ms * self.roll_rad_s)
    }

    /// The bank in whose roll-in and roll-out alone a small turn is made, at most the bank of turns.
    pub(super) fn bank_for(&self, turn_rad: f64, level_true_ms: f64) -> f64 {
        let root = 1.0 - turn_rad * level_true_ms * self.roll_rad_s / (4.0 * GRAVITY_MS2);
        let needed = if root > 0.0 { math::acos(root * root) } else { self.bank_rad };
        needed.min(self.bank_rad)
    }
}

/// Where the glider is and how it moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Motion {
    /// Place in the frame.
    pub position: Xy,
    /// Height above mean sea level, metres.
    pub height_amsl_m: f64,
    /// Heading of the air velocity, radians clockwise from grid north, not wrapped.
    pub heading_rad: f64,
    /// Bank, radians, right positive.
    pub bank_rad: f64,
    /// Equivalent airspeed with wings level, m/s.
    pub level_speed_ms: f64,
    /// Seconds since the beginning.
    pub time_s: f64,
}

impl Motion {
    /// Equivalent airspeed at this bank, m/s.
    #[must_use]
    pub fn airspeed_ms(&self) -> f64 {
        self.level_speed_ms / math::cos(self.bank_rad).sqrt()
    }
    /// The state part of the way to another, everything in proportion; beyond it for more than 1.
    #[must_use]
    pub fn towards(&self, to: &Self, part: f64) -> Self {
        let mix = |a: f64, b: f64| a + (b - a) * part;
        Self {
            position: self.position + (to.position - self.position) * part,
            height_amsl_m: mix(self.height_amsl_m, to.height_amsl_m),
            heading_rad: mix(self.heading_rad, to.heading_rad),
            bank_rad: mix(self.bank_rad, to.bank_rad),
            level_speed_ms: mix(self.level_speed_ms, to.level_speed_ms),
            time_s: mix(self.time_s, to.time_s),
        }
    }
    /// The state at a time on a track in the order of time, between its points; the last one after its end, and `None`
    /// before its beginning.
    #[must_use]
    pub fn on_track(track: &[Self], time_s: f64) -> Option<Self> {
        let after = track.partition_point(|m| m.time_s <= time_s);
        let before = track.get(after.checked_sub(1)?)?;
        let next = track.get(after);
        Some(
            next.map_or(*before, |next| before.towards(next, (time_s - before.time_s) / (next.time_s - before.time_s))),
        )
    }
    /// The heading as a compass direction of the frame.
    #[must_use]
    pub fn heading(&self) -> Bearing {
        Bearing::from_rad(self.heading_rad)
    }
}

/// Air beyond the wind of the column: gusts. Metres per second.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Gust {
    /// From behind.
    pub(super) along_ms: f64,
    /// Upwards.
    pub(super) up_ms: f64,
}

/// How one step is flown.
#[derive(Clone, Copy, Debug)]
pub(super) struct Control {
    /// Change of bank, rad/s.
    pub(super) roll_rad_s: f64,
    /// Change of the wings-level airspeed, m/s².
    pub(super) speed_change_ms2: f64,
}

pub(super) const STEADY: Control = Control { roll_rad_s: 0.0, speed_change_ms2: 0.0 };

/// A glider in its air.
#[derive(Clone, Copy, Debug)]
pub(super) struct Glider<'a> {
    pub(super) flying: &'a Flying,
    pub(super) air: &'a AirColumn,
}

/// What rates depend on: the air here, speed, direction of flight and what the pilot does.
#[derive(Clone, Copy)]
struct Pose {
    here: AirAt,
    level_speed: f64,
    bank: Bank,
    along: Xy,
}

/// Rates at one state: true airspeed, rate of climb, rate of turn, wind.
struct Rates {
    true_speed: f64,
    climb: f64,
    turn: f64,
    wind: Xy,
}

#[derive(Clone, Copy)]
struct Bank {
    /// √n, n and tan φ.
    root_load: f64,
    load: f64,
    tan: f64,
}

const LEVEL: Bank = Bank { root_load: 1.0, load: 1.0, tan: 0.0 };

fn banked(bank_rad: f64) -> Bank {
    if bank_rad == 0.0 {
        return LEVEL;
    }
    let (sin, cos) = math::sin_cos(bank_rad);
    let load = 1.0 / cos;
    Bank { root_load: load.sqrt(), load, tan: sin * load }
}

impl Glider<'_> {
    #[inline]
    fn rates(&self, gust: Gust, blown: Xy, pose: Pose, control: Control) -> Rates {
        let Pose { here, level_speed, bank, along } = pose;
        let equivalent = level_speed * bank.root_load;
        let true_speed = equivalent * here.to_true;
        let sink = self.flying.curve.sink_ms(equivalent, bank.load) * here.to_true * self.flying.sink_factor;
        let gain = here.to_true
            * bank.root_load
            * (0.5 * bank.tan * control.roll_rad_s * level_speed + control.speed_change_ms2);
        let per_g = true_speed / GRAVITY_MS2;
        let gradient = 1.0 + per_g * (here.shear.dot(along) + equivalent * here.to_true_slope);
        let climb = -(sink + per_g * gain) / gradient.max(LEAST_GRADIENT_FACTOR) + gust.up_ms;
        Rates { true_speed, climb, turn: GRAVITY_MS2 * bank.tan / true_speed, wind: here.wind + blown }
    }

    /// One step of a turn or of flight on a heading: midpoint rule, the arc itself exact.
    pub(super) fn step_turning(&self, gust: Gust, m: &Motion, control: Control, dt: f64) -> Motion {
        let half = 0.5 * dt;
        let along = |heading_rad: f64| {
            let (sin, cos) = math::sin_cos(heading_rad);
            Xy::new(sin, cos)
        };
        let bank = banked(m.bank_rad);
        let ahead = along(m.heading_rad);
        let blown = ahead * gust.along_ms;
        let pose = Pose { here: self.air.at(m.height_amsl_m), level_speed: m.level_speed_ms, bank, along: ahead };
        let start = self.rates(gust, blown, pose, control);
        let is_steady = control.roll_rad_s == 0.0;
        let pose = Pose {
            here: self.air.at(m.height_amsl_m + start.climb * half),
            level_speed: m.level_speed_ms + control.speed_change_ms2 * half,
            bank: if is_steady { bank } else { banked(m.bank_rad + control.roll_rad_s * half) },
            along: along(m.heading_rad + start.turn * half),
        };
        let mid = self.rates(gust, blown, pose, control);
        let turned = mid.turn * dt;
        // The chord of the arc: its direction is the heading half-way, its length sin(x)/x of the arc.
        let x2 = 0.25 * turned * turned;
        let chord = 1.0 - x2 / 6.0 * (1.0 - x2 / 20.0);
        let way = along(m.heading_rad + 0.5 * turned) * (mid.true_speed * chord) + mid.wind;
        Motion {
            position: m.position + way * dt,
            height_amsl_m: m.height_amsl_m + mid.climb * dt,
            heading_rad: m.heading_rad + turned,
            bank_rad: m.bank_rad + control.roll_rad_s * dt,
            level_speed_ms: m.level_speed_ms + control.speed_change_ms2 * dt,
            time_s: m.time_s + dt,
        }
    }

    /// One step along a straight track over the ground, wings level: midpoint rule.
    ///
    /// `None` when the wind does not allow the track.
    pub(super) fn step_tracking(
        &self,
        gust: Gust,
        m: &Motion,
        track: Xy,
        speed_change_ms2: f64,
        dt: f64,
    ) -> Option<Motion> {
        let control = Control { roll_rad_s: 0.0, speed_change_ms2 };
        let half = 0.5 * dt;
        let blown = track * gust.along_ms;
        let level = |height: f64, level_speed: f64| {
            let here = self.air.at(height);
            let (along, ground) = crab(level_speed * here.to_true, here.wind + blown, track)?;
            Some((Pose { here, level_speed, bank: LEVEL, along }, ground))
        };
        let (pose, _) = level(m.height_amsl_m, m.level_speed_ms)?;
        let start = self.rates(gust, blown, pose, control);
        let (pose, ground) = level(m.height_amsl_m + start.climb * half, m.level_speed_ms + speed_change_ms2 * half)?;
        let mid = self.rates(gust, blown, pose, control);
        Some(Motion {
            position: m.position + track * (ground * dt),
            height_amsl_m: m.height_amsl_m + mid.climb * dt,
            heading_rad: m.heading_rad,
            bank_rad: 0.0,
            level_speed_ms: m.level_speed_ms + speed_change_ms2 * dt,
            time_s: m.time_s + dt,
        })
    }

    /// Speed over the ground and rate of climb along a track, `None` when the wind does not allow it.
    pub(super) fn tracking_rates(&self, gust: Gust, m: &Motion, track: Xy) -> Option<(f64, f64)> {
        let here = self.air.at(m.height_amsl_m);
        let blown = track * gust.along_ms;
        let (along, ground) = crab(m.level_speed_ms * here.to_true, here.wind + blown, track)?;
        let pose = Pose { here, level_speed: m.level_speed_ms, bank: LEVEL, along };
        Some((ground, self.rates(gust, blown, pose, STEADY).climb))
    }

    /// The heading that holds a track at a height and speed, radians within (−π, π], `None` when the wind does not allow
    /// it.
    pub(super) fn heading_for(&self, height_amsl_m: f64, level_speed_ms: f64, track: Xy) -> Option<f64> {
        let here = self.air.at(height_amsl_m);
        let (heading, _) = crab(level_speed_ms * here.to_true, here.wind, track)?;
        Some(math::atan2(heading.x, heading.y))
    }
}

/// The heading along the unit vector `track`, as an angle near `near`, and the speed over the ground; `None` when the
/// wind does not allow the track.
pub(super) fn crab(true_speed: f64, wind: Xy, track: Xy) -> Option<(Xy, f64)> {
    let right = Xy::new(track.y, -track.x);
    let across = wind.dot(right);
    let rest = true_speed * true_speed - across * across;
    if rest.is_nan() || rest <= 0.0 {
        return None;
    }
    let along = rest.sqrt();
    let ground = along + wind.dot(track);
    let heading = (track * along - right * across) * (1.0 / true_speed);
    (ground > 0.0).then_some((heading, ground))
}
