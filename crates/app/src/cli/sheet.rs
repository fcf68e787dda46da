//! `sheet`: one field on one page, as in the window.

use super::args::SheetArgs;
use super::session::{open_area, unusable};
use super::{CliError, inputs, print};
use crate::assess::AssessError;
use crate::sheet::page::{PageLook, page};
use crate::sheet::{Ask, Made, One, make, words};
use crate::theme::Palette;
use serde_json::{Value, json};
use sparefield_data::area::Area;
use sparefield_data::quantity::{HeightUnit, LengthUnit, SpeedUnit, UnitPrefs, format_day};
use sparefield_geometry::fields::hazards::HazardIndex;
use sparefield_geometry::fields::sheet::{ApproachThing, Landing, Way};
use sparefield_geometry::position::Bearing;
use std::sync::Arc;

/// Units of JSON: SI.
const SI: UnitPrefs = UnitPrefs { height: HeightUnit::M, speed: SpeedUnit::Ms, length: LengthUnit::M };

/// Runs the subcommand.
///
/// # Errors
/// For bad input, or when the page or standard output cannot be written.
pub(super) fn run(args: &SheetArgs) -> Result<(), CliError> {
    if args.page.out.is_none() && !args.json {
        return Err(CliError::BadInput(
            "--out is missing: name the page to write, such as --out field.pdf, or print numbers with --json".into(),
        ));
    }
    let land = inputs::area(&args.area, None)?;
    let wind = inputs::wind(&args.conditions)?;
    let rules = inputs::rules(&args.conditions)?;
    let today = inputs::day(&args.conditions)?;
    let aircraft = inputs::aircraft(&args.conditions)?;
    let area = Arc::new(open_area(&land).map_err(|e| unusable(&e))?);
    let field = find(&area, "--field", &args.field)?;
    let beside = args.compare.as_deref().map(|name| find(&area, "--compare", name)).transpose()?;
    if beside == Some(field) {
        return Err(CliError::BadInput("--compare names the same field as --field; name another".into()));
    }
    let position = area.home.as_ref().map_or_else(|| area.centre(), |h| h.position);
    let hazards = HazardIndex::new(area.hazards.as_ref().clone());
    let ask = Ask { area, field, beside, aircraft: Arc::new(aircraft.value), wind, position, rules, today };
    let made = make(&ask, &hazards).map_err(|e: AssessError| CliError::BadInput(e.to_string()))?;
    let units = inputs::units_of("ft", &args.conditions);
    if let Some(path) = &args.page.out {
        let palette = Palette::built_in().map_err(|e| CliError::Failure(e.to_string()))?;
        let document = page(&made, &PageLook { units, way: None, palette: &palette, present: None });
        args.page.save(path, &document, &palette)?;
    }
    if args.json {
        print(&format!("{:#}\n", document(&made)))
    } else {
        let lines = made.sheets.iter().map(|one| {
            format!("{}: {}\n{}\n", one.field.label(), words::headline(one, units), words::directions(one, units))
        });
        print(&lines.collect::<String>())
    }
}

/// The field of an identifier, or else of a name that only one field has.
fn find(area: &Area, option: &str, wanted: &str) -> Result<usize, CliError> {
    if let Some(index) = area.fields.iter().position(|f| f.id == wanted) {
        return Ok(index);
    }
    let named: Vec<usize> = area
        .fields
        .iter()
        .enumerate()
        .filter(|(_, f)| f.name.to_lowercase() == wanted.trim().to_lowercase())
        .map(|(i, _)| i)
        .collect();
    match (named.as_slice(), area.fields.first()) {
        ([one], _) => Ok(*one),
        ([], Some(first)) => Err(CliError::BadInput(format!(
            "{option}: no field has the identifier or name “{wanted}”; identifiers look like “{}”, and rank --json lists \
             them all",
            first.id
        ))),
        ([], None) => Err(CliError::BadInput("there are no fields in this area; name some with --fields".into())),
        (several, _) => {
            let ids: Vec<&str> = several.iter().take(5).map(|&i| area.fields[i].id.as_str()).collect();
            Err(CliError::BadInput(format!(
                "{option}: {} fields are called “{wanted}”; name one by its identifier: {}",
                several.len(),
                ids.join(", ")
            )))
        }
    }
}

fn document(made: &Made) -> Value {
    json!({
        "aircraft": made.ask.aircraft.name,
        "date": format_day(made.ask.today),
        "fields": made.sheets.iter().map(field).collect::<Vec<_>>(),
        "differences": match &made.sheets[..] {
            [first, second] => words::differences(first, second, SI).iter().map(|d| plain(&d.said)).collect(),
            _ => Vec::new(),
        },
        "not_counted": words::REACH_NOT_COUNTED,
    })
}

fn field(one: &One) -> Value {
    let degrees = |grid: Bearing| one.true_bearing(grid).deg();
    let rose: Vec<Value> = one
        .sheet
        .rose
        .iter()
        .map(|bar| {
            json!({
                "wind_from_deg": degrees(bar.wind_from),
                "landing": bar.landing.as_ref().map(|l| landing(one, l)),
            })
        })
        .collect();
    let strips: Vec<Value> = one
        .sheet
        .strips
        .iter()
        .map(|s| json!({ "best_in_directions": s.best_in, "ways": s.ways.iter().map(|w| way(one, w)).collect::<Vec<_>>() }))
        .collect();
    let assumptions: Vec<Value> = one
        .sheet
        .assumptions
        .iter()
        .zip(words::assumptions(one, SI).into_iter().flat_map(|(_, list)| list))
        .map(|(a, said)| json!({ "group": a.group, "text": plain(&said.text), "source": a.source, "decides": a.decides }))
        .collect();
    json!({
        "id": one.field.id,
        "name": one.field.name,
        "area_m2": one.sheet.area_m2,
        "wind": { "from_deg": one.wind_from().map(Bearing::deg), "speed_ms": one.sheet.wind.speed_ms() },
        "headline": plain(&words::headline(one, SI)),
        "directions_served": one.sheet.directions_served(),
        "best": one.sheet.best().map(|w| landing(one, &w.landing)),
        "rose": rose,
        "strips": strips,
        "assumptions": assumptions,
    })
}

fn landing(one: &One, landing: &Landing) -> Value {
    let strip = &landing.strip;
    let gates: Vec<String> =
        landing.gates().map(|g| plain(&crate::views::list::words(g, SI, one.convergence_rad))).collect();
    json!({
        "heading_deg": one.true_bearing(strip.heading).deg(),
        "length_m": strip.length_m,
        "displacement_m": strip.displacement_m,
        "usable_length_m": strip.usable_length_m,
        "needed_length_m": strip.needed_length_m,
        "headwind_ms": strip.headwind_ms,
        "crosswind_ms": strip.crosswind_ms,
        "slope_percent": strip.slope.map(|v| v * 100.0),
        "slope_error_percent": strip.slope_error.map(|v| v * 100.0),
        "passes": landing.passes(),
        "gates": gates,
    })
}

fn way(one: &One, way: &Way) -> Value {
    let mut value = landing(one, &way.landing);
    let approach = &way.approach;
    value["aiming_m"] = way.placing.aiming_m.into();
    value["run_per_height"] = json!(approach.run_per_height);
    value["under_approach"] = approach.things.iter().map(thing).collect();
    value["ground"] = way
        .slope
        .stations
        .iter()
        .map(|s| {
            json!({
                "along_m": s.along_m,
                "height_m": s.height_m,
                "slope_percent": s.slope.map(|v| v * 100.0),
                "cross_slope_percent": s.cross_slope.map(|v| v * 100.0),
            })
        })
        .collect();
    value
}

fn thing(thing: &ApproachThing) -> Value {
    json!({
        "what": thing.what.words(),
        "name": thing.name,
        "height_m": thing.stands_m,
        "assumed": thing.assumed,
        "before_m": thing.before_m,
        "top_m": thing.top_m,
        "displacement_m": thing.displacement_m,
        "clearance_m": thing.clearance_m,
        "aimed_clearance_m": thing.aimed_clearance_m,
        "wires_not_cleared": thing.wires_not_cleared,
    })
}

/// Ordinary spaces for programs that read JSON.
fn plain(text: &str) -> String {
    text.replace('\u{a0}', " ")
}
