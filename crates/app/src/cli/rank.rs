//! `rank`: the fields in the order in which to choose them, with the reasons.

use super::args::RankArgs;
use super::session::Session;
use super::text::{self, Table};
use super::{CliError, print};
use crate::assess::Assessment;
use serde_json::{Map, Value, json};
use sparefield_data::quantity::{HeightUnit, LengthUnit, SpeedUnit, UnitPrefs, format_bearing};
use sparefield_geometry::fields::verdict::{RankedField, ReasonKind, Verdict};
use sparefield_geometry::position::Bearing;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// How many usable fields are listed for people; JSON has all.
const LISTED: usize = 12;
/// How many of them with their reasons.
const EXPLAINED: usize = 3;

/// Units of JSON: SI.
const SI: UnitPrefs = UnitPrefs { height: HeightUnit::M, speed: SpeedUnit::Ms, length: LengthUnit::M };

/// Runs the subcommand.
///
/// # Errors
/// For bad input, or when standard output cannot be written.
pub(super) fn run(args: &RankArgs) -> Result<(), CliError> {
    let session = Session::open(&args.area, &args.state, &args.conditions)?;
    let assessment = session.assess()?;
    if args.json {
        print(&format!("{:#}\n", document(&session, &assessment)?))
    } else {
        print(&people(&session, &assessment)?)
    }
}

fn document(session: &Session, assessment: &Assessment) -> Result<Value, CliError> {
    let fields = assessment.ranked.iter().map(|r| field(session, r)).collect::<Result<Vec<_>, _>>()?;
    Ok(json!({
        "state": session.state_json(assessment)?,
        "area": session.area.title,
        "crs": session.area.frame.epsg().map(|code| format!("EPSG:{code}")),
        "aircraft": session.conditions.aircraft.name,
        "wind": session.wind_json(assessment),
        "date": sparefield_data::quantity::format_day(session.conditions.today),
        "cautions": session.cautions(assessment, SI),
        "fields": fields,
    }))
}

fn field(session: &Session, ranked: &RankedField) -> Result<Value, CliError> {
    let field = &session.area.fields[ranked.index];
    let strip = ranked
        .strip
        .as_ref()
        .map(|s| {
            let mut strip = json!({
                "heading_deg": session.true_deg(s.heading, s.start),
                "length_m": s.length_m,
                "usable_length_m": s.usable_length_m,
                "needed_length_m": s.needed_length_m,
                "displacement_m": s.displacement_m,
                "width_m": s.width_m,
                "slope_percent": s.slope.map(|v| v * 100.0),
                "cross_slope_percent": s.cross_slope.map(|v| v * 100.0),
                "slope_error_percent": s.slope_error.map(|v| v * 100.0),
                "headwind_ms": s.headwind_ms,
                "crosswind_ms": s.crosswind_ms,
                "threshold": session.lon_lat(s.start)?,
                "end": session.lon_lat(s.end)?,
            });
            let factors: Vec<Value> =
                s.factors.iter().map(|f| json!({ "what": f.what, "value": f.value, "source": f.source })).collect();
            strip["factors"] = factors.into();
            Ok::<_, CliError>(strip)
        })
        .transpose()?;
    let not_known: Vec<&str> = ranked.criteria.iter().filter(|c| !c.known).map(|c| c.kind.key()).collect();
    let criteria: Map<String, Value> =
        ranked.criteria.iter().map(|c| (c.kind.key().to_owned(), json!(c.value))).collect();
    Ok(json!({
        "id": field.id,
        "name": field.name,
        "rank": ranked.rank,
        "verdict": ranked.verdict,
        "score": ranked.score,
        "arrival_height_m": ranked.arrival_height_m,
        "circuit_height_m": ranked.circuit_height_m,
        "spare_height_m": ranked.spare_height_m,
        "strip": strip,
        "criteria": criteria,
        "criteria_not_known": not_known,
        "reasons": ranked.reasons.iter().map(|r| plain(&session.reason(r, field.centroid(), SI))).collect::<Vec<_>>(),
    }))
}

fn people(session: &Session, assessment: &Assessment) -> Result<String, CliError> {
    let units = session.units;
    let mut out = session.heading_lines(assessment)?;
    let usable: Vec<&RankedField> = assessment.ranked.iter().filter(|r| r.verdict != Verdict::Out).collect();
    if assessment.ranked.is_empty() {
        out.push_str("\nThere are no fields in this area, so there is nothing to rank; name some with --fields.\n");
    } else if usable.is_empty() {
        out.push_str("\nNo field here passes every check from this height in this wind.\n");
    } else {
        let mut table =
            Table::new(&["#", "field", "verdict", "land", "usable", "needed", "head", "cross", "spare height"]);
        for ranked in usable.iter().take(LISTED) {
            let field = &session.area.fields[ranked.index];
            let (land, usable_m, needed_m, head, cross) = match &ranked.strip {
                Some(s) => (
                    format_bearing(Bearing::from_deg(session.true_deg(s.heading, s.start))),
                    units.format_length_at_least(s.usable_length_m),
                    units.format_length_at_most(s.needed_length_m),
                    units.format_speed(s.headwind_ms),
                    units.format_speed(s.crosswind_ms.abs()),
                ),
                None => ("–".into(), "–".into(), "–".into(), "–".into(), "–".into()),
            };
            let spare = ranked.spare_height_m.map_or_else(|| "–".to_owned(), |h| units.format_height_at_least(h));
            table.row([
                ranked.rank.to_string(),
                field.label().to_owned(),
                ranked.verdict.words().to_owned(),
                land,
                usable_m,
                needed_m,
                head,
                cross,
                spare,
            ]);
        }
        let _ = write!(out, "\n{table}");
        if usable.len() > LISTED {
            let _ = writeln!(out, "… and {} more; --json lists them all.", usable.len() - LISTED);
        }
    }
    let explained: Vec<&RankedField> =
        if usable.is_empty() { assessment.ranked.iter().collect() } else { usable.clone() };
    for ranked in explained.into_iter().take(EXPLAINED) {
        let field = &session.area.fields[ranked.index];
        let _ = writeln!(out, "\n{} {} ({})", ranked.rank, field.label(), ranked.verdict.words());
        for reason in &ranked.reasons {
            let words = session.reason(reason, field.centroid(), units);
            let _ = writeln!(out, "{}", text::item(kind_words(reason.kind), &words));
        }
    }
    let gates = gates(assessment);
    if !gates.is_empty() {
        let _ = writeln!(out, "\n{} of {} fields are out:", gates.values().sum::<usize>(), assessment.ranked.len());
        let mut gates: Vec<(String, usize)> = gates.into_iter().collect();
        gates.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(&b.0)));
        for (why, count) in gates {
            let _ = writeln!(out, "{}", text::item(&count.to_string(), &why));
        }
    }
    out.push_str("\nCautions\n");
    for caution in session.cautions(assessment, units) {
        let _ = writeln!(out, "{}", text::item("", &caution));
    }
    Ok(out)
}

/// Ordinary spaces for programs that read JSON.
fn plain(text: &str) -> String {
    text.replace('\u{a0}', " ")
}

/// How many fields fall to which gate; the first gate of a field counts, its numbers left out.
fn gates(assessment: &Assessment) -> BTreeMap<String, usize> {
    let mut gates = BTreeMap::new();
    for ranked in assessment.ranked.iter().filter(|r| r.verdict == Verdict::Out) {
        let gate = ranked.reasons.iter().find(|r| r.kind == ReasonKind::Gate);
        *gates.entry(gate.map_or_else(|| "not usable".to_owned(), |r| gist(&r.template))).or_insert(0) += 1;
    }
    gates
}

/// The gist of a gate's sentence: without its numbers, up to the first stop.
fn gist(template: &str) -> String {
    let mut words = String::new();
    let mut rest = template;
    while let Some((before, behind)) = rest.split_once('{') {
        words.push_str(before);
        rest = behind.split_once('}').map_or("", |(_, after)| after);
    }
    words.push_str(rest);
    let first = words.split([':', ';', '(', ',']).next().unwrap_or_default();
    let mut kept: Vec<&str> = first.split_whitespace().collect();
    while matches!(kept.last(), Some(&("by" | "of" | "at" | "to" | "than" | "is" | "only" | "a" | "with"))) {
        kept.pop();
    }
    if kept.is_empty() { template.to_owned() } else { kept.join(" ") }
}

fn kind_words(kind: ReasonKind) -> &'static str {
    match kind {
        ReasonKind::Gate => "out",
        ReasonKind::Limit => "limit",
        ReasonKind::NotKnown => "not known",
        ReasonKind::Note => "note",
        ReasonKind::Good => "for it",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_gist_of_a_gate_has_no_numbers() {
        for (template, expected) in [
            ("not in reach", "not in reach"),
            ("too short by {0}: {1} usable, {2} needed", "too short"),
            ("{0} too low for a circuit: arrives {1} above it", "too low for a circuit"),
            ("tall crop: expect to turn over", "tall crop"),
            ("{0}", "{0}"),
        ] {
            assert_eq!(gist(template), expected);
        }
    }
}
