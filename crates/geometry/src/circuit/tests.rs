mod brute_force;
mod by_hand;
mod flight;
mod headings;
mod obstacles;
mod published;

use super::*;
use crate::air::{Wind, WindProfile, WindVector};
use crate::aircraft::Aircraft;
use crate::fields::hazards::HazardIndex;
use crate::fields::model::{Hazard, QuietKind, QuietZone};
use crate::grid::{GridFrame, Terrain, TerrainAccuracy};
use crate::position::{Bearing, Xy};
use crate::reach::AircraftState;
use std::sync::Arc;

/// Level ground, 20 km square.
pub(super) fn flat(height_m: f32) -> Terrain {
    let frame = GridFrame { origin: Xy::new(-10_000.0, 10_000.0), cell_m: 100.0, cols: 201, rows: 201 };
    Terrain { frame, heights_m: vec![height_m; frame.len()], accuracy: TerrainAccuracy::default() }
}

/// A strip of 400 m whose aiming point is the origin, at sea level.
pub(super) fn landing(heading_deg: f64) -> Landing {
    Landing {
        aim: Xy::default(),
        aim_amsl_m: 0.0,
        heading: Bearing::from_deg(heading_deg),
        slope: 0.0,
        aim_from_start_m: 40.0,
        displacement_m: 20.0,
        length_m: 400.0,
        width_m: 20.0,
        stop_from_50_ft_m: 180.0,
    }
}

pub(super) fn nothing_there() -> HazardIndex {
    HazardIndex::new(Vec::<Hazard>::new())
}

pub(super) fn quiet_zone(outer: Vec<Xy>, below_agl_m: f64) -> Arc<QuietZone> {
    let kind = QuietKind::default();
    Arc::new(QuietZone { id: String::new(), kind, name: String::new(), outer, below_agl_m })
}

pub(super) fn at(x: f64, y: f64, height: f64, heading_deg: f64) -> AircraftState {
    AircraftState { position: Xy::new(x, y), height_amsl_m: height, heading: Some(Bearing::from_deg(heading_deg)) }
}

pub(super) fn wind(from_deg: f64, speed_ms: f64, profile: WindProfile) -> Wind {
    Wind::new(WindVector::coming_from(Bearing::from_deg(from_deg), speed_ms), profile, vec![], 0.0)
}

/// Everything a task borrows.
struct Scene {
    terrain: Terrain,
    hazards: HazardIndex,
    aircraft: Aircraft,
    wind: Wind,
}

impl Scene {
    fn level(wind: Wind) -> Self {
        Self { terrain: flat(0.0), hazards: nothing_there(), aircraft: Aircraft::example_flexwing(), wind }
    }
    fn task(&self, landing: Landing, top_amsl_m: f64) -> Result<CircuitTask<'_>, NoCircuit> {
        self.task_with(landing, top_amsl_m, CircuitOptions::default())
    }
    fn task_with(
        &self,
        landing: Landing,
        top_amsl_m: f64,
        options: CircuitOptions,
    ) -> Result<CircuitTask<'_>, NoCircuit> {
        let around = Surroundings {
            terrain: &self.terrain,
            hazards: &self.hazards,
            quiet_zones: &[],
            clearance_m: self.aircraft.terrain_clearance_m,
        };
        CircuitTask::new(&self.aircraft, &self.wind, landing, around, options, top_amsl_m)
    }
    fn circuit(&self, landing: Landing, state: &AircraftState) -> Result<Circuit, NoCircuit> {
        let task = self.task(landing, state.height_amsl_m)?;
        task.circuit(&task.start(state, self.aircraft.reaction_time_s))
    }
    fn spare(&self, landing: Landing, state: &AircraftState) -> Result<f64, NoCircuit> {
        let task = self.task(landing, state.height_amsl_m)?;
        Ok(task.least(&task.start(state, self.aircraft.reaction_time_s))?.spare_m)
    }
}
