//! What is being drawn and not finished yet: its corners, the pen that will set the next one, and live measures.

use super::{Made, Refused, outline, things};
use sparefield_data::area::Area;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::fields::model::{Field, HazardKind, QuietKind};
use sparefield_geometry::fields::strip::{Scratch, Strip};
use sparefield_geometry::outline::OutlineIndex;
use sparefield_geometry::outline::crossing::{check_closing, check_next};
use sparefield_geometry::outline::guide::guided;
use sparefield_geometry::outline::measure::{Measures, measure, provisional_strip};
use sparefield_geometry::outline::snap::Target;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// What a drawing becomes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drawing {
    /// A field.
    Field,
    /// A line that cuts the chosen field.
    Cut,
    /// A hole in the chosen field.
    Hole,
    /// A hazard.
    Hazard(HazardKind),
    /// A quiet zone.
    QuietZone(QuietKind),
}

impl Drawing {
    /// Whether its last corner joins the first.
    #[must_use]
    pub fn is_outline(self) -> bool {
        !matches!(self, Self::Cut | Self::Hazard(HazardKind::Wires | HazardKind::Mast | HazardKind::LoneTree))
    }
    /// Whether one place finishes it.
    #[must_use]
    pub fn is_point(self) -> bool {
        matches!(self, Self::Hazard(HazardKind::Mast | HazardKind::LoneTree))
    }
    /// Fewest corners of a finished one.
    #[must_use]
    pub fn least_corners(self) -> usize {
        if self.is_point() {
            1
        } else if self.is_outline() {
            3
        } else {
            2
        }
    }
}

/// What attracts the pen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Attraction {
    /// Corners and sides of neighbours and of lines.
    pub neighbours: bool,
    /// Straight on and right angles.
    pub angles: bool,
    /// Whether a shared boundary is taken corner by corner.
    pub follow: bool,
}

impl Default for Attraction {
    fn default() -> Self {
        Self { neighbours: true, angles: false, follow: true }
    }
}

/// Where the next corner would be.
#[derive(Clone, Debug, PartialEq)]
pub struct Pen {
    /// Where.
    pub at: Xy,
    /// What it snapped to, if to something.
    pub target: Option<Target>,
    /// Corners of a shared boundary that come before it.
    pub along: Vec<Xy>,
    /// Whether setting it closes the outline.
    pub closes: bool,
    /// Whether it still is where the last corner was set, so that there is no next one yet.
    pub rests: bool,
    /// Why it cannot be set there.
    pub refused: Option<Refused>,
}

/// A drawing in hand.
#[derive(Debug, Default)]
pub struct Draft {
    /// Corners set.
    pub corners: Vec<Xy>,
    /// What the last corner snapped to.
    last: Option<Target>,
    /// The pen.
    pub pen: Option<Pen>,
    /// Measures with the pen as next corner.
    pub measures: Option<Measures>,
    /// The longest strip so far, the outline closed provisionally.
    pub strip: Option<Strip>,
    scratch: Scratch,
}

impl Draft {
    /// A drawing taken up again at its last corner.
    #[must_use]
    pub fn with_corners(corners: Vec<Xy>) -> Self {
        Self { corners, ..Self::default() }
    }

    /// Moves the pen to a place of the map; what lies within the radius attracts it.
    pub fn move_pen(
        &mut self,
        drawing: Drawing,
        to: Xy,
        radius_m: f64,
        attraction: Attraction,
        index: &OutlineIndex<Arc<Field>>,
        aircraft: &Aircraft,
    ) {
        let closes = drawing.is_outline()
            && self.corners.len() >= drawing.least_corners()
            && self.corners.first().is_some_and(|first| first.distance(to) <= radius_m);
        let mut pen = Pen { at: to, target: None, along: Vec::new(), closes, rests: false, refused: None };
        if closes {
            pen.at = self.corners[0];
        } else {
            let snap = if attraction.neighbours { index.snap(to, radius_m, |_| false) } else { None };
            let guide = if attraction.angles { guided(&self.corners, to, radius_m) } else { None };
            match (snap, guide) {
                (Some(snap), _) => {
                    pen.at = snap.at;
                    pen.target = Some(snap.target);
                    if let (true, Some(last), Drawing::Field) = (attraction.follow, &self.last, drawing) {
                        pen.along = index.follow(last, &snap.target).unwrap_or_default();
                    }
                }
                (None, Some(guide)) => pen.at = guide.at,
                (None, None) => {}
            }
        }
        pen.rests = self.corners.last() == Some(&pen.at) && !closes && !drawing.is_point();
        pen.refused = if pen.rests { None } else { self.refuse(drawing, &pen) };
        if pen.refused.is_some() && !pen.along.is_empty() {
            // The way along the boundary is blocked, the straight one may not be.
            let straight = Pen { along: Vec::new(), refused: None, ..pen.clone() };
            if self.refuse(drawing, &straight).is_none() {
                pen = straight;
            }
        }
        self.pen = Some(pen);
        self.measure(drawing, aircraft);
    }

    fn refuse(&self, drawing: Drawing, pen: &Pen) -> Option<Refused> {
        if drawing.is_point() {
            return None;
        }
        if pen.closes {
            return check_closing(&self.corners).err().map(Refused::from);
        }
        let mut chain = self.corners.clone();
        for next in pen.along.iter().chain([&pen.at]) {
            if let Err(e) = check_next(&chain, *next) {
                return Some(e.into());
            }
            chain.push(*next);
        }
        None
    }

    /// The corners with the pen as next one.
    #[must_use]
    pub fn with_pen(&self) -> Vec<Xy> {
        let mut all = self.corners.clone();
        if let Some(pen) = self.pen.as_ref().filter(|p| !p.closes && !p.rests) {
            all.extend(pen.along.iter().copied());
            all.push(pen.at);
        }
        all
    }

    fn measure(&mut self, drawing: Drawing, aircraft: &Aircraft) {
        let all = self.with_pen();
        let closed = drawing.is_outline() && self.pen.as_ref().is_some_and(|p| p.closes);
        self.measures = measure(&all, closed);
        self.strip = None;
        if drawing == Drawing::Field && all.len() >= 3 {
            let width = aircraft.strip_width_m + 2.0 * aircraft.edge_margin_m;
            self.strip = provisional_strip(&all, &[], &[], width, &mut self.scratch);
        }
    }

    /// Sets a corner where the pen is. Says whether that closes the outline.
    ///
    /// # Errors
    /// Why no corner can be there.
    pub fn set_corner(&mut self) -> Result<bool, Refused> {
        let Some(pen) = self.pen.take() else { return Ok(false) };
        if let Some(why) = pen.refused {
            return Err(why);
        }
        if pen.closes {
            return Ok(true);
        }
        if pen.rests {
            return Ok(false);
        }
        self.corners.extend(pen.along);
        self.corners.push(pen.at);
        self.last = pen.target;
        Ok(false)
    }

    /// Takes the last corner back. Says whether there was one.
    pub fn take_back(&mut self) -> bool {
        self.last = None;
        self.pen = None;
        self.corners.pop().is_some()
    }

    /// The edit that finishes the drawing.
    ///
    /// # Errors
    /// Why it cannot be finished.
    pub fn finish(&self, drawing: Drawing, area: &Area, chosen: Option<&str>) -> Made {
        let corners = &self.corners;
        if corners.len() < drawing.least_corners() {
            let least = drawing.least_corners();
            return Err(Refused::because(format!("This needs at least {least} corners; {} are set.", corners.len())));
        }
        let of = || chosen.ok_or_else(|| Refused::because("Choose one field first."));
        match drawing {
            Drawing::Field => outline::draw(area, corners),
            Drawing::Cut => outline::cut_field(area, of()?, corners),
            Drawing::Hole => outline::add_hole(area, of()?, corners),
            Drawing::Hazard(kind) => things::draw_hazard(area, kind, corners),
            Drawing::QuietZone(kind) => things::draw_quiet_zone(area, kind, corners),
        }
    }
}
