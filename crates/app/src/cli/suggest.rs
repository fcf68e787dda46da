//! `suggest`: fields nobody has drawn, as a list with what was checked and what was not, and as GeoJSON.

use super::args::SuggestArgs;
use super::session::{open_area, unusable};
use super::{CliError, inputs, print, progress, text};
use crate::suggest::{SuggestFailure, SuggestRequest, Suggested, middle, suggest_fields};
use serde_json::{Map, Value, json};
use sparefield_data::area::Area;
use sparefield_data::quantity::{format_bearing, format_position, format_slope};
use sparefield_data::vector::{ExportFeature, field_features, write_geojson};
use sparefield_geometry::position::Xy;
use sparefield_geometry::suggest::{Options, Proposal};
use std::collections::BTreeSet;
use std::fmt::Write as _;

/// Proposals shown to people; all are in the files.
const SHOWN: usize = 15;

/// Runs the subcommand.
///
/// # Errors
/// For bad input, or when a file or standard output cannot be written.
pub(super) fn run(args: &SuggestArgs) -> Result<(), CliError> {
    let at = inputs::position("--at", args.at.as_deref())?;
    let land = inputs::area(&args.area, at)?;
    let options = options(args)?;
    let within = inputs::length_m("--within", args.within.as_deref(), 100.0..=100_000.0)?;
    let area = open_area(&land).map_err(|e| unusable(&e))?;
    let position = at
        .map(|place| {
            area.frame.to_xy(place).map_err(|_no_image| {
                CliError::BadInput(format!("--at: {} is not in this area", format_position(place)))
            })
        })
        .transpose()?;
    let window = within.map(|half| {
        let centre = position.or_else(|| area.home.as_ref().map(|h| h.position)).unwrap_or_else(|| area.centre());
        (centre - Xy::new(half, half), centre + Xy::new(half, half))
    });
    let request = SuggestRequest {
        options,
        window,
        land_cover: args.land_cover.clone(),
        classes: args.classes.clone(),
        surface_model: args.surface_model.clone(),
        ignore_fields: args.ignore_fields,
    };
    let bar = progress::Bar::new("suggesting fields");
    let found = suggest_fields(&area, &request, &bar);
    drop(bar);
    let found = found.map_err(|e| match e {
        SuggestFailure::File(e) => unusable(&e),
        other => CliError::BadInput(other.to_string()),
    })?;
    if let Some(path) = &args.out {
        write_geojson(path, &features(&area, &found), &area.frame).map_err(|e| CliError::Failure(e.to_string()))?;
    }
    if args.json {
        print(&format!("{:#}\n", document(&area, &found, &options)?))
    } else {
        print(&people(&area, &found, &options, args)?)
    }
}

fn options(args: &SuggestArgs) -> Result<Options, CliError> {
    let aircraft = inputs::aircraft_named(args.aircraft.as_deref())?.value;
    let safety = inputs::safety_factor(args.safety_factor.as_deref())?;
    let own = Options::of(&aircraft, safety);
    Ok(Options {
        needed_m: inputs::length_m("--length", args.length.as_deref(), 20.0..=5_000.0)?.unwrap_or(own.needed_m),
        strip_width_m: inputs::length_m("--width", args.width.as_deref(), 2.0..=200.0)?.unwrap_or(own.strip_width_m),
        most: args.most.max(1),
        ..own
    })
}

/// The proposals as fields, with what was found out about each in further columns.
fn features(area: &Area, found: &Suggested) -> Vec<ExportFeature> {
    let mut features = field_features(&found.fields(area));
    for ((rank, feature), proposal) in features.iter_mut().enumerate().zip(&found.suggestions.proposals) {
        let mut put = |key: &str, value: Value| feature.properties.push((key.to_owned(), value));
        put("rank", json!(rank + 1));
        for (key, value) in facts(area, proposal) {
            put(&key, value);
        }
    }
    features
}

fn rounded(value: f64, step: f64) -> f64 {
    // Back through text, so that 0.1 is 0.1.
    let digits = if step >= 1.0 {
        0
    } else if step >= 0.1 {
        1
    } else {
        3
    };
    format!("{value:.digits$}").parse().unwrap_or(value)
}

/// What was found out about a proposal, unit in the key. Lengths are rounded down.
fn facts(area: &Area, p: &Proposal) -> Map<String, Value> {
    let down = |metres: f64| rounded(metres.floor(), 1.0);
    let mut facts = Map::new();
    let mut put = |key: &str, value: Value| facts.insert(key.to_owned(), value);
    put("score", json!(rounded(p.score, 0.001)));
    put(
        "score_parts",
        p.parts.iter().map(|part| (part.kind.words().to_owned(), json!(rounded(part.value, 0.001)))).collect(),
    );
    put("strip_heading_deg", json!(rounded(area.to_true(p.strip.heading, middle(p)).deg(), 0.1)));
    put("strip_length_m", json!(down(p.usable_m)));
    put("strip_width_m", json!(rounded(p.strip.width_m, 0.1)));
    put("needed_m", json!(rounded(p.needed_m.ceil(), 1.0)));
    put("slope_along", json!(p.ground.map(|g| rounded(g.slope, 0.001))));
    put("slope_along_error", json!(p.ground.map(|g| rounded(g.slope_error, 0.001))));
    put("slope_across", json!(p.ground.map(|g| rounded(g.cross_slope, 0.001))));
    put("roughness_m", json!(p.ground.map(|g| rounded(g.roughness_m, 0.001))));
    put("beyond_start_m", json!(p.beyond_ends_m[0].map(|h| rounded(h, 0.1))));
    put("beyond_end_m", json!(p.beyond_ends_m[1].map(|h| rounded(h, 0.1))));
    put("land_cover", json!(p.cover.map(|c| c.used.words())));
    put("land_cover_right", json!(p.cover.map(|c| rounded(c.right, 0.001))));
    put("checked", p.checked.iter().map(|c| c.words()).collect());
    put("not_checked", p.not_checked.iter().map(|c| c.words()).collect());
    facts
}

fn place(area: &Area, at: Xy) -> Result<sparefield_geometry::position::LonLat, CliError> {
    area.frame.to_lonlat(at).map_err(|e| CliError::Failure(e.to_string()))
}

fn document(area: &Area, found: &Suggested, options: &Options) -> Result<Value, CliError> {
    let s = &found.suggestions;
    let mut proposals = Vec::with_capacity(s.proposals.len());
    for (i, (p, field)) in s.proposals.iter().zip(found.fields(area)).enumerate() {
        let at = place(area, middle(p))?;
        let mut entry = Map::new();
        entry.insert("rank".into(), json!(i + 1));
        entry.insert("id".into(), json!(field.id));
        entry.insert("position".into(), json!([rounded8(at.lon_deg), rounded8(at.lat_deg)]));
        entry.insert("area_m2".into(), json!(field.area_m2().round()));
        entry.extend(facts(area, p));
        proposals.push(Value::Object(entry));
    }
    Ok(json!({
        "note": NOTE,
        "needed_m": rounded(options.needed_m.ceil(), 1.0),
        "strip_width_m": options.strip_width_m,
        "cell_m": s.cell_m,
        "searched_m2": s.searched_m2.round(),
        "free_m2": s.free_m2.round(),
        "dead_level_m2": s.dead_level_m2.round(),
        "proposals": proposals,
        "warnings": warnings(area, found),
        "sources": area.provenance.iter().chain(&found.provenance).collect::<Vec<_>>(),
    }))
}

fn rounded8(value: f64) -> f64 {
    (value * 1e8).round() / 1e8
}

const NOTE: &str = "Suggested by the computer from maps and heights; nobody has looked at these places. Look at imagery \
                    and walk the field before counting on it.";

fn warnings(area: &Area, found: &Suggested) -> Vec<String> {
    area.warnings.iter().chain(&found.warnings).map(|w| format!("Data: {w}.")).collect()
}

fn people(area: &Area, found: &Suggested, options: &Options, args: &SuggestArgs) -> Result<String, CliError> {
    let s = &found.suggestions;
    let mut out = String::new();
    let _ = writeln!(out, "{}", area.title);
    let _ = writeln!(
        out,
        "Looked for strips of {:.0} m × {:.0} m on {:.1} km² in cells of {} m; {:.1} km² are neither steep nor taken.",
        options.needed_m.ceil(),
        options.strip_width_m,
        s.searched_m2 / 1e6,
        rounded(s.cell_m, 0.1),
        s.free_m2 / 1e6
    );
    if let Some(left_out) = found.left_out() {
        let _ = writeln!(out, "{left_out}");
    }
    if s.proposals.is_empty() {
        let known = if args.ignore_fields || area.fields.is_empty() {
            ""
        } else {
            " Known fields are left out; --ignore-fields looks at them too."
        };
        let _ = writeln!(out, "\nNothing to suggest.{known}");
    } else {
        let mut table =
            text::Table::new(&["", "where", "land cover", "score", "strip", "length", "slope", "across", "in the way"]);
        for (i, p) in s.proposals.iter().take(SHOWN).enumerate() {
            let slope = |value: Option<f64>| value.map_or_else(|| "?".to_owned(), format_slope);
            let beyond: Vec<String> = p
                .beyond_ends_m
                .iter()
                .map(|h| h.map_or_else(|| "?".to_owned(), |h| format!("{:.0}", h.ceil())))
                .collect();
            let heading = area.to_true(p.strip.heading, middle(p));
            table.row([
                (i + 1).to_string(),
                format_position(place(area, middle(p))?),
                p.cover.map_or_else(|| "?".to_owned(), |c| c.used.words().to_owned()),
                format!("{:.2}", (p.score * 100.0).floor() / 100.0),
                format_bearing(heading),
                format!("{:.0} m", p.usable_m.floor()),
                slope(p.ground.map(|g| g.slope)),
                slope(p.ground.map(|g| g.cross_slope)),
                format!("{} m", beyond.join("/")),
            ]);
        }
        let _ = write!(out, "\n{} suggested\n{table}", s.proposals.len());
        if s.proposals.len() > SHOWN {
            let _ = writeln!(out, " and {} more", s.proposals.len() - SHOWN);
        }
        let checked: BTreeSet<_> = s.proposals.iter().flat_map(|p| &p.checked).collect();
        let not: BTreeSet<_> = s.proposals.iter().flat_map(|p| &p.not_checked).collect();
        out.push_str("\nChecked, of all or some\n");
        for c in checked {
            let _ = writeln!(out, "{}", text::item("", c.words()));
        }
        out.push_str("\nNot checked, of all or some\n");
        for n in not {
            let _ = writeln!(out, "{}", text::item("", n.words()));
        }
    }
    match &args.out {
        Some(path) => {
            let _ = writeln!(out, "\nWritten: {}", path.display());
        }
        None => out.push_str("\nWrite them down with --out FILE.geojson.\n"),
    }
    out.push_str("\nCautions\n");
    for caution in std::iter::once(NOTE.to_owned()).chain(warnings(area, found)) {
        let _ = writeln!(out, "{}", text::item("", &caution));
    }
    Ok(out)
}
