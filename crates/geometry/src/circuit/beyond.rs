//! Landings that are so far away that no search for a circuit is needed to know that there is none.

use super::flight::Start;
use super::search::CircuitTask;
use crate::math::GRAVITY_MS2;

/// Airspeeds between the slowest and the fastest at which the bound is looked up.
const SPEEDS: usize = 16;
/// What the bound may be too high between two of them: the curve is smooth, and this is far more than it bends.
const BETWEEN: f64 = 0.98;
/// Heights from one look at the wind to the next, metres: the rows of the column lie as close.
const WIND_STEP_M: f64 = 10.0;
/// What steps of the simulation and thinner air may give, metres.
const SLACK_M: f64 = 10.0;

impl CircuitTask<'_> {
    /// Whether the landing is beyond reach from a start whatever is flown: [`CircuitTask::least`] finds nothing there.
    ///
    /// A metre over the ground costs at least s(V)/(V + W), with the airspeed between those of glide and approach, and the
    /// strongest wind on the way straight from behind. In a bank both n^1.5 more is lost and √n faster flown, so that
    /// nothing is gained. Descending out of a wind and slowing down give back at most V·2W/g and the difference of V²/2g.
    pub(crate) fn is_beyond_reach(&self, start: &Start) -> bool {
        let (from, landing) = (&start.motion, &self.landing);
        let height_m = from.height_amsl_m - landing.aim_amsl_m;
        let distance_m = from.position.distance(landing.aim);
        let flying = &self.flying;
        let speeds = [flying.glide_ms, flying.approach_ms, from.level_speed_ms];
        let slow = speeds.into_iter().fold(f64::INFINITY, f64::min);
        let fast = speeds.into_iter().fold(0.0, f64::max);
        let looks = (height_m.max(0.0) / WIND_STEP_M).ceil() as usize + 1;
        let wind_at = |i: usize| self.air.wind_at(landing.aim_amsl_m + i as f64 * WIND_STEP_M).speed_ms();
        let wind_ms = (0..=looks).map(wind_at).fold(0.0, f64::max);
        // Thinner air is flown through faster and sunk through as much faster; the wind then helps less.
        let thin = self.air.to_true(landing.aim_amsl_m);
        let per_metre = |i: usize| {
            let speed = slow + (fast - slow) * i as f64 / (SPEEDS - 1) as f64;
            self.flying.level_sink_ms(speed) * thin / (speed * thin + wind_ms)
        };
        let least = BETWEEN * (0..SPEEDS).map(per_metre).fold(f64::INFINITY, f64::min);
        let top = self.air.to_true(from.height_amsl_m) * fast;
        let given_back = (2.0 * top * wind_ms + 0.5 * (top * top - slow * slow).max(0.0)) / GRAVITY_MS2;
        distance_m * least > height_m + given_back + SLACK_M
    }
}

#[cfg(test)]
mod tests {
    use crate::air::{Wind, WindProfile, WindVector};
    use crate::aircraft::Aircraft;
    use crate::circuit::{CircuitOptions, CircuitTask, Landing, Surroundings};
    use crate::fields::hazards::HazardIndex;
    use crate::fields::model::Hazard;
    use crate::grid::{GridFrame, Terrain, TerrainAccuracy};
    use crate::position::{Bearing, Xy};
    use crate::reach::AircraftState;
    use proptest::prelude::*;

    fn landing(heading_deg: f64) -> Landing {
        Landing {
            aim: Xy::default(),
            aim_amsl_m: 0.0,
            heading: Bearing::from_deg(heading_deg),
            slope: 0.0,
            aim_from_start_m: 60.0,
            displacement_m: 20.0,
            length_m: 600.0,
            width_m: 30.0,
            stop_from_50_ft_m: 180.0,
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        #[test]
        fn what_is_beyond_reach_has_no_circuit_and_what_is_near_is_not(
            wind_deg in 0.0..360.0_f64, wind_ms in 0.0..12.0_f64, towards_deg in 0.0..360.0_f64,
            distance_m in 100.0..4_500.0_f64, height_m in 30.0..500.0_f64, turned_deg in -40.0..40.0_f64,
        ) {
            let frame = GridFrame { origin: Xy::new(-10_000.0, 10_000.0), cell_m: 500.0, cols: 41, rows: 41 };
            let terrain = Terrain { frame, heights_m: vec![0.0; frame.len()], accuracy: TerrainAccuracy::default() };
            let hazards = HazardIndex::new(Vec::<Hazard>::new());
            let around = Surroundings { terrain: &terrain, hazards: &hazards, quiet_zones: &[], clearance_m: 10.0 };
            let mut aircraft = Aircraft::example_flexwing();
            // As far as it can: wings may come level late.
            aircraft.final_height_m = 0.0;
            let from = Bearing::from_deg(wind_deg);
            let wind = Wind::new(WindVector::coming_from(from, wind_ms), WindProfile::OPEN_GRASS, vec![], 0.0);
            let at = Bearing::from_deg(towards_deg).unit() * -distance_m;
            let state = AircraftState {
                position: at,
                height_amsl_m: height_m,
                heading: Some(Bearing::from_deg(towards_deg)),
            };
            let task =
                CircuitTask::new(&aircraft, &wind, landing(towards_deg + turned_deg), around, CircuitOptions::default(), 600.0);
            let Ok(task) = task else { return Ok(()) };
            let start = task.start(&state, 0.0);
            if task.is_beyond_reach(&start) {
                prop_assert!(task.least(&start).is_err(), "{:?}", task.least(&start));
            }
            // 14 : 1 over the ground is more than 10 m/s of wind make of this wing, and 3 : 1 it makes against any.
            if distance_m > 14.0 * height_m + 1_500.0 && wind_ms < 10.0 {
                prop_assert!(task.is_beyond_reach(&start));
            }
            if distance_m < 3.0 * height_m {
                prop_assert!(!task.is_beyond_reach(&start));
            }
        }
    }
}
