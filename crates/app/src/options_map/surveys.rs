//! Which survey helps most: the fields that nobody has looked at for too long, by what they would cover if they turned out
//! usable.

use super::{Basis, NoOptions, OptionsMap, options_map};
use crate::assess::{AssessError, Conditions};
use crate::studies::Studies;
use sparefield_data::area::Area;
use sparefield_geometry::fields::demand::demands;
use sparefield_geometry::fields::model::{Day, Field, Stock, Surface};
use sparefield_geometry::fields::rank::RankInput;
use sparefield_geometry::fields::survey::SurveyStanding;
use sparefield_geometry::reach::ReachError;
use sparefield_geometry::reach::least::gains;
use std::sync::Arc;

/// Fields tried at most: the nearest to home, since somebody has to go there.
pub const MOST_CANDIDATES: usize = 500;
/// What is not worth a walk is not listed: one hectare of ground more. Common practice, no source.
pub const WORTH_LISTING_M2: f64 = 10_000.0;

/// A field worth looking at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SurveyFor {
    /// Index of the field in the area of the answer's map.
    pub field: usize,
    /// Whether it is a suggestion of the computer that nobody has accepted.
    pub suggested: bool,
    /// The day it was last looked at, if ever.
    pub surveyed: Option<Day>,
    /// What it would cover that neither known fields nor those listed before it do, square metres.
    pub gain_m2: f64,
    /// What it would cover alone, square metres.
    pub alone_m2: f64,
    /// What would still not be covered after it, square metres.
    pub left_m2: f64,
}

/// Fields worth looking at, the one that helps most first.
#[derive(Clone, Debug)]
pub struct Surveys {
    /// The options map of the fields that somebody looked at.
    pub map: OptionsMap,
    /// Height above the ground for which cover was asked, metres.
    pub height_agl_m: f64,
    /// The list.
    pub list: Vec<SurveyFor>,
    /// Not covered now by fields that somebody looked at, square metres.
    pub uncovered_m2: f64,
    /// How many fields nobody looked at for too long.
    pub doubtful: usize,
    /// How many of them would not take the aircraft in this wind, whatever grows there.
    pub would_not_do: usize,
    /// How many were too far from home to be tried.
    pub left_out: usize,
}

/// Ranks the fields that nobody looked at, or too long ago, by the ground they would cover from a height above it, each
/// after those before it, and lists so many at most. Only fields that were looked at count as cover now. Open suggestions
/// of the computer are tried like fields that nobody looked at; they stand behind the area's own fields in the answer's map.
///
/// A field turns out usable when it is grazed grass without stock; sides and hazards stay what they are known to be.
///
/// # Errors
/// When the aircraft or the wind make no sense here, there is no terrain, or when stopped.
#[allow(clippy::too_many_arguments, reason = "what an options map is made from, and what is asked of it")]
pub fn surveys(
    area: &Arc<Area>,
    studies: &Studies,
    conditions: &Conditions,
    fields_needed: usize,
    (height_agl_m, most): (f64, usize),
    progress: &(dyn Fn(f32) + Sync),
    stopped: &(dyn Fn() -> bool + Sync),
) -> Result<Surveys, NoOptions> {
    /// The share of the work that the map of known fields is.
    const FIRST: f32 = 0.3;
    let is_doubtful = |field: &Field| SurveyStanding::of(field, Some(conditions.today)).is_doubtful();
    let known = |field: &Field| !is_doubtful(field);
    let first = |share: f32| progress(FIRST * share);
    let own = area.fields.len();
    let (area, studies) = &with_suggested(area, studies, conditions, stopped)?;
    let map = options_map(area, studies, conditions, fields_needed, &known, &first, stopped)?;
    let (near, doubtful) = candidates(area, &is_doubtful);
    let hoped: Vec<Field> = near.iter().map(|i| usable(&area.fields[*i], conditions.today)).collect();
    let of_them: Vec<_> = near.iter().map(|i| Arc::clone(&studies.each()[*i])).collect();
    let options = crate::assess::rank_options(area, conditions.rules, conditions.today);
    let (aircraft, quiet_zones) = (&conditions.aircraft, &area.quiet_zones);
    let input = RankInput { aircraft, wind: &map.wind, options: &options, quiet_zones };
    let asked = demands(&hoped, &of_them, &input);
    let basis = Basis::new(area, conditions)?;
    let glide = basis.least_options(conditions, fields_needed).glide;
    let rest = |share: f32| progress(FIRST + (1.0 - FIRST) * share);
    let found = gains(&map.least, &area.terrain, aircraft, &map.wind, &glide, &asked, height_agl_m, &rest, stopped)?;
    let list = found
        .best(most)
        .into_iter()
        .take_while(|step| step.gain_m2 >= WORTH_LISTING_M2)
        .map(|step| {
            let field = near[asked[step.candidate].field];
            SurveyFor {
                field,
                suggested: field >= own,
                surveyed: area.fields[field].surveyed,
                gain_m2: step.gain_m2,
                alone_m2: step.alone_m2,
                left_m2: step.left_m2,
            }
        })
        .collect();
    Ok(Surveys {
        height_agl_m,
        list,
        uncovered_m2: found.uncovered_m2(),
        doubtful,
        would_not_do: near.len() - asked.len(),
        left_out: doubtful - near.len(),
        map,
    })
}

/// The area with its open suggestions behind its fields, and its studies.
fn with_suggested(
    area: &Arc<Area>,
    studies: &Studies,
    conditions: &Conditions,
    stopped: &(dyn Fn() -> bool + Sync),
) -> Result<(Arc<Area>, Studies), NoOptions> {
    let open = area.proposals.iter().filter(|p| !p.refused).map(|p| Arc::new(p.field.clone()));
    let open: Vec<Arc<Field>> = open.collect();
    if open.is_empty() {
        return Ok((Arc::clone(area), studies.clone()));
    }
    let mut wider = (**area).clone();
    Arc::make_mut(&mut wider.fields).extend(open);
    let wider = Arc::new(wider);
    let studied = Studies::in_steps(Some(studies), &wider, conditions, &|_| !stopped());
    let cancelled = || NoOptions::Assess(AssessError::Reach(ReachError::Cancelled));
    Ok((Arc::clone(&wider), studied.ok_or_else(cancelled)?))
}

/// The fields to be tried, and how many there are in all.
fn candidates(area: &Area, is_doubtful: &dyn Fn(&Field) -> bool) -> (Vec<usize>, usize) {
    let home = area.home.as_ref().map_or_else(|| area.centre(), |home| home.position);
    let all = area.fields.iter().enumerate().filter(|(_, field)| is_doubtful(field));
    let mut near: Vec<(f64, usize)> = all.map(|(i, field)| (field.centroid().distance(home), i)).collect();
    let count = near.len();
    near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    near.truncate(MOST_CANDIDATES);
    let mut near: Vec<usize> = near.into_iter().map(|(_, i)| i).collect();
    near.sort_unstable();
    (near, count)
}

/// The field when it turns out usable today.
fn usable(field: &Field, today: Day) -> Field {
    Field {
        surface: Surface::GrazedGrass,
        stock: Stock::None,
        surveyed: Some(today),
        stock_seen: Some(today),
        calendar: sparefield_geometry::fields::model::Calendar::default(),
        ..field.clone()
    }
}
