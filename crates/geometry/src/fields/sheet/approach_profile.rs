//! What stands under the last part of the approach, the path over it, and how much is left between them.

use super::super::approach::displacement_m;
use super::super::model::Hazard;
use super::super::rank::Judged;
use super::super::strip::Strip;
use super::super::study::{APPROACH_LENGTH_M, Source, Standing, Under, WIRES_MARGIN_M, look_under_approach};
use super::{Placing, SheetInput};
use std::collections::BTreeMap;

/// How far before the landing end the approach is shown, metres; further where something further out governs.
pub const SHOWN_M: f64 = 600.0;

/// The ground under the approach at one distance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ApproachGround {
    /// Distance before the landing end, metres.
    pub before_m: f64,
    /// Ground on the centre line above the landing end, metres; `None` where the terrain has a gap.
    pub height_m: Option<f64>,
}

/// One thing under the approach.
#[derive(Clone, Debug, PartialEq)]
pub struct ApproachThing {
    /// What it is.
    pub what: Under,
    /// Its name, where it has one.
    pub name: String,
    /// How high it stands above the ground under it, metres; 0 for the ground itself.
    pub stands_m: f64,
    /// Whether that height was assumed.
    pub assumed: bool,
    /// Where the path has least room over it: distance before the landing end, metres.
    pub before_m: f64,
    /// Its top there above the landing end, metres.
    pub top_m: f64,
    /// Its tops where they are known, as (distance before the landing end, height above it), nearest first, metres.
    pub tops: Vec<(f64, f64)>,
    /// Length it takes from the strip, metres.
    pub displacement_m: f64,
    /// Height of the lowest path over its top, metres: the path that meets the ground at the landing end as moved in.
    pub clearance_m: f64,
    /// Height over its top of the path to the aiming point, metres.
    pub aimed_clearance_m: f64,
    /// Whether these are wires that the path to the unmoved landing end does not clear by [`WIRES_MARGIN_M`].
    pub wires_not_cleared: bool,
}

/// The approach to one end of a strip in one wind.
#[derive(Clone, Debug, PartialEq)]
pub struct ApproachProfile {
    /// Height of the ground at the landing end above sea level, metres.
    pub threshold_amsl_m: Option<f64>,
    /// Ground covered for each metre of height by the rule in use; infinite where no approach can be flown.
    pub run_per_height: f64,
    /// How far the landing end is moved in, metres along the strip.
    pub displacement_m: f64,
    /// How far along the strip the aiming point lies, metres.
    pub aiming_m: f64,
    /// How far before the landing end is shown, metres.
    pub shown_m: f64,
    /// The ground from the landing end outwards, at the terrain's resolution.
    pub ground: Vec<ApproachGround>,
    /// What stands there, nearest first.
    pub things: Vec<ApproachThing>,
    /// Which of `things` moves the landing end in.
    pub governing: Option<usize>,
    /// Whether the approach crosses a side that nobody looked at.
    pub unknown_edge: bool,
    /// Whether terrain is missing under it.
    pub ground_gap: bool,
    /// One standard error of the height between two posts, metres; `None` without terrain.
    pub height_error_m: Option<f64>,
}

impl ApproachProfile {
    pub(super) fn new(input: &SheetInput<'_>, near: &[&Hazard], judged: &Judged<'_>, placing: &Placing) -> Self {
        let strip = Strip {
            heading: judged.heading,
            start: judged.start,
            end: judged.far_end,
            width_m: judged.study.strip.width_m,
            length_m: judged.study.strip.length_m,
        };
        let look = look_under_approach(input.field, near, input.terrain, input.rank.aircraft, input.options, &strip);
        let rule = input.rank.options.obstacle_rule;
        let mut profile = Self {
            threshold_amsl_m: look.threshold_amsl_m,
            run_per_height: rule.run_per_height(judged.gradient),
            displacement_m: judged.displacement_m.min(strip.length_m),
            aiming_m: placing.aiming_m,
            shown_m: SHOWN_M,
            ground: Vec::new(),
            things: Vec::new(),
            governing: None,
            unknown_edge: look.unknown_edge,
            ground_gap: look.ground_gap,
            height_error_m: input.terrain.map(|t| t.accuracy.point_to_point_m.max(0.0)),
        };
        let takes = |s: &Standing, more: f64| {
            displacement_m(rule, judged.gradient, s.point.height_m + more, s.point.before_threshold_m)
        };
        let mut by_source: BTreeMap<Source, Vec<Standing>> = BTreeMap::new();
        for standing in look.standing {
            by_source.entry(standing.source).or_default().push(standing);
        }
        let farthest = |s: &[Standing]| s.iter().map(|s| s.point.before_threshold_m).fold(0.0, f64::max);
        let governs =
            |s: &[Standing]| judged.displacement_m > 0.0 && s.iter().any(|s| takes(s, 0.0) >= judged.displacement_m);
        for standings in by_source.values().filter(|s| governs(s)) {
            profile.shown_m = profile.shown_m.max(farthest(standings) + 50.0).min(APPROACH_LENGTH_M);
        }
        for (source, standings) in by_source {
            // Level ground lies just under the path near the landing end; it is worth a word only where it takes length.
            if source == Source::Ground && !standings.iter().any(|s| takes(s, 0.0) > 0.0) {
                continue;
            }
            let nearest = standings.iter().map(|s| s.point.before_threshold_m).fold(f64::INFINITY, f64::min);
            if nearest > profile.shown_m {
                continue;
            }
            // Where the path has least room: the top that comes highest above a path through the landing end.
            let over = |s: &Standing| profile.path_m(s.point.before_threshold_m) - s.point.height_m;
            let Some(least) = standings.iter().min_by(|a, b| over(a).total_cmp(&over(b))) else { continue };
            let point = least.point;
            let most = |f: &dyn Fn(&Standing) -> f64| standings.iter().map(f).fold(0.0, f64::max);
            profile.things.push(ApproachThing {
                what: point.what,
                name: match source {
                    Source::Hazard(i) => near.get(i).map_or_else(String::new, |h| h.name.clone()),
                    _ => String::new(),
                },
                stands_m: least.stands_m,
                assumed: point.assumed,
                before_m: point.before_threshold_m,
                top_m: point.height_m,
                tops: tops(&standings),
                displacement_m: most(&|s| takes(s, 0.0)),
                clearance_m: over(least),
                aimed_clearance_m: profile.aimed_path_m(point.before_threshold_m) - point.height_m,
                wires_not_cleared: point.what.is_wires() && most(&|s| takes(s, WIRES_MARGIN_M)) > 0.0,
            });
        }
        profile.things.sort_by(|a, b| a.before_m.total_cmp(&b.before_m).then(b.top_m.total_cmp(&a.top_m)));
        profile.governing = (judged.displacement_m > 0.0)
            .then(|| {
                let by = |a: &usize, b: &usize| {
                    profile.things[*a].displacement_m.total_cmp(&profile.things[*b].displacement_m)
                };
                (0..profile.things.len()).max_by(by)
            })
            .flatten();
        profile.ground = ground(input, &strip, look.threshold_amsl_m, profile.shown_m);
        profile
    }

    /// Height above the landing end of the lowest path at a distance before it, metres: it meets the ground at the
    /// landing end as moved in.
    #[must_use]
    pub fn path_m(&self, before_m: f64) -> f64 {
        (before_m + self.displacement_m) / self.run_per_height
    }

    /// The same for the path to the aiming point.
    #[must_use]
    pub fn aimed_path_m(&self, before_m: f64) -> f64 {
        (before_m + self.aiming_m) / self.run_per_height
    }
}

fn tops(standings: &[Standing]) -> Vec<(f64, f64)> {
    let mut tops: Vec<(f64, f64)> = standings.iter().map(|s| (s.point.before_threshold_m, s.point.height_m)).collect();
    tops.sort_by(|a, b| a.0.total_cmp(&b.0).then(b.1.total_cmp(&a.1)));
    tops
}

fn ground(input: &SheetInput<'_>, strip: &Strip, threshold: Option<f64>, shown_m: f64) -> Vec<ApproachGround> {
    let Some(terrain) = input.terrain else { return Vec::new() };
    let steps = ((shown_m / terrain.frame.cell_m).ceil() as usize).clamp(2, 600);
    let back = -strip.heading.unit();
    (0..=steps)
        .map(|i| {
            let before_m = shown_m * i as f64 / steps as f64;
            let height_m = terrain.height_at(strip.start + back * before_m).zip(threshold).map(|(h, base)| h - base);
            ApproachGround { before_m, height_m }
        })
        .collect()
}
