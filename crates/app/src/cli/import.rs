//! `import`: fields, hazards, quiet zones and edges from files of any format, into an area file or a GeoJSON file.

use super::args::ImportArgs;
use super::session::unusable;
use super::{CliError, inputs, print, progress};
use serde_json::{Value, json};
use sparefield_data::Warning;
use sparefield_data::area::Present;
use sparefield_data::area_file::{AreaFile, AreaParts, TerrainSource};
use sparefield_data::frame::{Crs, Frame};
use sparefield_data::quantity::HeightUnit;
use sparefield_data::vector::{
    DateOrder, Exported, Format, Imported, LayerPreview, Mapping, Meaning, Preview, Purpose, VectorFile, layers_of,
    match_edges, write_vector,
};
use sparefield_geometry::fields::model::Surface;
use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;

/// What was typed about columns and words.
struct Typed {
    layer: Option<String>,
    purpose: Option<Purpose>,
    columns: Vec<(String, Meaning)>,
    surfaces: Vec<(String, Surface)>,
    height_unit: Option<HeightUnit>,
    dates: Option<DateOrder>,
    crs: Option<Crs>,
}

/// Runs the subcommand.
///
/// # Errors
/// For bad input, or when the file cannot be written.
pub(super) fn run(args: &ImportArgs) -> Result<(), CliError> {
    let typed = Typed::read(args)?;
    let files = args.files.iter().map(|path| VectorFile::open(path).map_err(|e| unusable(&e)));
    let files = files.collect::<Result<Vec<_>, _>>()?;
    let previews: Vec<Preview> = files.iter().map(VectorFile::preview).collect();
    let mappings = typed.mappings(&previews)?;
    let Some(into) = args.into.as_deref().filter(|_| !args.preview) else {
        return show(&previews, &mappings, args.json);
    };
    let target = Format::of_name(into).filter(|f| matches!(f, Format::GeoPackage | Format::GeoJson));
    let Some(target) = target else {
        return Err(CliError::BadInput(format!("--into: {} ends in neither .gpkg nor .geojson", into.display())));
    };
    if target == Format::GeoJson && into.exists() {
        let problem = "there is a file of this name already; choose another, or an area file to add to";
        return Err(CliError::BadInput(format!("--into: {}: {problem}", into.display())));
    }
    let bar = progress::Bar::new("reading the area");
    let open = if target == Format::GeoPackage && into.exists() {
        let loaded = AreaFile::open(into, inputs::today(), &bar).map_err(|e| unusable(&e.into()))?;
        Some(loaded.value)
    } else {
        None
    };
    drop(bar);
    let frame = if let Some((_, parts)) = &open {
        Arc::clone(&parts.frame)
    } else {
        let place = files.iter().find_map(|file| file.place(typed.crs.as_ref()).ok());
        let place = match place {
            Some(place) => place,
            // The first file's own words say why.
            None => files.first().map_or(Err(CliError::BadInput("no file was named".into())), |file| {
                file.place(typed.crs.as_ref()).map_err(|e| unusable(&e))
            })?,
        };
        Arc::new(Frame::utm_for(place).map_err(|e| CliError::BadInput(e.to_string()))?)
    };
    let (mut all, mut warnings) = (Imported::default(), Vec::new());
    for (file, mappings) in files.iter().zip(&mappings) {
        let read = file.read(&frame, mappings).map_err(|e| unusable(&e))?;
        let name = file.path().file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
        warnings.extend(read.warnings.into_iter().map(|w| Warning { place: name.clone(), message: w.to_string() }));
        let mut more = read.value;
        all.fields.append(&mut more.fields);
        all.hazards.append(&mut more.hazards);
        all.quiet_zones.append(&mut more.quiet_zones);
        all.edges.append(&mut more.edges);
    }
    let present = open.as_ref().map_or_else(Present::default, |(_, parts)| parts.present());
    let left_out = if args.keep_duplicates { 0 } else { present.without_known(&mut all) };
    let counts = [all.fields.len(), all.hazards.len(), all.quiet_zones.len(), all.edges.len()];
    if counts == [0; 4] {
        let why = if left_out > 0 { "everything in them is in the area already" } else { "nothing in them was usable" };
        let first = warnings.first().filter(|_| left_out == 0).map_or_else(String::new, |w| format!(" ({w})"));
        return Err(CliError::BadInput(format!("nothing was taken: {why}{first}")));
    }
    let failure = |e: &dyn std::fmt::Display| CliError::Failure(e.to_string());
    if target == Format::GeoJson {
        warnings.extend(match_edges(&mut all.fields, &all.edges).1);
        let what = Exported { edges: false, ..Exported::ALL };
        let layers = layers_of(target, what, &all.fields, &all.hazards, &all.quiet_zones);
        warnings.extend(write_vector(into, target, &layers, &frame).map_err(|e| failure(&e))?.warnings);
    } else {
        let names: Vec<String> =
            args.files.iter().map(|p| p.file_name().unwrap_or_default().to_string_lossy().into_owned()).collect();
        let (edit, more) = present.adding(all, format!("import of {}", names.join(", ")));
        warnings.extend(more);
        let mut file = match open {
            Some((file, _)) => file,
            None => AreaFile::create(into, &empty_area(into, &frame)).map_err(|e| failure(&e))?,
        };
        file.write(&edit).map_err(|e| failure(&e))?;
    }
    report(into, counts, left_out, &warnings, args.json)
}

/// An area without anything in it; its terrain is named when it is first opened.
fn empty_area(path: &Path, frame: &Arc<Frame>) -> AreaParts {
    AreaParts {
        title: path.file_stem().map_or_else(|| "Area".to_owned(), |s| s.to_string_lossy().into_owned()),
        frame: Arc::clone(frame),
        fields: Arc::default(),
        proposals: Arc::default(),
        hazards: Arc::default(),
        quiet_zones: Arc::default(),
        lanes: Arc::default(),
        layers: Arc::default(),
        home: None,
        start: None,
        drill_sets: Arc::default(),
        drill_results: Arc::default(),
        sorties: Arc::default(),
        terrain: TerrainSource::Nothing,
    }
}

fn report(into: &Path, counts: [usize; 4], left_out: usize, warnings: &[Warning], json: bool) -> Result<(), CliError> {
    let [fields, hazards, quiet_zones, edges] = counts;
    if json {
        let document = json!({
            "into": into.display().to_string(),
            "fields": fields,
            "hazards": hazards,
            "quiet_zones": quiet_zones,
            "edges": edges,
            "duplicates_left_out": left_out,
            "warnings": warnings.iter().map(ToString::to_string).collect::<Vec<_>>(),
        });
        return print(&format!("{document:#}\n"));
    }
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = writeln!(
        out,
        "{}: {fields} fields, {hazards} hazards, {quiet_zones} quiet zones and {edges} boundary edges taken",
        into.display()
    );
    if left_out > 0 {
        let _ = writeln!(out, "{left_out} were there already and were left out (--keep-duplicates takes them)");
    }
    for warning in warnings {
        let _ = writeln!(out, "Note: {warning}.");
    }
    print(&out)
}

impl Typed {
    fn read(args: &ImportArgs) -> Result<Self, CliError> {
        let bad = |option: &str, problem: String| CliError::BadInput(format!("{option}: {problem}"));
        let purpose = args.what.as_deref().map(|text| match text.trim().to_lowercase().as_str() {
            "fields" => Ok(Purpose::Fields),
            "hazards" => Ok(Purpose::Hazards),
            "edges" => Ok(Purpose::Edges),
            "mixed" => Ok(Purpose::Mixed),
            other => Err(bad("--what", format!("“{other}” is none of fields, hazards, edges and mixed"))),
        });
        let pair = |option: &str, text: &str| {
            let (left, right) = text
                .rsplit_once('=')
                .ok_or_else(|| bad(option, format!("“{text}” has no = between the word and its meaning")))?;
            Ok((left.trim().to_owned(), right.trim().to_owned()))
        };
        let columns = args.map.iter().map(|text| {
            let (column, word) = pair("--map", text)?;
            let meaning = Meaning::from_words(&word).ok_or_else(|| {
                let known = "id, name, surface, stock, surveyed, notes, edges, kind, height, below, protects, field, keep or leave-out";
                bad("--map", format!("“{word}” is no meaning; write {known}"))
            })?;
            Ok((column, meaning))
        });
        let surfaces = args.surface.iter().map(|text| {
            let (word, surface) = pair("--surface", text)?;
            let found = Surface::from_words(&surface).ok_or_else(|| {
                let known: Vec<&str> = Surface::ALL.iter().map(|s| s.words()).collect();
                bad("--surface", format!("“{surface}” is no surface; write one of {}", known.join(", ")))
            })?;
            Ok((word, found))
        });
        let height_unit = args.height_unit.as_deref().map(|text| match text.trim().to_lowercase().as_str() {
            "m" => Ok(HeightUnit::M),
            "ft" => Ok(HeightUnit::Ft),
            other => Err(bad("--height-unit", format!("“{other}” is neither m nor ft"))),
        });
        let dates = args.dates.as_deref().map(|text| match text.trim().to_lowercase().as_str() {
            "day-first" => Ok(DateOrder::DayFirst),
            "month-first" => Ok(DateOrder::MonthFirst),
            other => Err(bad("--dates", format!("“{other}” is neither day-first nor month-first"))),
        });
        let crs = args.crs.as_deref().map(|text| Crs::from_user(text).map_err(|e| bad("--crs", e.to_string())));
        Ok(Self {
            layer: args.layer.clone(),
            purpose: purpose.transpose()?,
            columns: columns.collect::<Result<_, CliError>>()?,
            surfaces: surfaces.collect::<Result<_, CliError>>()?,
            height_unit: height_unit.transpose()?,
            dates: dates.transpose()?,
            crs: crs.transpose()?,
        })
    }

    /// How each layer of each file is read: as guessed, but for what was typed.
    fn mappings(&self, previews: &[Preview]) -> Result<Vec<Vec<Mapping>>, CliError> {
        let wanted = |layer: &&LayerPreview| self.layer.as_ref().is_none_or(|name| *name == layer.name);
        let chosen: Vec<Vec<&LayerPreview>> =
            previews.iter().map(|preview| preview.layers.iter().filter(wanted).collect()).collect();
        let all: Vec<&LayerPreview> = chosen.iter().flatten().copied().collect();
        if all.is_empty() {
            let names: Vec<String> =
                previews.iter().flat_map(|p| &p.layers).map(|l| format!("“{}”", l.name)).take(10).collect();
            return Err(CliError::BadInput(format!("--layer: there is none of this name, but {}", names.join(", "))));
        }
        for (column, _) in &self.columns {
            if !all.iter().any(|layer| layer.columns.iter().any(|c| c.name == *column)) {
                let mut names: Vec<&str> = all.iter().flat_map(|l| &l.columns).map(|c| c.name.as_str()).collect();
                names.dedup();
                names.truncate(30);
                let problem = format!("no layer has a column “{column}”, but {}", names.join(", "));
                return Err(CliError::BadInput(format!("--map: {problem}")));
            }
        }
        Ok(chosen.into_iter().map(|layers| layers.into_iter().map(|layer| self.mapping(layer)).collect()).collect())
    }

    fn mapping(&self, layer: &LayerPreview) -> Mapping {
        let mut mapping = layer.guess.clone();
        mapping.purpose = self.purpose.unwrap_or(mapping.purpose);
        for (column, meaning) in self.columns.iter().filter(|(c, _)| layer.columns.iter().any(|have| have.name == *c)) {
            mapping.set(column, *meaning);
        }
        for (word, surface) in &self.surfaces {
            mapping.set_surface(word, *surface);
        }
        mapping.height_unit = self.height_unit.unwrap_or(mapping.height_unit);
        mapping.dates = self.dates.unwrap_or(mapping.dates);
        mapping.crs.clone_from(&self.crs);
        mapping
    }
}

/// What the files hold, and how they would be read.
fn show(previews: &[Preview], mappings: &[Vec<Mapping>], as_json: bool) -> Result<(), CliError> {
    let layers = || {
        previews.iter().zip(mappings).flat_map(|(preview, mappings)| {
            mappings.iter().filter_map(move |mapping| {
                preview.layers.iter().find(|l| l.name == mapping.layer).map(|layer| (preview, layer, mapping))
            })
        })
    };
    if as_json {
        let all: Vec<Value> = layers().map(|(preview, layer, mapping)| layer_json(preview, layer, mapping)).collect();
        return print(&format!("{:#}\n", json!({ "layers": all })));
    }
    let mut out = String::new();
    for (preview, layer, mapping) in layers() {
        // Writing to a string cannot fail.
        let _ = writeln!(out, "{}, layer {} ({})", preview.path.display(), layer.name, preview.format.words());
        let _ = match &layer.crs {
            Ok(crs) => writeln!(out, "  Reference system: {crs}"),
            Err(why) => writeln!(out, "  Reference system not known: {why}; name it with --crs"),
        };
        let LayerPreview { records, points, lines, areas, .. } = layer;
        let _ = writeln!(out, "  {records} records: {areas} outlines, {lines} lines, {points} points");
        let _ = writeln!(out, "  Read as: {}", mapping.purpose.words());
        for column in &layer.columns {
            let meaning = mapping.meaning(&column.name).words();
            let samples = column.samples.join(" | ");
            let _ = writeln!(out, "  {} -> {meaning} ({} filled): {samples}", column.name, column.filled);
        }
        for (word, surface) in &mapping.surfaces {
            let _ = writeln!(out, "  “{word}” is read as {}", surface.words());
        }
        for warning in &layer.warnings {
            let _ = writeln!(out, "  Note: {warning}.");
        }
    }
    print(&out)
}

fn layer_json(preview: &Preview, layer: &LayerPreview, mapping: &Mapping) -> Value {
    let columns: Vec<Value> = layer
        .columns
        .iter()
        .map(|column| {
            json!({
                "name": column.name,
                "meaning": mapping.meaning(&column.name).words(),
                "filled": column.filled,
                "samples": column.samples,
            })
        })
        .collect();
    json!({
        "file": preview.path.display().to_string(),
        "format": preview.format.words(),
        "layer": layer.name,
        "crs": layer.crs.as_ref().ok(),
        "crs_problem": layer.crs.as_ref().err(),
        "records": layer.records,
        "outlines": layer.areas,
        "lines": layer.lines,
        "points": layer.points,
        "without_shape": layer.without_shape,
        "read_as": mapping.purpose.words(),
        "columns": columns,
        "surfaces": mapping.surfaces.iter().map(|(w, s)| json!({"word": w, "surface": s.words()})).collect::<Vec<_>>(),
        "warnings": layer.warnings.iter().map(ToString::to_string).collect::<Vec<_>>(),
    })
}
