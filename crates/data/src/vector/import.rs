//! Reading with a mapping: fields, hazards, quiet zones and edges from any layer of any format.

use super::mapping::{Mapping, Purpose};
use super::preview::{VectorFile, layer_preview};
use super::record::Layer;
use super::{EdgeLine, edges, fields, guess, hazards, interpret};
use crate::error::{LoadError, LoadErrorKind, Loaded, Warning};
use crate::frame::Frame;
use crate::free_ids::FreeIds;
use sparefield_geometry::fields::model::{Field, Hazard, QuietZone};
use std::path::Path;

/// What was read from a file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Imported {
    /// Fields; every one has an identifier of its own.
    pub fields: Vec<Field>,
    /// Hazards; identifiers may be empty.
    pub hazards: Vec<Hazard>,
    /// Quiet zones; identifiers may be empty.
    pub quiet_zones: Vec<QuietZone>,
    /// What stands along lines; [`super::match_edges`] puts it on the fields' sides.
    pub edges: Vec<EdgeLine>,
}

impl Imported {
    /// Whether there is nothing in it.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.fields.is_empty() && self.hazards.is_empty() && self.quiet_zones.is_empty() && self.edges.is_empty()
    }
}

/// Reads the layers that the mappings name; with no mapping, every layer as [`super::inspect`] guesses it.
///
/// # Errors
/// When the file cannot be understood, has no such layer, or a layer's reference system is not known.
pub fn read_with(path: &Path, frame: &Frame, mappings: &[Mapping]) -> Result<Loaded<Imported>, LoadError> {
    VectorFile::open(path)?.read(frame, mappings)
}

impl VectorFile {
    /// As [`read_with`], from memory.
    ///
    /// # Errors
    /// When there is no such layer, or a layer's reference system is not known.
    pub fn read(&self, frame: &Frame, mappings: &[Mapping]) -> Result<Loaded<Imported>, LoadError> {
        let guessed: Vec<Mapping>;
        let mappings = if mappings.is_empty() {
            guessed = self.layers.iter().map(|layer| layer_preview(layer).guess).collect();
            &guessed
        } else {
            mappings
        };
        let mut all = Loaded { value: Imported::default(), warnings: Vec::new(), provenance: Vec::new() };
        let mut ids = FreeIds::default();
        for mapping in mappings {
            let layer = self.layers.iter().find(|l| l.name == mapping.layer).ok_or_else(|| {
                let problem = format!("it has no layer “{}”", super::columns::shortened(&mapping.layer));
                LoadError::new(&self.path, LoadErrorKind::NothingHere, problem, "choose one of its layers")
            })?;
            let more = read_layer(layer, frame, mapping)?;
            let many = mappings.len() > 1;
            all.warnings.extend(more.warnings.into_iter().map(|w| placed(w, &layer.name, many)));
            all.provenance.extend(more.provenance);
            let mut more = more.value;
            for field in &mut more.fields {
                field.id = fields::unique(&mut ids, &field.id);
            }
            all.value.fields.append(&mut more.fields);
            all.value.hazards.append(&mut more.hazards);
            all.value.quiet_zones.append(&mut more.quiet_zones);
            all.value.edges.append(&mut more.edges);
        }
        Ok(all)
    }
}

/// A warning that names its layer where there are several.
fn placed(warning: Warning, layer: &str, many: bool) -> Warning {
    if !many {
        return warning;
    }
    let place = if warning.place.is_empty() { layer.to_owned() } else { format!("{layer}, {}", warning.place) };
    Warning { place, ..warning }
}

fn read_layer(layer: &Layer, frame: &Frame, mapping: &Mapping) -> Result<Loaded<Imported>, LoadError> {
    let mut all = Loaded { value: Imported::default(), warnings: Vec::new(), provenance: Vec::new() };
    if mapping.purpose == Purpose::Nothing {
        return Ok(all);
    }
    let mut layer = layer.clone();
    for record in &mut layer.records {
        mapping.apply(record);
    }
    let mut parts: Vec<(Purpose, Layer)> = Vec::new();
    if mapping.purpose == Purpose::Mixed {
        let records = std::mem::take(&mut layer.records);
        let mut sorted = [Purpose::Fields, Purpose::Hazards, Purpose::Edges].map(|purpose| (purpose, Vec::new()));
        for record in records {
            let purpose = guess::record_purpose(&record.shape, record.columns.entries());
            if let Some((_, records)) = sorted.iter_mut().find(|(p, _)| *p == purpose) {
                records.push(record);
            }
        }
        for (purpose, records) in sorted.into_iter().filter(|(_, records)| !records.is_empty()) {
            // What was found on reading is told once.
            let notes = std::mem::take(&mut layer.notes);
            parts.push((purpose, Layer { records, notes, ..layer.clone() }));
        }
    } else {
        parts.push((mapping.purpose, layer));
    }
    let crs = mapping.crs.as_ref();
    for (purpose, layer) in parts {
        let (warnings, provenance) = match purpose {
            Purpose::Fields => {
                let read = interpret(layer, frame, crs, "areas", fields::fields)?;
                all.value.fields.extend(read.value);
                (read.warnings, read.provenance)
            }
            Purpose::Edges => {
                let read = interpret(layer, frame, crs, "edges", edges::lines)?;
                all.value.edges.extend(read.value);
                (read.warnings, read.provenance)
            }
            Purpose::Hazards | Purpose::Mixed | Purpose::Nothing => {
                let read = interpret(layer, frame, crs, "hazards", hazards::hazards)?;
                all.value.hazards.extend(read.value.hazards);
                all.value.quiet_zones.extend(read.value.quiet_zones);
                (read.warnings, read.provenance)
            }
        };
        all.warnings.extend(warnings);
        all.provenance.extend(provenance);
    }
    Ok(all)
}
