//! `reach`: where the aircraft can glide to and how high it arrives, as a raster and as rings.

use super::args::ReachArgs;
use super::session::Session;
use super::text;
use super::{CliError, print};
use crate::assess::Assessment;
use serde_json::{Value, json};
use sparefield_data::quantity::{HeightUnit, LengthUnit, SpeedUnit, UnitPrefs};
use sparefield_data::terrain::write_geotiff;
use sparefield_data::vector::{ExportFeature, ExportShape, write_geojson};
use sparefield_geometry::position::Xy;
use std::fmt::Write as _;
use std::path::Path;

const SI: UnitPrefs = UnitPrefs { height: HeightUnit::M, speed: SpeedUnit::Ms, length: LengthUnit::M };

/// Spare height from one ring to the next: 500 ft, or 150 m where heights were typed in metres.
const STEP_FT_M: f64 = 500.0 * 0.304_8;
const STEP_M: f64 = 150.0;
/// Most rings written.
const MOST_RINGS: usize = 40;

/// Runs the subcommand.
///
/// # Errors
/// For bad input, or when a file or standard output cannot be written.
pub(super) fn run(args: &ReachArgs) -> Result<(), CliError> {
    let session = Session::open(&args.area, &args.state, &args.conditions)?;
    let assessment = session.assess()?;
    let reach = &assessment.reach;
    let failed = |e: sparefield_data::LoadError| CliError::Failure(e.to_string());
    if let Some(path) = &args.out {
        write_geotiff(path, &reach.frame, session.area.frame.epsg(), &reach.arrival_amsl_m).map_err(failed)?;
    }
    if let Some(path) = &args.rings {
        write_geojson(path, &rings(&session, &assessment), &session.area.frame).map_err(failed)?;
    }
    if args.json {
        print(&format!("{:#}\n", document(&session, &assessment)?))
    } else {
        print(&people(&session, &assessment, args.out.as_deref(), args.rings.as_deref())?)
    }
}

fn rings(session: &Session, assessment: &Assessment) -> Vec<ExportFeature> {
    let step = if session.units.height == HeightUnit::Ft { STEP_FT_M } else { STEP_M };
    let highest = assessment.spare_m.iter().copied().filter(|s| s.is_finite()).fold(0.0f32, f32::max);
    let count = (f64::from(highest) / step).floor() as usize;
    let levels: Vec<f64> = (0..=count.min(MOST_RINGS)).map(|n| n as f64 * step).collect();
    assessment
        .rings(&levels)
        .into_iter()
        .filter(|ring| !ring.lines.is_empty())
        .map(|ring| ExportFeature {
            id: String::new(),
            shape: ExportShape::Lines(ring.lines),
            properties: vec![
                ("spare_height_m".into(), json!(ring.level_m)),
                ("level".into(), json!(session.units.format_height(ring.level_m).replace('\u{a0}', " "))),
            ],
        })
        .collect()
}

fn document(session: &Session, assessment: &Assessment) -> Result<Value, CliError> {
    let reach = &assessment.reach;
    let (low, high) = reach.frame.bounds();
    let corner = |x: f64, y: f64| session.lon_lat(Xy::new(x, y));
    Ok(json!({
        "state": session.state_json(assessment)?,
        "aircraft": session.conditions.aircraft.name,
        "wind": session.wind_json(assessment),
        "cautions": session.cautions(assessment, SI),
        "reachable_area_m2": reach.reachable_area_m2(),
        "cells": reach.reachable_cells(),
        "cell_m": reach.frame.cell_m,
        "max_range_m": reach.max_range_m(),
        "circuit_height_m": Some(assessment.generic_circuit_m()).filter(|h| h.is_finite()),
        "bounds": [low.x, low.y, high.x, high.y],
        "corners": [corner(low.x, low.y)?, corner(high.x, low.y)?, corner(high.x, high.y)?, corner(low.x, high.y)?],
        "crs": session.area.frame.epsg().map_or_else(
            || session.area.frame.name().to_owned(),
            |code| format!("EPSG:{code}"),
        ),
    }))
}

fn people(
    session: &Session,
    assessment: &Assessment,
    raster: Option<&Path>,
    rings: Option<&Path>,
) -> Result<String, CliError> {
    let units = session.units;
    let reach = &assessment.reach;
    let mut out = session.heading_lines(assessment)?;
    if reach.reachable_cells() == 0 {
        out.push_str("\nNothing is in reach from here with the clearance kept above the ground.\n");
    } else {
        let _ = writeln!(
            out,
            "\nIn reach: {:.1} km², at most {} away",
            reach.reachable_area_m2() / 1e6,
            units.format_length(reach.max_range_m())
        );
    }
    if let Some(path) = raster {
        let _ = writeln!(out, "Arrival heights above sea level in metres: {}", path.display());
    }
    if let Some(path) = rings {
        let _ = writeln!(out, "Rings of spare height: {}", path.display());
    }
    if raster.is_none() && rings.is_none() {
        out.push_str("Write it down with --out FILE.tif (arrival heights) and --rings FILE.geojson (spare height).\n");
    }
    out.push_str("\nCautions\n");
    for caution in session.cautions(assessment, units) {
        let _ = writeln!(out, "{}", text::item("", &caution));
    }
    Ok(out)
}
