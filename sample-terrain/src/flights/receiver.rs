//! A receiver: takes a fix now and then, and errs.

use super::air::{Wander, normal};
use super::pilot::Moment;
use crate::noise::Dice;
use sparefield_geometry::position::Xy;
use sparefield_geometry::track::{Fix, Track};

/// How a receiver errs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Receiver {
    /// Seconds between fixes.
    pub every_s: f64,
    /// Standard deviation of a place from fix to fix, metres.
    pub place_m: f64,
    /// Of what lasts some minutes, metres.
    pub place_lasting_m: f64,
    /// Standard deviation of a height from fix to fix, metres.
    pub height_m: f64,
    /// Of what lasts some minutes, metres.
    pub height_lasting_m: f64,
    /// Gaps in an hour, each of 3 to 9 s.
    pub gaps_per_hour: f64,
}

impl Receiver {
    /// As a logger under open sky.
    pub const GOOD: Self = Self {
        every_s: 1.0,
        place_m: 0.5,
        place_lasting_m: 2.0,
        height_m: 0.6,
        height_lasting_m: 2.5,
        gaps_per_hour: 0.0,
    };
    /// As a telephone in a pocket.
    pub const POOR: Self = Self {
        every_s: 1.0,
        place_m: 0.9,
        place_lasting_m: 3.5,
        height_m: 1.2,
        height_lasting_m: 4.0,
        gaps_per_hour: 40.0,
    };

    pub(super) fn record(self, path: &[Moment], seed: u64) -> Track {
        let mut dice = Dice::new(seed, 0x9e);
        let [mut east, mut north, mut up] = [Wander::default(); 3];
        let mut fixes = Vec::new();
        let (mut next_s, mut deaf_until_s) = (0.0, -1.0);
        for m in path {
            if m.time_s + 1e-6 < next_s {
                continue;
            }
            next_s += self.every_s;
            let off = Xy::new(
                east.step(self.place_lasting_m, 90.0, self.every_s, &mut dice) + self.place_m * normal(&mut dice),
                north.step(self.place_lasting_m, 90.0, self.every_s, &mut dice) + self.place_m * normal(&mut dice),
            );
            let high =
                up.step(self.height_lasting_m, 180.0, self.every_s, &mut dice) + self.height_m * normal(&mut dice);
            if dice.chance(self.gaps_per_hour * self.every_s / 3_600.0) {
                deaf_until_s = m.time_s + dice.within(3.0, 9.0);
            }
            if m.time_s < deaf_until_s {
                continue;
            }
            fixes.push(Fix {
                time_s: m.time_s,
                position: m.position + off,
                height_amsl_m: Some(m.height_amsl_m + high),
                engine: None,
            });
        }
        Track { fixes }
    }
}
