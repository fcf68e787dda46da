//! `climb-out`: what is in reach off one end of the home strip, height by height.

use super::args::ClimbOutArgs;
use super::session::{lon_lat, open_area, unusable};
use super::text::{self, Table};
use super::{CliError, inputs, print};
use crate::assess::{AssessError, Conditions, HeightInput, StateInput};
use crate::climb_out::{Answer, NoClimbOut, climb_out, page, words};
use crate::not_looked_at;
use crate::theme::Palette;
use serde_json::{Value, json};
use sparefield_data::quantity::{UnitPrefs, parse_angle_rad, parse_height_m};
use sparefield_geometry::climb_out::{ADVICE, ClimbOutError, ClimbOutOptions, ClimbOutStep};
use sparefield_geometry::fields::circuit_height::Hand;
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::reach::ReachError;
use std::fmt::Write as _;
use std::sync::Arc;

/// Runs the subcommand.
///
/// # Errors
/// For bad input, or when a file or standard output cannot be written.
pub(super) fn run(args: &ClimbOutArgs) -> Result<(), CliError> {
    let land = inputs::area(&args.area, None)?;
    let conditions = Conditions {
        aircraft: inputs::aircraft(&args.conditions)?.value,
        wind: inputs::wind(&args.conditions)?,
        // The climb-out sets its own.
        state: StateInput { position: Xy::default(), height: HeightInput::AboveGround(0.0), heading: None },
        rules: inputs::rules(&args.conditions)?,
        today: inputs::day(&args.conditions)?,
    };
    let step_m = parse_height_m(&args.step, None).map_err(|e| CliError::BadInput(format!("--step: {e}")))?;
    let mut options = ClimbOutOptions { step_m, ..ClimbOutOptions::default() };
    if let Some(text) = &args.climb {
        options.climb_rad = parse_angle_rad(text).map_err(|e| CliError::BadInput(format!("--climb: {e}")))?;
    }
    let area = Arc::new(open_area(&land).map_err(|e| unusable(&e))?);
    let answer =
        climb_out(&area, args.runway.as_deref(), &conditions, options, &|| false, &|_| {}).map_err(|e| match e {
            NoClimbOut::NoEnd { .. } => CliError::BadInput(format!("--runway: {e}")),
            NoClimbOut::Assess(AssessError::Reach(ReachError::Cancelled))
            | NoClimbOut::Flown(ClimbOutError::Stopped) => CliError::Failure(e.to_string()),
            _ => CliError::BadInput(e.to_string()),
        })?;
    let units = inputs::units_of(&args.step, &args.conditions);
    if let Some(path) = &args.page.out {
        let palette = Palette::built_in().map_err(|e| CliError::Failure(e.to_string()))?;
        args.page.save(path, &page(&answer, units), &palette)?;
    }
    if args.json { print(&format!("{:#}\n", document(&answer)?)) } else { print(&people(&answer, units)) }
}

fn people(answer: &Answer, units: UnitPrefs) -> String {
    let mut out = format!("{}\n{}\n", answer.area.title, words::title(answer));
    let wind = answer.assessment.wind_words(&answer.area, &units);
    let _ = writeln!(out, "{}, wind {wind}\n", answer.conditions.aircraft.name);
    let mut table = Table::new(&words::HEADINGS);
    for step in &answer.flown.steps {
        table.row(words::row(answer, step, units));
    }
    let _ = writeln!(out, "{table}");
    let _ = writeln!(out, "{}\n\nBefore every take-off:", words::headline(answer, units));
    for advice in ADVICE {
        let _ = writeln!(out, "{}", text::item("", &format!("{} ({})", advice.words, advice.source)));
    }
    out.push('\n');
    for caution in not_looked_at::climb_out_cautions(answer) {
        let _ = writeln!(out, "{}", text::item("", &caution));
    }
    out
}

pub(super) fn document(answer: &Answer) -> Result<Value, CliError> {
    let (area, runway) = (&answer.area, &answer.runway);
    let true_deg = |bearing: Bearing| area.to_true(bearing, runway.departure_end).deg();
    let steps =
        answer.flown.steps.iter().map(|step| step_json(answer, step)).collect::<Result<Vec<Value>, CliError>>()?;
    let surface = answer.assessment.wind.surface;
    Ok(json!({
        "runway": {
            "name": answer.name,
            "heading_deg": true_deg(runway.heading),
            "length_m": runway.length_m,
            "departure_end": lon_lat(&area.frame, runway.departure_end)?,
            "elevation_amsl_m": runway.elevation_amsl_m,
        },
        "aircraft": answer.conditions.aircraft.name,
        "wind": { "surface": { "from_deg": surface.from_bearing().map(true_deg), "speed_ms": surface.speed_ms() } },
        "least_turn_back_height_m": answer.flown.least_turn_back_m,
        "turn_back_height_with_half_more_m": answer.flown.least_turn_back_m.map(|h| h * words::HALF_MORE),
        "steps": steps,
        "fields_left_out": answer.left_out,
        "advice": ADVICE.map(|a| json!({ "words": a.words, "source": a.source })),
        "cautions": not_looked_at::climb_out_cautions(answer),
    }))
}

fn step_json(answer: &Answer, step: &ClimbOutStep) -> Result<Value, CliError> {
    let (area, runway) = (&answer.area, &answer.runway);
    let true_deg = |bearing: Bearing| area.to_true(bearing, runway.departure_end).deg();
    let fields = words::in_reach(step).map(|f| {
        let ranked = &answer.fields[f.index];
        let field = &area.fields[ranked.index];
        json!({
            "id": field.id,
            "name": field.name,
            "verdict": ranked.verdict.words(),
            "side": words::side(f.side),
            "from_nose_deg": f.from_nose_rad.to_degrees(),
            "spare_height_m": f.spare_m,
            "strip_heading_deg": ranked.strip.as_ref().map(|s| true_deg(s.heading)),
        })
    });
    let ahead = match &step.ahead {
        None => Value::Null,
        Some(ahead) => json!({
            "track_deg": true_deg(ahead.track),
            "distance_m": ahead.distance_m,
            "ends": lon_lat(&area.frame, ahead.ends)?,
        }),
    };
    let turn_back = step.turn_back.as_ref().map(|t| {
        json!({
            "works": t.spare_m >= 0.0,
            "hand": match t.hand { Hand::Left => "left", Hand::Right => "right" },
            "bank_deg": t.bank_rad.to_degrees(),
            "spare_height_m": t.spare_m,
            "lost_in_reaction_m": t.lost_in_reaction_m,
            "lost_in_turns_m": t.lost_in_turns_m,
            "runway_left_m": t.runway_left_m,
            "landing_distance_m": t.landing_distance_m,
            "duration_s": t.duration_s,
        })
    });
    Ok(json!({
        "height_m": step.height_m,
        "height_amsl_m": runway.elevation_amsl_m + step.height_m,
        "position": lon_lat(&area.frame, step.position)?,
        "beyond_end_m": step.beyond_end_m,
        "ahead": ahead,
        "fields": fields.collect::<Vec<Value>>(),
        "turn_back": turn_back,
    }))
}
