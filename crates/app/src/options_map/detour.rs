//! A route found between places that stays covered at a height, or else is without cover for as short as can be.

use super::{OptionsMap, RouteHeight};
use sparefield_data::frame::{Frame, FrameError};
use sparefield_geometry::covered_way::covered_way;
use sparefield_geometry::position::Xy;
use std::fmt::Write as _;

/// A route that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundRoute {
    /// Its corners.
    pub line: Vec<Xy>,
    /// Its length, metres.
    pub length_m: f64,
    /// Length of the straight lines between the places, metres.
    pub straight_m: f64,
}

impl FoundRoute {
    /// What it costs in distance, metres.
    #[must_use]
    pub fn detour_m(&self) -> f64 {
        (self.length_m - self.straight_m).max(0.0)
    }
}

/// The route past places in order, flown at a height; `None` where one of them is outside the terrain, or when stopped.
///
/// Least heights by cell can be given that count instead of the map's own, such as those of nine winds in ten.
/// A cell counts as covered where it and its eight neighbours are, so that a line between cell centres is, too; how far
/// the route is covered is told by flying it ([`super::route`]).
#[must_use]
pub fn find_route(
    map: &OptionsMap,
    instead: Option<&[f32]>,
    places: &[Xy],
    height: RouteHeight,
    stopped: &dyn Fn() -> bool,
) -> Option<FoundRoute> {
    let frame = map.least.frame;
    let own = instead.is_none().then(|| map.least.raster(map.least.fields_needed()));
    let raster = instead.or(own.as_deref())?;
    let enough: Vec<bool> = raster
        .iter()
        .zip(&map.area.terrain.heights_m)
        .map(|(least, ground)| {
            let flown = match height {
                RouteHeight::AboveSea(amsl) => amsl,
                RouteHeight::AboveGround(agl) => f64::from(*ground) + agl,
            };
            // Under the ground nobody flies; heights that are not known compare false.
            flown >= f64::from(*least) && flown >= f64::from(*ground)
        })
        .collect();
    let inner: Vec<bool> = (0..frame.len())
        .map(|cell| {
            let (row, col) = (cell / frame.cols, cell % frame.cols);
            let rows = row.saturating_sub(1)..=(row + 1).min(frame.rows - 1);
            let cols = col.saturating_sub(1)..=(col + 1).min(frame.cols - 1);
            rows.into_iter().all(|r| enough[r * frame.cols..][cols.clone()].iter().all(|e| *e))
        })
        .collect();
    let mut line: Vec<Xy> = Vec::new();
    let (mut length_m, mut straight_m) = (0.0, 0.0);
    for leg in places.windows(2) {
        let way = covered_way(&frame, &inner, leg[0], leg[1], stopped)?;
        length_m += way.length_m;
        straight_m += leg[0].distance(leg[1]);
        line.extend(way.line.into_iter().skip(usize::from(!line.is_empty())));
    }
    (line.len() >= 2).then_some(FoundRoute { line, length_m, straight_m })
}

/// A route as a GPX 1.1 document (Topografix schema), by its corners.
///
/// # Errors
/// When a place has no longitude and latitude.
pub fn gpx(line: &[Xy], frame: &Frame) -> Result<String, FrameError> {
    let mut out = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<gpx version=\"1.1\" creator=\"Sparefield\" \
         xmlns=\"http://www.topografix.com/GPX/1/1\">\n<rte>\n",
    );
    for place in frame.to_lonlat_all(line)? {
        let _ = writeln!(out, "<rtept lat=\"{:.7}\" lon=\"{:.7}\"/>", place.lat_deg, place.lon_deg);
    }
    out.push_str("</rte>\n</gpx>\n");
    Ok(out)
}
