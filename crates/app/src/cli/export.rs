//! `export`: an area's fields, hazards, quiet zones and edges in the format of another program.

use super::args::{AreaArgs, ExportArgs};
use super::session::{open_area, unusable};
use super::{CliError, inputs, print, progress};
use serde_json::{Value, json};
use sparefield_data::area_file;
use sparefield_data::vector::{Exported, Format, layers_of, write_vector};
use std::fmt::Write as _;

/// Runs the subcommand.
///
/// # Errors
/// For bad input, or when the file cannot be written.
pub(super) fn run(args: &ExportArgs) -> Result<(), CliError> {
    let what = wanted(&args.what)?;
    let format = Format::of_name(&args.out).ok_or_else(|| {
        let endings: Vec<String> = Format::ALL.iter().map(|f| format!(".{}", f.extension())).collect();
        CliError::BadInput(format!("--out: {} ends in none of {}", args.out.display(), endings.join(", ")))
    })?;
    let AreaArgs { area, terrain, fields, hazards, edges, .. } = &args.area;
    let file = args.area_file.as_ref().or(area.as_ref());
    let bar = progress::Bar::new("reading the area");
    // An area file needs no terrain to be written from.
    let parts = match file {
        Some(file) if [terrain, fields, hazards, edges].iter().all(|files| files.is_empty()) => {
            area_file::read(file, &bar).map_err(|e| unusable(&e.into()))?.value
        }
        Some(file) => {
            let problem = "an area file holds its own terrain, fields and hazards; leave the other files out";
            return Err(CliError::BadInput(format!("{}: {problem}", file.display())));
        }
        None => {
            let area = open_area(&inputs::area(&args.area, None)?).map_err(|e| unusable(&e))?;
            area_file::AreaParts::of(&area, area_file::TerrainSource::Nothing)
        }
    };
    drop(bar);
    let layers = layers_of(format, what, &parts.fields, &parts.hazards, &parts.quiet_zones);
    if layers.is_empty() {
        return Err(CliError::BadInput(format!("--what: the area has no {} to write", args.what)));
    }
    let written =
        write_vector(&args.out, format, &layers, &parts.frame).map_err(|e| CliError::Failure(e.to_string()))?;
    if args.json {
        let layers: Vec<Value> = layers.iter().map(|l| json!({"name": l.name, "records": l.features.len()})).collect();
        let files: Vec<String> = written.value.iter().map(|p| p.display().to_string()).collect();
        let warnings: Vec<String> = written.warnings.iter().map(ToString::to_string).collect();
        let document = json!({"files": files, "format": format.words(), "layers": layers, "warnings": warnings});
        return print(&format!("{document:#}\n"));
    }
    let mut out = String::new();
    for layer in &layers {
        // Writing to a string cannot fail.
        let _ = writeln!(out, "{}: {}", layer.name, layer.features.len());
    }
    for warning in &written.warnings {
        let _ = writeln!(out, "Note: {warning}.");
    }
    for path in &written.value {
        let _ = writeln!(out, "Written: {}", path.display());
    }
    print(&out)
}

fn wanted(text: &str) -> Result<Exported, CliError> {
    let mut what = Exported::NOTHING;
    for word in text.split(',').map(|w| w.trim().to_lowercase().replace(['_', ' '], "-")) {
        match word.as_str() {
            "fields" => what.fields = true,
            "hazards" => what.hazards = true,
            "edges" => what.edges = true,
            "quiet-zones" => what.quiet_zones = true,
            "all" => what = Exported::ALL,
            other => {
                let problem = format!("“{other}” is none of fields, hazards, edges, quiet-zones and all");
                return Err(CliError::BadInput(format!("--what: {problem}")));
            }
        }
    }
    Ok(what)
}
