//! The aircraft: glide curve, turns, and the limits that decide which field would take it.

use crate::math::{self, GRAVITY_MS2};
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Why an aircraft's numbers cannot describe a glider.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum AircraftError {
    /// Fewer than two distinct points, or points that no falling curve passes near. Give three or more measured
    /// points, or best-glide speed and ratio.
    #[error("the glide points do not describe a glide curve; give three or more pairs of speed and sink")]
    GlidePoints,
    /// A value lies outside what is physically possible.
    #[error("{what} is {value}, but must be {expected}")]
    OutOfRange {
        /// Which value.
        what: &'static str,
        /// What was given, with its unit.
        value: String,
        /// What is allowed.
        expected: &'static str,
    },
}

/// Sink rate against airspeed: sink(V, n) = A·V³ + n²·B/V, the parabolic drag polar.
///
/// Airspeeds are equivalent airspeeds at sea-level density; see [`GlideCurve::sink_ms`] for other heights.
///
/// # Source
/// Parabolic drag polar, e.g. Anderson, *Introduction to Flight*, ch. 6; A and B follow from best glide:
/// A = 1/(2·E·V²), B = V²/(2·E).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct GlideCurve {
    a: f64,
    b: f64,
}

impl GlideCurve {
    /// From the speed (m/s) and ratio of best glide.
    ///
    /// # Errors
    /// When the speed is not in 5…80 m/s or the ratio not in 1…80.
    pub fn from_best_glide(speed_ms: f64, ratio: f64) -> Result<Self, AircraftError> {
        if !(5.0..=80.0).contains(&speed_ms) {
            return Err(AircraftError::OutOfRange {
                what: "best glide speed",
                value: format!("{speed_ms:.1} m/s"),
                expected: "between 5 and 80 m/s",
            });
        }
        if !(1.0..=80.0).contains(&ratio) {
            return Err(AircraftError::OutOfRange {
                what: "best glide ratio",
                value: format!("{ratio:.1}"),
                expected: "between 1 and 80",
            });
        }
        Ok(Self { a: 1.0 / (2.0 * ratio * speed_ms * speed_ms), b: speed_ms * speed_ms / (2.0 * ratio) })
    }

    /// Least-squares fit to measured (speed m/s, sink m/s) pairs; linear in A and B.
    ///
    /// # Errors
    /// When fewer than two distinct speeds are given or the fit is not a glide curve (A and B must be positive).
    pub fn fit(points: &[(f64, f64)]) -> Result<Self, AircraftError> {
        let (mut s33, mut s31, mut s11, mut y3, mut y1) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for &(v, sink) in points {
            if !(v > 0.0 && v.is_finite() && sink.is_finite()) {
                return Err(AircraftError::GlidePoints);
            }
            let (p, q) = (v * v * v, 1.0 / v);
            s33 += p * p;
            s31 += p * q;
            s11 += q * q;
            y3 += p * sink;
            y1 += q * sink;
        }
        let det = s33 * s11 - s31 * s31;
        if points.len() < 2 || det <= 1e-9 * s33 * s11 {
            return Err(AircraftError::GlidePoints);
        }
        let curve = Self { a: (y3 * s11 - y1 * s31) / det, b: (s33 * y1 - s31 * y3) / det };
        if curve.a > 0.0 && curve.b > 0.0 { Ok(curve) } else { Err(AircraftError::GlidePoints) }
    }

    /// The two coefficients (A in s²/m², B in m²/s²).
    #[must_use]
    pub fn coefficients(&self) -> (f64, f64) {
        (self.a, self.b)
    }

    /// Sink rate in m/s at an equivalent airspeed (m/s) and load factor, at sea-level density.
    ///
    /// At density ratio σ the true airspeed and the true sink rate are both 1/√σ times as large.
    #[must_use]
    pub fn sink_ms(&self, speed_ms: f64, load_factor: f64) -> f64 {
        self.a * speed_ms * speed_ms * speed_ms + load_factor * load_factor * self.b / speed_ms
    }

    /// Speed of best glide in still air, m/s.
    #[must_use]
    pub fn best_glide_speed_ms(&self) -> f64 {
        math::pow(self.b / self.a, 0.25)
    }

    /// Best glide ratio in still air.
    #[must_use]
    pub fn best_glide_ratio(&self) -> f64 {
        let v = self.best_glide_speed_ms();
        v / self.sink_ms(v, 1.0)
    }

    /// The curve with every sink rate multiplied (a stopped propeller, rain, a margin).
    #[must_use]
    pub fn degraded(&self, factor: f64) -> Self {
        Self { a: self.a * factor, b: self.b * factor }
    }
}

/// A steady gliding turn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GlidingTurn {
    /// Load factor 1/cos φ.
    pub load_factor: f64,
    /// True airspeed in the turn, m/s.
    pub speed_ms: f64,
    /// True sink rate, m/s.
    pub sink_ms: f64,
    /// Rate of turn, rad/s.
    pub rate_rad_s: f64,
    /// Radius in the air, metres.
    pub radius_m: f64,
    /// Height lost for each radian of heading, metres.
    pub loss_m_per_rad: f64,
}

impl GlidingTurn {
    /// The turn flown at the angle of attack of a straight glide at `straight_speed_ms` (equivalent airspeed).
    ///
    /// At constant angle of attack speed grows with √n and sink with n^1.5.
    ///
    /// # Units
    /// Bank in radians within (0, π/2); density ratio relative to sea level.
    ///
    /// # Source
    /// Welch, Welch & Irving, *The Complete Soaring Pilot's Handbook*, table of circling performance.
    #[must_use]
    pub fn at_constant_incidence(
        curve: &GlideCurve,
        straight_speed_ms: f64,
        bank_rad: f64,
        density_ratio: f64,
    ) -> Self {
        let load_factor = 1.0 / math::cos(bank_rad);
        let to_true = 1.0 / density_ratio.sqrt();
        let indicated = straight_speed_ms * load_factor.sqrt();
        let speed_ms = indicated * to_true;
        let sink_ms = curve.sink_ms(indicated, load_factor) * to_true;
        let lateral = GRAVITY_MS2 * math::tan(bank_rad);
        let rate_rad_s = lateral / speed_ms;
        Self {
            load_factor,
            speed_ms,
            sink_ms,
            rate_rad_s,
            radius_m: speed_ms * speed_ms / lateral,
            loss_m_per_rad: sink_ms / rate_rad_s,
        }
    }
}

/// The airspeed the pilot glides at.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum GlideSpeed {
    /// The speed that loses least height over the ground in the wind, within the aircraft's limits.
    BestForWind,
    /// One equivalent airspeed held in every wind, m/s.
    Held(f64),
}

/// Everything the program knows about an aircraft. Speeds are equivalent airspeeds in m/s, angles in radians.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Aircraft {
    /// Name for people.
    pub name: String,
    /// Glide curve at idle or with the propeller as the source says.
    pub glide: GlideCurve,
    /// Stall speed, level, m/s.
    pub stall_speed_ms: f64,
    /// Approach speed, m/s.
    pub approach_speed_ms: f64,
    /// Never-exceed or practical maximum, m/s.
    pub max_speed_ms: f64,
    /// Slowest speed that "best for the wind" may choose, m/s.
    pub min_glide_speed_ms: f64,
    /// Gliding airspeed.
    pub glide_speed: GlideSpeed,
    /// Landing distance from 50 ft to stop: still air, level, dry short grass, sea level ISA; metres.
    pub landing_distance_m: f64,
    /// Bank of ordinary gliding turns.
    pub turn_bank_rad: f64,
    /// Largest bank.
    pub max_bank_rad: f64,
    /// Roll rate, rad/s.
    pub roll_rate_rad_s: f64,
    /// Time from failure to the first action, seconds.
    pub reaction_time_s: f64,
    /// Distance of the base leg from the landing end, metres.
    pub base_leg_distance_m: f64,
    /// Height above the field by which wings are level on final, metres.
    pub final_height_m: f64,
    /// Width of a landing strip, metres.
    pub strip_width_m: f64,
    /// Margin from the field's edges, metres.
    pub edge_margin_m: f64,
    /// Largest crosswind component for landing, m/s.
    pub max_crosswind_ms: f64,
    /// Clearance above ground that is not the field while gliding, metres.
    pub terrain_clearance_m: f64,
}

impl Aircraft {
    /// A gliding turn at the ordinary bank from the still-air best glide (or the held speed).
    #[must_use]
    pub fn ordinary_turn(&self, density_ratio: f64) -> GlidingTurn {
        GlidingTurn::at_constant_incidence(&self.glide, self.straight_speed_ms(), self.turn_bank_rad, density_ratio)
    }
    /// The equivalent airspeed from which turns are flown and on which reaction time is spent, m/s.
    #[must_use]
    pub fn straight_speed_ms(&self) -> f64 {
        match self.glide_speed {
            GlideSpeed::Held(v) => v,
            GlideSpeed::BestForWind => self
                .glide
                .best_glide_speed_ms()
                .clamp(self.min_glide_speed_ms, self.max_speed_ms.max(self.min_glide_speed_ms)),
        }
    }
    /// Checks that the numbers describe an aircraft.
    ///
    /// # Errors
    /// Names the first value outside its range.
    pub fn validate(&self) -> Result<(), AircraftError> {
        let speed = |what, v: f64, low: f64, expected| {
            if v.is_finite() && v >= low && v <= 120.0 {
                Ok(())
            } else {
                Err(AircraftError::OutOfRange { what, value: format!("{v:.1} m/s"), expected })
            }
        };
        speed("stall speed", self.stall_speed_ms, 3.0, "between 3 and 120 m/s")?;
        speed("approach speed", self.approach_speed_ms, self.stall_speed_ms, "above the stall speed")?;
        speed("slowest glide speed", self.min_glide_speed_ms, self.stall_speed_ms, "above the stall speed")?;
        speed("maximum speed", self.max_speed_ms, self.min_glide_speed_ms, "above the slowest glide speed")?;
        if let GlideSpeed::Held(v) = self.glide_speed {
            speed("glide speed", v, self.stall_speed_ms, "above the stall speed")?;
            speed("maximum speed", self.max_speed_ms, v, "above the glide speed")?;
        }
        let within = |what, v: f64, low: f64, high: f64, unit: &str, expected| {
            if v.is_finite() && v >= low && v <= high {
                Ok(())
            } else {
                Err(AircraftError::OutOfRange { what, value: format!("{v:.1}{unit}"), expected })
            }
        };
        within("landing distance", self.landing_distance_m, 10.0, 3_000.0, " m", "between 10 and 3 000 m")?;
        within("turn bank", self.turn_bank_rad.to_degrees(), 5.0, 60.0, "°", "between 5 and 60 degrees")?;
        within("maximum bank", self.max_bank_rad.to_degrees(), 5.0, 75.0, "°", "between 5 and 75 degrees")?;
        within(
            "roll rate",
            self.roll_rate_rad_s.to_degrees(),
            1.0,
            360.0,
            "°/s",
            "between 1 and 360 degrees a second",
        )?;
        within("reaction time", self.reaction_time_s, 0.0, 60.0, " s", "between 0 and 60 seconds")?;
        within("base leg distance", self.base_leg_distance_m, 30.0, 3_000.0, " m", "between 30 and 3 000 m")?;
        within("final height", self.final_height_m, 0.0, 600.0, " m", "between 0 and 600 m")?;
        within("strip width", self.strip_width_m, 2.0, 200.0, " m", "between 2 and 200 m")?;
        within("edge margin", self.edge_margin_m, 0.0, 100.0, " m", "between 0 and 100 m")?;
        within("maximum crosswind", self.max_crosswind_ms, 0.0, 40.0, " m/s", "between 0 and 40 m/s")?;
        within("terrain clearance", self.terrain_clearance_m, 0.0, 1_000.0, " m", "between 0 and 1 000 m")
    }

    /// The invented two-seat flexwing used as the example and in tests.
    #[must_use]
    pub fn example_flexwing() -> Self {
        const MPH: f64 = 0.447_04;
        Self {
            name: "Two-seat flexwing (example)".into(),
            // 50 mph at 6 : 1.
            glide: GlideCurve {
                a: 1.0 / (2.0 * 6.0 * (50.0 * MPH) * (50.0 * MPH)),
                b: (50.0 * MPH) * (50.0 * MPH) / (2.0 * 6.0),
            },
            stall_speed_ms: 38.0 * MPH,
            approach_speed_ms: 55.0 * MPH,
            max_speed_ms: 90.0 * MPH,
            min_glide_speed_ms: 42.0 * MPH,
            glide_speed: GlideSpeed::BestForWind,
            landing_distance_m: 180.0,
            turn_bank_rad: 30f64.to_radians(),
            max_bank_rad: 45f64.to_radians(),
            roll_rate_rad_s: 20f64.to_radians(),
            reaction_time_s: 4.0,
            base_leg_distance_m: 250.0,
            final_height_m: 300.0 * 0.304_8,
            strip_width_m: 20.0,
            edge_margin_m: 5.0,
            max_crosswind_ms: 15.0 * MPH,
            terrain_clearance_m: 50.0,
        }
    }
}
