//! Every way in which one field can be landed on, for a pilot who may choose another than the best.

use super::model::Field;
use super::rank::{Gate, Judged, Place, RankInput};
use super::reasons;
use super::strip::bounds;
use super::study::FieldStudy;
use super::verdict::{Reason, StripVerdict, Verdict};
use crate::reach::Arrival;

/// A strip of a field landed on from one end.
#[derive(Clone, Debug, PartialEq)]
pub struct WayIn {
    /// Verdict.
    pub verdict: Verdict,
    /// Whether it is out for nothing but the estimated height: a flown circuit may know better.
    pub out_by_height_alone: bool,
    /// How far its score is below that of the best way into the field; negative where a worse verdict has a better
    /// score.
    pub below_best: f64,
    /// The strip.
    pub strip: StripVerdict,
    /// Every reason, gates first.
    pub reasons: Vec<Reason>,
}

/// Every strip of a field in both directions, the best first: that is the one which the ranking chooses.
///
/// `arrival` is overhead the field's centre, `None` where it is not in reach.
#[must_use]
pub fn ways_in(field: &Field, study: &FieldStudy, input: &RankInput<'_>, arrival: Option<Arrival>) -> Vec<WayIn> {
    let zones: Vec<_> = input.quiet_zones.iter().map(|z| bounds(&z.outer)).collect();
    let place = Place::new(field, study, input, &zones, arrival);
    let Some(best) = place.best() else { return Vec::new() };
    let is_best = |j: &Judged<'_>| core::ptr::eq(j.study, best.study) && core::ptr::eq(j.end, best.end);
    let each = study.strips.iter().flat_map(|strip| [place.one(strip, 0), place.one(strip, 1)]).flatten();
    let mut ways: Vec<(bool, WayIn)> = each
        .map(|judged| {
            let way = WayIn {
                verdict: judged.verdict,
                out_by_height_alone: judged.verdict == Verdict::Out && is_out_by_height_alone(&judged),
                below_best: best.score - judged.score,
                strip: reasons::strip_verdict(&place, &judged),
                reasons: reasons::about(&place, &judged),
            };
            (is_best(&judged), way)
        })
        .collect();
    ways.sort_by(|(a_best, a), (b_best, b)| {
        b_best.cmp(a_best).then(a.verdict.cmp(&b.verdict)).then(a.below_best.total_cmp(&b.below_best))
    });
    ways.into_iter().map(|(_, way)| way).collect()
}

fn is_out_by_height_alone(judged: &Judged<'_>) -> bool {
    let mut gates = Gate::ALL.into_iter().filter(|gate| judged.gates.has(*gate));
    gates.all(|gate| matches!(gate, Gate::NotInReach | Gate::TooLow))
}
