//! Circuit height over places where no field is known, for rings of spare height.
//!
//! The landing is into the surface wind; the arrival track of each place decides how much of a turn comes before the
//! outbound leg, exactly as for a field. In a calm no direction is preferred, and the dearest track is taken.

use super::circuit_height::{CircuitSetting, generic_circuit_height};
use crate::air::{Wind, WindVector};
use crate::aircraft::Aircraft;
use crate::grid::Terrain;
use crate::math::TAU;
use crate::position::{Bearing, Xy};
use crate::reach::Reach;
use rayon::prelude::*;

/// Arrival tracks in the table.
const TRACKS: usize = 72;

/// Step of ground height in the table, metres.
const STEP_M: f64 = 50.0;

/// Circuit heights by ground height and arrival track. Between entries the greater neighbour is taken.
#[derive(Clone, Debug)]
pub struct GenericCircuit {
    low_amsl_m: f64,
    /// Rows of one height for each track, and one more for an unknown track.
    rows: Vec<[f64; TRACKS + 1]>,
}

impl GenericCircuit {
    /// The table for ground between two heights above mean sea level.
    #[must_use]
    pub fn new(aircraft: &Aircraft, wind: &Wind, low_amsl_m: f64, high_amsl_m: f64) -> Self {
        // Terrain lies within ±12 km; the bound only guards the memory.
        let steps = ((high_amsl_m - low_amsl_m) / STEP_M).ceil().clamp(1.0, 500.0) as usize;
        let rows = (0..=steps)
            .into_par_iter()
            .map(|i| {
                let ground = low_amsl_m + i as f64 * STEP_M;
                let unknown = generic_circuit_height(aircraft, wind, ground);
                let mut row = [unknown; TRACKS + 1];
                if wind.surface != WindVector::CALM
                    && let Some(heading) = wind.surface.from_bearing()
                {
                    let setting = CircuitSetting::new(aircraft, wind, ground);
                    for (k, entry) in row.iter_mut().take(TRACKS).enumerate() {
                        let track = Bearing::from_rad(k as f64 * TAU / TRACKS as f64);
                        *entry =
                            setting.height(heading, Some(track), Xy::default()).map_or(f64::INFINITY, |c| c.total_m);
                    }
                }
                row
            })
            .collect();
        Self { low_amsl_m, rows }
    }

    /// Circuit height over ground of a height, arriving on a track; infinite when no circuit can be flown.
    #[must_use]
    pub fn height_m(&self, ground_amsl_m: f64, track: Option<Bearing>) -> f64 {
        let last = self.rows.len() - 1;
        let at = ((ground_amsl_m - self.low_amsl_m) / STEP_M).clamp(0.0, last as f64);
        let (below, above) = (&self.rows[at.floor() as usize], &self.rows[at.ceil() as usize]);
        match track {
            None => below[TRACKS].max(above[TRACKS]),
            Some(track) => {
                let k = ((track.rad() / TAU * TRACKS as f64) as usize).min(TRACKS - 1);
                let next = (k + 1) % TRACKS;
                below[k].max(below[next]).max(above[k]).max(above[next])
            }
        }
    }
}

/// Spare height at every cell of a reach, metres, by rows of its window: arrival height less ground and circuit height;
/// `NaN` where a cell is not reached or no circuit can be flown. `terrain` must be the one the reach was computed over.
#[must_use]
pub fn spare_heights(reach: &Reach, terrain: &Terrain, circuit: &GenericCircuit) -> Vec<f32> {
    let (first_row, first_col) = reach.offset;
    let cols = reach.frame.cols;
    let mut spare = vec![f32::NAN; reach.frame.len()];
    spare.par_chunks_mut(cols.max(1)).enumerate().for_each(|(row, cells)| {
        for (col, cell) in cells.iter_mut().enumerate() {
            let heights = reach.arrival_at_cell(row, col).zip(terrain.post(row + first_row, col + first_col));
            if let Some((arrival, ground)) = heights {
                let left = arrival - ground - circuit.height_m(ground, reach.track_at_cell(row, col));
                if left.is_finite() {
                    *cell = left as f32;
                }
            }
        }
    });
    spare
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn table(speed_ms: f64) -> (Aircraft, Wind, GenericCircuit) {
        let aircraft = Aircraft::example_flexwing();
        let wind = Wind::uniform(WindVector::coming_from(Bearing::from_deg(240.0), speed_ms));
        let circuit = GenericCircuit::new(&aircraft, &wind, 80.0, 420.0);
        (aircraft, wind, circuit)
    }

    #[test]
    fn a_calm_prefers_no_track() {
        let (_, _, circuit) = table(0.0);
        let heights: Vec<f64> =
            (0..36).map(|i| circuit.height_m(120.0, Some(Bearing::from_deg(f64::from(i) * 10.0)))).collect();
        assert!(heights.iter().all(|h| *h == heights[0]));
    }

    proptest! {
        #[test]
        fn never_below_the_circuit_itself(ground in 80.0..420.0f64, track in 0.0..360.0f64, speed in 0.5..10.0f64) {
            let (aircraft, wind, circuit) = table(speed);
            let track = Bearing::from_deg(track);
            let own = CircuitSetting::new(&aircraft, &wind, ground)
                .height(Bearing::from_deg(240.0), Some(track), Xy::default()).unwrap();
            let shown = circuit.height_m(ground, Some(track));
            // The first turn changes by at most 5° between entries; where the cheaper hand changes, both are near.
            prop_assert!(shown >= own.total_m - 0.5, "{shown} {}", own.total_m);
            prop_assert!(shown <= own.total_m + 12.0, "{shown} {}", own.total_m);
        }
    }
}
