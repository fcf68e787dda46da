//! `check-round`: the fields that need a look, in the order of a walk or flight from home.

use super::args::CheckRoundArgs;
use super::session::{open_area, unusable};
use super::{CliError, inputs, print, text};
use crate::survey::filter::{Filter, NotSince};
use crate::survey::page::page;
use crate::survey::round::{CheckRound, check_round};
use crate::theme::Palette;
use serde_json::{Value, json};
use sparefield_data::area::Area;
use sparefield_data::quantity::{HeightUnit, LengthUnit, SpeedUnit, UnitPrefs, format_day, parse_day};
use sparefield_geometry::position::{Bearing, Xy};
use std::fmt::Write as _;

/// Units of JSON: SI.
const SI: UnitPrefs = UnitPrefs { height: HeightUnit::M, speed: SpeedUnit::Ms, length: LengthUnit::M };

/// Runs the subcommand.
///
/// # Errors
/// For bad input, or when the page or standard output cannot be written.
pub(super) fn run(args: &CheckRoundArgs) -> Result<(), CliError> {
    let not_since = NotSince::from_words(&args.since).map_err(|why| CliError::BadInput(format!("--since: {why}")))?;
    let today = match args.date.as_deref() {
        None => inputs::today(),
        Some(text) => parse_day(text).map_err(|e| CliError::BadInput(format!("--date: {e}")))?,
    };
    let land = inputs::area(&args.area, None)?;
    let area = open_area(&land).map_err(|e| unusable(&e))?;
    let filter = Filter { not_since, text: args.text.clone().unwrap_or_default(), ..Filter::default() };
    let units = if args.json { SI } else { UnitPrefs::default() };
    let round = check_round(&area, &filter.shown(&area, today), today, units);
    if let Some(path) = &args.page.out {
        let palette = Palette::built_in().map_err(|e| CliError::Failure(e.to_string()))?;
        let paper = CheckRound { units: UnitPrefs::default(), ..round.clone() };
        args.page.save(path, &page(&paper, &area), &palette)?;
    }
    if args.json {
        print(&format!("{:#}\n", document(&round, &area, not_since)?))
    } else {
        print(&people(&round, not_since))
    }
}

fn document(round: &CheckRound, area: &Area, not_since: NotSince) -> Result<Value, CliError> {
    let lon_lat = |at: Xy| -> Result<Value, CliError> {
        let place = area.frame.to_lonlat(at).map_err(|e| CliError::Failure(e.to_string()))?;
        let rounded = |v: f64| (v * 1e8).round() / 1e8;
        Ok(json!([rounded(place.lon_deg), rounded(place.lat_deg)]))
    };
    let stops = round.stops.iter().enumerate().map(|(i, stop)| {
        let look_at: Vec<Value> =
            stop.look_at.iter().map(|l| json!({ "what": l.what, "why": l.why.replace('\u{a0}', " ") })).collect();
        Ok(json!({
            "order": i + 1,
            "id": stop.id,
            "name": stop.label,
            "position": lon_lat(stop.at)?,
            "area_m2": stop.area_m2,
            "leg_m": stop.leg_m,
            "bearing_deg": stop.bearing.map(Bearing::deg),
            "surveyed": stop.surveyed.map(format_day),
            "age_days": stop.standing.age_days,
            "confidence": stop.standing.confidence,
            "look_at": look_at,
        }))
    });
    Ok(json!({
        "date": format_day(round.day),
        "not_looked_at": not_since.words(),
        "start": lon_lat(round.start)?,
        "length_m": round.length_m,
        "back_m": round.back_m,
        "left_out": round.left_out,
        "fields": stops.collect::<Result<Vec<_>, CliError>>()?,
    }))
}

fn people(round: &CheckRound, not_since: NotSince) -> String {
    let mut out = format!("{}\n", round.area);
    if round.stops.is_empty() {
        let _ = writeln!(out, "\nNothing to do: every field was looked at since then ({}).", not_since.words());
        return out;
    }
    let _ = writeln!(out, "Fields not looked at {}: {}", not_since.words(), round.summary());
    for (i, stop) in round.stops.iter().enumerate() {
        let _ = writeln!(out, "\n{}. {} ({}), {}", i + 1, stop.label, stop.id, round.leg_words(i));
        for look in &stop.look_at {
            let _ = writeln!(out, "{}", text::item(&look.what.to_lowercase(), &look.why));
        }
    }
    out
}
