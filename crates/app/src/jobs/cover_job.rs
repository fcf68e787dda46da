//! The options map, what a survey would add to it, and a route over it, each on a thread of its own: a newer question stops
//! the older.

use super::asked::{Asked, Reins};
use crate::layer_export::{enough_agl_m as above_ground, line_heights_m, lines_at};
use crate::model::{CoverAsk, CoverLine, CoverLook, CoverMade, CoverShade, RouteMade};
use crate::options_map::{RouteHeight, Surveys, find_route, in_many_winds, options_map, route, surveys};
use crate::studies::Studies;
use crate::views::map::{LitMask, VeilPicture};
use egui::Color32;
use sparefield_data::area::Area;
use sparefield_data::imagery::BackgroundLayer;
use sparefield_data::quantity::HeightUnit;
use sparefield_data::vector::VectorOptions;
use sparefield_geometry::fields::model::Field;
use sparefield_geometry::position::Xy;
use sparefield_geometry::reach::least::WindDoubt;
use std::path::PathBuf;
use std::sync::Arc;

/// Winds that stand for all winds about the forecast in the window.
pub const WINDS: usize = 20;
/// Fields listed at most that are worth looking at.
const MOST_LISTED: usize = 12;

/// An options map, or why there is none.
type CoverAnswer = Result<CoverMade, String>;
/// How a map shades the land, and the same as a picture; none where lines are drawn.
type ShadeAnswer = (CoverShade, Option<Arc<VeilPicture>>);
/// What surveys are asked about: the map, and the height above the ground.
type SurveyAsk = (MadeKey, f64);

/// A finished map, the same only as itself.
#[derive(Clone, Debug)]
pub struct MadeKey(pub Arc<CoverMade>);

impl PartialEq for MadeKey {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

/// The veil over land with no, one and two fields in reach; with three there is none.
const DUSK_BY_NUMBER: [u8; 3] = [255, 140, 64];

/// Most texels along a side of the dusk: what is set anew while the height is dragged reaches the graphics card within a
/// frame. Beyond it cells are taken together, the darkest counting.
const DUSK_SIDE: usize = 2_048;

/// How a map is to shade the land.
#[derive(Clone, Debug)]
pub struct ShadeAsk {
    /// The map.
    pub of: Arc<CoverMade>,
    /// What of it is drawn.
    pub look: CoverLook,
    /// The height above the ground, metres.
    pub height_agl_m: f64,
    /// What dusk is painted with where it is whole.
    pub veil: Color32,
}

impl PartialEq for ShadeAsk {
    fn eq(&self, other: &Self) -> bool {
        let same_height = self.height_agl_m.total_cmp(&other.height_agl_m).is_eq();
        Arc::ptr_eq(&self.of, &other.of) && self.look == other.look && same_height && self.veil == other.veil
    }
}

/// What a route is asked about.
#[derive(Clone, Debug, PartialEq)]
pub struct RouteAsk {
    /// The map it is flown over.
    pub over: MadeKey,
    /// Its places.
    pub places: Vec<Xy>,
    /// Whether a way round is to be found.
    pub find: bool,
    /// Whether it is flown level.
    pub level: bool,
    /// The height above the ground, or above the start where it is level, metres.
    pub height_m: f64,
}

/// Everything about the options map that is being worked out.
#[derive(Default)]
pub struct CoverJob {
    /// The map, and the unit of the lines drawn.
    pub map: Asked<(CoverAsk, HeightUnit), CoverAnswer>,
    /// How it shades the land from a height.
    pub shade: Asked<ShadeAsk, ShadeAnswer>,
    /// Which survey helps most.
    pub surveys: Asked<SurveyAsk, Result<Surveys, String>>,
    /// A route.
    pub route: Asked<RouteAsk, Result<RouteMade, String>>,
    /// A file with a route.
    pub file: Asked<PathBuf, Result<Vec<Xy>, String>>,
}

/// The map; `None` when stopped.
pub fn make(
    area: &Arc<Area>,
    ask: &CoverAsk,
    unit: HeightUnit,
    earlier: Option<&Studies>,
    reins: &Reins,
) -> Option<CoverAnswer> {
    let stopped = || reins.stopped();
    let (conditions, needed) = (&ask.conditions, ask.fields_needed);
    let studies = Studies::in_steps(earlier, area, conditions, &|_| !stopped())?;
    let today = conditions.today;
    let counts = |field: &Field| ask.looked_at.is_none_or(|since| !since.holds(field.surveyed, today));
    let made = options_map(area, &studies, conditions, needed, &counts, &|_| {}, &stopped);
    let many = made.and_then(|map| {
        if !ask.nine_in_ten {
            return Ok((map, None));
        }
        let with = (&WindDoubt::default(), WINDS, 0.0);
        let report = |share: f32| reins.report(share);
        in_many_winds(area, &studies, conditions, needed, &counts, with, &report, &stopped).map(|m| (map, Some(m)))
    });
    if stopped() {
        return None;
    }
    let (map, many) = match many {
        Ok(made) => made,
        Err(why) => return Some(Err(why.to_string())),
    };
    let enough_agl_m = match &many {
        Some(many) => vec![above_ground(&map, &many.nine_in_ten)],
        None => (1..=needed).map(|n| above_ground(&map, &map.least.raster(n))).collect(),
    };
    let (frame, last) = (map.least.frame, enough_agl_m.last()?);
    let mut lines = Vec::new();
    for height_agl_m in line_heights_m(unit) {
        if stopped() {
            return None;
        }
        lines.push(CoverLine { height_agl_m, lines: lines_at(&frame, last, height_agl_m) });
    }
    Some(Ok(CoverMade { ask: ask.clone(), map, studies, many, enough_agl_m, lines }))
}

/// How a map shades the land from a height; `None` when stopped.
pub fn shade(ask: &ShadeAsk, reins: &Reins) -> Option<ShadeAnswer> {
    let ShadeAsk { of: made, look, height_agl_m, veil: colour } = ask;
    let share = made.share(*height_agl_m);
    if reins.stopped() {
        return None;
    }
    let (frame, height) = (made.map.least.frame, *height_agl_m as f32);
    let veil = match look {
        CoverLook::Lines => Arc::default(),
        CoverLook::Number => {
            let enough = |cell: usize| made.enough_agl_m.iter().filter(|h| h[cell] <= height).count();
            let veil = (0..frame.len()).map(|cell| DUSK_BY_NUMBER.get(enough(cell)).copied().unwrap_or(0));
            Arc::new(veil.collect())
        }
        CoverLook::Uncovered => {
            let spare: Vec<f32> = made.enough_agl_m.last()?.iter().map(|h| height - h).collect();
            LitMask::from_spare_heights(frame, &spare).veil
        }
    };
    if reins.stopped() {
        return None;
    }
    let lit = LitMask { frame, veil };
    // Empty where lines are drawn, which is no picture.
    let picture = VeilPicture::of(&lit, *colour, DUSK_SIDE).map(Arc::new);
    let shade = CoverShade { of: Arc::clone(made), look: *look, height_agl_m: *height_agl_m, veil: lit.veil, share };
    Some((shade, picture))
}

/// Which survey helps most from a height; `None` when stopped.
pub fn survey(made: &CoverMade, height_agl_m: f64, reins: &Reins) -> Option<Result<Surveys, String>> {
    let (map, ask) = (&made.map, &made.ask);
    let report = |share: f32| reins.report(share);
    let with = (height_agl_m, MOST_LISTED);
    let found =
        surveys(&map.area, &made.studies, &ask.conditions, ask.fields_needed, with, &report, &|| reins.stopped());
    (!reins.stopped()).then(|| found.map_err(|e| e.to_string()))
}

/// A route's cover; `None` when stopped.
pub fn fly(ask: &RouteAsk, reins: &Reins) -> Option<Result<RouteMade, String>> {
    let made = &ask.over.0;
    let map = &made.map;
    let start = *ask.places.first()?;
    let height = if ask.level {
        let Some(ground) = map.area.terrain.height_at(start) else {
            return Some(Err("there is no terrain height under the start of the route; begin it elsewhere".into()));
        };
        RouteHeight::AboveSea(ground + ask.height_m)
    } else {
        RouteHeight::AboveGround(ask.height_m)
    };
    let found = if ask.find {
        let found = find_route(map, made.instead(), &ask.places, height, &|| reins.stopped());
        if reins.stopped() {
            return None;
        }
        if found.is_none() {
            return Some(Err("a place of the route lies outside the terrain; move it, or load terrain there".into()));
        }
        found
    } else {
        None
    };
    let line = found.as_ref().map_or_else(|| ask.places.clone(), |found| found.line.clone());
    let route = route(map, made.instead(), &line, height, map.conditions.aircraft.straight_speed_ms());
    Some(Ok(RouteMade { line, found, route }))
}

/// The one line of a file: a route, a track, or any line of another vector format.
///
/// # Errors
/// One sentence.
pub fn read_route(path: &std::path::Path, area: &Area) -> Result<Vec<Xy>, String> {
    let read = BackgroundLayer::open(path, &area.frame, &VectorOptions::default()).map_err(|e| e.to_string())?;
    let mut lines = read.value.lines;
    match lines.len() {
        1 => Ok(lines.remove(0)),
        0 => Err(format!("{}: it holds no line; name a file with a route or a track", path.display())),
        n => Err(format!("{}: it holds {n} lines, and a route is one; keep the one that is meant", path.display())),
    }
}
