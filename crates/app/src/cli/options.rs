//! `options` and `route`: the least height that keeps fields in reach, over the area and along a route.

use super::args::{OptionsArgs, RouteArgs};
use super::session::{lon_lat, open_area, unusable};
use super::text;
use super::{CliError, inputs, print};
use crate::assess::{AssessError, Conditions, HeightInput, STANDING_CAUTIONS, StateInput};
use crate::not_looked_at;
use crate::options_map::{
    NOT_COUNTED, NoOptions, OptionsMap, Route, RouteHeight, RoutePoint, Stretch, options_map, route,
};
use crate::studies::Studies;
use crate::survey::filter::NotSince;
use serde_json::{Value, json};
use sparefield_data::area::Area;
use sparefield_data::imagery::BackgroundLayer;
use sparefield_data::quantity::{HeightUnit, UnitPrefs, parse_height_m, parse_speed_ms};
use sparefield_data::terrain::write_geotiff;
use sparefield_data::vector::VectorOptions;
use sparefield_geometry::fields::model::Field;
use sparefield_geometry::position::Xy;
use sparefield_geometry::reach::ReachError;
use sparefield_geometry::reach::least::LeastError;
use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;

/// Runs `options`.
///
/// # Errors
/// For bad input, or when a file or standard output cannot be written.
pub(super) fn run(args: &OptionsArgs) -> Result<(), CliError> {
    let at = args
        .at_height
        .as_deref()
        .map(|text| parse_height_m(text, None).map_err(|e| CliError::BadInput(format!("--at-height: {e}"))))
        .transpose()?;
    let map = made(&args.area, &args.conditions, &args.choice)?;
    if let Some(path) = &args.out {
        let raster = map.least.raster(args.choice.fields_needed);
        write_geotiff(path, &map.least.frame, map.area.frame.epsg(), &raster)
            .map_err(|e| CliError::Failure(e.to_string()))?;
    }
    let units = inputs::units_of(args.at_height.as_deref().unwrap_or("ft"), &args.conditions);
    if args.json {
        print(&format!("{:#}\n", document(&map, at)?))
    } else {
        print(&people(&map, at, units, args.out.as_deref()))
    }
}

/// Runs `route`.
///
/// # Errors
/// For bad input, or when standard output cannot be written.
pub(super) fn run_route(args: &RouteArgs) -> Result<(), CliError> {
    let metres =
        |option: &str, text: &str| parse_height_m(text, None).map_err(|e| CliError::BadInput(format!("{option}: {e}")));
    let height = match (&args.height, &args.height_amsl) {
        (_, Some(text)) => RouteHeight::AboveSea(metres("--height-amsl", text)?),
        (Some(text), None) => RouteHeight::AboveGround(metres("--height", text)?),
        (None, None) => {
            return Err(CliError::BadInput(
                "--height is missing: say how high the route is flown, such as --height 1500ft".into(),
            ));
        }
    };
    let speed = args
        .speed
        .as_deref()
        .map(|text| parse_speed_ms(text, None).map_err(|e| CliError::BadInput(format!("--speed: {e}"))))
        .transpose()?;
    if speed.is_some_and(|s| !(1.0..=150.0).contains(&s)) {
        return Err(CliError::BadInput("--speed: the airspeed must be between 1 and 150 m/s".into()));
    }
    let map = made(&args.area, &args.conditions, &args.choice)?;
    let line = line(&args.file, &map.area)?;
    let flown = route(&map, &line, height, speed.unwrap_or_else(|| map.conditions.aircraft.straight_speed_ms()));
    let typed = args.height.as_deref().or(args.height_amsl.as_deref()).unwrap_or("ft");
    let units = inputs::units_of(typed, &args.conditions);
    if args.json {
        print(&format!("{:#}\n", route_document(&map, &flown)?))
    } else {
        print(&route_people(&map, &flown, units))
    }
}

/// The one line of a file: a route, a track, or any line of another vector format.
fn line(path: &Path, area: &Area) -> Result<Vec<Xy>, CliError> {
    let read = BackgroundLayer::open(path, &area.frame, &VectorOptions::default())
        .map_err(|e| CliError::BadInput(e.to_string()))?;
    let mut lines = read.value.lines;
    match lines.len() {
        1 => Ok(lines.remove(0)),
        0 => Err(CliError::BadInput(format!(
            "{}: it holds no line; name a file with a route or a track",
            path.display()
        ))),
        n => Err(CliError::BadInput(format!(
            "{}: it holds {n} lines, and a route is one; keep the one that is meant",
            path.display()
        ))),
    }
}

fn made(
    area: &super::args::AreaArgs,
    conditions: &super::args::ConditionArgs,
    choice: &super::args::CoverArgs,
) -> Result<OptionsMap, CliError> {
    if !(1..=3).contains(&choice.fields_needed) {
        return Err(CliError::BadInput(format!("--fields-needed: {} is none of 1, 2 and 3", choice.fields_needed)));
    }
    let since = choice
        .looked_at_since
        .as_deref()
        .map(|text| NotSince::from_words(text).map_err(|e| CliError::BadInput(format!("--looked-at-since: {e}"))))
        .transpose()?;
    let land = inputs::area(area, None)?;
    let conditions = Conditions {
        aircraft: inputs::aircraft(conditions)?.value,
        wind: inputs::wind(conditions)?,
        // The options map knows no one place.
        state: StateInput { position: Xy::default(), height: HeightInput::AboveGround(0.0), heading: None },
        rules: inputs::rules(conditions)?,
        today: inputs::day(conditions)?,
    };
    let area = Arc::new(open_area(&land).map_err(|e| unusable(&e))?);
    let studies = Studies::new(&area, &conditions);
    let today = conditions.today;
    let counts = |field: &Field| since.is_none_or(|since| !since.holds(field.surveyed, today));
    let bar = super::progress::Bar::new("working out least heights");
    let report = |share: f32| sparefield_data::Progress::report(&bar, f64::from(share));
    options_map(&area, &studies, &conditions, choice.fields_needed, &counts, &report, &|| false).map_err(|e| match e {
        NoOptions::Assess(AssessError::Reach(ReachError::Cancelled)) | NoOptions::Least(LeastError::Stopped) => {
            CliError::Failure(e.to_string())
        }
        _ => CliError::BadInput(e.to_string()),
    })
}

fn cautions(map: &OptionsMap) -> Vec<String> {
    let mut out = vec![NOT_COUNTED.to_owned(), not_looked_at::BY_RANKING[0].to_owned()];
    out.extend(STANDING_CAUTIONS.map(str::to_owned));
    if map.area.is_sample {
        out.push("The sample area is invented and shows no real place.".into());
    }
    out.extend(map.area.warnings.iter().map(|w| format!("Data: {w}.")));
    out
}

/// What both documents say about what they rest on.
fn common(map: &OptionsMap) -> Value {
    let place = map.area.home.as_ref().map_or_else(|| map.area.centre(), |home| home.position);
    let surface = map.wind.surface;
    json!({
        "aircraft": map.conditions.aircraft.name,
        "wind": { "surface": {
            "from_deg": surface.from_bearing().map(|from| map.area.to_true(from, place).deg()),
            "speed_ms": surface.speed_ms(),
        } },
        "fields_needed": map.least.fields_needed(),
        "fields_counted": map.demands.len(),
        "cautions": cautions(map),
    })
}

fn document(map: &OptionsMap, at: Option<f64>) -> Result<Value, CliError> {
    let frame = &map.least.frame;
    let needed = map.least.fields_needed();
    let raster = map.least.raster(needed);
    let finite = raster.iter().filter(|h| h.is_finite());
    let (low, high) = frame.bounds();
    let corner = |x: f64, y: f64| lon_lat(&map.area.frame, Xy::new(x, y));
    let mut out = common(map);
    let (known, covered) = map.least.covered(&map.area.terrain, needed, at.unwrap_or(0.0));
    let share = |n: usize| if known == 0 { Value::Null } else { json!(n as f64 / known as f64) };
    let least = finite.clone().copied().fold(f32::INFINITY, f32::min);
    let more = json!({
        "at_height_m": at,
        "covered_share": at.map_or(Value::Null, |_| share(covered)),
        "cells": finite.count(),
        "cells_with_ground": known,
        "cell_m": frame.cell_m,
        "lowest_least_height_amsl_m": least.is_finite().then_some(least),
        "ceiling_amsl_m": map.least.ceiling_amsl_m,
        "bounds": [low.x, low.y, high.x, high.y],
        "corners": [corner(low.x, low.y)?, corner(high.x, low.y)?, corner(high.x, high.y)?, corner(low.x, high.y)?],
        "crs": map.area.frame.epsg().map_or_else(|| map.area.frame.name().to_owned(), |code| format!("EPSG:{code}")),
    });
    join(&mut out, more);
    Ok(out)
}

fn join(into: &mut Value, from: Value) {
    if let (Some(into), Value::Object(from)) = (into.as_object_mut(), from) {
        into.extend(from);
    }
}

fn fields_words(count: usize) -> &'static str {
    match count {
        1 => "a field",
        2 => "two fields",
        _ => "three fields",
    }
}

fn people(map: &OptionsMap, at: Option<f64>, units: UnitPrefs, raster: Option<&Path>) -> String {
    let needed = map.least.fields_needed();
    let mut out = format!(
        "{}\n{}, {} of {} fields would take it\n\n",
        map.area.title,
        map.conditions.aircraft.name,
        map.demands.len(),
        map.area.fields.len()
    );
    let steps: Vec<f64> = match (at, units.height) {
        (Some(height), _) => vec![height],
        (None, HeightUnit::Ft) => (1..=6).map(|n| f64::from(n) * 500.0 * 0.304_8).collect(),
        (None, HeightUnit::M) => (1..=6).map(|n| f64::from(n) * 150.0).collect(),
    };
    for height in steps {
        let (known, covered) = map.least.covered(&map.area.terrain, needed, height);
        // Rounded down: cover is not to be flattered.
        let percent = if known == 0 { 0.0 } else { (covered as f64 / known as f64 * 1_000.0).floor() / 10.0 };
        let _ = writeln!(
            out,
            "From {} above the ground {} in reach over {percent:.1} % of the area",
            units.format_height(height),
            if needed == 1 {
                "a field is"
            } else if needed == 2 {
                "two fields are"
            } else {
                "three fields are"
            },
        );
    }
    match raster {
        Some(path) => {
            let _ = writeln!(out, "\nLeast heights above sea level in metres: {}", path.display());
        }
        None => out.push_str("\nWrite the least height of every place down with --out FILE.tif.\n"),
    }
    said(&mut out, map);
    out
}

fn said(out: &mut String, map: &OptionsMap) {
    out.push_str("\nCautions\n");
    for caution in cautions(map) {
        let _ = writeln!(out, "{}", text::item("", &caution));
    }
}

fn route_document(map: &OptionsMap, flown: &Route) -> Result<Value, CliError> {
    let mut out = common(map);
    let segments = flown.stretches.iter().map(|s| stretch_json(map, flown, s)).collect::<Result<Vec<_>, _>>()?;
    let profile = flown.points.iter().map(|p| point_json(map, p)).collect::<Result<Vec<_>, _>>()?;
    let worst = flown.worst().map(|p| point_json(map, p)).transpose()?;
    join(
        &mut out,
        json!({
            "length_m": flown.length_m,
            "uncovered_m": flown.uncovered_m(),
            "worst": worst,
            "segments": segments,
            "profile": profile,
        }),
    );
    Ok(out)
}

fn stretch_json(map: &OptionsMap, flown: &Route, stretch: &Stretch) -> Result<Value, CliError> {
    Ok(json!({
        "covered": stretch.covered,
        "from_m": stretch.from_m,
        "to_m": stretch.to_m,
        "length_m": stretch.to_m - stretch.from_m,
        "seconds": stretch.seconds.is_finite().then_some(stretch.seconds),
        "covering_height_amsl_m": stretch.covering_amsl_m,
        "worst": point_json(map, &flown.points[stretch.worst])?,
    }))
}

fn point_json(map: &OptionsMap, point: &RoutePoint) -> Result<Value, CliError> {
    Ok(json!({
        "along_m": point.along_m,
        "position": lon_lat(&map.area.frame, point.position)?,
        "terrain_height_m": point.ground_amsl_m,
        "height_amsl_m": point.height_amsl_m,
        "least_height_amsl_m": point.least_amsl_m,
        "spare_height_m": point.spare_m(),
        "field": point.field.and_then(|i| map.area.fields.get(i)).map(|f| f.id.clone()),
    }))
}

fn route_people(map: &OptionsMap, flown: &Route, units: UnitPrefs) -> String {
    let needed = fields_words(map.least.fields_needed());
    let mut out = format!("{}\n{}\n\n", map.area.title, map.conditions.aircraft.name);
    let _ = writeln!(
        out,
        "Route of {}: {} of it without {needed} in reach",
        units.format_length(flown.length_m),
        if flown.uncovered_m() > 0.0 { units.format_length_at_most(flown.uncovered_m()) } else { "nothing".into() },
    );
    for stretch in &flown.stretches {
        let span = format!("{} to {}", units.format_length(stretch.from_m), units.format_length(stretch.to_m));
        let worst = &flown.points[stretch.worst];
        let words = if stretch.covered {
            let spare = worst.spare_m().map_or_else(String::new, |s| units.format_height_at_least(s));
            format!("covered, at least {spare} in hand")
        } else {
            let seconds = if stretch.seconds.is_finite() {
                format!("about {:.0} s", stretch.seconds)
            } else {
                "for ever against this wind".to_owned()
            };
            let fix = match stretch.covering_amsl_m {
                Some(height) => {
                    format!("covered from {} above sea level on", units.format_height_at_most(height))
                }
                None => "no height looked at covers it: fly round it".to_owned(),
            };
            format!("NOT covered, {seconds}; {fix}")
        };
        let _ = writeln!(out, "  {span}: {words}");
    }
    said(&mut out, map);
    out
}
