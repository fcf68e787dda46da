//! The sample sortie: an invented lesson with practice failures over the invented area, as a recorder would write it.

use crate::flights::{Difficulty, Flight, Land, Receiver, fly};
use anyhow::{Context, Result, bail};
use sparefield_data::area::Area;
use sparefield_data::error::NoProgress;
use sparefield_geometry::air::{Wind, WindProfile, WindVector};
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::circuit::{Landing, Surroundings};
use sparefield_geometry::fields::hazards::HazardIndex;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::fields::rank::{RankInput, RankOptions, rank};
use sparefield_geometry::fields::study::{StudyOptions, study_all};
use sparefield_geometry::fields::verdict::Verdict;
use sparefield_geometry::position::Bearing;
use sparefield_geometry::reach::Arrival;
use std::fmt::Write as _;

/// The seed of the sortie kept in the repository.
pub const SORTIE_SEED: u64 = 28;
/// Practice failures asked for.
const EXERCISES: usize = 6;
/// Fields this near to home are flown to, metres.
const AROUND_HOME_M: f64 = 4_000.0;
/// The day surveys are judged for when fields are chosen: that of the flight, 21 November 2026.
const DAY: Day = Day { days_since_epoch: 20_778 };

/// A good receiver in light turbulence, a pilot who now and then changes his mind.
const LESSON: Difficulty = Difficulty {
    vertical_air_ms: 0.4,
    gusts_ms: 0.6,
    slows_down: true,
    powered_descents: true,
    changes: 0.35,
    receiver: Receiver::GOOD,
};

/// Flies the lesson over the sample area.
///
/// # Errors
/// When the area cannot be read or offers nothing to fly to.
pub fn lesson(area: &Area, seed: u64) -> Result<Flight> {
    let aircraft = Aircraft::example_flexwing();
    let home = area.home.as_ref().context("the sample area has no home strip")?;
    let convergence = area.convergence_rad(home.position);
    let from = Bearing::from_rad(240f64.to_radians() - convergence);
    let wind =
        Wind::new(WindVector::coming_from(from, 4.6), WindProfile::OPEN_GRASS, Vec::new(), home.elevation_amsl_m);
    let hazards = HazardIndex::new(area.hazards.iter().cloned());
    let studies = study_all(&area.fields, &hazards, Some(&area.terrain), &aircraft, &StudyOptions::default());
    let options = RankOptions { today: Some(DAY), ..RankOptions::default() };
    let input = RankInput { aircraft: &aircraft, wind: &wind, options: &options, quiet_zones: &area.quiet_zones };
    let above = |centre| area.terrain.height_at(centre).map(|h| Arrival { height_amsl_m: h + 1_000.0, track: None });
    let arrivals: Vec<Option<Arrival>> = studies.iter().map(|s| above(s.centre)).collect();
    let ranked = rank(&area.fields, &studies, &input, &arrivals);
    let end = home.ends.iter().max_by(|a, b| {
        let into =
            |e: &sparefield_data::area::RunwayEnd| wind.surface.headwind_ms(area.to_grid(e.heading_true, e.threshold));
        into(a).total_cmp(&into(b))
    });
    let end = end.context("the home strip has no ends")?;
    let heading = area.to_grid(end.heading_true, end.threshold);
    let mut landings = vec![Landing {
        aim: end.threshold + heading.unit() * 80.0,
        aim_amsl_m: area.terrain.height_at(end.threshold).unwrap_or(end.elevation_amsl_m),
        heading,
        slope: 0.0,
        aim_from_start_m: 80.0,
        displacement_m: 0.0,
        length_m: home.runway_length_m,
        width_m: home.runway_width_m,
        stop_from_50_ft_m: aircraft.landing_distance_m,
    }];
    landings.extend(
        ranked
            .iter()
            .filter(|r| r.verdict != Verdict::Out)
            .filter_map(|r| Landing::on(r.strip.as_ref()?))
            .filter(|l| l.aim.distance(home.position) < AROUND_HOME_M),
    );
    if landings.len() < 3 {
        bail!("too few fields around home to fly to");
    }
    let surroundings = Surroundings {
        terrain: &area.terrain,
        hazards: &hazards,
        quiet_zones: &area.quiet_zones,
        clearance_m: aircraft.terrain_clearance_m,
    };
    Ok(fly(&Land { landings: &landings, surroundings }, &aircraft, &wind, EXERCISES, LESSON, seed))
}

/// The lesson as a GPX file.
///
/// # Errors
/// As [`lesson`], and when a place has no image on the globe.
pub fn gpx(seed: u64) -> Result<String> {
    let area = Area::sample(&NoProgress)?;
    let flight = lesson(&area, seed)?;
    let mut out = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <gpx version=\"1.1\" creator=\"Sparefield sample-terrain\" xmlns=\"http://www.topografix.com/GPX/1/1\">\n\
         <metadata><desc>Invented for demonstration with Sparefield; nobody flew this. CC0-1.0.</desc></metadata>\n\
         <trk><name>Lesson with practice failures (invented)</name>\n<trkseg>\n",
    );
    for fix in &flight.track.fixes {
        let place = area.frame.to_lonlat(fix.position)?;
        // From 09:30 on; the receiver writes whole seconds.
        let second = 9 * 3_600 + 30 * 60 + fix.time_s.round() as u64;
        let _ = writeln!(
            out,
            "<trkpt lat=\"{:.6}\" lon=\"{:.6}\"><ele>{:.1}</ele><time>2026-11-21T{:02}:{:02}:{:02}Z</time></trkpt>",
            place.lat_deg,
            place.lon_deg,
            fix.height_amsl_m.unwrap_or_default(),
            second / 3_600,
            second / 60 % 60,
            second % 60
        );
    }
    out.push_str("</trkseg>\n</trk>\n</gpx>\n");
    Ok(out)
}
