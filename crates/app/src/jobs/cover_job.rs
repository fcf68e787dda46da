//! The options map, what a survey would add to it, and a route over it, each on a thread of its own: a newer question stops
//! the older.

use super::asked::{Asked, Reins};
use crate::model::{CoverAsk, CoverLine, CoverMade, RouteMade};
use crate::options_map::{RouteHeight, Surveys, find_route, in_many_winds, options_map, route, surveys};
use crate::studies::Studies;
use sparefield_data::area::Area;
use sparefield_data::imagery::BackgroundLayer;
use sparefield_data::quantity::HeightUnit;
use sparefield_data::vector::VectorOptions;
use sparefield_geometry::contour::contours;
use sparefield_geometry::fields::model::Field;
use sparefield_geometry::position::Xy;
use sparefield_geometry::reach::least::WindDoubt;
use std::path::PathBuf;
use std::sync::Arc;

/// Heights above the ground whose lines are drawn, feet and metres: what is flown in circuits and across country.
const LINES_FT: [f64; 4] = [1_000.0, 1_500.0, 2_000.0, 3_000.0];
const LINES_M: [f64; 4] = [300.0, 450.0, 600.0, 900.0];
const FOOT_M: f64 = 0.304_8;
/// Winds that stand for all winds about the forecast in the window.
pub const WINDS: usize = 20;
/// Fields listed at most that are worth looking at.
const MOST_LISTED: usize = 12;

/// An options map, or why there is none.
type CoverAnswer = Result<CoverMade, String>;
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
    let ground = &area.terrain.heights_m;
    let above = |least: &[f32]| -> Vec<f32> {
        let one = |(least, ground): (&f32, &f32)| match (least.is_nan(), ground.is_nan()) {
            (_, true) => f32::NAN,
            (true, false) => f32::INFINITY,
            (false, false) => (least - ground).max(0.0),
        };
        least.iter().zip(ground).map(one).collect()
    };
    let enough_agl_m = match &many {
        Some(many) => vec![above(&many.nine_in_ten)],
        None => (1..=needed).map(|n| above(&map.least.raster(n))).collect(),
    };
    let (frame, last) = (map.least.frame, enough_agl_m.last()?);
    // Where no height does, more than any that is drawn.
    let at = |row: usize, col: usize| f64::from(last[row * frame.cols + col].min(f32::MAX / 2.0));
    let at = |row: usize, col: usize| if last[row * frame.cols + col].is_nan() { f64::NAN } else { at(row, col) };
    let heights = match unit {
        HeightUnit::Ft => LINES_FT.map(|ft| ft * FOOT_M),
        HeightUnit::M => LINES_M,
    };
    let mut lines = Vec::new();
    for height_agl_m in heights {
        if stopped() {
            return None;
        }
        lines.push(CoverLine { height_agl_m, lines: contours(&frame, at, height_agl_m) });
    }
    Some(Ok(CoverMade { ask: ask.clone(), map, studies, many, enough_agl_m, lines }))
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
