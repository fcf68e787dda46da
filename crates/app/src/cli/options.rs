//! `options`: the least height that keeps fields in reach, over the area.

mod many;

use super::args::OptionsArgs;
use super::session::{lon_lat, open_area, unusable};
use super::text;
use super::{CliError, inputs, print};
use crate::assess::{AssessError, Conditions, HeightInput, StateInput};
use crate::layer_export::{Covered, count_raster, lines_and_land};
use crate::not_looked_at;
use crate::options_map::{NoOptions, OptionsMap, options_map};
use crate::studies::Studies;
use crate::survey::filter::NotSince;
use serde_json::{Value, json};
use sparefield_data::area::Area;
use sparefield_data::quantity::{HeightUnit, UnitPrefs, parse_height_m};
use sparefield_data::terrain::write_geotiff;
use sparefield_data::vector::{Format, write_vector_about};
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
    let doubt = many::doubt(args)?;
    let land_format = args.land_out.as_deref().map(|path| vector_format("--land-out", path)).transpose()?;
    let needs_height = [
        ("--surveys", args.surveys),
        ("--share-out", args.share_out.is_some()),
        ("--count-out", args.count_out.is_some()),
        ("--land-out", args.land_out.is_some()),
    ];
    if at.is_none()
        && let Some((option, _)) = needs_height.into_iter().find(|(_, asked)| *asked)
    {
        return Err(CliError::BadInput(format!(
            "--at-height is missing: {option} asks what is covered from a height, such as --at-height 1500ft"
        )));
    }
    let asked = Asked::new(&args.area, &args.conditions, &args.choice)?;
    let map = asked.map()?;
    let winds = doubt.map(|doubt| many::winds(&asked, doubt, at.unwrap_or(0.0))).transpose()?;
    let surveys = at.filter(|_| args.surveys).map(|height| many::surveys(&asked, height)).transpose()?;
    let write = |path: &Path, raster: &[f32]| {
        let frame = &map.least.frame;
        write_geotiff(path, frame, map.area.frame.epsg(), raster).map_err(|e| CliError::Failure(e.to_string()))
    };
    if let Some(path) = &args.out {
        match &winds {
            Some((_, many)) => write(path, &many.nine_in_ten)?,
            None => write(path, &map.least.raster(args.choice.fields_needed))?,
        }
    }
    if let (Some(path), Some((_, many))) = (&args.share_out, &winds) {
        write(path, &many.shares(&map.area.terrain))?;
    }
    if let (Some(path), Some(height)) = (&args.count_out, at) {
        write(path, &count_raster(&map, height))?;
    }
    let units = inputs::units_of(args.at_height.as_deref().unwrap_or("ft"), &args.conditions);
    if let (Some(path), Some(format), Some(height_agl_m)) = (&args.land_out, land_format, at) {
        let instead = winds.as_ref().map(|(_, many)| many.nine_in_ten.as_slice());
        let layers = lines_and_land(&Covered { map: &map, instead, height_agl_m, unit: units.height });
        write_vector_about(path, format, &layers, &map.area.frame, &not_looked_at::options_map_cautions(&map))
            .map_err(|e| CliError::Failure(e.to_string()))?;
    }
    if args.json {
        let mut out = document(&map, at)?;
        if let Some((doubt, many)) = &winds {
            join(&mut out, many::winds_document(&map, doubt, many, at));
        }
        if let Some(surveys) = &surveys {
            join(&mut out, many::surveys_document(surveys)?);
        }
        return print(&format!("{out:#}\n"));
    }
    let mut out = people(&map, at, units);
    if let Some((doubt, many)) = &winds {
        many::winds_people(&mut out, &map, doubt, many, at, units);
    }
    if let Some(surveys) = &surveys {
        many::surveys_people(&mut out, surveys, units);
    }
    match &args.out {
        Some(path) => {
            let which = if winds.is_some() { "Least heights in nine winds of ten" } else { "Least heights" };
            let _ = writeln!(out, "\n{which} above sea level in metres: {}", path.display());
        }
        None => out.push_str("\nWrite the least height of every place down with --out FILE.tif.\n"),
    }
    let others = [
        (&args.count_out, "How many fields are in reach from there"),
        (&args.land_out, "Land covered from there, and lines of usual heights"),
    ];
    for (path, what) in others {
        if let Some(path) = path {
            let _ = writeln!(out, "{what}: {}", path.display());
        }
    }
    said(&mut out, &map);
    print(&out)
}

/// The format of a vector file by its name.
pub(super) fn vector_format(option: &str, path: &Path) -> Result<Format, CliError> {
    Format::of_name(path).ok_or_else(|| {
        let endings: Vec<String> = Format::ALL.iter().map(|f| format!(".{}", f.extension())).collect();
        CliError::BadInput(format!("{option}: {} ends in none of {}", path.display(), endings.join(", ")))
    })
}

/// What an options map is made from.
pub(super) struct Asked {
    pub(super) area: Arc<Area>,
    pub(super) studies: Studies,
    pub(super) conditions: Conditions,
    pub(super) fields_needed: usize,
    since: Option<NotSince>,
}

impl Asked {
    pub(super) fn new(
        area: &super::args::AreaArgs,
        conditions: &super::args::ConditionArgs,
        choice: &super::args::CoverArgs,
    ) -> Result<Self, CliError> {
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
        Ok(Self { area, studies, conditions, fields_needed: choice.fields_needed, since })
    }

    /// Whether a field counts as cover.
    pub(super) fn counts(&self, field: &Field) -> bool {
        self.since.is_none_or(|since| !since.holds(field.surveyed, self.conditions.today))
    }

    pub(super) fn map(&self) -> Result<OptionsMap, CliError> {
        let bar = super::progress::Bar::new("working out least heights");
        let report = |share: f32| sparefield_data::Progress::report(&bar, f64::from(share));
        let counts = |field: &Field| self.counts(field);
        let (area, studies, conditions) = (&self.area, &self.studies, &self.conditions);
        options_map(area, studies, conditions, self.fields_needed, &counts, &report, &|| false).map_err(|e| refused(&e))
    }
}

/// Why there is no options map, as an exit.
pub(super) fn refused(error: &NoOptions) -> CliError {
    match error {
        NoOptions::Assess(AssessError::Reach(ReachError::Cancelled)) | NoOptions::Least(LeastError::Stopped) => {
            CliError::Failure(error.to_string())
        }
        _ => CliError::BadInput(error.to_string()),
    }
}

/// What both documents say about what they rest on.
pub(super) fn common(map: &OptionsMap) -> Value {
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
        "cautions": not_looked_at::options_map_cautions(map),
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

pub(super) fn join(into: &mut Value, from: Value) {
    if let (Some(into), Value::Object(from)) = (into.as_object_mut(), from) {
        into.extend(from);
    }
}

pub(super) fn fields_words(count: usize) -> &'static str {
    match count {
        1 => "a field",
        2 => "two fields",
        _ => "three fields",
    }
}

/// Heights above the ground that are told where none is asked, metres.
fn steps(units: UnitPrefs) -> Vec<f64> {
    let step = match units.height {
        HeightUnit::Ft => 500.0 * 0.304_8,
        HeightUnit::M => 150.0,
    };
    (1..=6).map(|n| f64::from(n) * step).collect()
}

/// Covered cells of those known in per cent, rounded down: cover is not to be flattered.
fn percent((known, covered): (usize, usize)) -> f64 {
    if known == 0 { 0.0 } else { (covered as f64 / known as f64 * 1_000.0).floor() / 10.0 }
}

fn people(map: &OptionsMap, at: Option<f64>, units: UnitPrefs) -> String {
    let needed = map.least.fields_needed();
    let mut out = format!(
        "{}\n{}, {} of {} fields would take it\n\n",
        map.area.title,
        map.conditions.aircraft.name,
        map.demands.len(),
        map.area.fields.len()
    );
    let steps = at.map_or_else(|| steps(units), |height| vec![height]);
    for height in steps {
        let percent = percent(map.least.covered(&map.area.terrain, needed, height));
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
    out
}

pub(super) fn said(out: &mut String, map: &OptionsMap) {
    out.push_str("\nCautions\n");
    for caution in not_looked_at::options_map_cautions(map) {
        let _ = writeln!(out, "{}", text::item("", &caution));
    }
}
