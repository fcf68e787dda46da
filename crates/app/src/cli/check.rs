//! `check`: what is wrong, doubtful or not known yet in an area.

use super::args::CheckArgs;
use super::inputs::Land;
use super::{CliError, inputs, print, session, text};
use serde_json::{Value, json};
use sparefield_data::NoProgress;
use sparefield_data::area::Area;
use sparefield_data::check::{self, CheckOptions, Finding, Severity, Subject};
use sparefield_data::quantity::{self, UnitPrefs, format_day};
use std::fmt::Write as _;

/// How many findings of one severity are listed for people; JSON has all.
const LISTED: usize = 30;

/// Runs the subcommand. The answer is printed before anything wrong in the area becomes a failure.
///
/// # Errors
/// For bad input, when standard output cannot be written, or when something is wrong in the area.
pub(super) fn run(args: &CheckArgs) -> Result<(), CliError> {
    let today = match &args.date {
        Some(text) => quantity::parse_day(text).map_err(|e| CliError::BadInput(format!("--date: {e}")))?,
        None => inputs::today(),
    };
    if let Some(folder) = args.photographs.as_ref().filter(|folder| !folder.is_dir()) {
        return Err(CliError::BadInput(format!("--photographs: {} is not a folder", folder.display())));
    }
    let options = CheckOptions {
        old_after_days: days(&args.since)?,
        photographs: args.photographs.clone(),
        units: UnitPrefs::default(),
        ..CheckOptions::on(today)
    };
    let land = inputs::area(&args.area, None)?;
    let (area, left_out) = opened(&land)?;
    let findings = check::check(&area, &options);
    if args.json {
        print(&format!("{:#}\n", document(&area, &options, &findings, left_out.as_deref())?))?;
    } else {
        print(&people(&area, &findings, left_out.as_deref()))?;
    }
    match check::counts(&findings)[0] {
        0 => Ok(()),
        1 => Err(CliError::Failure(format!("one thing in {} is wrong", area.title))),
        wrong => Err(CliError::Failure(format!("{wrong} things in {} are wrong", area.title))),
    }
}

/// What needs the terrain.
const NEEDS_TERRAIN: &str = "whether fields, hazards and quiet zones lie on terrain with heights";

/// The area, and why it is without its terrain. Where no other terrain was named, an area file is looked through without.
fn opened(land: &Land) -> Result<(Area, Option<String>), CliError> {
    let error = match (session::open_area(land), land) {
        (Ok(area), _) => return Ok((area, None)),
        (Err(error), Land::AreaFile(path, terrain)) if terrain.is_empty() => {
            if let Ok(area) = Area::read_without_terrain(path, &NoProgress) {
                return Ok((area, Some(error.to_string())));
            }
            error
        }
        (Err(error), _) => error,
    };
    Err(session::unusable(&error))
}

/// A number of days as typed: 365 or 365d.
fn days(text: &str) -> Result<i32, CliError> {
    let number = text.trim().trim_end_matches(['d', 'D']).trim();
    match number.parse::<i32>() {
        Ok(days) if days >= 0 => Ok(days),
        _ => Err(CliError::BadInput(format!("--since: “{text}” is not a number of days, such as 365d"))),
    }
}

fn document(
    area: &Area,
    options: &CheckOptions,
    findings: &[Finding],
    left_out: Option<&str>,
) -> Result<Value, CliError> {
    let [wrong, doubtful, incomplete] = check::counts(findings);
    let list = findings
        .iter()
        .map(|f| {
            Ok(json!({
                "kind": f.kind.key(),
                "severity": f.severity.words(),
                "things": f.subjects.iter().map(thing).collect::<Vec<_>>(),
                "position": f.at.map(|at| session::lon_lat(&area.frame, at)).transpose()?,
                "sentence": plain(&f.sentence),
                "remedy": plain(&f.remedy),
                "mend": f.mend.as_ref().map(|edit| plain(&edit.words)),
            }))
        })
        .collect::<Result<Vec<_>, CliError>>()?;
    Ok(json!({
        "area": area.title,
        "crs": area.frame.epsg().map(|code| format!("EPSG:{code}")),
        "date": format_day(options.today),
        "counts": { "wrong": wrong, "doubtful": doubtful, "incomplete": incomplete },
        "not_checked": left_out.map(|why| json!({ "what": NEEDS_TERRAIN, "why": plain(why) })).into_iter().collect::<Vec<_>>(),
        "warnings": area.warnings.iter().map(|w| plain(&w.to_string())).collect::<Vec<_>>(),
        "findings": list,
    }))
}

fn thing(subject: &Subject) -> Value {
    let (what, id) = match subject {
        Subject::Field(id) => ("field", Some(id)),
        Subject::Hazard(id) => ("hazard", Some(id)),
        Subject::QuietZone(id) => ("quiet zone", Some(id)),
        Subject::Home => ("home strip", None),
    };
    json!({ "what": what, "id": id })
}

fn people(area: &Area, findings: &[Finding], left_out: Option<&str>) -> String {
    let [wrong, doubtful, incomplete] = check::counts(findings);
    let mut out = format!("{}: {} fields\n", area.title, area.fields.len());
    let _ = writeln!(out, "{wrong} wrong, {doubtful} doubtful, {incomplete} incomplete");
    if let Some(why) = left_out {
        let _ = writeln!(out, "\nNot checked\n{}", text::item("", &format!("{}: {why}", capital(NEEDS_TERRAIN))));
    }
    if !area.warnings.is_empty() {
        out.push_str("\nNot understood while reading\n");
    }
    for warning in &area.warnings {
        let _ = writeln!(out, "{}", text::item("", &capital(&warning.to_string())));
    }
    for severity in Severity::ALL {
        let of_it: Vec<&Finding> = findings.iter().filter(|f| f.severity == severity).collect();
        if of_it.is_empty() {
            continue;
        }
        let _ = writeln!(out, "\n{}", capital(severity.words()));
        for finding in of_it.iter().take(LISTED) {
            let words = format!("{}; {}", capital(&finding.sentence), finding.remedy);
            let _ = writeln!(out, "{}", text::item("", &words));
        }
        if of_it.len() > LISTED {
            let _ = writeln!(out, "  … and {} more; --json lists them all", of_it.len() - LISTED);
        }
    }
    if findings.is_empty() {
        out.push_str("Nothing was found. That says that the files are in order, not that a field is.\n");
    }
    out
}

pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// Ordinary spaces for programs that read JSON.
pub(super) fn plain(text: &str) -> String {
    text.replace('\u{a0}', " ")
}
