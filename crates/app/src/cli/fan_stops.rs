//! `fan-stops`: from which heights and headings over the home strip a circuit onto it works, and what was practised.

use super::args::FanStopsArgs;
use super::drill::chosen_set;
use super::session::{open_area, unusable};
use super::text::{self, Table};
use super::{CliError, inputs, print};
use crate::assess::{Conditions, HeightInput, StateInput};
use crate::drill::aircraft_of;
use crate::fan_stops::{FanState, FanStops, Practised, fan_set, fan_stops, page, practised, words};
use crate::not_looked_at;
use crate::theme::Palette;
use serde_json::{Value, json};
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::circuit::NoCircuit;
use sparefield_geometry::drill::{DrillResult, FanCell, FanRecord, HEADINGS, HEIGHT_STEPS};
use sparefield_geometry::position::Xy;
use std::fmt::Write as _;
use std::sync::Arc;

/// Runs the subcommand.
///
/// # Errors
/// For bad input, or when a file or standard output cannot be written.
pub(super) fn run(args: &FanStopsArgs) -> Result<(), CliError> {
    let bad = |e: &dyn std::fmt::Display| CliError::BadInput(e.to_string());
    let area = Arc::new(open_area(&inputs::area(&args.area, None)?).map_err(|e| unusable(&e))?);
    let named = args.set.as_deref().map(|name| chosen_set(&area.drill_sets, Some(name))).transpose()?;
    let named = named.and_then(|named| area.drill_sets.iter().find(|set| set.id == named.id));
    let set = match named {
        // Named, it is the one that is meant, even where it has none.
        Some(named) => named,
        None => fan_set(&area, None).ok_or_else(|| bad(&crate::fan_stops::NoFanStops::NoSet))?,
    };
    let aircraft = match &args.conditions.aircraft {
        Some(_) => inputs::aircraft(&args.conditions)?.value,
        None => aircraft_of(set, &[]).map_err(|e| bad(&e))?,
    };
    let conditions = Conditions {
        aircraft,
        wind: inputs::wind(&args.conditions)?,
        // Fan stops set their own.
        state: StateInput { position: Xy::default(), height: HeightInput::AboveGround(0.0), heading: None },
        rules: inputs::rules(&args.conditions)?,
        today: inputs::day(&args.conditions)?,
    };
    let stops = fan_stops(&area, set, &conditions, &|| false, &|_| {}).map_err(|e| bad(&e))?;
    let pilot = args.pilot.as_deref().map(str::trim).filter(|pilot| !pilot.is_empty());
    let own = pilot.map(|pilot| {
        let own: Vec<&DrillResult> =
            area.drill_results.iter().map(AsRef::as_ref).filter(|r| r.pilot == pilot).collect();
        let seed = area.drill_results.len() as u64;
        practised(&area, set, &own, seed).map(|practised| (pilot, practised))
    });
    let own = own.transpose().map_err(|e| bad(&e))?;
    let own = own.as_ref().map(|(pilot, practised)| (*pilot, practised));
    let units = UnitPrefs::default();
    if let Some(path) = &args.page.out {
        let palette = Palette::built_in().map_err(|e| CliError::Failure(e.to_string()))?;
        args.page.save(path, &page(&stops, own, units), &palette)?;
    }
    if args.json { print(&format!("{:#}\n", document(&stops, own))) } else { print(&people(&stops, own, units)) }
}

fn people(stops: &FanStops, own: Option<(&str, &Practised)>, units: UnitPrefs) -> String {
    let mut out = format!("{}\n{}\n", stops.area.title, words::title(&stops.area));
    let _ = writeln!(out, "{}\n\nHeading by height above the ground", words::flown_with(stops, units));
    let _ = writeln!(out, "{}", table(stops, units, &|cell| words::state_short(stops, stops.state(cell), units)));
    let _ = writeln!(out, "{}\n", words::headline(stops, units));
    if let Some((pilot, practised)) = own {
        let _ = writeln!(
            out,
            "{pilot}\n{}",
            table(stops, units, &|cell| { words::record_short(&practised.records[cell.index()]) })
        );
        let next = words::next(&stops.area, &stops.set, practised, units);
        let _ = writeln!(out, "{} {next}\n", words::practice(practised));
    }
    for caution in not_looked_at::fan_stop_cautions(&stops.area) {
        let _ = writeln!(out, "{}", text::item("", &caution));
    }
    out
}

fn table(stops: &FanStops, units: UnitPrefs, say: &dyn Fn(FanCell) -> String) -> Table {
    let heights: Vec<String> = (0..HEIGHT_STEPS).map(|step| words::heights(&stops.set, step, units)).collect();
    let mut head = vec!["heading"];
    head.extend(heights.iter().map(String::as_str));
    let mut table = Table::new(&head);
    for direction in 0..HEADINGS {
        let mut cells: [String; HEIGHT_STEPS + 1] = core::array::from_fn(|_| String::new());
        cells[0] = words::heading(&stops.area, direction);
        for step in 0..HEIGHT_STEPS {
            cells[step + 1] = say(FanCell::new(step, direction));
        }
        table.row(cells);
    }
    table
}

fn document(stops: &FanStops, own: Option<(&str, &Practised)>) -> Value {
    let place = stops.area.home.as_ref().map_or_else(Xy::default, |h| h.position);
    let cells = FanCell::all().map(|cell| {
        let (low, high) = cell.heights_agl_m(&stops.set);
        json!({
            "heading_deg": stops.area.to_true(cell.heading(), place).deg(),
            "lowest_agl_m": low,
            "highest_agl_m": high,
            "computed": state_json(stops, stops.state(cell)),
            "practised": own.map(|(_, practised)| record_json(&practised.records[cell.index()])),
        })
    });
    json!({
        "set": { "id": stops.set.id, "name": stops.set.name },
        "aircraft": stops.conditions.aircraft.name,
        "pilot": own.map(|(pilot, _)| pilot),
        "runways": stops.landings.iter().map(|l| l.runway.as_str()).collect::<Vec<_>>(),
        "in_reach": stops.in_reach(),
        "next": own.and_then(|(_, practised)| practised.next).map(FanCell::index),
        "cells": cells.collect::<Vec<Value>>(),
        "cautions": not_looked_at::fan_stop_cautions(&stops.area),
    })
}

fn state_json(stops: &FanStops, state: &FanState) -> Value {
    let (way, short_by_m, why) = match &state.way {
        Ok(way) => (Some(way), None, None),
        Err(NoCircuit::TooLow { short_by_m }) => (None, Some(*short_by_m), Some("every way round needs more height")),
        Err(why) => (None, None, Some(why.words())),
    };
    json!({
        "height_agl_m": state.height_agl_m,
        "works": way.is_some(),
        "spare_height_m": way.map(|w| w.spare_m),
        "short_by_m": short_by_m,
        "why": why,
        "runway": way.map(|w| stops.landings[w.landing].runway.as_str()),
        "join": way.map(|w| w.join.words()),
        "hand": way.map(|w| crate::circuits::words::hand(w.hand)),
        "too_high_to_use_up": way.map(|w| w.too_high),
    })
}

fn record_json(record: &FanRecord) -> Value {
    json!({
        "drills": record.drills,
        "stopped_in_strip": record.stopped,
        "share": record.share(),
        "last_outcome": record.last.as_ref().map(|last| &last.outcome),
    })
}
