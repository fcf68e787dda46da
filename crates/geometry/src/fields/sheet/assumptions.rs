//! What a sheet takes for granted, each with its number and where that comes from.

use super::super::approach::STEEPEST_GRADIENT;
use super::super::model::{BoundaryEdge, EdgeKind, Hazard, HazardKind, Stock, Surface};
use super::super::study::{APPROACH_SPLAY, GroundKnown, Under, WIRES_MARGIN_M, may_include_trees};
use super::super::survey::{SurfaceSource, SurveyStanding};
use super::super::verdict::{Quantity, Reason, ReasonKind};
use super::{SheetInput, StripSheet, Way};
use serde::Serialize;
use std::collections::BTreeMap;

/// What kind of thing is taken for granted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum AssumptionGroup {
    /// Nobody looked, or nobody measured.
    NotLooked,
    /// How well the terrain is known.
    Terrain,
    /// Factors on the landing distance, for the best landing in this wind.
    LandingDistance,
    /// Rules and the aircraft's own numbers.
    Rules,
}

impl AssumptionGroup {
    /// Every group in the order shown.
    pub const ALL: [Self; 4] = [Self::NotLooked, Self::Terrain, Self::LandingDistance, Self::Rules];
    /// The group in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::NotLooked => "nobody measured or looked",
            Self::Terrain => "the terrain",
            Self::LandingDistance => "landing distance in this wind",
            Self::Rules => "rules and aircraft",
        }
    }
}

/// One thing taken for granted.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Assumption {
    /// What kind of thing.
    pub group: AssumptionGroup,
    /// What is taken for granted, in words with gaps for numbers.
    pub said: Reason,
    /// Whether the best landing in this wind rests on it: a wrong value changes its usable length.
    pub decides: bool,
    /// Published source, or "common practice, no source", or "from memory", or whose word it is.
    pub source: &'static str,
}

/// The list, group by group; what decides comes first in its group.
pub(super) fn assumptions(
    input: &SheetInput<'_>,
    near: &[&Hazard],
    strips: &[StripSheet],
    best: Option<&Way>,
) -> Vec<Assumption> {
    let mut list = List::default();
    let governing = best.and_then(|w| w.approach.governing.map(|i| &w.approach.things[i])).filter(|t| t.assumed);
    sides(input, governing.map(|t| t.what), &mut list);
    hazards(strips, governing.map(|t| t.what), &mut list);
    survey(input, near, &mut list);
    terrain(input, &mut list);
    if let Some(way) = best {
        for factor in &way.landing.strip.factors {
            let said = format!("{} × {{0}}", factor.what);
            list.add(AssumptionGroup::LandingDistance, &said, &[Quantity::Number(factor.value, 2)], factor.source);
        }
    }
    rules(input, &mut list);
    let mut list = list.0;
    list.sort_by_key(|a| (a.group, !a.decides));
    list
}

#[derive(Default)]
struct List(Vec<Assumption>);

impl List {
    fn add(&mut self, group: AssumptionGroup, words: &str, quantities: &[Quantity], source: &'static str) {
        self.push(group, words, quantities, source, false);
    }
    fn push(
        &mut self,
        group: AssumptionGroup,
        words: &str,
        quantities: &[Quantity],
        source: &'static str,
        decides: bool,
    ) {
        let said = Reason { kind: ReasonKind::NotKnown, template: words.into(), quantities: quantities.to_vec() };
        self.0.push(Assumption { group, said, decides, source });
    }
}

/// "1 side", "3 sides".
fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

fn sides(input: &SheetInput<'_>, governing: Option<Under>, list: &mut List) {
    let assumed = &input.options.assumed;
    for kind in
        [EdgeKind::Unknown, EdgeKind::TreeLine, EdgeKind::Wires, EdgeKind::Hedge, EdgeKind::Wall, EdgeKind::Fence]
    {
        let edge = |i: usize| input.field.edges.get(i).copied().unwrap_or(BoundaryEdge::UNKNOWN);
        let count = (0..input.field.outer.len()).map(edge).filter(|e| e.kind == kind && assumed.height_m(*e).1).count();
        if count == 0 {
            continue;
        }
        let height = assumed.height_m(BoundaryEdge { kind, height_m: None }).0;
        let sides = counted(count, "side", "sides");
        let words = if kind == EdgeKind::Unknown {
            format!("nobody said what stands on {sides} of the field: {{0}} taken")
        } else {
            format!("nobody measured the {} on {sides} of the field: {{0}} taken", kind.words())
        };
        let source = assumed.source(kind);
        let decides = governing == Some(Under::Edge(kind));
        list.push(AssumptionGroup::NotLooked, &words, &[Quantity::Height(height)], source, decides);
    }
    let holes = input.field.holes.len();
    if holes > 0 {
        let words = format!("nobody said what stands in {} of the field: {{0}} taken", counted(holes, "gap", "gaps"));
        let decides = governing == Some(Under::Hole);
        let source = assumed.source(EdgeKind::Unknown);
        list.push(AssumptionGroup::NotLooked, &words, &[Quantity::Height(assumed.unknown_m)], source, decides);
    }
}

/// Hazards of assumed height under any approach that the sheet shows.
fn hazards(strips: &[StripSheet], governing: Option<Under>, list: &mut List) {
    let mut kinds: BTreeMap<&'static str, HazardKind> = BTreeMap::new();
    for thing in strips.iter().flat_map(|s| &s.ways).flat_map(|w| &w.approach.things) {
        if let (Under::Hazard(kind), true) = (thing.what, thing.assumed) {
            kinds.insert(kind.words(), kind);
        }
    }
    for (name, kind) in kinds {
        let words = format!("nobody measured the {name} under an approach: {{0}} taken");
        let decides = governing == Some(Under::Hazard(kind));
        let height = Quantity::Height(kind.assumed_height_m());
        list.push(AssumptionGroup::NotLooked, &words, &[height], "from memory: typical heights", decides);
    }
}

fn survey(input: &SheetInput<'_>, near: &[&Hazard], list: &mut List) {
    const OURS: &str = "the choice of this program: unknown is never counted as good";
    let group = AssumptionGroup::NotLooked;
    let field = input.field;
    if field.surface == Surface::Unknown {
        let factor = super::super::needed::surface_factor(Surface::Unknown);
        let words = "nobody said what grows there: wet grass is reckoned, landing distance × {0}";
        list.push(group, words, &[Quantity::Number(factor.0, 2)], factor.1, true);
    }
    let survey = SurveyStanding::of(field, input.rank.options.today);
    if survey.surface.source == SurfaceSource::Expected && survey.seen != Surface::Unknown {
        let (expected, month) = (survey.surface.surface.words(), survey.month_words());
        let words = format!("the survey is old and the calendar says {expected} in {month}: that is reckoned with");
        list.push(group, &words, &[], OURS, true);
    }
    if field.stock == Stock::Unknown {
        list.add(group, "nobody said whether animals are there: they may be", &[], OURS);
    }
    match (field.surveyed, survey.age_days) {
        (Some(_), Some(age)) => {
            list.add(group, "it still looks as it did {0} ago", &[Quantity::Days(age)], "the date of the last look");
        }
        (Some(_), None) => list.add(group, "how long ago it was looked at is not known", &[], OURS),
        (None, _) => list.add(group, "nobody noted when it was last looked at", &[], OURS),
    }
    if input.rank.options.hazards_unknown {
        list.push(group, "no hazards were loaded: wires, masts and trees near it were not looked at", &[], OURS, true);
    } else if near.is_empty() {
        list.add(group, "no hazard is entered near it, and none that nobody entered stands there", &[], OURS);
    } else {
        list.add(group, "nothing stands near it but what was entered", &[], OURS);
    }
}

fn terrain(input: &SheetInput<'_>, list: &mut List) {
    let group = AssumptionGroup::Terrain;
    let Some(terrain) = input.terrain else {
        list.push(
            group,
            "no terrain is loaded: the ground is taken as level and its slope as not known",
            &[],
            "no data",
            true,
        );
        return;
    };
    let error = terrain.accuracy.point_to_point_m.max(0.0);
    list.add(
        group,
        "heights are {0} apart and right to ±{1} from one to the next; between them the ground is taken as even",
        &[Quantity::Length(terrain.frame.cell_m), Quantity::Height(error)],
        "the terrain's stated accuracy; where it states none, that of a global 30 m model",
    );
    if may_include_trees(terrain.accuracy) {
        list.add(
            group,
            "heights are of the ground, although they may include trees and buildings",
            &[],
            "the terrain's description",
        );
    }
    if input.study.ground != GroundKnown::Yes {
        list.push(group, "the terrain does not cover the whole field: no slope is known there", &[], "no data", true);
    }
}

fn rules(input: &SheetInput<'_>, list: &mut List) {
    let group = AssumptionGroup::Rules;
    let (aircraft, options) = (input.rank.aircraft, input.rank.options);
    list.add(
        group,
        "the aircraft stops within {0} from 50 ft over short dry grass, level, in still air at sea level",
        &[Quantity::Length(aircraft.landing_distance_m)],
        "the aircraft's own numbers",
    );
    list.add(
        group,
        "it comes down gliding at {0}, in still air 1 in {1}, straight and steady",
        &[
            Quantity::Speed(aircraft.approach_speed_ms),
            Quantity::Number(aircraft.approach_speed_ms / aircraft.glide.sink_ms(aircraft.approach_speed_ms, 1.0), 1),
        ],
        "the aircraft's own numbers",
    );
    list.add(
        group,
        "strips are {0} wide and keep {1} from every edge",
        &[Quantity::Length(aircraft.strip_width_m), Quantity::Length(aircraft.edge_margin_m)],
        "the aircraft's own numbers",
    );
    let rule = options.obstacle_rule;
    list.add(
        group,
        &format!("what stands before a strip takes {}, less its distance", rule.words()),
        &[],
        rule.source(),
    );
    list.add(
        group,
        "however strong the headwind, no approach steeper than {0} is counted",
        &[Quantity::Slope(STEEPEST_GRADIENT)],
        "common practice, no source",
    );
    list.add(
        group,
        "wires are cleared by {0} or they bar the approach",
        &[Quantity::Height(WIRES_MARGIN_M)],
        "common practice, no source",
    );
    list.add(
        group,
        "to both sides the approach is looked at over the strip's width, widening by {0} of the distance",
        &[Quantity::Slope(APPROACH_SPLAY)],
        "from memory: 5 % splay of an approach surface for small strips (CASA CAAP 92-1)",
    );
    list.add(
        group,
        "the wind is steady, without gusts, and the same over the whole field",
        &[],
        "common practice, no source",
    );
}
