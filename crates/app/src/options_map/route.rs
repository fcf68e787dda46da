//! Cover along a route: where a field is in reach from the height flown, and which height would do where none is.

use super::OptionsMap;
use sparefield_geometry::grid::Terrain;
use sparefield_geometry::position::Xy;

/// The height flown along a route.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RouteHeight {
    /// Metres above the ground below.
    AboveGround(f64),
    /// Metres above mean sea level.
    AboveSea(f64),
}

/// One place of a route.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RoutePoint {
    /// Distance from the start, metres.
    pub along_m: f64,
    /// Where.
    pub position: Xy,
    /// Ground below, metres above mean sea level; `None` where it is not known.
    pub ground_amsl_m: Option<f64>,
    /// Height flown, metres above mean sea level; `None` where it belongs to unknown ground.
    pub height_amsl_m: Option<f64>,
    /// Least height that keeps the fields needed in reach, metres above mean sea level; `None` where none does.
    pub least_amsl_m: Option<f64>,
    /// The field that is easiest to reach from here.
    pub field: Option<usize>,
}

impl RoutePoint {
    /// Height in hand, metres; `None` where it is not covered at any height or not known.
    #[must_use]
    pub fn spare_m(&self) -> Option<f64> {
        self.height_amsl_m.zip(self.least_amsl_m).map(|(height, least)| height - least)
    }
    /// Whether the fields needed are in reach.
    #[must_use]
    pub fn is_covered(&self) -> bool {
        self.spare_m().is_some_and(|spare| spare >= 0.0)
    }
}

/// A part of a route that is covered throughout, or not.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// Whether the fields needed are in reach all along it.
    pub covered: bool,
    /// Distance from the start where it begins and ends, metres.
    pub from_m: f64,
    /// Where it ends.
    pub to_m: f64,
    /// How long it takes, seconds.
    pub seconds: f64,
    /// Index into the route's points of the place with least height in hand.
    pub worst: usize,
    /// Height above mean sea level that covers it all, metres; `None` where no height does.
    pub covering_amsl_m: Option<f64>,
}

/// A route and its cover.
#[derive(Clone, Debug, PartialEq)]
pub struct Route {
    /// Places at even distances, the corners among them.
    pub points: Vec<RoutePoint>,
    /// The route cut where cover begins and ends.
    pub stretches: Vec<Stretch>,
    /// Its length, metres.
    pub length_m: f64,
}

impl Route {
    /// Length without cover, metres.
    #[must_use]
    pub fn uncovered_m(&self) -> f64 {
        self.stretches.iter().filter(|s| !s.covered).map(|s| s.to_m - s.from_m).sum()
    }
    /// The place with least height in hand; places that no height covers come first.
    #[must_use]
    pub fn worst(&self) -> Option<&RoutePoint> {
        self.points.iter().min_by(|a, b| standing(a).total_cmp(&standing(b)))
    }
}

/// Height in hand for comparing: minus infinity where no height covers.
fn standing(point: &RoutePoint) -> f64 {
    point.spare_m().unwrap_or(f64::NEG_INFINITY)
}

/// Cover along a line of at least two places, flown at a height and a true airspeed.
///
/// Least heights by cell can be given that count instead of the map's own, such as those of nine winds in ten.
/// Places lie no farther apart than a cell of the terrain. A leg on which the wind lets the aircraft make no way takes for
/// ever.
#[must_use]
pub fn route(map: &OptionsMap, instead: Option<&[f32]>, line: &[Xy], height: RouteHeight, airspeed_ms: f64) -> Route {
    let terrain = &map.area.terrain;
    let needed = map.least.fields_needed();
    let mut points: Vec<RoutePoint> = Vec::new();
    let mut times: Vec<f64> = Vec::new();
    let mut along = 0.0;
    let mut time = 0.0;
    let mut add = |position: Xy, along_m: f64, time_s: f64| {
        let ground_amsl_m = terrain.height_at(position);
        let height_amsl_m = match height {
            RouteHeight::AboveSea(amsl) => Some(amsl),
            RouteHeight::AboveGround(agl) => ground_amsl_m.map(|ground| ground + agl),
        };
        let covers = map.least.covers_at(terrain, position);
        let least_amsl_m = match instead {
            Some(raster) => highest_around(terrain, raster, position),
            None => covers.get(needed - 1).map(|cover| cover.least_amsl_m),
        };
        let field = covers.first().map(|cover| cover.field);
        points.push(RoutePoint { along_m, position, ground_amsl_m, height_amsl_m, least_amsl_m, field });
        times.push(time_s);
    };
    for (i, leg) in line.windows(2).enumerate() {
        let d = leg[1] - leg[0];
        let length = d.norm();
        if length <= 0.0 {
            continue;
        }
        if i == 0 || along == 0.0 {
            add(leg[0], along, time);
        }
        let speed = ground_speed(map, leg[0], d * (1.0 / length), airspeed_ms);
        let steps = (length / terrain.frame.cell_m).ceil().max(1.0) as usize;
        for step in 1..=steps {
            let share = step as f64 / steps as f64;
            add(leg[0] + d * share, along + length * share, time + length * share / speed);
        }
        along += length;
        time += length / speed;
    }
    let stretches = cut(&points, &times);
    Route { points, stretches, length_m: along }
}

/// The highest of the values of a raster over the terrain's cells at the four cells around a place; `None` where one of
/// them has none.
#[must_use]
pub fn highest_around(terrain: &Terrain, raster: &[f32], p: Xy) -> Option<f64> {
    let frame = &terrain.frame;
    let (row, col) = frame.fractional(p);
    if !(row >= 0.0 && col >= 0.0 && row <= frame.rows as f64 - 1.0 && col <= frame.cols as f64 - 1.0) {
        return None;
    }
    let mut highest = f64::NEG_INFINITY;
    for r in [row.floor() as usize, row.ceil() as usize] {
        for c in [col.floor() as usize, col.ceil() as usize] {
            let value = f64::from(*raster.get(r * frame.cols + c)?);
            if !value.is_finite() {
                return None;
            }
            highest = highest.max(value);
        }
    }
    Some(highest)
}

/// Ground speed along a direction in the wind 300 m above the ground; zero where the wind is stronger.
fn ground_speed(map: &OptionsMap, at: Xy, along: Xy, airspeed_ms: f64) -> f64 {
    const ABOVE_M: f64 = 300.0;
    let ground = map.area.terrain.height_at(at).unwrap_or(0.0);
    let wind = map.wind.at_amsl(ground + ABOVE_M).xy();
    let across = wind.cross(along);
    let rest = airspeed_ms * airspeed_ms - across * across;
    if rest <= 0.0 { 0.0 } else { (rest.sqrt() + wind.dot(along)).max(0.0) }
}

/// The route cut half way between a place with cover and one without.
fn cut(points: &[RoutePoint], times: &[f64]) -> Vec<Stretch> {
    let mut out: Vec<Stretch> = Vec::new();
    let mut first = 0;
    while first < points.len() {
        let covered = points[first].is_covered();
        let last = points[first..].iter().take_while(|p| p.is_covered() == covered).count() + first - 1;
        let middle = |values: &dyn Fn(usize) -> f64, at: usize, next: usize| 0.5 * (values(at) + values(next));
        let along = |i: usize| points[i].along_m;
        let clock = |i: usize| times[i];
        let edge = |values: &dyn Fn(usize) -> f64, i: usize, beyond: Option<usize>| {
            beyond.filter(|b| *b < points.len()).map_or_else(|| values(i), |b| middle(values, i, b))
        };
        let own = &points[first..=last];
        let worst = (first..=last).min_by(|a, b| standing(&points[*a]).total_cmp(&standing(&points[*b])));
        let least: Option<Vec<f64>> = own.iter().map(|p| p.least_amsl_m).collect();
        let seconds = edge(&clock, last, Some(last + 1)) - edge(&clock, first, first.checked_sub(1));
        out.push(Stretch {
            covered,
            from_m: edge(&along, first, first.checked_sub(1)),
            to_m: edge(&along, last, Some(last + 1)),
            seconds,
            worst: worst.unwrap_or(first),
            covering_amsl_m: least.map(|heights| heights.into_iter().fold(f64::NEG_INFINITY, f64::max)),
        });
        first = last + 1;
    }
    out
}
