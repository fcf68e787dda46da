//! The ground along a strip and the approach to it, seen from the side.

mod approach;
mod axes;
mod slope;

pub use approach::approach;
pub use slope::slope;

use crate::theme::Sizes;
use egui::Vec2;
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::fields::criteria::MAX_CROSS_SLOPE;
use sparefield_geometry::fields::sheet::Way;

/// What the profiles of fields that are compared share, so that they are drawn alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scales {
    /// Longest strip, metres.
    pub strip_m: f64,
    /// Lowest and highest ground along a strip against its landing end, with the terrain's error, metres.
    pub ground_m: (f64, f64),
    /// Largest slope along or across, rise over run.
    pub slope: f64,
    /// How far before the landing end, metres.
    pub before_m: f64,
    /// How far behind it, metres.
    pub behind_m: f64,
    /// Lowest and highest of the approach against the landing end, metres.
    pub approach_m: (f64, f64),
}

/// How far before the landing end the lowest path is still in the picture, metres, whatever stands there.
const PATH_SHOWN_M: f64 = 180.0;

impl Scales {
    /// Scales that hold every way.
    #[must_use]
    pub fn of(ways: &[&Way]) -> Self {
        let mut s = Self {
            strip_m: 50.0,
            ground_m: (0.0, 0.0),
            slope: MAX_CROSS_SLOPE,
            before_m: 0.0,
            behind_m: 60.0,
            approach_m: (0.0, 5.0),
        };
        let widen = |range: &mut (f64, f64), v: f64| *range = (range.0.min(v), range.1.max(v));
        for way in ways {
            s.strip_m = s.strip_m.max(way.landing.strip.length_m);
            let error = way.slope.height_error_m.unwrap_or(0.0);
            for station in &way.slope.stations {
                if let Some(h) = station.height_m {
                    widen(&mut s.ground_m, h - error);
                    widen(&mut s.ground_m, h + error);
                }
                for slope in [station.slope, station.cross_slope].into_iter().flatten() {
                    s.slope = s.slope.max(slope.abs());
                }
            }
            let a = &way.approach;
            s.before_m = s.before_m.max(a.shown_m);
            s.behind_m = s.behind_m.max((a.aiming_m + 30.0).min(way.landing.strip.length_m));
            for g in a.ground.iter().filter_map(|g| g.height_m) {
                widen(&mut s.approach_m, g - error);
                widen(&mut s.approach_m, g + error);
            }
            for (_, top) in a.things.iter().flat_map(|t| t.tops.iter().copied()) {
                widen(&mut s.approach_m, top);
            }
            // Further out the path only leads away from everything, and would press what matters flat.
            widen(&mut s.approach_m, a.path_m(PATH_SHOWN_M).min(100.0));
        }
        s.slope = s.slope.min(0.25);
        // A picture of level ground would otherwise show the last bits of numbers as hills.
        if s.ground_m.1 - s.ground_m.0 < 6.0 {
            let middle = (s.ground_m.0 + s.ground_m.1) / 2.0;
            s.ground_m = (middle - 3.0, middle + 3.0);
        }
        s
    }
}

/// How profiles are drawn.
#[derive(Clone, Copy, Debug)]
pub struct ProfileLook<'a> {
    /// Size, points.
    pub size: Vec2,
    /// Scales.
    pub scales: &'a Scales,
    /// Units.
    pub units: UnitPrefs,
    /// Sizes of text.
    pub sizes: &'a Sizes,
}
