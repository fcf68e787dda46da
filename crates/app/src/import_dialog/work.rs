//! What the import dialogue has worked out on threads of its own: the file looked at, and what would be added.

use sparefield_data::area::{Area, Edit};
use sparefield_data::vector::{Imported, Mapping, Preview, VectorFile};
use sparefield_geometry::fields::model::HazardShape;
use sparefield_geometry::position::Xy;
use std::path::Path;
use std::sync::Arc;

/// Outlines in the small picture; more would not be told apart.
const DRAWN: usize = 3_000;
/// Remarks that are listed.
const LISTED: usize = 200;

/// A file looked at.
#[derive(Clone)]
pub(super) struct Looked {
    pub(super) file: Arc<VectorFile>,
    pub(super) preview: Arc<Preview>,
}

/// Opens a file and looks at it.
pub(super) fn look(path: &Path) -> Result<Looked, String> {
    let file = VectorFile::open(path).map_err(|e| e.to_string())?;
    let preview = Arc::new(file.preview());
    Ok(Looked { file: Arc::new(file), preview })
}

/// What would be added.
pub(super) struct Addition {
    pub(super) fields: usize,
    pub(super) hazards: usize,
    pub(super) quiet_zones: usize,
    pub(super) edges: usize,
    /// How many things are in the area already.
    pub(super) known: usize,
    /// What is wrong with which record; at most some hundred.
    pub(super) remarks: Vec<String>,
    pub(super) more_remarks: usize,
    /// New outlines and lines for the picture.
    pub(super) picture: Vec<Vec<Xy>>,
    /// The change that adds it all.
    pub(super) edit: Edit,
}

/// Reads a file by its mappings and compares it with the area.
pub(super) fn work_out(
    file: &VectorFile,
    area: &Area,
    mappings: &[Mapping],
    leave_out_known: bool,
) -> Result<Addition, String> {
    let read = file.read(&area.frame, mappings).map_err(|e| e.to_string())?;
    let mut all = read.value;
    let mut tried = if leave_out_known { Imported::default() } else { all.clone() };
    let known = area.present().without_known(if leave_out_known { &mut all } else { &mut tried });
    let (fields, hazards) = (all.fields.len(), all.hazards.len());
    let (quiet_zones, edges) = (all.quiet_zones.len(), all.edges.len());
    let picture = picture(&all);
    let name = file.path().file_name().unwrap_or_default().to_string_lossy().into_owned();
    let (edit, more) = area.present().adding(all, format!("import of {name}"));
    let warnings: Vec<String> = read.warnings.iter().chain(&more).map(ToString::to_string).collect();
    let more_remarks = warnings.len().saturating_sub(LISTED);
    let remarks = warnings.into_iter().take(LISTED).collect();
    Ok(Addition { fields, hazards, quiet_zones, edges, known, remarks, more_remarks, picture, edit })
}

fn closed(ring: &[Xy]) -> Vec<Xy> {
    ring.iter().chain(ring.first()).copied().collect()
}

fn picture(all: &Imported) -> Vec<Vec<Xy>> {
    let fields = all.fields.iter().map(|f| closed(&f.outer));
    let zones = all.quiet_zones.iter().map(|q| closed(&q.outer));
    let hazards = all.hazards.iter().map(|h| match &h.shape {
        HazardShape::Point(at) => vec![*at],
        HazardShape::Line(line) => line.clone(),
        HazardShape::Area { outer, .. } => closed(outer),
    });
    let edges = all.edges.iter().map(|e| e.line.clone());
    fields.chain(zones).chain(hazards).chain(edges).take(DRAWN).collect()
}

/// Outlines of the area itself for the picture.
pub(super) fn present_picture(area: &Area) -> Vec<Vec<Xy>> {
    area.fields.iter().take(DRAWN).map(|f| closed(&f.outer)).collect()
}
