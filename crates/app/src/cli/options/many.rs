//! Wind that is not known, and which survey helps most.

use super::{Asked, refused};
use crate::cli::CliError;
use crate::cli::args::OptionsArgs;
use crate::cli::progress::Bar;
use crate::cli::session::lon_lat;
use crate::options_map::{self, OptionsMap, Surveys, in_many_winds};
use serde_json::{Value, json};
use sparefield_data::Progress;
use sparefield_data::quantity::{UnitPrefs, format_day, parse_angle_rad, parse_speed_ms};
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::math;
use sparefield_geometry::reach::least::{MOST_WINDS, ManyWinds, NINE_IN_TEN, WindDoubt};
use std::fmt::Write as _;

/// Fewer winds say nothing about nine of ten.
const LEAST_WINDS: usize = 10;
/// Fields listed at most.
const MOST_LISTED: usize = 20;
/// Square metres of a square kilometre.
const KM2: f64 = 1_000_000.0;

/// How many winds, and how well the wind is known; `None` where it is taken as given.
pub(super) fn doubt(args: &OptionsArgs) -> Result<Option<(WindDoubt, usize)>, CliError> {
    let Some(winds) = args.winds else { return Ok(None) };
    if !(LEAST_WINDS..=MOST_WINDS).contains(&winds) {
        return Err(CliError::BadInput(format!("--winds: {winds} is not from {LEAST_WINDS} to {MOST_WINDS}")));
    }
    let mut doubt = WindDoubt::default();
    if let Some(text) = &args.wind_speed_doubt {
        let bad = |why: String| CliError::BadInput(format!("--wind-speed-doubt: {why}"));
        doubt.speed_ms = parse_speed_ms(text, None).map_err(|e| bad(e.to_string()))?;
        if !(0.0..=20.0).contains(&doubt.speed_ms) {
            return Err(bad("it must be between 0 and 20 m/s".into()));
        }
    }
    if let Some(text) = &args.wind_direction_doubt {
        let bad = |why: String| CliError::BadInput(format!("--wind-direction-doubt: {why}"));
        doubt.direction_rad = parse_angle_rad(text).map_err(|e| bad(e.to_string()))?;
        if !(0.0..=math::PI).contains(&doubt.direction_rad) {
            return Err(bad("it must be between 0 and 180 degrees".into()));
        }
    }
    Ok(Some((doubt, winds)))
}

pub(super) fn winds(
    asked: &Asked,
    (doubt, winds): (WindDoubt, usize),
    height_agl_m: f64,
) -> Result<(WindDoubt, ManyWinds), CliError> {
    let bar = Bar::new("working out winds");
    let report = |share: f32| bar.report(f64::from(share));
    let counts = |field: &_| asked.counts(field);
    let (area, studies, conditions) = (&asked.area, &asked.studies, &asked.conditions);
    let with = (&doubt, winds, height_agl_m);
    let made = in_many_winds(area, studies, conditions, asked.fields_needed, &counts, with, &report, &|| false);
    made.map(|many| (doubt, many)).map_err(|e| refused(&e))
}

pub(super) fn winds_document(map: &OptionsMap, doubt: &WindDoubt, many: &ManyWinds, at: Option<f64>) -> Value {
    let terrain = &map.area.terrain;
    let nine = at.map(|height| many.covered(terrain, height));
    json!({ "winds": {
        "count": many.winds,
        "speed_deviation_ms": doubt.speed_ms,
        "direction_deviation_deg": doubt.direction_rad * 180.0 / math::PI,
        "share_asked": NINE_IN_TEN,
        "at_height_m": at,
        "covered_share": nine.filter(|(known, _)| *known > 0).map(|(known, n)| n as f64 / known as f64),
        "mean_share_of_winds": at.and_then(|_| many.mean_share(terrain)),
        "cells": many.nine_in_ten.iter().filter(|h| h.is_finite()).count(),
    } })
}

pub(super) fn winds_people(
    out: &mut String,
    map: &OptionsMap,
    doubt: &WindDoubt,
    many: &ManyWinds,
    at: Option<f64>,
    units: UnitPrefs,
) {
    let _ = writeln!(
        out,
        "\nIn {} winds about this one, its speed out by {} and its direction by {:.0}° (one standard deviation):",
        many.winds,
        units.format_speed(doubt.speed_ms),
        doubt.direction_rad * 180.0 / math::PI,
    );
    let heights = at.map_or_else(|| super::steps(units), |height| vec![height]);
    for height in heights {
        let percent = super::percent(many.covered(&map.area.terrain, height));
        let _ = writeln!(
            out,
            "From {} above the ground {percent:.1} % of the area is covered in nine winds of ten",
            units.format_height(height)
        );
    }
    if let (Some(_), Some(share)) = (at, many.mean_share(&map.area.terrain)) {
        let percent = (share * 1_000.0).floor() / 10.0;
        let _ = writeln!(out, "A place picked by chance is covered from there in {percent:.1} % of the winds");
    }
}

pub(super) fn surveys(asked: &Asked, height_agl_m: f64) -> Result<Surveys, CliError> {
    let bar = Bar::new("trying fields that nobody looked at");
    let report = |share: f32| bar.report(f64::from(share));
    let (area, studies, conditions) = (&asked.area, &asked.studies, &asked.conditions);
    let with = (height_agl_m, MOST_LISTED);
    options_map::surveys(area, studies, conditions, asked.fields_needed, with, &report, &|| false)
        .map_err(|e| refused(&e))
}

pub(super) fn surveys_document(surveys: &Surveys) -> Result<Value, CliError> {
    let area = &surveys.map.area;
    let list = surveys.list.iter().map(|step| {
        let field = &area.fields[step.field];
        Ok(json!({
            "id": field.id,
            "name": field.name,
            "suggested": step.suggested,
            "position": lon_lat(&area.frame, field.centroid())?,
            "surveyed": step.surveyed.map(format_day),
            "gain_m2": step.gain_m2,
            "alone_m2": step.alone_m2,
            "uncovered_after_m2": step.left_m2,
        }))
    });
    Ok(json!({ "surveys": {
        "at_height_m": surveys.height_agl_m,
        "uncovered_m2": surveys.uncovered_m2,
        "doubtful_fields": surveys.doubtful,
        "would_not_do": surveys.would_not_do,
        "left_out": surveys.left_out,
        "fields": list.collect::<Result<Vec<_>, CliError>>()?,
    } }))
}

pub(super) fn surveys_people(out: &mut String, surveys: &Surveys, units: UnitPrefs) {
    let area = &surveys.map.area;
    let _ = writeln!(
        out,
        "\nFields worth looking at, from {} above the ground. Those that somebody looked at lately leave {:.1} km² \
         without cover; {} were not looked at for too long, {} of which would not do in this wind whatever grows there.",
        units.format_height(surveys.height_agl_m),
        surveys.uncovered_m2 / KM2,
        surveys.doubtful,
        surveys.would_not_do,
    );
    if surveys.left_out > 0 {
        let _ = writeln!(out, "Only the {} nearest to home were tried.", options_map::MOST_CANDIDATES);
    }
    for (number, step) in surveys.list.iter().enumerate() {
        let _ = writeln!(
            out,
            "{:>3}. {}: {:.2} km² more ({})",
            number + 1,
            area.fields[step.field].label(),
            (step.gain_m2 / KM2 * 100.0).floor() / 100.0,
            if step.suggested {
                "suggested by the computer, not accepted".to_owned()
            } else {
                looked_at(step.surveyed)
            },
        );
    }
    if surveys.list.is_empty() {
        out.push_str("  None of them would cover a hectare more.\n");
    }
}

fn looked_at(day: Option<Day>) -> String {
    day.map_or_else(|| "never looked at".to_owned(), |day| format!("last looked at {}", format_day(day)))
}
