//! `card`: the area on a few sheets, for the wall and the map case; its fields for other programs.

use super::args::CardArgs;
use super::options::{refused, vector_format};
use super::session::{lon_lat, open_area, unusable};
use super::{CliError, climb_out, inputs, print};
use crate::area_card::{AreaCard, Row, area_card, heights_of, page};
use crate::assess::{Conditions, HeightInput, StateInput, wind_words};
use crate::layer_export::{cautions_of_fields, judged_fields};
use crate::not_looked_at;
use crate::theme::Palette;
use serde_json::{Value, json};
use sparefield_data::quantity::{UnitPrefs, format_day};
use sparefield_data::vector::write_vector_about;
use sparefield_geometry::fields::verdict::Verdict;
use sparefield_geometry::position::Xy;
use std::fmt::Write as _;
use std::sync::Arc;

/// Runs the subcommand.
///
/// # Errors
/// For bad input, or when the pages or standard output cannot be written.
pub(super) fn run(args: &CardArgs) -> Result<(), CliError> {
    if args.page.out.is_none() && args.fields_out.is_none() && !args.json {
        let problem = "--out is missing: name the card to write, such as --out card.pdf";
        return Err(CliError::BadInput(format!("{problem}, or ask for --fields-out or --json")));
    }
    let fields_format = args.fields_out.as_deref().map(|path| vector_format("--fields-out", path)).transpose()?;
    let heights = heights_of(&args.heights).map_err(|e| CliError::BadInput(format!("--heights: {e}")))?;
    let land = inputs::area(&args.area, None)?;
    let conditions = Conditions {
        aircraft: inputs::aircraft(&args.conditions)?.value,
        wind: inputs::wind(&args.conditions)?,
        // The card knows no one place.
        state: StateInput { position: Xy::default(), height: HeightInput::AboveGround(0.0), heading: None },
        rules: inputs::rules(&args.conditions)?,
        today: inputs::day(&args.conditions)?,
    };
    let area = Arc::new(open_area(&land).map_err(|e| unusable(&e))?);
    let units = inputs::units_of(&args.heights, &args.conditions);
    let bar = super::progress::Bar::new("working out the card");
    let report = |share: f32| sparefield_data::Progress::report(&bar, f64::from(share));
    let card = area_card(&area, &conditions, &heights, units.height, &report, &|| false).map_err(|e| refused(&e))?;
    drop(bar);
    let mut said = String::new();
    if let Some(path) = &args.page.out {
        let palette = Palette::built_in().map_err(|e| CliError::Failure(e.to_string()))?;
        args.page.save(path, &page(&card, units, &palette, args.page.format()), &palette)?;
        let _ = write!(said, " The card is in {}.", path.display());
    }
    if let (Some(path), Some(format)) = (&args.fields_out, fields_format) {
        let wind = wind_words(&area, &card.options.wind, area.centre(), units);
        let about = cautions_of_fields(&area, &wind, &conditions.aircraft.name, conditions.today);
        let layers = judged_fields(format, &area, &card.rows, units);
        let written = write_vector_about(path, format, &layers, &area.frame, &about)
            .map_err(|e| CliError::Failure(e.to_string()))?;
        let _ = write!(said, " The fields are in {}.", path.display());
        for warning in &written.warnings {
            let _ = write!(said, " Note: {warning}.");
        }
    }
    if args.json {
        return print(&format!("{:#}\n", document(&card, units)?));
    }
    let usable = card.rows.iter().filter(|r| r.judged.verdict != Verdict::Out).count();
    print(&format!(
        "{}: {} fields, {usable} of them would take {}.{said}\n",
        area.title,
        card.rows.len(),
        conditions.aircraft.name,
    ))
}

fn document(card: &AreaCard, units: UnitPrefs) -> Result<Value, CliError> {
    let (area, conditions) = (card.area(), &card.options.conditions);
    let surface = card.options.wind.surface;
    let place = area.home.as_ref().map_or_else(|| area.centre(), |home| home.position);
    let fields = card.rows.iter().map(|row| field(card, row, units)).collect::<Result<Vec<Value>, _>>()?;
    let options = card.heights_agl_m.iter().map(|height_agl_m| {
        let (known, covered) = card.options.least.covered(&area.terrain, 1, *height_agl_m);
        let share = if known == 0 { None } else { Some(covered as f64 / known as f64) };
        json!({ "height_agl_m": height_agl_m, "covered_share": share })
    });
    let climb_outs = card.climb_outs.iter().map(climb_out::document).collect::<Result<Vec<Value>, _>>()?;
    let mut cautions = not_looked_at::ranking_cautions(area);
    cautions.push(not_looked_at::BY_OPTIONS_MAP.to_owned());
    Ok(json!({
        "area": area.title,
        "aircraft": conditions.aircraft.name,
        "day": format_day(conditions.today),
        "wind": { "surface": {
            "from_deg": surface.from_bearing().map(|from| area.to_true(from, place).deg()),
            "speed_ms": surface.speed_ms(),
        } },
        "fields": fields,
        "options": options.collect::<Vec<Value>>(),
        "climb_outs": climb_outs,
        "no_climb_out": card.no_climb_out,
        "cautions": cautions,
    }))
}

fn field(card: &AreaCard, row: &Row, units: UnitPrefs) -> Result<Value, CliError> {
    let (area, field) = (card.area(), card.field(row));
    let strip = match &row.judged.strip {
        None => Value::Null,
        Some(strip) => json!({
            "heading_deg": area.to_true(strip.heading, field.centroid()).deg(),
            "usable_length_m": strip.usable_length_m,
            "needed_length_m": strip.needed_length_m,
        }),
    };
    Ok(json!({
        "number": row.number,
        "id": field.id,
        "name": field.name,
        "position": lon_lat(&area.frame, field.centroid())?,
        "verdict": row.judged.verdict.words(),
        "why_out": crate::area_card::why_out(area, row, units).filter(|_| row.judged.verdict == Verdict::Out),
        "strip": strip,
        "surface": field.surface.words(),
        "surveyed": field.surveyed.map(format_day),
        "on_sides": row.on_sides,
        "near": row.near,
    }))
}
