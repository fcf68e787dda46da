//! The one core behind drills in the window and on the command line: a failure of a set, ready to be flown in an area.
//!
//! Nothing here reads a clock: whoever calls says how many seconds passed.

pub mod ahead;
pub mod pictures;
pub mod words;

use crate::assess::{self, AssessError, Assessment, Conditions, HeightInput, Rules, StateInput, WindInput};
use crate::circuits::many::SAMPLES;
use crate::studies::Studies;
use sparefield_data::aircraft_file;
use sparefield_data::area::Area;
use sparefield_geometry::air::{WindProfile, WindVector, isa_density_ratio};
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::circuit::{Budget, Landing, Motion, Surroundings};
use sparefield_geometry::drill::{
    Choice, DrillResult, DrillRobustness, DrillSet, DrillSetError, Failure, Flown, HandFlown, Occasion, Offer, Offered,
    Trial,
};
use sparefield_geometry::fields::hazards::HazardIndex;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::fields::rank::RankInput;
use sparefield_geometry::fields::verdict::{RankedField, Verdict};
use sparefield_geometry::fields::ways::{WayIn, ways_in};
use sparefield_geometry::position::{Bearing, Xy};
use thiserror::Error;

/// How far a direction that was named may be from that of a strip, radians: half of what tells two runways apart.
const NEAR_RAD: f64 = 20.0 * std::f64::consts::PI / 180.0;

/// Most fields that are offered for choosing.
const MOST_LISTED: usize = 40;

/// An identifier that no other result has: who, what, and the moment.
#[must_use]
pub fn identifier(pilot: &str, set: &DrillSet, number: u32) -> String {
    format!("{}/{pilot}/{}/{number}", jiff::Timestamp::now(), set.id)
}

/// Why a drill cannot be flown, as one sentence.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum DrillError {
    /// The set makes no sense: correct it.
    #[error("{0}")]
    Set(#[from] DrillSetError),
    /// The set's aircraft is not known: name another in the set.
    #[error("the aircraft of the drill set “{set}”: {problem}")]
    Aircraft {
        /// The set's name.
        set: String,
        /// What is wrong.
        problem: String,
    },
    /// The failure lies where nothing can be worked out: take another number, or load more terrain.
    #[error("drill {number} of “{set}” cannot be flown here: {why}; take another number, or correct the set")]
    Assess {
        /// The set's name.
        set: String,
        /// The drill's number.
        number: u32,
        /// Why.
        why: AssessError,
    },
}

/// The aircraft of a set, looked for in the `hangar` first.
///
/// # Errors
/// When there is none of that name.
pub fn aircraft_of(set: &DrillSet, hangar: &[Aircraft]) -> Result<Aircraft, DrillError> {
    if let Some(known) = hangar.iter().find(|a| a.name == set.aircraft) {
        return Ok(known.clone());
    }
    let unknown = |problem| DrillError::Aircraft { set: set.name.clone(), problem };
    Ok(aircraft_file::find(&set.aircraft).map_err(|e| unknown(e.to_string()))?.value)
}

/// A failure of a set in an area, worked out in the wind that blows.
#[derive(Debug)]
pub struct Rehearsal {
    area: Area,
    set: DrillSet,
    failure: Failure,
    studies: Studies,
    conditions: Conditions,
    assessment: Assessment,
    hazards: HazardIndex,
}

impl Rehearsal {
    /// Works out a failure: what is in reach, and how good it is. The set's aircraft is looked for in the `hangar` first.
    ///
    /// # Errors
    /// When the set or the failure cannot be flown in this area.
    pub fn new(area: &Area, set: &DrillSet, number: u32, today: Day, hangar: &[Aircraft]) -> Result<Self, DrillError> {
        let failure = set.failure(number, area.home.as_ref().map(|h| h.position))?;
        let aircraft = aircraft_of(set, hangar)?;
        let conditions = Conditions {
            aircraft,
            wind: blowing(area, failure.true_wind, failure.position),
            state: StateInput {
                position: failure.position,
                height: HeightInput::AboveGround(failure.height_agl_m),
                heading: Some(failure.heading),
            },
            rules: Rules::default(),
            today,
        };
        let studies = Studies::new(area, &conditions);
        let assessment = assess::assess(area, &studies, &conditions, &|| false).map_err(|why| DrillError::Assess {
            set: set.name.clone(),
            number,
            why,
        })?;
        let hazards = HazardIndex::new(area.hazards.iter().cloned());
        Ok(Self { area: area.clone(), set: set.clone(), failure, studies, conditions, assessment, hazards })
    }

    /// The failure.
    #[must_use]
    pub fn failure(&self) -> &Failure {
        &self.failure
    }
    /// The set.
    #[must_use]
    pub fn set(&self) -> &DrillSet {
        &self.set
    }
    /// The area.
    #[must_use]
    pub fn area(&self) -> &Area {
        &self.area
    }
    /// What is in reach when the engine stops, in the wind that blows. Not to be shown before the choice.
    #[must_use]
    pub fn assessment(&self) -> &Assessment {
        &self.assessment
    }

    /// The failure in its surroundings, to be flown.
    #[must_use]
    pub fn trial(&self) -> Trial<'_> {
        Trial {
            aircraft: &self.conditions.aircraft,
            wind: &self.assessment.wind,
            surroundings: Surroundings {
                terrain: &self.area.terrain,
                hazards: &self.hazards,
                quiet_zones: &self.area.quiet_zones,
                clearance_m: self.conditions.aircraft.terrain_clearance_m,
            },
            state: self.assessment.state,
            joins: self.failure.joins,
        }
    }

    /// Fields that could be in reach, clockwise from the heading: in an order that says nothing of how good they are.
    #[must_use]
    pub fn listed(&self) -> Vec<usize> {
        let failure = &self.failure;
        let far = self.farthest_m(failure.height_agl_m);
        let fields = self.area.fields.iter().enumerate();
        let mut near: Vec<(usize, f64, f64)> = fields
            .filter_map(|(i, field)| {
                let way = field.centroid() - failure.position;
                let turn = way.bearing().map_or(0.0, |b| failure.heading.turn_to(b));
                (way.norm() <= far).then_some((i, way.norm(), turn.rem_euclid(std::f64::consts::TAU)))
            })
            .collect();
        near.sort_by(|a, b| a.1.total_cmp(&b.1));
        near.truncate(MOST_LISTED);
        near.sort_by(|a, b| a.2.total_cmp(&b.2));
        near.into_iter().map(|n| n.0).collect()
    }

    /// Directions from grid north in which a field can be landed on, each once, clockwise from north: an order that says
    /// nothing of how good they are.
    #[must_use]
    pub fn directions(&self, field: usize) -> Vec<Bearing> {
        let mut found: Vec<Bearing> = Vec::new();
        for way in self.ways(&self.assessment, field).unwrap_or_default() {
            if found.iter().all(|b| b.turn_to(way.strip.heading).abs() > NEAR_RAD) {
                found.push(way.strip.heading);
            }
        }
        found.sort_by(|a, b| a.rad().total_cmp(&b.rad()));
        found
    }

    /// Motion over the ground while the engine still runs, flying level, m/s.
    #[must_use]
    pub fn velocity_before_ms(&self) -> Xy {
        let height_amsl_m = self.assessment.state.height_amsl_m;
        let airspeed_ms = self.conditions.aircraft.straight_speed_ms() / isa_density_ratio(height_amsl_m).sqrt();
        self.failure.heading.unit() * airspeed_ms + self.assessment.wind.at_amsl(height_amsl_m).xy()
    }

    /// What can be chosen in a field, by its index: its best landing, or that nearest a direction from grid north.
    /// `None` where no strip fits, or none lies near the direction.
    #[must_use]
    pub fn offer(&self, field: usize, towards: Option<Bearing>) -> Option<Offer> {
        let ranked = self.assessment.ranked.iter().find(|r| r.index == field)?;
        let Some(towards) = towards else { return self.best_of(&self.assessment, ranked) };
        // The first of equals is the better one; a strip a few degrees nearer is no reason to take a worse one.
        let near = |way: &&WayIn| way.strip.heading.turn_to(towards).abs() <= NEAR_RAD;
        let ways = self.ways(&self.assessment, field)?;
        self.way_offered(ranked, ways.iter().find(near)?)
    }

    fn ways(&self, assessment: &Assessment, field: usize) -> Option<Vec<WayIn>> {
        let options = assess::rank_options(&self.area, self.conditions.rules, self.conditions.today);
        let input = RankInput {
            aircraft: &self.conditions.aircraft,
            wind: &assessment.wind,
            options: &options,
            quiet_zones: &self.area.quiet_zones,
        };
        let arrival = assessment.arrivals.get(field).copied().flatten();
        Some(ways_in(self.area.fields.get(field)?, self.studies.each().get(field)?, &input, arrival))
    }

    /// A way into a field. One that is out for nothing but the estimated height is a last resort here: the flown
    /// circuit decides whether it can be made.
    fn way_offered(&self, ranked: &RankedField, way: &WayIn) -> Option<Offer> {
        let field = self.area.fields.get(ranked.index)?;
        Some(Offer {
            field_id: field.id.clone(),
            name: field.label().to_owned(),
            verdict: if way.out_by_height_alone { Verdict::LastResort } else { way.verdict },
            score: ranked.score - way.below_best,
            landing: Landing::on(&way.strip)?,
        })
    }

    /// The landing that the ranking chose; of a field that is out, its best way in, which the height alone may keep out.
    fn best_of(&self, assessment: &Assessment, ranked: &RankedField) -> Option<Offer> {
        if let (Some(strip), true) = (&ranked.strip, ranked.verdict != Verdict::Out) {
            let field = self.area.fields.get(ranked.index)?;
            return Some(Offer {
                field_id: field.id.clone(),
                name: field.label().to_owned(),
                verdict: ranked.verdict,
                score: ranked.score,
                landing: Landing::on(strip)?,
            });
        }
        self.way_offered(ranked, self.ways(assessment, ranked.index)?.first()?)
    }

    /// The best landing of every field that the height could reach at all, without those that are out for themselves.
    fn offers(&self, assessment: &Assessment) -> Vec<Offer> {
        let far_m = self.farthest_m(assessment.height_agl_m());
        let near = |offer: &Offer| offer.landing.aim.distance(assessment.state.position) <= far_m;
        let best = assessment.ranked.iter().filter_map(|ranked| self.best_of(assessment, ranked));
        best.filter(|offer| offer.verdict != Verdict::Out && near(offer)).collect()
    }

    /// No field farther than this can be reached from a height above ground, metres: the best glide in still air, half
    /// as far again for wind and falling ground, and a bit.
    #[must_use]
    pub fn farthest_m(&self, height_agl_m: f64) -> f64 {
        1.5 * height_agl_m * self.conditions.aircraft.glide.best_glide_ratio() + 500.0
    }

    /// Flies what was chosen and scores it.
    #[must_use]
    pub fn finish(&self, choices: &[Choice], id: &str, pilot: &str) -> (DrillResult, Flown) {
        let flown = self.trial().fly(choices);
        let (at_failure, at_choice) = self.offered(&flown);
        let offered = Offered { at_failure: &at_failure, at_choice: &at_choice };
        (self.trial().score(&self.occasion(id, pilot), choices, &flown, &offered), flown)
    }

    /// Scores what was chosen and flown by hand.
    #[must_use]
    pub fn finish_by_hand(&self, choices: &[Choice], hand: &HandFlown, id: &str, pilot: &str) -> (DrillResult, Flown) {
        let trial = self.trial();
        let (at_failure, at_choice) = self.offered(&trial.chosen_by_hand(choices, hand));
        let offered = Offered { at_failure: &at_failure, at_choice: &at_choice };
        trial.score_by_hand(&self.occasion(id, pilot), choices, hand, &offered)
    }

    fn occasion<'a>(&'a self, id: &'a str, pilot: &'a str) -> Occasion<'a> {
        Occasion { id, pilot, day: self.conditions.today, set: &self.set, failure: &self.failure }
    }

    /// What was to be had when the engine stopped, and at the last choice.
    fn offered(&self, flown: &Flown) -> (Vec<Offer>, Vec<Offer>) {
        let then = flown.moments.last().and_then(|moment| self.assessed_at(&moment.at));
        let at_choice = then.map(|assessment| self.offers(&assessment)).unwrap_or_default();
        (self.offers(&self.assessment), at_choice)
    }

    /// The circuits of a drill that is over flown many times by a pilot who is not exact; `None` when stopped.
    #[must_use]
    pub fn flown_many(
        &self,
        choices: &[Choice],
        flown: &Flown,
        result: &DrillResult,
        stopped: &dyn Fn() -> bool,
    ) -> Option<DrillRobustness> {
        let (offers, budget) = (self.offers(&self.assessment), Budget { samples: SAMPLES, ..Budget::default() });
        let known = self.trial().flown_many(choices, flown, &offers, result, &budget, stopped);
        (!stopped()).then_some(known)
    }

    /// What is in reach from a later state; `None` where nothing can be worked out any more.
    fn assessed_at(&self, at: &Motion) -> Option<Assessment> {
        let state = StateInput {
            position: at.position,
            height: HeightInput::AboveSea(at.height_amsl_m),
            heading: Some(at.heading()),
        };
        let conditions = Conditions { state, ..self.conditions.clone() };
        assess::assess(&self.area, &self.studies, &conditions, &|| false).ok()
    }
}

/// A surface wind of the frame as people give it, so that the assessment turns it back.
fn blowing(area: &Area, wind: WindVector, position: Xy) -> WindInput {
    let place = area.home.as_ref().map_or(position, |h| h.position);
    let from = wind.from_bearing().map_or(Bearing::NORTH, |from| area.to_true(from, place));
    WindInput::surface(from, wind.speed_ms(), WindProfile::OPEN_GRASS)
}
