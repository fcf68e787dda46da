//! Fields, hazards and sides from files, as one edit of an area that is open.

use super::{Area, AreaRequest, Change, Edit, Swap, collect, named_crs, with_given_crs};
use crate::error::{LoadError, Loaded};
use crate::vector::{self, VectorOptions};
use std::collections::HashSet;
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
        let mut changes = Vec::new();
        let mut fields: Vec<_> = self.fields.iter().map(|f| (**f).clone()).collect();
        let mut ids: HashSet<String> = fields.iter().map(|f| f.id.clone()).collect();
        for path in &request.fields {
            let read = |options: &VectorOptions| vector::load_fields(path, &self.frame, options);
            for mut field in collect(path, with_given_crs(given.as_ref(), read)?, &mut warnings, &mut provenance) {
                field.id = free(&mut ids, &field.id, "field");
                fields.push(field);
            }
        }
        for path in &request.edges {
            let known = fields.clone();
            let read = |options: &VectorOptions| {
                let mut tried = known.clone();
                let count = vector::load_edges(path, &mut tried, &self.frame, options)?;
                Ok(Loaded { value: tried, warnings: count.warnings, provenance: count.provenance })
            };
            fields = collect(path, with_given_crs(given.as_ref(), read)?, &mut warnings, &mut provenance);
        }
        for (index, field) in fields.into_iter().enumerate() {
            match self.fields.get(index) {
                Some(before) if **before == field => {}
                Some(before) => changes.push(Change::Field(Swap::replace(before, field))),
                None => changes.push(Change::Field(Swap::add(field))),
            }
        }
        let mut hazard_ids: HashSet<String> = self.hazards.iter().map(|h| h.id.clone()).collect();
        let mut quiet_ids: HashSet<String> = self.quiet_zones.iter().map(|q| q.id.clone()).collect();
        for path in &request.hazards {
            let read = |options: &VectorOptions| vector::load_hazards(path, &self.frame, options);
            let more = collect(path, with_given_crs(given.as_ref(), read)?, &mut warnings, &mut provenance);
            for mut hazard in more.hazards {
                hazard.id = free(&mut hazard_ids, &hazard.id, "hazard");
                changes.push(Change::Hazard(Swap { before: None, after: Some(Arc::new(hazard)) }));
            }
            for mut zone in more.quiet_zones {
                zone.id = free(&mut quiet_ids, &zone.id, "quiet");
                changes.push(Change::QuietZone(Swap { before: None, after: Some(Arc::new(zone)) }));
            }
        }
        let names = [&request.fields, &request.edges, &request.hazards].into_iter().flatten();
        let names: Vec<_> = names.map(|p| p.file_name().unwrap_or_default().to_string_lossy()).collect();
        Ok(Loaded { value: Edit::new(format!("import of {}", names.join(", ")), changes), warnings, provenance })
    }
}

/// The identifier, or a free one made from it, which is then taken.
fn free(ids: &mut HashSet<String>, own: &str, stem: &str) -> String {
    if !own.is_empty() && ids.insert(own.to_owned()) {
        return own.to_owned();
    }
    let stem = if own.is_empty() { stem } else { own };
    let mut number = 2_u64;
    loop {
        let candidate = format!("{stem}-{number}");
        if ids.insert(candidate.clone()) {
            return candidate;
        }
        number += 1;
    }
}
