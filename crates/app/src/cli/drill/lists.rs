//! What `drill` lists: the sets, and how a pilot does over time.

use super::super::text::{self, Table};
use super::super::{CliError, print};
use serde_json::{Value, json};
use sparefield_data::quantity::{UnitPrefs, format_day};
use sparefield_geometry::drill::{DrillResult, DrillSet, Progress};
use std::fmt::Write as _;
use std::sync::Arc;

/// The drill sets.
pub(super) fn sets(sets: &[Arc<DrillSet>], as_json: bool) -> Result<(), CliError> {
    if as_json {
        let sets: Vec<Value> = sets
            .iter()
            .map(|s| {
                json!({
                    "id": s.id,
                    "name": s.name,
                    "drills": s.drills,
                    "seed": s.seed,
                    "aircraft": s.aircraft,
                    "lowest_agl_m": s.lowest_agl_m,
                    "highest_agl_m": s.highest_agl_m,
                    "places": s.places.len(),
                    "winds": s.winds.len(),
                    "problem": s.validate().err().map(|e| e.to_string()),
                })
            })
            .collect();
        return print(&format!("{:#}\n", json!({ "sets": sets })));
    }
    if sets.is_empty() {
        return print("There are no drill sets in this area.\n");
    }
    let units = UnitPrefs::default();
    let mut table = Table::new(&["drills", "set", "aircraft", "from", "to"]);
    for set in sets {
        table.row([
            set.drills.to_string(),
            set.name.clone(),
            set.aircraft.clone(),
            units.format_height(set.lowest_agl_m),
            units.format_height(set.highest_agl_m),
        ]);
    }
    print(&table.to_string())
}

/// How one pilot does over time.
pub(super) fn progress(pilot: &str, results: &[&DrillResult], as_json: bool) -> Result<(), CliError> {
    let progress = Progress::of(results);
    if as_json {
        let series: Vec<Value> = progress
            .series
            .iter()
            .map(|d| {
                json!({
                    "date": format_day(d.day),
                    "set": d.set_id,
                    "name": d.set_name,
                    "drills": d.drills,
                    "possible": d.possible,
                    "stopped_in_strip": d.stopped,
                    "median_time_to_choose_s": d.time_to_choose_s.map(|m| m.value),
                    "median_regret_score": d.regret.map(|m| m.value),
                    "base_leg_spread_m": d.base_leg_spread_m,
                })
            })
            .collect();
        let weak: Vec<Value> =
            progress.weak.iter().map(|w| json!({ "what": w.what, "drills": w.drills, "loss": w.loss })).collect();
        let missed: Vec<Value> =
            progress.missed_fields.iter().map(|(name, count)| json!({ "name": name, "times": count })).collect();
        return print(&format!(
            "{:#}\n",
            json!({
                "pilot": pilot,
                "series": series,
                "time_trend_s": progress.time_trend_s,
                "regret_trend_score": progress.regret_trend,
                "base_leg_trend_m": progress.base_leg_trend_m,
                "weak": weak,
                "missed_fields": missed,
            })
        ));
    }
    if results.is_empty() {
        return print(&format!("There are no results of {pilot} in this area.\n"));
    }
    let or_none = |text: Option<String>| text.unwrap_or_else(|| "–".to_owned());
    let units = UnitPrefs::default();
    let mut table = Table::new(&["date", "set", "in strip", "to choose", "regret", "base leg spread"]);
    for day in &progress.series {
        table.row([
            format_day(day.day),
            day.set_name.clone(),
            format!("{} of {}", day.stopped, day.possible),
            or_none(day.time_to_choose_s.map(|m| format!("{:.1} s", m.value))),
            or_none(day.regret.map(|m| format!("{:.2}", m.value))),
            or_none(day.base_leg_spread_m.map(|s| units.format_length(s))),
        ]);
    }
    let mut out = format!("{pilot}\n\n{table}\nWhat costs most (0 nothing, 1 everything)\n");
    for weak in &progress.weak {
        let _ = writeln!(
            out,
            "{}",
            text::item(&format!("{:.2}", weak.loss), &format!("{}, {} drills", weak.what, weak.drills))
        );
    }
    if !progress.missed_fields.is_empty() {
        out.push_str("\nBest, and not chosen\n");
        for (name, count) in progress.missed_fields.iter().take(10) {
            let _ = writeln!(out, "{}", text::item(&format!("{count} ×"), name));
        }
    }
    print(&out)
}
