//! What a survey is still worth today, and what the season calendar makes of it.
//!
//! # Confidence
//! A survey of what grows is certain (1) on its day and loses half of what is left in every half-life. How long that is
//! depends on what was seen and on the month: pasture stays pasture, a young crop grows out of itself, stubble is
//! ploughed. A month in which fields of that kind are harvested, ploughed or drilled, or in which the field's own
//! calendar changes, halves it much faster. Days count one by one in the month they fall in, so an older survey is never
//! worth more than a younger one of the same. Animals are moved within days on grass, and seldom stand on arable land.
//!
//! The half-lives are common practice, no source; the months of work are those of the northern temperate zone, common
//! practice, no source. Elsewhere the field's calendar says it better.
//!
//! # Expectation
//! The calendar tells what to expect. It is never better than what was seen and never certain: while a survey is
//! trusted it says nothing; when time has passed and the two disagree, the worse one counts; what was never seen stays
//! unknown, or counts as what is expected when that is worse.

use super::criteria::{UNKNOWN_AT_MOST, line, surface_value};
use super::model::{Calendar, Day, Field, MONTHS, Stock, Surface};
use super::needed::surface_factor;
use crate::math;
use serde::Serialize;

/// From this confidence up what was seen counts in full; below it a survey is doubtful: half-life one.
pub const TRUSTED_FROM: f64 = 0.5;
/// How certain the calendar is held to be. Common practice, no source: crops change with weather and prices.
pub const EXPECTED_CONFIDENCE: f64 = 0.4;
/// What the surface criterion of a survey that is worth nothing any more is held to: workable at best.
const OLD_AT_MOST: f64 = 0.35;
/// The same where it is likely still so: pasture, or the calendar expects what was seen.
const LIKELY_AT_MOST: f64 = 0.5;

/// Half-life in a month in which the field's own calendar changes, days.
const TURNING_DAYS: f64 = 10.0;
/// After so many halvings nothing is left, and counting stops.
const NOTHING_LEFT: f64 = 40.0;

/// Where a surface was learned.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SurfaceSource {
    /// It was looked at.
    Seen,
    /// The calendar says so.
    Expected,
    /// Nobody knows.
    Unknown,
}

/// What a field's surface is taken to be on a day.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SurfaceOn {
    /// The surface that counts.
    pub surface: Surface,
    /// Where it was learned.
    pub source: SurfaceSource,
    /// How far it can be trusted, 0 to 1.
    pub confidence: f64,
}

/// What is known of a field on one day.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SurveyStanding {
    /// Days since it was looked at; `None` when that, or the day itself, is not known or lies ahead.
    pub age_days: Option<i32>,
    /// How far the survey can still be trusted, 0 to 1; 0 where its age is not known.
    pub confidence: f64,
    /// What was seen.
    pub seen: Surface,
    /// What the calendar expects on the day.
    pub expected: Option<Surface>,
    /// The month of the day, 0 for January; `None` when the day is not known.
    pub month: Option<usize>,
    /// The surface that counts.
    pub surface: SurfaceOn,
    /// Animals when last looked for.
    pub stock: Stock,
    /// Days since animals were looked for; `None` as for the survey.
    pub stock_age_days: Option<i32>,
    /// How far that can still be trusted, 0 to 1.
    pub stock_confidence: f64,
}

impl SurveyStanding {
    /// What is known of a field today; without a day every age is unknown and the calendar is silent.
    #[must_use]
    pub fn of(field: &Field, today: Option<Day>) -> Self {
        let age_days = age(field.surveyed, today);
        let confidence = match (age_days, field.surveyed) {
            (Some(age), Some(day)) => left_after(age, day, |year, month| {
                let usual = half_life_days(field.surface, month);
                if turns(&field.calendar, year, month) { usual.min(TURNING_DAYS) } else { usual }
            }),
            _ => 0.0,
        };
        let expected = today.and_then(|day| field.calendar.expected_on(day)).filter(|s| *s != Surface::Unknown);
        let stock_day = field.stock_seen.max(field.surveyed);
        let stock_age_days = age(stock_day, today);
        let stock_confidence = match (stock_age_days, stock_day) {
            (Some(age), Some(day)) => left_after(age, day, |_, _| stock_half_life_days(field.surface)),
            _ => 0.0,
        };
        Self {
            age_days,
            confidence,
            seen: field.surface,
            expected,
            month: today.map(Day::month_index),
            surface: counted(field.surface, confidence, expected),
            stock: field.stock,
            stock_age_days,
            stock_confidence,
        }
    }
    /// Whether nobody looked at it, or so long ago that it may be another field by now.
    #[must_use]
    pub fn is_doubtful(&self) -> bool {
        self.confidence < TRUSTED_FROM
    }
    /// The month of the day by name.
    #[must_use]
    pub fn month_words(&self) -> &'static str {
        self.month.and_then(|m| MONTHS.get(m)).copied().unwrap_or("an unknown month")
    }
    /// What the calendar expects, where it counts against or beside what was seen: not while the survey is trusted.
    #[must_use]
    pub fn expected_now(&self) -> Option<Surface> {
        self.expected.filter(|_| self.is_doubtful() || self.seen == Surface::Unknown)
    }
    /// The surface criterion, 0 to 1: what was seen while it is trusted, then falling to what an old survey is worth.
    #[must_use]
    pub fn surface_value(&self) -> f64 {
        let seen = surface_value(self.seen);
        if self.seen == Surface::Unknown {
            return self.expected.map_or(seen, |e| surface_value(e).min(seen));
        }
        let old = match self.expected {
            Some(expected) if expected == self.seen => LIKELY_AT_MOST,
            None if self.seen == Surface::GrazedGrass => LIKELY_AT_MOST,
            _ => OLD_AT_MOST,
        };
        let faded = line(&[(0.0, seen.min(old)), (TRUSTED_FROM, seen)], self.confidence);
        self.expected_now().map_or(faded, |expected| faded.min(surface_value(expected)))
    }
    /// What animals count for in the clearness criterion, 0 to 1: that none were seen is worth less each day; that some
    /// were stays.
    #[must_use]
    pub fn stock_value(&self) -> f64 {
        match self.stock {
            Stock::None => line(&[(0.0, UNKNOWN_AT_MOST), (1.0, 1.0)], self.stock_confidence),
            Stock::Unknown => UNKNOWN_AT_MOST,
            Stock::Present => 0.2,
        }
    }
    /// The surface by which the needed length is reckoned: of what was seen and what counts, the longer one.
    #[must_use]
    pub fn surface_for_length(&self) -> Surface {
        let longer = surface_factor(self.surface.surface).0 > surface_factor(self.seen).0;
        if longer { self.surface.surface } else { self.seen }
    }
}

fn age(then: Option<Day>, today: Option<Day>) -> Option<i32> {
    today?.days_since_epoch.checked_sub(then?.days_since_epoch).filter(|age| *age >= 0)
}

/// The worse of what was seen and what is expected, once the survey is no longer trusted.
fn counted(seen: Surface, confidence: f64, expected: Option<Surface>) -> SurfaceOn {
    let by_calendar = |surface| SurfaceOn { surface, source: SurfaceSource::Expected, confidence: EXPECTED_CONFIDENCE };
    match expected {
        Some(expected) if seen == Surface::Unknown => by_calendar(expected),
        Some(expected) if confidence < TRUSTED_FROM && surface_value(expected) < surface_value(seen) => {
            by_calendar(expected)
        }
        _ if seen == Surface::Unknown => SurfaceOn { surface: seen, source: SurfaceSource::Unknown, confidence: 0.0 },
        _ => SurfaceOn { surface: seen, source: SurfaceSource::Seen, confidence },
    }
}

/// What is left of a certainty after some days, each halving it by the half-life of its month (year, month 0–11).
fn left_after(age_days: i32, from: Day, half_life: impl Fn(i32, usize) -> f64) -> f64 {
    let (mut year, month, day) = from.civil();
    let (mut month, mut gone) = (usize::from(month) - 1, i32::from(day));
    let (mut left, mut halvings) = (age_days, 0.0);
    while left > 0 && halvings < NOTHING_LEFT {
        let here = left.min(Day::days_in_month(year, month) - gone);
        halvings += f64::from(here) / half_life(year, month);
        (left, gone) = (left - here, 0);
        month += 1;
        if month == 12 {
            (year, month) = (year.saturating_add(1), 0);
        }
    }
    if halvings < NOTHING_LEFT { math::pow(0.5, halvings) } else { 0.0 }
}

/// Days in which half of what was seen has changed, in a month (0 for January). Common practice, no source.
#[must_use]
pub fn half_life_days(seen: Surface, month: usize) -> f64 {
    let (usual, months_of_work, then): (f64, &[usize], f64) = match seen {
        // Grazing and mowing follow growth, which is fastest from April to June.
        Surface::GrazedGrass => (60.0, &[3, 4, 5], 45.0),
        // Cut for hay or silage from May to September.
        Surface::LongGrass => (60.0, &[4, 5, 6, 7, 8], 20.0),
        // Ploughed or drilled in autumn, from August, or in spring.
        Surface::Stubble => (60.0, &[2, 3, 7, 8, 9, 10], 25.0),
        // Grows tall from April to June.
        Surface::ShortCrop => (30.0, &[3, 4, 5], 15.0),
        // Harvested from July to September.
        Surface::TallCrop => (30.0, &[6, 7, 8], 15.0),
        // Drilled in spring and autumn.
        Surface::Ploughed => (30.0, &[2, 3, 4, 7, 8, 9, 10], 15.0),
        // As the rain comes and goes.
        Surface::SoftOrWet => (14.0, &[], 14.0),
        Surface::Unknown => (30.0, &[], 30.0),
    };
    if months_of_work.contains(&month) { then } else { usual }
}

/// Days in which half of what was seen of animals has changed. Common practice, no source.
#[must_use]
pub fn stock_half_life_days(seen: Surface) -> f64 {
    match seen {
        Surface::GrazedGrass | Surface::LongGrass | Surface::SoftOrWet | Surface::Unknown => 7.0,
        Surface::Stubble | Surface::ShortCrop | Surface::TallCrop | Surface::Ploughed => 60.0,
    }
}

/// Whether the calendar says that the field changes in this month: harvest, ploughing, turning stock out.
fn turns(calendar: &Calendar, year: i32, month: usize) -> bool {
    if calendar.year.is_some_and(|of| of != year || month == 0) {
        return false;
    }
    let (now, before) = (calendar.months[month], calendar.months[(month + 11) % 12]);
    now.is_some() && before.is_some() && now != before
}

#[cfg(test)]
#[path = "survey_tests.rs"]
mod tests;
