//! What a judged strip means in words: gates, limits, what is not known, and what speaks for the field.

use super::criteria::{
    MAX_CROSS_SLOPE, MAX_DOWNHILL, MAX_TAILWIND_SHARE, MAX_UPHILL, ROOMY_FROM, UNKNOWN_AT_MOST, Weights, slope_value,
};
use super::flown::CircuitBasis;
use super::model::{Field, Stock, Surface};
use super::rank::{Gate, Judged, Place, RankInput};
use super::study::{GroundKnown, NoStrip, Under, may_include_trees};
use super::survey::{SurveyStanding, TRUSTED_FROM};
use super::verdict::{
    ApproachObstacle, Criterion, CriterionKind, Quantity, RankedField, Reason, ReasonKind, StripVerdict, Verdict,
};
use crate::aircraft::Aircraft;
use crate::circuit::{InTheWay, Join, NoCircuit};
use crate::fields::approach::displacement_m;
use crate::fields::circuit_height::landing_from_start_m;

/// Slope below which a field is called level in words.
const LEVEL: f64 = 0.005;

fn reason(kind: ReasonKind, template: &str, quantities: &[Quantity]) -> Reason {
    Reason { kind, template: template.into(), quantities: quantities.to_vec() }
}

/// A field nobody studied.
pub(super) fn not_studied(index: usize, field: &Field, input: &RankInput<'_>) -> RankedField {
    let survey = SurveyStanding::of(field, input.options.today);
    let why = vec![reason(ReasonKind::Gate, "not looked at for this aircraft yet", &[])];
    out(index, &input.options.weights, survey, why)
}

/// Says how many other usable fields lie beside a field.
pub(super) fn others_beside(others: usize) -> Reason {
    let words = if others == 1 { "{0} other field within {1}" } else { "{0} other fields within {1}" };
    let within = Quantity::Length(super::rank::ALTERNATIVE_WITHIN_M);
    reason(ReasonKind::Good, words, &[Quantity::Number(others as f64, 0), within])
}

fn criteria(weights: &Weights, values: &[f64; 9], known: &[bool; 9]) -> Vec<Criterion> {
    let list = CriterionKind::ALL.into_iter().enumerate();
    list.map(|(i, kind)| Criterion { kind, value: values[i], weight: weights.values()[i], known: known[i] }).collect()
}

fn out(index: usize, weights: &Weights, survey: SurveyStanding, reasons: Vec<Reason>) -> RankedField {
    RankedField {
        index,
        rank: 0,
        verdict: Verdict::Out,
        score: 0.0,
        arrival_height_m: None,
        circuit_height_m: None,
        spare_height_m: None,
        circuit: CircuitBasis::Estimated,
        strip: None,
        survey,
        criteria: criteria(weights, &[0.0; 9], &[false; 9]),
        reasons,
    }
}

/// The field as ranked, with its reasons; the place in the list is still to be filled in.
pub(super) fn ranked_field(index: usize, place: &Place<'_>, best: Option<&Judged<'_>>) -> RankedField {
    let aircraft = place.input.aircraft;
    let weights = &place.input.options.weights;
    let Some(j) = best else {
        return out(index, weights, place.survey, vec![no_strip(place.study.no_strip, aircraft)]);
    };
    RankedField {
        index,
        rank: 0,
        verdict: j.verdict,
        score: j.score,
        arrival_height_m: j.arrival_m,
        circuit_height_m: j.circuit_height_m(),
        spare_height_m: j.spare_m,
        circuit: j.flown.unwrap_or(CircuitBasis::Estimated),
        strip: Some(strip_verdict(place, j)),
        survey: place.survey,
        criteria: criteria(weights, &j.values, &j.known),
        reasons: about(place, j),
    }
}

/// Why a field has no strip at all.
pub(super) fn no_strip(why: Option<NoStrip>, aircraft: &Aircraft) -> Reason {
    let (strip, margin) = (Quantity::Length(aircraft.strip_width_m), Quantity::Length(aircraft.edge_margin_m));
    let words = match why {
        Some(NoStrip::BadOutline) => "its outline encloses nothing; draw it again",
        Some(NoStrip::TooLarge) => "this outline is larger than any field; draw the fields inside it",
        Some(NoStrip::OffTerrain) => "outside the terrain: slope and arrival height are not known",
        Some(NoStrip::BadAircraft) => "the aircraft's strip width or edge margin is not a usable number",
        Some(NoStrip::TooNarrow) | None => "no strip {0} wide fits with {1} kept from the edges",
    };
    reason(ReasonKind::Gate, words, &[strip, margin])
}

/// Every reason that a judged strip gives, gates first.
pub(super) fn about(place: &Place<'_>, j: &Judged<'_>) -> Vec<Reason> {
    let mut reasons = Vec::with_capacity(12);
    gates(place, j, &mut reasons);
    limits(place, j, &mut reasons);
    not_known(place, j, &mut reasons);
    notes(place, j, &mut reasons);
    good(place, j, &mut reasons);
    reasons
}

pub(super) fn strip_verdict(place: &Place<'_>, j: &Judged<'_>) -> StripVerdict {
    let aircraft = place.input.aircraft;
    let mut obstacles: Vec<ApproachObstacle> = j
        .end
        .obstacles
        .iter()
        .map(|p| ApproachObstacle {
            what: p.what.words().into(),
            height_m: p.height_m,
            before_threshold_m: p.before_threshold_m,
            displacement_m: displacement_m(
                place.input.options.obstacle_rule,
                j.gradient,
                p.height_m,
                p.before_threshold_m,
            ),
            assumed: p.assumed,
        })
        .collect();
    obstacles.sort_by(|a, b| b.displacement_m.total_cmp(&a.displacement_m));
    StripVerdict {
        heading: j.heading,
        start: j.start,
        end: j.far_end,
        width_m: j.study.strip.width_m,
        length_m: j.study.strip.length_m,
        displacement_m: j.displacement_m,
        usable_length_m: j.usable_m,
        needed_length_m: j.needed_m,
        expected_length_m: j.case.expected_m(aircraft),
        aim_from_start_m: landing_from_start_m(
            (place.study.centre - j.start).dot(j.heading.unit()),
            j.study.strip.length_m,
            j.displacement_m,
            j.needed_m,
        ),
        start_amsl_m: j.end.threshold_amsl_m,
        landing_distance_m: aircraft.landing_distance_m,
        factors: j.case.factors(aircraft),
        obstacles,
        approach_gradient: j.gradient,
        slope: j.ground.map(|g| g.slope),
        cross_slope: j.ground.map(|g| g.cross_slope),
        slope_error: j.ground.map(|g| g.slope_error),
        roughness_m: j.ground.map(|g| g.roughness_m),
        headwind_ms: j.headwind_ms,
        crosswind_ms: j.crosswind_ms,
    }
}

/// Why no circuit works that was flown.
fn no_circuit_words(j: &Judged<'_>) -> (&'static str, Vec<Quantity>) {
    let Some(CircuitBasis::None(why)) = j.flown else { return ("no circuit works from here", vec![]) };
    match why {
        NoCircuit::InTheWay(too_low) => {
            let words = match too_low.over {
                InTheWay::Ground => "every circuit passes {0} too low over rising ground",
                InTheWay::UnknownGround => return (why.words(), vec![]),
                InTheWay::Hazard(_) => "every circuit passes {0} too low over a hazard",
                InTheWay::QuietZone(_) => "every circuit passes {0} too low over a quiet zone",
            };
            (words, vec![Quantity::HeightAtMost(too_low.by_m)])
        }
        why => (why.words(), vec![]),
    }
}

fn gates(place: &Place<'_>, j: &Judged<'_>, reasons: &mut Vec<Reason>) {
    let aircraft = place.input.aircraft;
    for gate in Gate::ALL.into_iter().filter(|g| j.gates.has(*g)) {
        let slope = j.ground.map_or(0.0, |g| g.slope);
        let (words, quantities) = match gate {
            Gate::NotInReach => ("not in reach", vec![]),
            Gate::TooLow => (
                "{0} too low for a circuit: arrives {1} above it, {2} needed",
                vec![
                    Quantity::HeightAtMost(-j.spare_m.unwrap_or(0.0)),
                    Quantity::HeightAtLeast(j.arrival_m.unwrap_or(0.0)),
                    Quantity::HeightAtMost(j.circuit_height_m().unwrap_or(0.0)),
                ],
            ),
            Gate::NoCircuit => no_circuit_words(j),
            Gate::TooShort => (
                "too short by {0}: {1} usable, {2} needed",
                vec![
                    Quantity::LengthAtMost(j.needed_m - j.usable_m),
                    Quantity::LengthAtLeast(j.usable_m),
                    Quantity::LengthAtMost(j.needed_m),
                ],
            ),
            Gate::WindTooStrong => ("the wind is too strong for an approach or a circuit here", vec![]),
            Gate::Tailwind => (
                "tailwind of {0}, more than {1}",
                vec![Quantity::Speed(-j.headwind_ms), Quantity::Speed(MAX_TAILWIND_SHARE * aircraft.approach_speed_ms)],
            ),
            Gate::Crosswind => (
                "crosswind of {0}, more than the aircraft's {1}",
                vec![Quantity::Speed(j.crosswind_ms.abs()), Quantity::Speed(aircraft.max_crosswind_ms)],
            ),
            Gate::Wires => wires_words("wires across the approach", j),
            Gate::Downhill => {
                ("downhill by {0}, more than {1}", vec![Quantity::Slope(-slope), Quantity::Slope(MAX_DOWNHILL)])
            }
            Gate::Uphill => ("uphill by {0}, more than {1}", vec![Quantity::Slope(slope), Quantity::Slope(MAX_UPHILL)]),
            Gate::CrossSlope => (
                "slopes across by {0}, more than {1}",
                vec![Quantity::Slope(j.ground.map_or(0.0, |g| g.cross_slope.abs())), Quantity::Slope(MAX_CROSS_SLOPE)],
            ),
            Gate::Surface => {
                reasons.push(tall_crop(&place.survey));
                continue;
            }
            Gate::NoTerrain => (
                match place.study.ground {
                    GroundKnown::NotLoaded => "no terrain is loaded: slope and arrival height are not known",
                    GroundKnown::Outside => "outside the terrain: slope and arrival height are not known",
                    GroundKnown::Gap | GroundKnown::Yes => {
                        "the terrain has a gap here: slope and arrival height are not known"
                    }
                },
                vec![],
            ),
        };
        reasons.push(reason(ReasonKind::Gate, words, &quantities));
    }
}

fn wires_words(words: &'static str, j: &Judged<'_>) -> (&'static str, Vec<Quantity>) {
    let Some(p) = j.end.wires.first() else { return (words, vec![]) };
    let words = if words.starts_with("wires across") {
        "wires across the approach: tops {0} above the landing end, {1} before it"
    } else {
        "wires under the approach, cleared: tops {0} above the landing end, {1} before it"
    };
    (words, vec![Quantity::Height(p.height_m), Quantity::Length(p.before_threshold_m)])
}

fn limits(place: &Place<'_>, j: &Judged<'_>, reasons: &mut Vec<Reason>) {
    let mut limit = |words: &str, quantities: &[Quantity]| reasons.push(reason(ReasonKind::Limit, words, quantities));
    let low = |kind: CriterionKind| {
        CriterionKind::ALL.iter().position(|k| *k == kind).is_some_and(|i| j.values[i] < ROOMY_FROM)
    };
    if low(CriterionKind::LengthInHand) && !j.gates.has(Gate::TooShort) {
        limit("only {0} longer than needed", &[Quantity::LengthAtLeast(j.usable_m - j.needed_m)]);
    }
    if low(CriterionKind::WindAlignment) {
        if j.headwind_ms < 0.0 && !j.gates.has(Gate::Tailwind) {
            limit("tailwind of {0}", &[Quantity::Speed(-j.headwind_ms)]);
        }
        let max = place.input.aircraft.max_crosswind_ms;
        if j.crosswind_ms.abs() > 0.7 * max && !j.gates.has(Gate::Crosswind) {
            limit(
                "crosswind of {0}; the aircraft's limit is {1}",
                &[Quantity::Speed(j.crosswind_ms.abs()), Quantity::Speed(max)],
            );
        }
    }
    if let Some(g) = j.ground.filter(|_| low(CriterionKind::Slope)) {
        let level = |slope, error, across, rough| slope_value(slope, error, across, 0.0, rough) < ROOMY_FROM;
        if g.slope < 0.0 && !j.gates.has(Gate::Downhill) && level(g.slope, 0.0, 0.0, 0.0) {
            limit("downhill by {0}", &[Quantity::Slope(-g.slope)]);
        } else if level(g.slope.min(0.0), g.slope_error, 0.0, 0.0) && !j.gates.has(Gate::Downhill) {
            limit(
                "may be downhill by {0}: the terrain tells slope only to ±{1}",
                &[Quantity::Slope(g.slope_error - g.slope), Quantity::Slope(g.slope_error)],
            );
        }
        if level(g.slope.max(0.0), 0.0, 0.0, 0.0) && !j.gates.has(Gate::Uphill) {
            limit("uphill by {0}", &[Quantity::Slope(g.slope)]);
        }
        if level(0.0, 0.0, g.cross_slope, 0.0) && !j.gates.has(Gate::CrossSlope) {
            limit("slopes across by {0}", &[Quantity::Slope(g.cross_slope.abs())]);
        }
        if level(0.0, 0.0, 0.0, g.roughness_m) {
            limit("uneven: the ground departs from a plane by {0}", &[Quantity::Height(g.roughness_m)]);
        }
    }
    let survey = &place.survey;
    match survey.surface.surface {
        surface @ (Surface::ShortCrop | Surface::LongGrass | Surface::SoftOrWet) if !told_with_its_age(survey) => {
            limit(surface.words(), &[]);
        }
        Surface::Ploughed if !told_with_its_age(survey) => limit("ploughed: land along the furrows", &[]),
        _ => {}
    }
    if let Some(p) =
        j.governing.map(|i| j.end.obstacles[i]).filter(|_| j.displacement_m > 0.25 * j.study.strip.length_m)
    {
        limit(
            &format!("{} under the approach takes {{0}} of {{1}}", p.what.words()),
            &[Quantity::LengthAtMost(j.displacement_m), Quantity::Length(j.study.strip.length_m)],
        );
    }
    if let Some(spare) = j.spare_m.filter(|s| *s >= 0.0 && low(CriterionKind::SpareHeight)) {
        limit("only {0} more height than a circuit needs", &[Quantity::HeightAtLeast(spare)]);
    }
    match (survey.stock, survey.stock_age_days) {
        (Stock::Present, Some(age)) if age > 0 => limit("animals on it when looked at {0} ago", &[Quantity::Days(age)]),
        (Stock::Present, _) => limit("animals on it", &[]),
        _ => {}
    }
    if !j.end.wires.is_empty() && !j.gates.has(Gate::Wires) {
        let (words, quantities) = wires_words("wires under the approach", j);
        limit(words, &quantities);
    }
    if place.study.nearby.wires > 1 {
        limit("{0} lines of wires near the circuit", &[Quantity::Number(place.study.nearby.wires as f64, 0)]);
    }
    if place.study.nearby.tall > 4 {
        limit("{0} masts, trees or buildings near the circuit", &[Quantity::Number(place.study.nearby.tall as f64, 0)]);
    }
    if let Some(zone) = j.quiet_zone.and_then(|i| place.input.quiet_zones.get(i)) {
        // The name is data, and braces in it are not gaps.
        let name = zone.name.replace(['{', '}'], "");
        limit(format!("the final passes low over a quiet zone {name}").trim_end(), &[]);
    }
    if let Some(age) = survey.age_days.filter(|_| low(CriterionKind::Freshness)) {
        if told_with_its_age(survey) {
            limit(&since_seen(survey), &[Quantity::Days(age)]);
        } else {
            limit("last looked at {0} ago", &[Quantity::Days(age)]);
        }
    }
}

fn not_known(place: &Place<'_>, j: &Judged<'_>, reasons: &mut Vec<Reason>) {
    let mut say = |words: &str, quantities: &[Quantity]| reasons.push(reason(ReasonKind::NotKnown, words, quantities));
    let survey = &place.survey;
    match (survey.seen, survey.expected_now()) {
        (Surface::Unknown, Some(expected)) if expected != Surface::TallCrop => {
            let (expected, month) = (expected.words(), survey.month_words());
            say(&format!("what grows there is not known; the calendar says {expected} in {month}"), &[]);
        }
        (Surface::Unknown, _) => say("what grows there is not known", &[]),
        _ => {}
    }
    match (survey.stock, survey.stock_age_days) {
        (Stock::Unknown, _) => say("whether animals are there is not known", &[]),
        (Stock::None, Some(age)) if survey.stock_confidence < TRUSTED_FROM => {
            say("no animals when looked at {0} ago; there may be some by now", &[Quantity::Days(age)]);
        }
        (Stock::None, None) => say("nobody noted when animals were looked for", &[]),
        _ => {}
    }
    if place.input.options.hazards_unknown {
        say("no hazards were loaded: wires, masts and trees around it were not looked at", &[]);
    }
    if j.end.unknown_edge {
        say("nobody looked at the boundary under the approach; a height was assumed", &[]);
    }
    if let Some(p) = j
        .governing
        .map(|i| j.end.obstacles[i])
        .filter(|p| p.assumed && !matches!(p.what, Under::Edge(super::model::EdgeKind::Unknown)))
    {
        say(&format!("the height of the {} under the approach is assumed", p.what.words()), &[]);
    }
    if j.end.ground_gap && j.end.threshold_amsl_m.is_some() {
        say("the terrain under the approach has a gap", &[]);
    }
    if let Some(g) = j.ground {
        if g.slope_error - g.slope > MAX_DOWNHILL || g.slope_error > MAX_DOWNHILL / 2.0 {
            say(
                "slope is known only to ±{0}: this terrain cannot vouch for a slope under {1}",
                &[Quantity::Slope(g.slope_error), Quantity::Slope(MAX_DOWNHILL)],
            );
        }
        if g.cross_error > 0.025 {
            say("slope across is known only to ±{0}", &[Quantity::Slope(g.cross_error)]);
        }
        if place.study.accuracy.is_some_and(may_include_trees) {
            say("the terrain's heights may include trees and buildings", &[]);
        }
    }
    match (place.field.surveyed, survey.age_days) {
        (None, _) => say("nobody noted when it was last looked at", &[]),
        (Some(_), None) => say("how long ago it was looked at is not known", &[]),
        (Some(_), Some(_)) => {}
    }
}

fn notes(place: &Place<'_>, j: &Judged<'_>, reasons: &mut Vec<Reason>) {
    let small = j.displacement_m <= 0.25 * j.study.strip.length_m;
    if let Some(p) = j.governing.map(|i| j.end.obstacles[i]).filter(|_| small) {
        let words = format!("{} under the approach takes {{0}}", p.what.words());
        reasons.push(reason(ReasonKind::Note, &words, &[Quantity::LengthAtMost(j.displacement_m)]));
    }
    if place.study.nearby.wires == 1 {
        reasons.push(reason(ReasonKind::Note, "wires near the circuit", &[]));
    }
    if let Some(g) = j.ground.filter(|g| g.slope > LEVEL && g.slope <= 0.06) {
        reasons.push(reason(ReasonKind::Note, "uphill by {0}", &[Quantity::Slope(g.slope)]));
    }
}

fn good(place: &Place<'_>, j: &Judged<'_>, reasons: &mut Vec<Reason>) {
    let value = |kind: CriterionKind| CriterionKind::ALL.iter().position(|k| *k == kind).map_or(0.0, |i| j.values[i]);
    let mut say = |words: &str, quantities: &[Quantity]| reasons.push(reason(ReasonKind::Good, words, quantities));
    if value(CriterionKind::LengthInHand) >= ROOMY_FROM {
        say("{0} longer than needed", &[Quantity::LengthAtLeast(j.usable_m - j.needed_m)]);
    }
    if let Some(spare) = j.spare_m.filter(|_| value(CriterionKind::SpareHeight) >= ROOMY_FROM) {
        say("{0} more height than a circuit needs", &[Quantity::HeightAtLeast(spare)]);
    }
    if let Some(CircuitBasis::Flown { join, .. }) = j.flown
        && j.spare_m.is_some_and(|s| s >= 0.0)
    {
        let way = match join {
            Join::StraightIn => "by coming straight in",
            Join::Base => "by joining on base",
            Join::Downwind => "by joining downwind",
            Join::Crosswind => "by joining crosswind",
            Join::Overhead => "by joining overhead",
        };
        say(&format!("needs least height {way}, flown by simulation"), &[]);
    }
    if j.headwind_ms > 1.0 && value(CriterionKind::WindAlignment) >= ROOMY_FROM {
        say("headwind of {0}", &[Quantity::Speed(j.headwind_ms)]);
    }
    let survey = &place.survey;
    if matches!(survey.seen, Surface::Stubble | Surface::GrazedGrass) && !survey.is_doubtful() {
        say(survey.seen.words(), &[]);
    }
    let clear = j.displacement_m <= 0.0 && value(CriterionKind::Approach) > 0.9;
    if clear && value(CriterionKind::Approach) > UNKNOWN_AT_MOST {
        say("nothing known under the approach takes length", &[]);
    }
}

/// Whether the surface and the age of the survey stand in one sentence: something was seen, but too long ago.
fn told_with_its_age(survey: &SurveyStanding) -> bool {
    survey.seen != Surface::Unknown && survey.age_days.is_some() && survey.is_doubtful()
}

/// What was seen and what has become of it; the gap is the age.
fn since_seen(survey: &SurveyStanding) -> String {
    let (seen, month) = (survey.seen.words(), survey.month_words());
    match survey.expected {
        Some(expected) if expected == survey.seen => {
            format!("{seen} when looked at {{0}} ago; the calendar says the same in {month}")
        }
        Some(expected) => {
            format!("{seen} when looked at {{0}} ago; the calendar says {} in {month}", expected.words())
        }
        None => format!("{seen} when looked at {{0}} ago; it may have changed since"),
    }
}

/// Why a tall crop keeps the aircraft out: seen, or to be expected by now.
fn tall_crop(survey: &SurveyStanding) -> Reason {
    const WHY: &str = "expect to turn over";
    let aged = survey.age_days.filter(|_| told_with_its_age(survey));
    match (survey.seen, aged) {
        (Surface::TallCrop, None) => reason(ReasonKind::Gate, &format!("tall crop: {WHY}"), &[]),
        (_, Some(age)) => reason(ReasonKind::Gate, &format!("{}: {WHY}", since_seen(survey)), &[Quantity::Days(age)]),
        (seen, None) => {
            let seen =
                if seen == Surface::Unknown { String::new() } else { format!("{} at an unknown time; ", seen.words()) };
            let month = survey.month_words();
            reason(ReasonKind::Gate, &format!("{seen}the calendar says tall crop in {month}: {WHY}"), &[])
        }
    }
}

/// A slope along the landing direction as the end of a sentence.
pub(super) fn slope_words(slope: Option<f64>) -> &'static str {
    match slope {
        None => ", slope not known",
        Some(s) if s < -LEVEL => ", slightly downhill",
        Some(s) if s > 0.06 => ", steeply uphill",
        Some(s) if s > 0.03 => ", uphill",
        Some(s) if s > LEVEL => ", slightly uphill",
        Some(_) => ", about level",
    }
}

/// The sentence a card starts with: verdict, usable length, landing direction and slope; for a field that is out, why.
#[must_use]
pub fn headline(field: &RankedField) -> Reason {
    let first_gate = field.reasons.iter().find(|r| r.kind == ReasonKind::Gate);
    if let (Verdict::Out, Some(gate)) = (field.verdict, first_gate) {
        let template = format!("out: {}", gate.template);
        return Reason { kind: ReasonKind::Gate, template, quantities: gate.quantities.clone() };
    }
    let Some(strip) = &field.strip else {
        return reason(ReasonKind::Note, field.verdict.words(), &[]);
    };
    let slope = slope_words(strip.slope);
    let template = format!("{}: {{0}} usable landing {{1}}{slope}", field.verdict.words());
    let usable = Quantity::LengthAtLeast(strip.usable_length_m);
    reason(ReasonKind::Note, &template, &[usable, Quantity::Direction(strip.heading)])
}
