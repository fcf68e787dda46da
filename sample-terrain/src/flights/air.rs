//! Air that moves: the mean wind, gusts and vertical air that last.

use crate::noise::Dice;
use sparefield_geometry::air::Wind;
use sparefield_geometry::math;
use sparefield_geometry::position::Xy;

/// How long gusts last, seconds.
const GUST_S: f64 = 8.0;
/// How long vertical air lasts, seconds: some 20 s across a thermal at this speed.
const VERTICAL_S: f64 = 20.0;

/// A number that wanders about zero (Ornstein–Uhlenbeck).
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Wander {
    value: f64,
}

impl Wander {
    pub(super) fn step(&mut self, sd: f64, lasts_s: f64, dt_s: f64, dice: &mut Dice) -> f64 {
        let kept = math::exp(-dt_s / lasts_s);
        self.value = self.value * kept + sd * (1.0 - kept * kept).sqrt() * normal(dice);
        self.value
    }
}

/// A standard normal number (Box & Muller, 1958).
pub(super) fn normal(dice: &mut Dice) -> f64 {
    let radius = (-2.0 * math::ln(1.0 - dice.unit())).sqrt();
    radius * math::cos(math::TAU * dice.unit())
}

/// The air around the aircraft.
#[derive(Clone, Debug)]
pub(super) struct MovingAir {
    wind: Wind,
    gusts_ms: f64,
    vertical_ms: f64,
    east: Wander,
    north: Wander,
    up: Wander,
    dice: Dice,
}

impl MovingAir {
    pub(super) fn new(wind: Wind, gusts_ms: f64, vertical_ms: f64, seed: u64) -> Self {
        let [east, north, up] = [Wander::default(); 3];
        Self { wind, gusts_ms, vertical_ms, east, north, up, dice: Dice::new(seed, 0xa1) }
    }
    /// Horizontal and vertical air over the next step; near the ground the vertical air dies away.
    pub(super) fn step(&mut self, height_amsl_m: f64, height_agl_m: f64, dt_s: f64) -> (Xy, Xy, f64) {
        let gust = Xy::new(
            self.east.step(self.gusts_ms, GUST_S, dt_s, &mut self.dice),
            self.north.step(self.gusts_ms, GUST_S, dt_s, &mut self.dice),
        );
        let up = self.up.step(self.vertical_ms, VERTICAL_S, dt_s, &mut self.dice);
        (self.wind.at_amsl(height_amsl_m).xy(), gust, up * (height_agl_m / 60.0).clamp(0.0, 1.0))
    }
}
