//! The one core behind the area card: an area and conditions become the card's numbers, its maps and its pages.
//!
//! Nothing here reads a file or a clock.

mod map;
mod page;

pub use page::page;
pub(crate) use page::why_out;

use crate::assess::{self, AssessError, Conditions};
use crate::climb_out::{Answer, NoClimbOut, climb_out};
use crate::options_map::{NoOptions, OptionsMap, options_map};
use crate::sheet::above::extent;
use crate::studies::Studies;
use sparefield_data::area::Area;
use sparefield_data::quantity::{HeightUnit, parse_height_m};
use sparefield_geometry::air::Wind;
use sparefield_geometry::climb_out::{ClimbOutError, ClimbOutOptions};
use sparefield_geometry::fields::model::{EdgeKind, Field, HazardKind};
use sparefield_geometry::fields::rank::{RankInput, rank};
use sparefield_geometry::fields::verdict::RankedField;
use sparefield_geometry::position::Xy;
use sparefield_geometry::reach::least::LeastError;
use sparefield_geometry::reach::{Arrival, ReachError};
use std::sync::Arc;

/// So much height on arriving, metres above the ground, that no circuit wants more: the card judges what a field is, and
/// not from where it is reached.
const PLENTY_M: f64 = 3_000.0;
/// How near a hazard is told beside a field, metres round the field's extent. Common practice, no source.
const NEAR_M: f64 = 60.0;
/// Rows in which fields are numbered, from north to south.
const BANDS: f64 = 12.0;
/// Heights above the ground that are asked for where nothing else is, feet and metres: the height of a circuit and that
/// of a short flight across country.
const USUAL_FT: [f64; 2] = [1_000.0, 2_000.0];
const USUAL_M: [f64; 2] = [300.0, 600.0];
const FOOT_M: f64 = 0.304_8;

/// Heights of the small maps where nobody chose any, metres above the ground, round in a unit.
#[must_use]
pub fn usual_heights_m(unit: HeightUnit) -> Vec<f64> {
    match unit {
        HeightUnit::Ft => USUAL_FT.map(|ft| ft * FOOT_M).to_vec(),
        HeightUnit::M => USUAL_M.to_vec(),
    }
}

/// Most heights of small maps.
const MOST_HEIGHTS: usize = 4;

/// Heights above the ground as people type them, metres: one to four, parted by commas.
///
/// # Errors
/// One sentence when there are none or too many, or one is not understood or out of bounds.
pub fn heights_of(text: &str) -> Result<Vec<f64>, String> {
    let typed: Vec<&str> = text.split(',').map(str::trim).filter(|t| !t.is_empty()).collect();
    if typed.is_empty() || typed.len() > MOST_HEIGHTS {
        return Err(format!("write one to {MOST_HEIGHTS} heights above the ground, such as 1000ft,2000ft"));
    }
    let metres = |one: &str| {
        let metres = parse_height_m(one, None).map_err(|e| e.to_string())?;
        let within = (15.0..=6_000.0).contains(&metres);
        within.then_some(metres).ok_or_else(|| format!("“{one}” is not between 15 m and 6000 m above the ground"))
    };
    typed.into_iter().map(metres).collect()
}

/// One line of the table of fields.
#[derive(Clone, Debug)]
pub struct Row {
    /// The number on the map, from 1.
    pub number: usize,
    /// The field as judged with height in plenty.
    pub judged: RankedField,
    /// What stands on its sides.
    pub on_sides: Vec<&'static str>,
    /// Hazards that somebody entered near it.
    pub near: Vec<&'static str>,
}

/// An area card.
#[derive(Clone, Debug)]
pub struct AreaCard {
    /// The options map; it also holds the area, the conditions and the wind.
    pub options: OptionsMap,
    /// Heights of the small maps, metres above the ground.
    pub heights_agl_m: Vec<f64>,
    /// Every field by its number.
    pub rows: Vec<Row>,
    /// The climb-out off each end of the home strip.
    pub climb_outs: Vec<Answer>,
    /// Why there is none, or not off every end.
    pub no_climb_out: Vec<String>,
}

impl AreaCard {
    /// The area.
    #[must_use]
    pub fn area(&self) -> &Arc<Area> {
        &self.options.area
    }

    /// The field of a row.
    #[must_use]
    pub fn field(&self, row: &Row) -> &Field {
        &self.options.area.fields[row.judged.index]
    }
}

/// Works the card out. `progress` is told the share done, `stopped` is asked regularly whether to stop.
///
/// # Errors
/// When the aircraft or the wind make no sense here, there is no terrain, or when stopped.
pub fn area_card(
    area: &Arc<Area>,
    conditions: &Conditions,
    heights_agl_m: &[f64],
    step: HeightUnit,
    progress: &dyn Fn(f32),
    stopped: &(dyn Fn() -> bool + Sync),
) -> Result<AreaCard, NoOptions> {
    let cancelled = || NoOptions::Assess(AssessError::Reach(ReachError::Cancelled));
    conditions.aircraft.validate().map_err(AssessError::from)?;
    let studies = Studies::in_steps(None, area, conditions, &|share| {
        progress(share * 0.2);
        !stopped()
    });
    let studies = studies.ok_or_else(cancelled)?;
    let options = options_map(area, &studies, conditions, 1, &|_| true, &|share| progress(0.2 + share * 0.3), stopped)?;
    let rows = rows(area, &studies, conditions, &options.wind);
    let (mut climb_outs, mut no_climb_out) = (Vec::new(), Vec::new());
    let ends: Vec<&str> = area.home.iter().flat_map(|home| &home.ends).map(|end| end.name.as_str()).collect();
    let step_m = match step {
        HeightUnit::Ft => 200.0 * FOOT_M,
        HeightUnit::M => 60.0,
    };
    for (i, end) in ends.iter().enumerate() {
        let options = ClimbOutOptions { step_m, ..ClimbOutOptions::default() };
        let tell = |share: f32| progress(0.5 + 0.5 * (i as f32 + share) / ends.len() as f32);
        match climb_out(area, Some(end), conditions, options, stopped, &tell) {
            Ok(answer) => climb_outs.push(answer),
            Err(
                NoClimbOut::Assess(AssessError::Reach(ReachError::Cancelled))
                | NoClimbOut::Flown(ClimbOutError::Stopped),
            ) => return Err(LeastError::Stopped.into()),
            Err(why) => no_climb_out.push(format!("Runway {end}: {why}.")),
        }
    }
    if ends.is_empty() {
        no_climb_out.push("The area has no home strip, so there is no climb-out table.".to_owned());
    }
    Ok(AreaCard { options, heights_agl_m: heights_agl_m.to_vec(), rows, climb_outs, no_climb_out })
}

/// The wind in the area's frame, and every field numbered and judged as on the card, without its maps and climb-outs.
///
/// # Errors
/// When the aircraft or the wind make no sense here, or there is no terrain.
pub fn judged(area: &Arc<Area>, studies: &Studies, conditions: &Conditions) -> Result<(Wind, Vec<Row>), NoOptions> {
    conditions.aircraft.validate().map_err(AssessError::from)?;
    let (low, _) = area.terrain.range().ok_or(NoOptions::NoTerrain)?;
    let place = area.home.as_ref().map_or_else(|| area.centre(), |home| home.position);
    let ground_amsl_m = area.terrain.height_at(place).unwrap_or(low);
    let wind = assess::frame_wind(area, &conditions.wind, place, ground_amsl_m)?;
    assess::check_wind(&conditions.aircraft, &wind, ground_amsl_m)?;
    let rows = rows(area, studies, conditions, &wind);
    Ok((wind, rows))
}

/// Every field judged as if reached with height in plenty, numbered row by row from north to south, each from west to
/// east, so that a number is found on the map.
fn rows(area: &Area, studies: &Studies, conditions: &Conditions, wind: &Wind) -> Vec<Row> {
    let rank_options = assess::rank_options(area, conditions.rules, conditions.today);
    let input =
        RankInput { aircraft: &conditions.aircraft, wind, options: &rank_options, quiet_zones: &area.quiet_zones };
    let plenty = |ground: f64| Arrival { height_amsl_m: ground + PLENTY_M, track: None };
    let arrivals: Vec<Option<Arrival>> = studies.each().iter().map(|s| s.ground_amsl_m.map(plenty)).collect();
    let mut judged = rank(&area.fields, studies.each(), &input, &arrivals);
    let centre = |r: &RankedField| area.fields[r.index].centroid();
    let north = judged.iter().map(|r| centre(r).y).fold(f64::NEG_INFINITY, f64::max);
    let south = judged.iter().map(|r| centre(r).y).fold(f64::INFINITY, f64::min);
    let high = ((north - south) / BANDS).max(1.0);
    let band = |r: &RankedField| ((north - centre(r).y) / high).floor();
    judged.sort_by(|a, b| {
        band(a).total_cmp(&band(b)).then(centre(a).x.total_cmp(&centre(b).x)).then(a.index.cmp(&b.index))
    });
    let number = |(i, judged): (usize, RankedField)| {
        let field = &area.fields[judged.index];
        let (on_sides, near) = (on_sides(field), near(field, studies));
        Row { number: i + 1, judged, on_sides, near }
    };
    judged.into_iter().enumerate().map(number).collect()
}

/// What stands on the sides of a field, each kind once.
fn on_sides(field: &Field) -> Vec<&'static str> {
    let kinds = [EdgeKind::Wires, EdgeKind::TreeLine, EdgeKind::Hedge, EdgeKind::Wall, EdgeKind::Fence];
    let found = kinds.into_iter().filter(|kind| field.edges.iter().any(|e| e.kind == *kind)).map(EdgeKind::words);
    let unknown = field.edges.iter().any(|e| e.kind == EdgeKind::Unknown).then_some("some not known");
    found.chain(unknown).collect()
}

/// Hazards that somebody entered near a field, each kind once.
fn near(field: &Field, studies: &Studies) -> Vec<&'static str> {
    let Some((low, high)) = extent(field.outer.iter().copied()) else { return Vec::new() };
    let more = Xy::new(NEAR_M, NEAR_M);
    let found = studies.hazard_index().near(low - more, high + more);
    HazardKind::ALL.into_iter().filter(|kind| found.iter().any(|h| h.kind == *kind)).map(HazardKind::words).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assess::{HeightInput, Rules, StateInput, WindInput};
    use sparefield_data::NoProgress;
    use sparefield_geometry::air::WindProfile;
    use sparefield_geometry::aircraft::Aircraft;
    use sparefield_geometry::fields::model::Day;
    use sparefield_geometry::fields::verdict::Verdict;
    use sparefield_geometry::position::Bearing;
    use std::collections::BTreeSet;

    #[test]
    fn heights_are_a_few_and_within_bounds() {
        let heights = heights_of("1000ft, 600m").unwrap();
        assert!((heights[0] - 304.8).abs() < 1e-9 && (heights[1] - 600.0).abs() < 1e-9);
        for wrong in ["", ",", "10ft", "9000m", "high", "1m2", "300m,300m,300m,300m,300m", "nan m"] {
            assert!(heights_of(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn every_field_has_one_number_and_the_verdict_of_the_options_map() {
        let area = Arc::new(Area::sample(&NoProgress).unwrap());
        // Without a home strip no climb-out is flown.
        let area = Arc::new(Area { home: None, ..(*area).clone() });
        let conditions = Conditions {
            aircraft: Aircraft::example_flexwing(),
            wind: WindInput::surface(Bearing::from_deg(240.0), 4.0, WindProfile::OPEN_GRASS),
            state: StateInput { position: Xy::default(), height: HeightInput::AboveGround(0.0), heading: None },
            rules: Rules::default(),
            today: Day { days_since_epoch: 20_782 },
        };
        let card = area_card(&area, &conditions, &[300.0], HeightUnit::M, &|_| {}, &|| false).unwrap();
        let numbers: Vec<usize> = card.rows.iter().map(|r| r.number).collect();
        assert_eq!(numbers, (1..=area.fields.len()).collect::<Vec<_>>());
        let indices: BTreeSet<usize> = card.rows.iter().map(|r| r.judged.index).collect();
        assert_eq!(indices.len(), area.fields.len());
        // Fields that are not out are those that the options map glides to, with the same verdict.
        let usable: BTreeSet<(usize, Verdict)> = card
            .rows
            .iter()
            .filter(|r| r.judged.verdict != Verdict::Out)
            .map(|r| (r.judged.index, r.judged.verdict))
            .collect();
        let demanded: BTreeSet<(usize, Verdict)> = card.options.demands.iter().map(|d| (d.field, d.verdict)).collect();
        assert_eq!(usable, demanded);
        assert!(card.climb_outs.is_empty() && card.no_climb_out[0].contains("no home strip"));
        let stopped = area_card(&area, &conditions, &[300.0], HeightUnit::M, &|_| {}, &|| true);
        assert!(matches!(stopped, Err(NoOptions::Assess(AssessError::Reach(ReachError::Cancelled)))));
    }
}
