//! What is compared: the things of an area, in one frame.

use crate::area::{Area, Home};
use crate::frame::{Frame, FrameError, Transformer};
use sparefield_geometry::fields::model::{Field, Hazard, HazardShape, QuietZone};
use sparefield_geometry::position::Xy;
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
    pub fields: Vec<Arc<Field>>,
    /// Hazards.
    pub hazards: Option<Vec<Arc<Hazard>>>,
    /// Quiet zones.
    pub quiet_zones: Option<Vec<Arc<QuietZone>>>,
    /// The home strip, where one is known. A merge never takes one away.
    pub home: Option<Home>,
    /// Outlines nearer than this are the same, metres.
    pub(super) tolerance_m: f64,
}

impl From<&Area> for Land {
    fn from(area: &Area) -> Self {
        Self {
            frame: Arc::clone(&area.frame),
            fields: area.fields.to_vec(),
            hazards: Some(area.hazards.to_vec()),
            quiet_zones: Some(area.quiet_zones.to_vec()),
            home: area.home.clone(),
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
            fields: fields.into_iter().map(Arc::new).collect(),
            hazards: None,
            quiet_zones: None,
            home: None,
            tolerance_m: SAME_FRAME_M,
        }
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
            fields: self.fields.iter().map(field).collect::<Result<_, _>>()?,
            hazards: self.hazards.as_ref().map(|all| all.iter().map(hazard).collect()).transpose()?,
            quiet_zones: self.quiet_zones.as_ref().map(|all| all.iter().map(zone).collect()).transpose()?,
            home: self.home.as_ref().map(home).transpose()?,
            tolerance_m: self.tolerance_m.max(if own { SAME_DATUM_M } else { OTHER_DATUM_M }),
        })
    }
}

/// Whether a frame is a UTM zone on WGS 84.
fn is_utm(frame: &Frame) -> bool {
    frame.epsg().is_some_and(|code| (32_601..=32_660).contains(&code) || (32_701..=32_760).contains(&code))
}
