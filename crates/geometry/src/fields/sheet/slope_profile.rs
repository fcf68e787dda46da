//! The ground along a strip, at the terrain's own resolution.

use super::super::verdict::StripVerdict;
use crate::grid::Terrain;
use crate::position::Xy;

/// Most stations along a strip, however fine the terrain.
const MOST_STATIONS: usize = 400;

/// The ground at one place along a strip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GroundStation {
    /// Distance from the landing end, metres.
    pub along_m: f64,
    /// Height above the ground at the landing end, metres; `None` without terrain here or there.
    pub height_m: Option<f64>,
    /// Slope along between the stations before and behind, rise over run, uphill positive.
    pub slope: Option<f64>,
    /// Slope across, rise over run to the right, over the strip's width or one cell, whichever is more.
    pub cross_slope: Option<f64>,
}

/// The ground along a strip as landed on.
#[derive(Clone, Debug, PartialEq)]
pub struct SlopeProfile {
    /// From the landing end to the far end, both included, evenly spaced by at most one cell of the terrain.
    pub stations: Vec<GroundStation>,
    /// One standard error of the height between two posts, metres; `None` without terrain.
    pub height_error_m: Option<f64>,
    /// One standard error of the slope at a station, from the distance it is taken over.
    pub slope_error: Option<f64>,
    /// One standard error of the slope across at a station.
    pub cross_error: Option<f64>,
}

impl SlopeProfile {
    pub(super) fn new(terrain: Option<&Terrain>, strip: &StripVerdict) -> Self {
        let Some(terrain) = terrain else {
            return Self { stations: Vec::new(), height_error_m: None, slope_error: None, cross_error: None };
        };
        let cell = terrain.frame.cell_m;
        let steps = ((strip.length_m / cell).ceil() as usize).clamp(2, MOST_STATIONS);
        let spacing = strip.length_m / steps as f64;
        let band = strip.width_m.max(cell);
        let along = strip.heading.unit();
        let right = Xy::new(along.y, -along.x) * (band / 2.0);
        let place = |i: usize| strip.start + along * (spacing * i as f64);
        let base = terrain.height_at(strip.start);
        let heights: Vec<Option<f64>> =
            (0..=steps).map(|i| terrain.height_at(place(i)).zip(base).map(|(h, b)| h - b)).collect();
        let stations = (0..=steps)
            .map(|i| {
                let (before, behind) = (i.saturating_sub(1), (i + 1).min(steps));
                let run = spacing * (behind - before) as f64;
                let across = terrain.height_at(place(i) + right).zip(terrain.height_at(place(i) - right));
                GroundStation {
                    along_m: spacing * i as f64,
                    height_m: heights[i],
                    slope: heights[behind].zip(heights[before]).map(|(h, k)| (h - k) / run),
                    cross_slope: across.map(|(r, l)| (r - l) / band),
                }
            })
            .collect();
        let error = terrain.accuracy.point_to_point_m.max(0.0);
        Self {
            stations,
            height_error_m: Some(error),
            slope_error: Some(error / (2.0 * spacing)),
            cross_error: Some(error / band),
        }
    }

    /// The steepest slopes along between stations: down (least) and up (most).
    #[must_use]
    pub fn range(&self) -> Option<(f64, f64)> {
        self.stations.iter().filter_map(|s| s.slope).fold(None, |range: Option<(f64, f64)>, slope| {
            Some(range.map_or((slope, slope), |(low, high)| (low.min(slope), high.max(slope))))
        })
    }
}
