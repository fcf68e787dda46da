//! How high an aircraft must arrive overhead a field so that a circuit into it works, whatever way it comes from.
//!
//! The ranking asks whether one arrival is high enough; the options map asks the other way round. Both use the same
//! gates and the same estimate of the circuit.

use super::circuit_height::overhead_from_landing;
use super::model::Field;
use super::rank::{Judged, Place, RankInput};
use super::strip::bounds;
use super::study::FieldStudy;
use super::verdict::Verdict;
use crate::math::{self, TAU};
use crate::position::{Bearing, Xy};
use crate::reach::Arrival;
use core::borrow::Borrow;
use rayon::prelude::*;
use std::sync::LazyLock;

/// Tracks of arrival for which the height is worked out: every ten degrees.
pub const ARRIVAL_TRACKS: usize = 36;

/// So much height on arriving, metres above the ground, that no circuit wants more.
const PLENTY_M: f64 = 3_000.0;

/// What one field asks of an aircraft that arrives overhead.
#[derive(Clone, Debug, PartialEq)]
pub struct Demand {
    /// Index of the field.
    pub field: usize,
    /// The place overhead which it is arrived, the field's centre.
    pub overhead: Xy,
    /// The best verdict that the field can have with height in plenty; never out.
    pub verdict: Verdict,
    /// Least height above mean sea level on arriving there, by track of arrival from grid north clockwise, metres.
    pub needed_amsl_m: [f64; ARRIVAL_TRACKS],
}

impl Demand {
    /// Least height above mean sea level on arriving along a track, never less than what any track between two that
    /// were worked out asks; without a track that of the worst.
    #[must_use]
    pub fn needed_along(&self, track: Option<Xy>) -> f64 {
        match track.and_then(Sectors::of) {
            Some(sector) => self.needed_in(sector),
            None => self.needed_amsl_m.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        }
    }

    /// Least height above mean sea level on arriving along a direction, when it lies in a sector or in the next one.
    pub(crate) fn needed_either(&self, sector: usize) -> Either {
        let next = (sector + 1) % ARRIVAL_TRACKS;
        Either { between: SECTORS.tracks[next], before: self.needed_in(sector), after: self.needed_in(next) }
    }

    /// Least height above mean sea level on arriving along any track of a sector.
    pub(crate) fn needed_in(&self, sector: usize) -> f64 {
        self.needed_amsl_m[sector].max(self.needed_amsl_m[(sector + 1) % ARRIVAL_TRACKS])
    }
}

/// What is asked on either side of a track of arrival.
#[derive(Clone, Copy)]
pub(crate) struct Either {
    between: Xy,
    before: f64,
    after: f64,
}

impl Either {
    pub(crate) fn needed(&self, d: Xy) -> f64 {
        if self.between.cross(d) <= 0.0 { self.after } else { self.before }
    }
}

/// Between which two tracks of arrival a direction lies, without an arc tangent: options maps ask millions of times.
pub(crate) struct Sectors {
    /// Unit vectors of the tracks, and the first once more.
    tracks: [Xy; ARRIVAL_TRACKS + 1],
    /// The sector in which each part of each quadrant begins, clockwise from north; parts are even in |x|/(|x| + |y|), or in
    /// |y|/(|x| + |y|) where that is what grows.
    first: [[u8; SECTOR_PARTS]; 4],
}

/// Parts of a quadrant; no sector is narrower than one, so that a part meets two sectors at most.
const SECTOR_PARTS: usize = 16;

static SECTORS: LazyLock<Sectors> = LazyLock::new(|| {
    let angle = |k: usize| TAU * k as f64 / ARRIVAL_TRACKS as f64;
    let tracks = core::array::from_fn(|k| {
        let (sin, cos) = math::sin_cos(angle(k % ARRIVAL_TRACKS));
        Xy::new(sin, cos)
    });
    let first = core::array::from_fn(|quadrant| {
        core::array::from_fn(|part| {
            let t = part as f64 / SECTOR_PARTS as f64;
            let within = math::atan2(t, 1.0 - t);
            // Rounding must not put a part's beginning beyond the sector it begins in.
            let rad = math::FRAC_PI_2 * quadrant as f64 + within - 1e-9;
            (rad.max(0.0) / TAU * ARRIVAL_TRACKS as f64) as u8
        })
    });
    Sectors { tracks, first }
});

impl Sectors {
    /// The number of the track before a direction, clockwise from grid north; `None` for no direction.
    pub(crate) fn of(d: Xy) -> Option<usize> {
        let (ax, ay) = (d.x.abs(), d.y.abs());
        let length = ax + ay;
        if !(length > 0.0 && length.is_finite()) {
            return None;
        }
        // North-east, south-east, south-west, north-west; what grows clockwise in each.
        let (quadrant, grows) = match (d.x >= 0.0, d.y >= 0.0) {
            (true, true) => (0, ax),
            (true, false) => (1, ay),
            (false, false) => (2, ax),
            (false, true) => (3, ay),
        };
        let part = ((grows / length * SECTOR_PARTS as f64) as i32 as usize).min(SECTOR_PARTS - 1);
        Some(Self::from_on(usize::from(SECTORS.first[quadrant][part]), d))
    }

    /// The sector of a direction, looked for clockwise from one that is not beyond it.
    fn from_on(mut sector: usize, d: Xy) -> usize {
        let sectors = &*SECTORS;
        while sector + 1 < ARRIVAL_TRACKS && sectors.tracks[sector + 1].cross(d) <= 0.0 {
            sector += 1;
        }
        sector
    }

    /// The sectors that hold the directions from a place to all of a square, from the corners: the first of them, and how
    /// many, clockwise. `None` where they go too far round for the corners to tell.
    pub(crate) fn of_square(corners: &[Xy; 4]) -> Option<(usize, usize)> {
        let turns = ARRIVAL_TRACKS as isize;
        let [one, right, other, left] = corners;
        let (x, y) = ((one.x.min(other.x), one.x.max(other.x)), (one.y.min(other.y), one.y.max(other.y)));
        // Rectangles along the grid, whichever way round.
        let is_upright = right.x == other.x && right.y == one.y && left.x == one.x && left.y == other.y;
        if is_upright && x.0 * x.1 > 0.0 && y.0 * y.1 > 0.0 {
            // In one quadrant two corners are seen farthest apart, those on the diagonal across the direction.
            let (from, to) = match (x.0 > 0.0, y.0 > 0.0) {
                (true, true) => ((x.0, y.1), (x.1, y.0)),
                (true, false) => ((x.1, y.1), (x.0, y.0)),
                (false, false) => ((x.1, y.0), (x.0, y.1)),
                (false, true) => ((x.0, y.0), (x.1, y.1)),
            };
            let first = Self::of(Xy::new(from.0, from.1))?;
            return Some((first, Self::from_on(first, Xy::new(to.0, to.1)) - first + 1));
        }
        let first = Self::of(corners[0])? as isize;
        let (mut least, mut most) = (0, 0);
        for d in &corners[1..] {
            let mut step = Self::of(*d)? as isize - first;
            if step < -turns / 2 {
                step += turns;
            } else if step >= turns / 2 {
                step -= turns;
            }
            (least, most) = (step.min(least), step.max(most));
        }
        // From within a square its corners are seen more than half the way round.
        (most - least < turns / 2 - 1)
            .then(|| ((first + least).rem_euclid(turns) as usize, (most - least + 1) as usize))
    }
}

/// What every field that would take the aircraft asks; fields that would not, whatever the height, are left out.
///
/// Of all strips that pass every gate the one that asks least counts, for each track. The same on any number of threads.
#[must_use]
pub fn demands<F: Borrow<Field> + Sync, S: Borrow<FieldStudy> + Sync>(
    fields: &[F],
    studies: &[S],
    input: &RankInput<'_>,
) -> Vec<Demand> {
    let zone_bounds: Vec<_> = input.quiet_zones.iter().map(|z| bounds(&z.outer)).collect();
    fields
        .par_iter()
        .zip(studies.par_iter())
        .enumerate()
        .with_min_len(4)
        .filter_map(|(index, (field, study))| {
            let study = study.borrow();
            let ground = study.ground_amsl_m?;
            let arrival = Arrival { height_amsl_m: ground + PLENTY_M, track: None };
            let place = Place::new(field.borrow(), study, input, &zone_bounds, Some(arrival));
            let usable: Vec<Judged<'_>> = place.every().into_iter().filter(|j| j.verdict != Verdict::Out).collect();
            let verdict = usable.iter().map(|j| j.verdict).min()?;
            let mut needed_amsl_m = [f64::INFINITY; ARRIVAL_TRACKS];
            for (i, needed) in needed_amsl_m.iter_mut().enumerate() {
                let track = Bearing::from_rad(TAU * i as f64 / ARRIVAL_TRACKS as f64);
                for judged in &usable {
                    if let Some(height) = place.needed_overhead_m(judged, Some(track)) {
                        *needed = needed.min(height);
                    }
                }
            }
            let all = needed_amsl_m.iter().all(|h| h.is_finite());
            all.then_some(Demand { field: index, overhead: study.centre, verdict, needed_amsl_m })
        })
        .collect()
}

impl Place<'_> {
    /// Height above mean sea level needed overhead the field's centre for a judged strip, arriving along a track.
    fn needed_overhead_m(&self, judged: &Judged<'_>, track: Option<Bearing>) -> Option<f64> {
        let over = overhead_from_landing(
            self.study.centre,
            judged.start,
            judged.heading.unit(),
            judged.start.distance(judged.far_end),
            judged.displacement_m,
            judged.needed_m,
        );
        let circuit = self.circuits.height(judged.heading, track, over)?;
        Some(judged.end.threshold_amsl_m? + circuit.total_m)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Directions from a place to a square are in the sectors that its corners tell, and which of two by the track between.
    #[test]
    fn the_sectors_of_a_square_hold_all_of_its_places() {
        let mut told = 0;
        for (east, north) in
            [(0.0, 40.0), (300.0, 0.0), (-15.0, -15.0), (-500.0, 3.0), (25.0, 12.5), (80.0, -400.0), (-1.0, 900.0)]
        {
            for side in [1.0, 25.0, 200.0] {
                let at = |x: f64, y: f64| Xy::new(east + x * side, north + y * side);
                let corners = [at(0.0, 1.0), at(1.0, 1.0), at(1.0, 0.0), at(0.0, 0.0)];
                let Some((first, count)) = Sectors::of_square(&corners) else {
                    // Only where the place is in the square or nearly so.
                    assert!(
                        east > -2.0 * side && east < side && north > -2.0 * side && north < side,
                        "{east} {north} {side}"
                    );
                    continue;
                };
                told += 1;
                for i in 0..=20 {
                    for j in 0..=20 {
                        let d = at(f64::from(i) / 20.0, f64::from(j) / 20.0);
                        let Some(sector) = Sectors::of(d) else { continue };
                        assert!(
                            (sector + ARRIVAL_TRACKS - first) % ARRIVAL_TRACKS < count,
                            "{d:?} {sector} {first} {count}"
                        );
                        if count == 2 {
                            let next = (first + 1) % ARRIVAL_TRACKS;
                            let beyond = SECTORS.tracks[next].cross(d) <= 0.0;
                            assert_eq!(beyond, sector == next, "{d:?}");
                        }
                    }
                }
            }
        }
        assert!(told > 12, "{told}");
    }

    #[test]
    fn between_two_tracks_the_worse_counts_and_without_one_the_worst() {
        let mut needed_amsl_m = [100.0; ARRIVAL_TRACKS];
        needed_amsl_m[9] = 140.0;
        needed_amsl_m[20] = 170.0;
        let demand = Demand { field: 0, overhead: Xy::default(), verdict: Verdict::Roomy, needed_amsl_m };
        let along = |deg: f64| demand.needed_along(Some(Bearing::from_deg(deg).unit() * 55.0));
        // East is the ninth track, 90°; its neighbours reach it from 80° and up to 100°.
        assert_eq!(
            [along(79.0), along(81.0), along(90.0), along(99.0), along(101.0)],
            [100.0, 140.0, 140.0, 140.0, 100.0]
        );
        assert_eq!(along(359.9), 100.0);
        assert_eq!(demand.needed_along(None), 170.0);
        assert_eq!(demand.needed_along(Some(Xy::default())), 170.0);
    }

    #[test]
    fn a_sector_is_what_the_bearing_says() {
        for step in 0..72_000 {
            let deg = f64::from(step) * 0.005 + 0.002;
            let d = Bearing::from_deg(deg).unit() * (1.0 + f64::from(step % 977) * 13.0);
            assert_eq!(Sectors::of(d), Some((deg / 10.0) as usize), "{deg}");
        }
        for (d, sector) in [((0.0, 1.0), 0), ((1.0, 0.0), 9), ((0.0, -1.0), 18), ((-1.0, 0.0), 27)] {
            let found = Sectors::of(Xy::new(d.0, d.1)).unwrap();
            // On a track itself either side of it will do.
            assert!(found == sector || found + 1 == sector, "{d:?}: {found}");
        }
        assert_eq!([Sectors::of(Xy::default()), Sectors::of(Xy::new(f64::NAN, 1.0))], [None, None]);
    }
}
