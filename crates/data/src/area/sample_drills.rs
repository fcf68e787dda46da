//! The invented drill sets of the sample area.

use crate::frame::{Frame, FrameError};
use sparefield_geometry::drill::{DrillSet, DrillWind, Place, Told};
use sparefield_geometry::position::{Bearing, Xy};
use std::sync::Arc;

/// Aircraft of both sets.
const AIRCRAFT: &str = "Two-seat flexwing (example)";
/// A knot in m/s.
const KNOT_MS: f64 = 1_852.0 / 3_600.0;
/// A foot in metres.
const FOOT_M: f64 = 0.304_8;

/// Fan stops over the home strip, and failures anywhere around it.
pub(super) fn drill_sets(frame: &Frame, home: Xy) -> Result<Vec<Arc<DrillSet>>, FrameError> {
    let wind = |from_deg: f64, knots: f64, told| {
        Ok(DrillWind {
            from_grid: Some(frame.grid_bearing(Bearing::from_deg(from_deg), home)?),
            speed_ms: knots * KNOT_MS,
            told,
            direction_error_rad: 20_f64.to_radians(),
            speed_error_ms: 3.0 * KNOT_MS,
        })
    };
    let fan_stops = DrillSet {
        id: "drills-home".into(),
        name: "Fan stops at home".into(),
        seed: 1_911,
        drills: 24,
        places: vec![Place::HomeStrip { within_m: 150.0 }],
        lowest_agl_m: 800.0 * FOOT_M,
        highest_agl_m: 2_000.0 * FOOT_M,
        winds: vec![wind(240.0, 8.0, Told::Everything)?, wind(60.0, 4.0, Told::Everything)?],
        aircraft: AIRCRAFT.into(),
        joins: Vec::new(),
        shortest_run_s: 5.0,
        longest_run_s: 30.0,
    };
    let around = DrillSet {
        id: "drills-around".into(),
        name: "Anywhere around home".into(),
        seed: 2_026,
        drills: 40,
        places: vec![
            Place::Circle { centre: home, radius_m: 6_000.0 },
            Place::Route {
                line: vec![
                    home,
                    home + Xy::new(-5_000.0, 2_000.0),
                    home + Xy::new(-3_000.0, -5_000.0),
                    home + Xy::new(4_000.0, -3_000.0),
                    home,
                ],
                both_ways: true,
            },
        ],
        lowest_agl_m: 700.0 * FOOT_M,
        highest_agl_m: 2_500.0 * FOOT_M,
        winds: vec![
            wind(240.0, 12.0, Told::Everything)?,
            wind(300.0, 7.0, Told::Direction)?,
            wind(90.0, 5.0, Told::Everything)?,
            DrillWind {
                from_grid: None,
                speed_ms: 3.0 * KNOT_MS,
                told: Told::Nothing,
                direction_error_rad: 0.0,
                speed_error_ms: 2.0 * KNOT_MS,
            },
        ],
        longest_run_s: 120.0,
        ..fan_stops.clone()
    };
    Ok(vec![Arc::new(fan_stops), Arc::new(around)])
}
