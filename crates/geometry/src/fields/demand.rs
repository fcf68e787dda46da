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
use crate::math::TAU;
use crate::position::{Bearing, Xy};
use crate::reach::Arrival;
use core::borrow::Borrow;
use rayon::prelude::*;

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
        let Some(bearing) = track.and_then(Xy::bearing) else {
            return self.needed_amsl_m.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        };
        let at = bearing.rad() / TAU * ARRIVAL_TRACKS as f64;
        let low = at.floor() as usize % ARRIVAL_TRACKS;
        self.needed_amsl_m[low].max(self.needed_amsl_m[(low + 1) % ARRIVAL_TRACKS])
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
}
