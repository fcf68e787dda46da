//! Dates and times of day as recorders write them.

use jiff::Timestamp;
use jiff::civil::Date;

/// Seconds in a day.
pub(crate) const DAY_S: f64 = 86_400.0;

/// A time of day in seconds since midnight, from `hhmmss` with any number of decimals.
pub(crate) fn time_of_day(text: &str) -> Option<f64> {
    let text = text.trim();
    if text.len() < 6 || !text.is_ascii() {
        return None;
    }
    let two = |from: usize| text.get(from..from + 2).filter(|t| t.bytes().all(|b| b.is_ascii_digit()))?.parse().ok();
    let (hour, minute, second): (u32, u32, u32) = (two(0)?, two(2)?, two(4)?);
    let decimals = match text.get(6..) {
        None | Some("") => 0.0,
        Some(rest) => rest
            .strip_prefix('.')
            .filter(|d| d.bytes().all(|b| b.is_ascii_digit()))
            .map(|d| format!("0.{d}"))?
            .parse::<f64>()
            .unwrap_or(0.0),
    };
    // Second 60 is a leap second.
    (hour < 24 && minute < 60 && second <= 60).then(|| f64::from(hour * 3_600 + minute * 60 + second) + decimals)
}

/// A date from `ddmmyy`; years from 80 on belong to the last century, in which satellite navigation began.
pub(crate) fn short_date(text: &str) -> Option<Date> {
    let text = text.trim();
    if text.len() != 6 || !text.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let two = |from: usize| text.get(from..from + 2)?.parse::<i16>().ok();
    let (day, month, year) = (two(0)?, two(2)?, two(4)?);
    let year = if year >= 80 { 1_900 + year } else { 2_000 + year };
    Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()
}

/// A moment from a day and seconds since its midnight, UTC.
pub(crate) fn moment(day: Date, seconds: f64) -> Option<Timestamp> {
    let epoch = jiff::civil::date(1970, 1, 1);
    let days = epoch.until(day).ok()?.get_days();
    from_unix_s(f64::from(days) * DAY_S + seconds)
}

/// A moment from seconds since 1970, to the microsecond.
pub(crate) fn from_unix_s(seconds: f64) -> Option<Timestamp> {
    if !seconds.is_finite() || seconds.abs() > 1e11 {
        return None;
    }
    Timestamp::from_microsecond((seconds * 1e6).round() as i64).ok()
}

/// Seconds since 1970.
pub(crate) fn unix_s(at: Timestamp) -> f64 {
    at.as_microsecond() as f64 / 1e6
}

/// A moment as ISO 8601 writes it; without an offset it counts as UTC, as GPX and KML demand.
pub(crate) fn iso(text: &str) -> Option<Timestamp> {
    let text = text.trim();
    if let Ok(at) = text.parse::<Timestamp>() {
        return Some(at);
    }
    let plain: jiff::civil::DateTime = text.trim_end_matches(['Z', 'z']).trim_end().parse().ok()?;
    jiff::tz::TimeZone::UTC.to_timestamp(plain).ok()
}

/// Days for times of day in the order they were recorded. A step back by more than half a day is midnight.
///
/// Each entry is a time of day and the date, where the record states one. Before the first stated date days are counted
/// back from it; without any they are `None`.
pub(crate) fn days(entries: &[(f64, Option<Date>)]) -> Vec<Option<Date>> {
    let mut index = 0_i64;
    let mut before: Option<f64> = None;
    let mut counted = Vec::with_capacity(entries.len());
    for &(time, _) in entries {
        if let Some(earlier) = before {
            if earlier - time > DAY_S / 2.0 {
                index += 1;
            } else if time - earlier > DAY_S / 2.0 && index > 0 {
                // A late sentence of the day before.
                index -= 1;
            }
        }
        before = Some(time);
        counted.push(index);
    }
    let shifted = |from: Date, days: i64| from.checked_add(jiff::Span::new().try_days(days).ok()?).ok();
    let first = entries.iter().zip(&counted).find_map(|(&(_, date), &i)| date.map(|d| (d, i)));
    let mut anchor = first;
    entries
        .iter()
        .zip(&counted)
        .map(|(&(_, date), &i)| {
            if let Some(date) = date {
                anchor = Some((date, i));
            }
            anchor.and_then(|(date, at)| shifted(date, i - at))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn times_and_dates_are_read_as_recorders_write_them() {
        assert_eq!(time_of_day("123519"), Some(45_319.0));
        assert_eq!(time_of_day("000000.25"), Some(0.25));
        assert_eq!(time_of_day("235960"), Some(86_400.0), "a leap second");
        for wrong in ["", "1235", "240000", "126000", "12a519", "123519.x", "12351é", "-12351"] {
            assert_eq!(time_of_day(wrong), None, "{wrong}");
        }
        assert_eq!(short_date("230394"), Some(date(1994, 3, 23)));
        assert_eq!(short_date("290224"), Some(date(2024, 2, 29)));
        for wrong in ["290223", "000070", "3112", "ddmmyy", "320101"] {
            assert_eq!(short_date(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn a_moment_without_offset_is_utc() {
        let expected = "2014-03-29T22:50:22Z".parse().ok();
        assert_eq!(iso("2014-03-29T22:50:22Z"), expected);
        assert_eq!(iso(" 2014-03-29T22:50:22 "), expected);
        assert_eq!(iso("2014-03-29T23:50:22+01:00"), expected);
        assert_eq!(iso("yesterday"), None);
    }

    #[test]
    fn midnight_turns_the_day_and_a_stated_date_anchors_it() {
        let late = DAY_S - 1.0;
        let new_year = date(2025, 1, 1);
        let eve = date(2024, 12, 31);
        assert_eq!(days(&[(late, Some(eve)), (0.0, None)]), [Some(eve), Some(new_year)]);
        assert_eq!(days(&[(late, None), (0.0, Some(new_year))]), [Some(eve), Some(new_year)], "counted back");
        assert_eq!(days(&[(late, Some(eve)), (0.0, Some(new_year))]), [Some(eve), Some(new_year)], "not twice");
        assert_eq!(days(&[(late, None), (0.0, None)]), [None, None]);
    }
}
