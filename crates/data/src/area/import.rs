//! Fields, hazards and sides from files, as one edit of an area that is open.

use super::{Area, AreaRequest, Change, Edit, Swap, collect, named_crs, with_given_crs};
use crate::error::{LoadError, Loaded, Warning};
use crate::free_ids::FreeIds;
use crate::vector::{self, Imported, VectorOptions};
use sparefield_geometry::fields::model::{Field, Hazard, HazardShape, QuietZone};
use sparefield_geometry::position::Xy;
use std::collections::HashMap;
use std::sync::Arc;

impl Area {
    /// What the files of a request add to this area; its terrain is left as it is.
    ///
    /// An identifier that is taken already gets a number behind it, so nothing that is there is written over.
    ///
    /// # Errors
    /// When a file cannot be read.
    pub fn import(&self, request: &AreaRequest) -> Result<Loaded<Edit>, LoadError> {
        let given = request.crs.as_deref().map(named_crs).transpose()?;
        let (mut warnings, mut provenance) = (Vec::new(), Vec::new());
        let mut all = Imported::default();
        for path in &request.fields {
            let read = |options: &VectorOptions| vector::load_fields(path, &self.frame, options);
            all.fields.extend(collect(path, with_given_crs(given.as_ref(), read)?, &mut warnings, &mut provenance));
        }
        for path in &request.edges {
            let read = |options: &VectorOptions| vector::edge_lines(path, &self.frame, options);
            all.edges.extend(collect(path, with_given_crs(given.as_ref(), read)?, &mut warnings, &mut provenance));
        }
        for path in &request.hazards {
            let read = |options: &VectorOptions| vector::load_hazards(path, &self.frame, options);
            let mut more = collect(path, with_given_crs(given.as_ref(), read)?, &mut warnings, &mut provenance);
            all.hazards.append(&mut more.hazards);
            all.quiet_zones.append(&mut more.quiet_zones);
        }
        let names = [&request.fields, &request.edges, &request.hazards].into_iter().flatten();
        let names: Vec<_> = names.map(|p| p.file_name().unwrap_or_default().to_string_lossy()).collect();
        let (edit, more) = self.present().adding(all, format!("import of {}", names.join(", ")));
        warnings.extend(more);
        Ok(Loaded { value: edit, warnings, provenance })
    }

    /// What is in the area, for comparing with what comes.
    #[must_use]
    pub fn present(&self) -> Present<'_> {
        Present { fields: &self.fields, hazards: &self.hazards, quiet_zones: &self.quiet_zones }
    }
}

/// What is in an area before something is added.
#[derive(Clone, Copy, Debug, Default)]
pub struct Present<'a> {
    /// Fields.
    pub fields: &'a [Arc<Field>],
    /// Hazards.
    pub hazards: &'a [Arc<Hazard>],
    /// Quiet zones.
    pub quiet_zones: &'a [Arc<QuietZone>],
}

impl Present<'_> {
    /// The edit that adds what was read from a file, and what there is to tell about its edges.
    ///
    /// An identifier that is taken already gets a number behind it, so nothing that is there is written over. Edges go
    /// to the sides of fields that are new and of those that are there.
    #[must_use]
    pub fn adding(&self, imported: Imported, words: impl Into<String>) -> (Edit, Vec<Warning>) {
        let mut fields: Vec<Field> = self.fields.iter().map(|f| (**f).clone()).collect();
        let mut ids = FreeIds::of(fields.iter().map(|f| f.id.clone()));
        for mut field in imported.fields {
            field.id = free(&mut ids, &field.id, "field");
            fields.push(field);
        }
        let warnings =
            if imported.edges.is_empty() { Vec::new() } else { vector::match_edges(&mut fields, &imported.edges).1 };
        let mut changes = Vec::new();
        for (index, field) in fields.into_iter().enumerate() {
            match self.fields.get(index) {
                Some(before) if **before == field => {}
                Some(before) => changes.push(Change::Field(Swap::replace(before, field))),
                None => changes.push(Change::Field(Swap::add(field))),
            }
        }
        let mut hazard_ids = FreeIds::of(self.hazards.iter().map(|h| h.id.clone()));
        for mut hazard in imported.hazards {
            hazard.id = free(&mut hazard_ids, &hazard.id, "hazard");
            changes.push(Change::Hazard(Swap::add(hazard)));
        }
        let mut quiet_ids = FreeIds::of(self.quiet_zones.iter().map(|q| q.id.clone()));
        for mut zone in imported.quiet_zones {
            zone.id = free(&mut quiet_ids, &zone.id, "quiet");
            changes.push(Change::QuietZone(Swap::add(zone)));
        }
        (Edit::new(words, changes), warnings)
    }

    /// Leaves out of what was read what is in the area already, or twice in the file, and says how many of it were:
    /// outlines of the same size in the same place, and hazards of the same kind in the same place.
    pub fn without_known(&self, imported: &mut Imported) -> usize {
        let mut known = Known::default();
        self.fields.iter().for_each(|f| known.add("field", f.centroid(), f.area_m2()));
        for hazard in self.hazards {
            let (at, size) = place_and_size(&hazard.shape);
            known.add(hazard.kind.words(), at, size);
        }
        for zone in self.quiet_zones {
            let outline = Field::new("", zone.outer.clone());
            known.add("quiet zone", outline.centroid(), outline.area_m2());
        }
        let mut left_out = 0;
        let mut is_new = |kind, at, size| {
            let new = !known.has(kind, at, size);
            known.add(kind, at, size);
            left_out += usize::from(!new);
            new
        };
        imported.fields.retain(|f| is_new("field", f.centroid(), f.area_m2()));
        imported.hazards.retain(|h| {
            let (at, size) = place_and_size(&h.shape);
            is_new(h.kind.words(), at, size)
        });
        imported.quiet_zones.retain(|zone| {
            let outline = Field::new("", zone.outer.clone());
            is_new("quiet zone", outline.centroid(), outline.area_m2())
        });
        left_out
    }
}

/// Two things are one when their middles are no farther apart than this, metres: maps of one outline by way of two
/// formats differ by millimetres, two fields side by side by tens of metres.
const SAME_PLACE_M: f64 = 1.0;
/// … and their sizes differ by no more than this share.
const SAME_SIZE: f64 = 0.01;

/// Kind, middle and size.
type Thing = (String, Xy, f64);

/// Places and sizes by squares of the map.
#[derive(Default)]
struct Known {
    squares: HashMap<(i64, i64), Vec<Thing>>,
}

impl Known {
    fn square(at: Xy) -> (i64, i64) {
        ((at.x / SAME_PLACE_M).floor() as i64, (at.y / SAME_PLACE_M).floor() as i64)
    }
    fn add(&mut self, kind: &str, at: Xy, size: f64) {
        self.squares.entry(Self::square(at)).or_default().push((kind.to_owned(), at, size));
    }
    fn has(&self, kind: &str, at: Xy, size: f64) -> bool {
        let (i, j) = Self::square(at);
        let near = (-1..=1).flat_map(|di| (-1..=1).map(move |dj| (i.saturating_add(di), j.saturating_add(dj))));
        near.filter_map(|square| self.squares.get(&square)).flatten().any(|(other, place, other_size)| {
            other == kind
                && place.distance(at) <= SAME_PLACE_M
                && (size - other_size).abs() <= SAME_SIZE * size.abs().max(other_size.abs())
        })
    }
}

/// The middle of a shape, and its area or length.
fn place_and_size(shape: &HazardShape) -> (Xy, f64) {
    match shape {
        HazardShape::Point(at) => (*at, 0.0),
        HazardShape::Line(line) => {
            let sum = line.iter().fold(Xy::default(), |sum, p| sum + *p);
            (sum * (1.0 / line.len().max(1) as f64), line.windows(2).map(|w| w[0].distance(w[1])).sum())
        }
        HazardShape::Area { outer, .. } => {
            let outline = Field::new("", outer.clone());
            (outline.centroid(), outline.area_m2())
        }
    }
}

/// The identifier, or a free one made from it or from a stem, which is then taken.
fn free(ids: &mut FreeIds, own: &str, stem: &str) -> String {
    let named = |own: &str, number: u64| format!("{own}-{number}");
    if own.is_empty() { ids.numbered(stem, named) } else { ids.take(own, named) }
}
