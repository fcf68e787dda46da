//! The one core behind the options map: an area and conditions become the least height everywhere that keeps so many
//! fields in reach, and what that means along a route.

mod detour;
mod route;
mod surveys;
mod winds;

pub use detour::{FoundRoute, find_route, gpx};
pub use route::{Route, RouteHeight, RoutePoint, Stretch, highest_around, route};
pub use surveys::{MOST_CANDIDATES, SurveyFor, Surveys, WORTH_LISTING_M2, surveys};
pub use winds::in_many_winds;

use crate::assess::{self, AssessError, Conditions};
use crate::studies::Studies;
use sparefield_data::area::Area;
use sparefield_geometry::air::Wind;
use sparefield_geometry::fields::demand::{Demand, demands};
use sparefield_geometry::fields::model::Field;
use sparefield_geometry::fields::rank::RankInput;
use sparefield_geometry::reach::ReachOptions;
use sparefield_geometry::reach::least::{LeastError, LeastHeights, LeastOptions, least_heights};
use std::sync::Arc;
use thiserror::Error;

/// So far above the highest ground nobody asks, metres: about 8 000 ft.
const CEILING_ABOVE_M: f64 = 2_400.0;

/// Why there is no options map.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum NoOptions {
    /// Aircraft or wind make no sense here.
    #[error("{0}")]
    Assess(#[from] AssessError),
    /// The terrain is empty.
    #[error("the terrain has no heights, so nothing can be worked out; load terrain that covers the area")]
    NoTerrain,
    /// It could not be computed.
    #[error("{0}")]
    Least(#[from] LeastError),
}

/// Least heights over an area.
#[derive(Clone, Debug)]
pub struct OptionsMap {
    /// The area.
    pub area: Arc<Area>,
    /// The conditions; their state does not count.
    pub conditions: Conditions,
    /// The wind in the area's frame.
    pub wind: Wind,
    /// What each field asks that would take the aircraft.
    pub demands: Vec<Demand>,
    /// Least heights.
    pub least: LeastHeights,
}

/// The options map of an area. Only fields that `counts` are taken.
///
/// # Errors
/// When the aircraft or the wind make no sense here, there is no terrain, or when stopped.
pub fn options_map(
    area: &Arc<Area>,
    studies: &Studies,
    conditions: &Conditions,
    fields_needed: usize,
    counts: &dyn Fn(&Field) -> bool,
    progress: &dyn Fn(f32),
    stopped: &(dyn Fn() -> bool + Sync),
) -> Result<OptionsMap, NoOptions> {
    let basis = Basis::new(area, conditions)?;
    assess::check_wind(&conditions.aircraft, &basis.wind, basis.ground_amsl_m)?;
    let demands = Basis::demands(area, studies, conditions, &basis.wind, counts);
    let options = basis.least_options(conditions, fields_needed);
    let (aircraft, wind) = (&conditions.aircraft, &basis.wind);
    let least = least_heights(&area.terrain, aircraft, wind, &demands, &options, progress, &|| stopped())?;
    Ok(OptionsMap { area: Arc::clone(area), conditions: conditions.clone(), wind: basis.wind, demands, least })
}

/// What every map of an area under some conditions is made from.
struct Basis {
    /// The wind in the area's frame.
    wind: Wind,
    /// The ground it belongs to, metres above mean sea level.
    ground_amsl_m: f64,
    ceiling_amsl_m: f64,
}

impl Basis {
    fn new(area: &Area, conditions: &Conditions) -> Result<Self, NoOptions> {
        conditions.aircraft.validate().map_err(AssessError::from)?;
        let (low, high) = area.terrain.range().ok_or(NoOptions::NoTerrain)?;
        let place = area.home.as_ref().map_or_else(|| area.centre(), |home| home.position);
        let ground_amsl_m = area.terrain.height_at(place).unwrap_or(low);
        let wind = assess::frame_wind(area, &conditions.wind, place, ground_amsl_m)?;
        Ok(Self { wind, ground_amsl_m, ceiling_amsl_m: high + CEILING_ABOVE_M })
    }

    fn least_options(&self, conditions: &Conditions, fields_needed: usize) -> LeastOptions {
        let glide = ReachOptions::of(&conditions.aircraft);
        LeastOptions { fields_needed, ceiling_amsl_m: self.ceiling_amsl_m, glide }
    }

    /// What the fields that count ask in a wind.
    fn demands(
        area: &Area,
        studies: &Studies,
        conditions: &Conditions,
        wind: &Wind,
        counts: &dyn Fn(&Field) -> bool,
    ) -> Vec<Demand> {
        let options = assess::rank_options(area, conditions.rules, conditions.today);
        let input =
            RankInput { aircraft: &conditions.aircraft, wind, options: &options, quiet_zones: &area.quiet_zones };
        let mut demands = demands(&area.fields, studies.each(), &input);
        demands.retain(|demand| counts(&area.fields[demand.field]));
        demands
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assess::{HeightInput, StateInput, WindInput};
    use sparefield_data::NoProgress;
    use sparefield_geometry::air::WindProfile;
    use sparefield_geometry::aircraft::Aircraft;
    use sparefield_geometry::fields::model::Day;
    use sparefield_geometry::position::{Bearing, Xy};
    use sparefield_geometry::reach::{AircraftState, forward_reach};

    fn conditions() -> Conditions {
        let nowhere = StateInput { position: Xy::default(), height: HeightInput::AboveGround(0.0), heading: None };
        Conditions {
            aircraft: Aircraft::example_flexwing(),
            wind: WindInput::surface(Bearing::from_deg(240.0), 6.0, WindProfile::OPEN_GRASS),
            state: nowhere,
            rules: crate::assess::Rules::default(),
            today: Day { days_since_epoch: 20_782 },
        }
    }

    fn sample_map() -> (OptionsMap, Studies) {
        let area = Arc::new(Area::sample(&NoProgress).unwrap());
        let conditions = conditions();
        let studies = Studies::new(&area, &conditions);
        let map = options_map(&area, &studies, &conditions, 1, &|_| true, &|_| {}, &|| false).unwrap();
        (map, studies)
    }

    /// The engine fails at places along the route: forward from each a field is reached with its circuit in hand where the
    /// route says that it is covered, and none where it says that much is missing. Forward and backward are two
    /// computations.
    fn fail_along(map: &OptionsMap, flown: &Route, every: usize) -> (usize, usize) {
        /// Bends lie on cell centres, differently in the two: what half the diagonal of a cell costs, twice.
        const BENDS_M: f64 = 12.0;
        let terrain = &map.area.terrain;
        let options = ReachOptions::of(&map.conditions.aircraft);
        let (mut covered, mut bare) = (0, 0);
        for point in flown.points.iter().step_by(every) {
            let Some(height) = point.height_amsl_m else { continue };
            let spare = point.spare_m();
            // Between the two nobody is right.
            if spare.is_some_and(|s| s.abs() < BENDS_M) {
                continue;
            }
            let state = AircraftState { position: point.position, height_amsl_m: height, heading: None };
            let reach =
                forward_reach(terrain, &map.conditions.aircraft, &map.wind, &state, &options, &|| false).unwrap();
            let best = map.demands.iter().filter_map(|demand| {
                let arrival = reach.arrival_at(terrain, demand.overhead)?;
                Some(arrival.height_amsl_m - demand.needed_along(arrival.track.map(Bearing::unit)))
            });
            let best = best.fold(f64::NEG_INFINITY, f64::max);
            if point.is_covered() {
                covered += 1;
                assert!(best >= 0.0, "{point:?}: {best}");
            } else {
                bare += 1;
                assert!(best < 0.0, "{point:?}: {best}");
            }
        }
        (covered, bare)
    }

    #[test]
    fn failures_flown_along_a_route_bear_out_its_cover_and_a_way_round_has_more() {
        let (map, _) = sample_map();
        let home = map.area.home.as_ref().unwrap().position;
        let line = [home, home + Xy::new(3_500.0, 2_500.0), home + Xy::new(-6_000.0, 4_000.0)];
        let (covered, bare) = (0..2).fold((0, 0), |sum, i| {
            let height = [RouteHeight::AboveGround(457.2), RouteHeight::AboveSea(700.0)][i];
            let (c, b) = fail_along(&map, &route(&map, None, &line, height, 22.0), 12);
            (sum.0 + c, sum.1 + b)
        });
        assert!(covered >= 15 && bare >= 15, "{covered} {bare}");
        let height = RouteHeight::AboveGround(457.2);
        let straight = route(&map, None, &line, height, 22.0);
        let found = find_route(&map, None, &line, height, &|| false).unwrap();
        let round = route(&map, None, &found.line, height, 22.0);
        assert!(round.uncovered_m() < straight.uncovered_m(), "{} {}", round.uncovered_m(), straight.uncovered_m());
        assert!(found.detour_m() > 0.0 && (round.length_m - found.length_m).abs() < 1.0);
        assert!((found.straight_m - straight.length_m).abs() < 1.0);
        fail_along(&map, &round, 25);
    }

    /// Height above the ground asked about, metres.
    const HEIGHT_M: f64 = 457.2;

    #[test]
    fn surveys_name_fields_that_nobody_looked_at_and_what_they_add_is_added() {
        let (map, studies) = sample_map();
        let area = &map.area;
        let found = surveys(area, &studies, &map.conditions, 1, (HEIGHT_M, 3), &|_| {}, &|| false).unwrap();
        assert_eq!(found.list.len(), 3);
        let today = Some(map.conditions.today);
        let is_doubtful =
            |field: &Field| sparefield_geometry::fields::survey::SurveyStanding::of(field, today).is_doubtful();
        let cell_m2 = area.terrain.frame.cell_m * area.terrain.frame.cell_m;
        let mut looked_at = (**area).clone();
        let fields = Arc::make_mut(&mut looked_at.fields);
        for step in &found.list {
            assert!(is_doubtful(&area.fields[step.field]));
            let field = Arc::make_mut(&mut fields[step.field]);
            field.surveyed = today;
            field.stock_seen = today;
            field.stock = sparefield_geometry::fields::model::Stock::None;
            field.surface = sparefield_geometry::fields::model::Surface::GrazedGrass;
            field.calendar = sparefield_geometry::fields::model::Calendar::default();
        }
        // The area in which somebody went there and found them usable.
        let looked_at = Arc::new(looked_at);
        let studies = Studies::new(&looked_at, &map.conditions);
        let known = |field: &Field| !is_doubtful(field);
        let after = options_map(&looked_at, &studies, &map.conditions, 1, &known, &|_| {}, &|| false).unwrap();
        let (cells, covered) = after.least.covered(&area.terrain, 1, HEIGHT_M);
        let left = (cells - covered) as f64 * cell_m2;
        let said = found.list[2].left_m2;
        assert!((left / said - 1.0).abs() < 0.002, "{left} {said}");
    }

    #[test]
    fn suggestions_nobody_accepted_are_tried_and_marked() {
        use sparefield_data::area::Proposal;
        let (map, studies) = sample_map();
        let before = surveys(&map.area, &studies, &map.conditions, 1, (HEIGHT_M, 40), &|_| {}, &|| false).unwrap();
        assert!(before.list.iter().all(|step| !step.suggested));
        // The best of the list, taken out of the area and suggested instead.
        let best = map.area.fields[before.list[0].field].clone();
        let mut area = (*map.area).clone();
        Arc::make_mut(&mut area.fields).retain(|f| f.id != best.id);
        let mut field = (*best).clone();
        field.surveyed = None;
        let proposal = Proposal {
            field,
            score: 0.5,
            strip_length_m: 300.0,
            checked: Vec::new(),
            not_checked: Vec::new(),
            refused: false,
        };
        let refused = Proposal { refused: true, ..proposal.clone() };
        for (proposal, listed) in [(proposal, true), (refused, false)] {
            area.proposals = Arc::new(vec![Arc::new(proposal)]);
            let area = Arc::new(area.clone());
            let studies = Studies::new(&area, &map.conditions);
            let found = surveys(&area, &studies, &map.conditions, 1, (HEIGHT_M, 40), &|_| {}, &|| false).unwrap();
            let marked: Vec<&SurveyFor> = found.list.iter().filter(|step| step.suggested).collect();
            assert_eq!(marked.len(), usize::from(listed));
            if let [one] = marked[..] {
                assert_eq!(found.map.area.fields[one.field].id, best.id);
                // It covers alone what the field would: suggested or drawn, the land is the same.
                let off = one.alone_m2 / before.list[0].alone_m2;
                assert!((off - 1.0).abs() < 0.01, "{off}");
            }
        }
    }
}
