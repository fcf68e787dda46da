//! What is compared: the things of an area, in one frame.

use crate::area::{Area, Change, Edit, Home, Identified, Swap, classify};
use crate::area_file::{self, AreaParts};
use crate::drills::Drills;
use crate::error::{LoadError, LoadErrorKind, Loaded, NoProgress, Warning};
use crate::frame::{Frame, FrameError, Transformer};
use crate::sortie::Sortie;
use crate::vector::{self, VectorOptions};
use sparefield_geometry::fields::model::{Field, Hazard, HazardShape, QuietZone};
use sparefield_geometry::position::Xy;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Outlines nearer than this are the same outline when both were drawn in one frame, metres: drawing accuracy.
const SAME_FRAME_M: f64 = 0.05;
/// The same where both frames are UTM zones: one datum, so only rounding on the way lies between.
const SAME_DATUM_M: f64 = 0.2;
/// The same where datums may differ: without grids PROJ's seven-parameter shifts are good to some metres (the EPSG
/// entry for the British grid states 2 m).
const OTHER_DATUM_M: f64 = 3.0;

/// The things of an area, in one frame. What a source says nothing about is `None` and is left out of the comparison.
#[derive(Clone, Debug)]
pub struct Land {
    /// The frame.
    pub frame: Arc<Frame>,
    /// Fields.
    pub fields: Option<Vec<Arc<Field>>>,
    /// Hazards.
    pub hazards: Option<Vec<Arc<Hazard>>>,
    /// Quiet zones.
    pub quiet_zones: Option<Vec<Arc<QuietZone>>>,
    /// The home strip, where one is known. A merge never takes one away.
    pub home: Option<Home>,
    /// Drill sets and results.
    pub drills: Drills,
    /// Recorded flights. A merge never takes one away.
    pub sorties: Option<Vec<Arc<Sortie>>>,
    /// The area file that holds what recorders wrote.
    pub(super) file: Option<PathBuf>,
    /// Whether it is a whole area, which could hold a home strip.
    pub(super) whole: bool,
    /// Outlines nearer than this are the same, metres.
    pub(super) tolerance_m: f64,
}

impl From<&Area> for Land {
    fn from(area: &Area) -> Self {
        Self {
            frame: Arc::clone(&area.frame),
            fields: Some(area.fields.to_vec()),
            hazards: Some(area.hazards.to_vec()),
            quiet_zones: Some(area.quiet_zones.to_vec()),
            home: area.home.clone(),
            drills: Drills { sets: area.drill_sets.to_vec(), results: area.drill_results.to_vec() },
            sorties: Some(area.sorties.to_vec()),
            file: None,
            whole: true,
            tolerance_m: SAME_FRAME_M,
        }
    }
}

impl From<&AreaParts> for Land {
    fn from(parts: &AreaParts) -> Self {
        Self {
            frame: Arc::clone(&parts.frame),
            fields: Some(parts.fields.to_vec()),
            hazards: Some(parts.hazards.to_vec()),
            quiet_zones: Some(parts.quiet_zones.to_vec()),
            home: parts.home.clone(),
            drills: Drills { sets: parts.drill_sets.to_vec(), results: parts.drill_results.to_vec() },
            sorties: Some(parts.sorties.to_vec()),
            file: None,
            whole: true,
            tolerance_m: SAME_FRAME_M,
        }
    }
}

impl Land {
    /// Fields alone, as a field file holds them.
    #[must_use]
    pub fn of_fields(frame: Frame, fields: Vec<Field>) -> Self {
        Self {
            frame: Arc::new(frame),
            fields: Some(fields.into_iter().map(Arc::new).collect()),
            hazards: None,
            quiet_zones: None,
            home: None,
            drills: Drills::default(),
            sorties: None,
            file: None,
            whole: false,
            tolerance_m: SAME_FRAME_M,
        }
    }

    /// What an area file holds, or field and hazard files, in a frame; without one, an area file in its own, others in
    /// the UTM zone of the first thing in them. Nothing is changed in any file.
    ///
    /// # Errors
    /// When a file cannot be read, holds neither fields nor hazards, or does not lie in the frame.
    pub fn read(files: &[PathBuf], frame: Option<&Arc<Frame>>) -> Result<Loaded<Self>, LoadError> {
        let mut sorted = classify(files);
        if !sorted.refused.is_empty() {
            return Err(sorted.refused.swap_remove(0));
        }
        if let Some(path) = sorted.areas.first() {
            if let Some(other) = files.iter().find(|f| *f != path) {
                return Err(LoadError::new(
                    other,
                    LoadErrorKind::Unsupported,
                    "an area file is compared by itself",
                    "name the area file alone, or the other files without it",
                ));
            }
            return Self::of_area_file(path, frame);
        }
        let of_use = |path: &&PathBuf| sorted.fields.contains(path) || sorted.hazards.contains(path);
        if let Some(other) = sorted.terrain.iter().chain(&sorted.edges).find(|path| !of_use(path)) {
            return Err(LoadError::new(
                other,
                LoadErrorKind::Unsupported,
                "it holds neither fields nor hazards",
                "name the other area's file, its field file, or its hazard file",
            ));
        }
        let frame = match frame {
            Some(frame) => Arc::clone(frame),
            None => Arc::new(frame_of(&sorted.fields, &sorted.hazards)?),
        };
        let options = VectorOptions::default();
        let (mut warnings, mut provenance) = (Vec::new(), Vec::new());
        if !sorted.edges.is_empty() {
            let message = "its lines along the sides of fields are not compared; what fields say of their sides is";
            warnings.push(Warning { place: String::new(), message: message.to_owned() });
        }
        let mut land = Self {
            frame: Arc::clone(&frame),
            fields: None,
            hazards: None,
            quiet_zones: None,
            home: None,
            drills: Drills::default(),
            sorties: None,
            file: None,
            whole: false,
            tolerance_m: SAME_DATUM_M,
        };
        for path in &sorted.fields {
            let loaded = vector::load_fields(path, &frame, &options)?;
            land.fields.get_or_insert_default().extend(loaded.value.into_iter().map(Arc::new));
            warnings.extend(loaded.warnings);
            provenance.extend(loaded.provenance);
        }
        for path in &sorted.hazards {
            let loaded = vector::load_hazards(path, &frame, &options)?;
            land.hazards.get_or_insert_default().extend(loaded.value.hazards.into_iter().map(Arc::new));
            land.quiet_zones.get_or_insert_default().extend(loaded.value.quiet_zones.into_iter().map(Arc::new));
            warnings.extend(loaded.warnings);
            provenance.extend(loaded.provenance);
        }
        Ok(Loaded { value: land, warnings, provenance })
    }

    fn of_area_file(path: &Path, frame: Option<&Arc<Frame>>) -> Result<Loaded<Self>, LoadError> {
        let Loaded { value: parts, warnings, provenance } = area_file::read(path, &NoProgress)?;
        let own = Self { file: Some(path.to_owned()), ..Self::from(&parts) };
        let value = match frame {
            None => own,
            Some(frame) => own.in_frame(frame).map_err(|e| {
                LoadError::new(path, LoadErrorKind::Crs, e.to_string(), "compare it in a frame that holds both areas")
            })?,
        };
        Ok(Loaded { value, warnings, provenance })
    }

    /// The land after an edit that was made for it.
    #[must_use]
    pub fn after(&self, edit: &Edit) -> Self {
        let mut after = self.clone();
        for change in &edit.changes {
            match change {
                Change::Field(swap) => put(&mut after.fields, swap),
                Change::Hazard(swap) => put(&mut after.hazards, swap),
                Change::QuietZone(swap) => put(&mut after.quiet_zones, swap),
                Change::Home(swap) => after.home = swap.after.as_deref().cloned(),
                // A merge makes no other changes.
                _ => {}
            }
        }
        after
    }

    /// The same things in another frame. Things whose places have no image there are an error, not left out: a merge
    /// would take them for deleted.
    ///
    /// # Errors
    /// When a position has no image in the other frame.
    pub fn in_frame(&self, frame: &Arc<Frame>) -> Result<Self, FrameError> {
        if self.frame.crs() == frame.crs() {
            return Ok(Self { frame: Arc::clone(frame), ..self.clone() });
        }
        let to = Transformer::new(self.frame.crs(), frame)?;
        let place = |p: Xy| to.to_frame(p.x, p.y);
        let line = |points: &[Xy]| points.iter().map(|p| place(*p)).collect::<Result<Vec<_>, _>>();
        let lines = |all: &[Vec<Xy>]| all.iter().map(|l| line(l)).collect::<Result<Vec<_>, _>>();
        let field = |f: &Arc<Field>| -> Result<Arc<Field>, FrameError> {
            Ok(Arc::new(Field { outer: line(&f.outer)?, holes: lines(&f.holes)?, ..(**f).clone() }))
        };
        let hazard = |h: &Arc<Hazard>| -> Result<Arc<Hazard>, FrameError> {
            let shape = match &h.shape {
                HazardShape::Point(at) => HazardShape::Point(place(*at)?),
                HazardShape::Line(points) => HazardShape::Line(line(points)?),
                HazardShape::Area { outer, holes } => HazardShape::Area { outer: line(outer)?, holes: lines(holes)? },
            };
            Ok(Arc::new(Hazard { shape, ..(**h).clone() }))
        };
        let zone = |z: &Arc<QuietZone>| -> Result<Arc<QuietZone>, FrameError> {
            Ok(Arc::new(QuietZone { outer: line(&z.outer)?, ..(**z).clone() }))
        };
        let home = |h: &Home| -> Result<Home, FrameError> {
            let mut home = Home { position: place(h.position)?, ..h.clone() };
            for end in &mut home.ends {
                end.threshold = place(end.threshold)?;
            }
            Ok(home)
        };
        let own = is_utm(&self.frame) && is_utm(frame);
        Ok(Self {
            frame: Arc::clone(frame),
            fields: self.fields.as_ref().map(|all| all.iter().map(field).collect()).transpose()?,
            hazards: self.hazards.as_ref().map(|all| all.iter().map(hazard).collect()).transpose()?,
            quiet_zones: self.quiet_zones.as_ref().map(|all| all.iter().map(zone).collect()).transpose()?,
            home: self.home.as_ref().map(home).transpose()?,
            drills: self.drills.in_frame(&self.frame, frame)?,
            sorties: self.sorties.clone(),
            file: self.file.clone(),
            whole: self.whole,
            tolerance_m: self.tolerance_m.max(if own { SAME_DATUM_M } else { OTHER_DATUM_M }),
        })
    }
}

/// Whether a frame is a UTM zone on WGS 84.
fn is_utm(frame: &Frame) -> bool {
    frame.epsg().is_some_and(|code| (32_601..=32_660).contains(&code) || (32_701..=32_760).contains(&code))
}

fn put<T: Identified>(all: &mut Option<Vec<Arc<T>>>, swap: &Swap<T>) {
    let all = all.get_or_insert_default();
    let at = swap.before.as_ref().and_then(|before| all.iter().position(|t| t.id() == before.id()));
    match (at, &swap.after) {
        (Some(at), Some(after)) => all[at] = Arc::clone(after),
        (Some(at), None) => {
            all.remove(at);
        }
        (None, Some(after)) => all.push(Arc::clone(after)),
        (None, None) => {}
    }
}

/// The UTM zone of the first thing in files.
fn frame_of(fields: &[PathBuf], hazards: &[PathBuf]) -> Result<Frame, LoadError> {
    let Some(first) = fields.first().or(hazards.first()) else {
        let path = std::path::Path::new("no file");
        return Err(LoadError::new(path, LoadErrorKind::NothingHere, "no file was named", "name a field file"));
    };
    let crs = |e: FrameError| LoadError::new(first, LoadErrorKind::Crs, e.to_string(), "");
    // Any frame that covers the globe tells where the file lies; lengths do not matter for that.
    let world = Frame::from_user("EPSG:3857").map_err(crs)?;
    let options = VectorOptions::default();
    let place = if fields.is_empty() {
        let loaded = vector::load_hazards(first, &world, &options)?.value;
        let hazard = loaded.hazards.first().and_then(|h| super::hazard::corners(&h.shape).first().copied());
        hazard.or_else(|| loaded.quiet_zones.first().and_then(|z| z.outer.first().copied()))
    } else {
        vector::load_fields(first, &world, &options)?.value.first().and_then(|f| f.outer.first().copied())
    };
    let place = place.ok_or_else(|| {
        LoadError::new(first, LoadErrorKind::NothingHere, "there is nothing in it to merge", "name another file")
    })?;
    world.to_lonlat(place).and_then(Frame::utm_for).map_err(crs)
}
