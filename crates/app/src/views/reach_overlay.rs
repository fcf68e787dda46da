//! From an assessment to what the map draws of reach: rings of spare height, and the land that stays lit.

use super::map::{LitMask, ReachOverlay, Ring};
use crate::assess::Assessment;

/// Rings above the one that bounds the land in reach.
const RINGS: usize = 8;

impl Assessment {
    /// Rings of spare height from 0 upwards in steps of `step_m`, labelled by `label`, and the lit land.
    #[must_use]
    pub fn overlay(&self, step_m: f64, label: impl Fn(f64) -> String) -> ReachOverlay {
        let levels: Vec<f64> = (0..=RINGS).map(|n| n as f64 * step_m).collect();
        let rings = self
            .rings(&levels)
            .into_iter()
            .filter(|ring| !ring.lines.is_empty())
            .map(|ring| Ring { level_m: ring.level_m, label: label(ring.level_m), lines: ring.lines })
            .collect();
        ReachOverlay { rings, lit: LitMask::from_spare_heights(self.reach.frame, &self.spare_m) }
    }
}
