//! Positions, reference systems and days as people write them.

use super::{QuantityError, is_gap, split_number};
use sparefield_geometry::fields::model::{Day, MONTHS};
use sparefield_geometry::position::LonLat;

const POSITION: &str = "write latitude, longitude such as “51.5, -2.3”, “51 30.0N 002 18.0W” or “51°30'00\"N 2°18'W”";

/// A position: latitude first unless N, S, E and W say otherwise; decimal degrees, minutes, or minutes and seconds.
pub fn parse_position(text: &str) -> Result<LonLat, QuantityError> {
    let bad = |problem: &str| QuantityError::new(text, problem, POSITION);
    if text.trim().is_empty() {
        return Err(bad("is empty where a position belongs"));
    }
    let tokens = tokens(text).ok_or_else(|| bad("is not a position"))?;
    let letters: Vec<usize> =
        tokens.iter().enumerate().filter(|(_, t)| matches!(t, Token::Letter(_))).map(|(i, _)| i).collect();
    let (lat, lon) = match letters.as_slice() {
        [] => {
            let numbers: Vec<f64> = tokens.iter().filter_map(Token::number).collect();
            let commas = tokens.iter().filter(|t| **t == Token::Comma).count();
            let halves: Vec<&[Token]> = tokens.split(|t| *t == Token::Comma).collect();
            match (commas, numbers.as_slice()) {
                (1, _) => {
                    let half = |i: usize| angle(halves.get(i).copied().unwrap_or_default(), true);
                    (half(0), half(1))
                }
                (0, [lat, lon]) => (Some(*lat), Some(*lon)),
                _ => return Err(bad("does not show where latitude ends and longitude begins")),
            }
        }
        [a, b] => {
            let prefix = *a == 0;
            let (first, second) = if prefix {
                (&tokens[1..*b], &tokens[*b + 1..])
            } else if *b + 1 == tokens.len() {
                (&tokens[..*a], &tokens[*a + 1..*b])
            } else {
                return Err(bad("has its N, S, E or W in places that do not match"));
            };
            let signed = |part: &[Token], letter: &Token| {
                let part: Vec<Token> = part.iter().filter(|t| **t != Token::Comma).copied().collect();
                let value = angle(&part, false)?;
                Some(if matches!(letter, Token::Letter('S' | 'W')) { -value } else { value })
            };
            let (first, second) = (signed(first, &tokens[*a]), signed(second, &tokens[*b]));
            match (tokens[*a], tokens[*b]) {
                (Token::Letter('N' | 'S'), Token::Letter('E' | 'W')) => (first, second),
                (Token::Letter('E' | 'W'), Token::Letter('N' | 'S')) => (second, first),
                _ => return Err(bad("needs one of N and S, and one of E and W")),
            }
        }
        _ => return Err(bad("needs one of N and S, and one of E and W")),
    };
    let (Some(lat_deg), Some(lon_deg)) = (lat, lon) else { return Err(bad("is not a position")) };
    if lat_deg.abs() > 90.0 {
        return Err(bad("has a latitude beyond 90 degrees (latitude comes first)"));
    }
    if lon_deg.abs() > 180.0 {
        return Err(bad("has a longitude beyond 180 degrees"));
    }
    LonLat::new(lon_deg, lat_deg).ok_or_else(|| bad("is not a position"))
}

/// A position as “51.50000, -2.30000”: latitude first, about a metre fine.
#[must_use]
pub fn format_position(position: LonLat) -> String {
    // Adding zero turns −0 into 0.
    let plain = |v: f64| (v * 1e5).round() / 1e5 + 0.0;
    format!("{:.5}, {:.5}", plain(position.lat_deg), plain(position.lon_deg))
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Token {
    Number(f64),
    Degree,
    Minute,
    Second,
    Comma,
    Letter(char),
}

impl Token {
    fn number(&self) -> Option<f64> {
        if let Self::Number(v) = self { Some(*v) } else { None }
    }
}

fn tokens(text: &str) -> Option<Vec<Token>> {
    let mut out = Vec::new();
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        let mut used = c.len_utf8();
        match c {
            c if is_gap(c) || c.is_whitespace() => {}
            '°' | 'º' => out.push(Token::Degree),
            '\'' | '′' | '’' => {
                // Two single marks are one double mark.
                if rest[used..].starts_with(c) {
                    used *= 2;
                    out.push(Token::Second);
                } else {
                    out.push(Token::Minute);
                }
            }
            '"' | '″' | '”' => out.push(Token::Second),
            ',' | ';' => out.push(Token::Comma),
            'N' | 'S' | 'E' | 'W' | 'n' | 's' | 'e' | 'w' => {
                // A word is not a hemisphere.
                if rest[used..].starts_with(char::is_alphabetic) {
                    return None;
                }
                out.push(Token::Letter(c.to_ascii_uppercase()));
            }
            '0'..='9' | '.' | '+' | '-' | '−' => {
                let sign = usize::from(!c.is_ascii_digit() && c != '.') * c.len_utf8();
                let length =
                    rest[sign..].find(|d: char| !(d.is_ascii_digit() || d == '.')).unwrap_or(rest.len() - sign);
                used = sign + length;
                let (value, left) = split_number(&rest[..used]).ok()?;
                if !left.is_empty() {
                    return None;
                }
                out.push(Token::Number(value));
            }
            _ => return None,
        }
        rest = &rest[used..];
        if out.len() > 16 {
            return None;
        }
    }
    Some(out)
}

/// Degrees, or degrees and minutes, or degrees, minutes and seconds; only the last may have a fraction.
fn angle(tokens: &[Token], may_be_negative: bool) -> Option<f64> {
    let mut parts: Vec<f64> = Vec::new();
    for token in tokens {
        match token {
            Token::Number(v) => parts.push(*v),
            Token::Degree if parts.len() == 1 => {}
            Token::Minute if parts.len() == 2 => {}
            Token::Second if parts.len() == 3 => {}
            _ => return None,
        }
    }
    let (&degrees, smaller) = parts.split_first()?;
    let negative = degrees.is_sign_negative();
    if (negative && !may_be_negative) || smaller.len() > 2 {
        return None;
    }
    if smaller.iter().any(|v| v.is_sign_negative() || *v >= 60.0) {
        return None;
    }
    if parts[..parts.len() - 1].iter().any(|v| v.fract() != 0.0) {
        return None;
    }
    let size = degrees.abs() + smaller.first().unwrap_or(&0.0) / 60.0 + smaller.get(1).unwrap_or(&0.0) / 3_600.0;
    Some(if negative { -size } else { size })
}

/// The number of an EPSG code: `EPSG:27700`, `epsg 27700`, `27700` or `urn:ogc:def:crs:EPSG::27700`.
pub fn parse_epsg(text: &str) -> Result<u32, QuantityError> {
    const REMEDY: &str = "write a code such as “EPSG:27700”";
    let plain = text.trim().to_lowercase();
    let digits = match plain.strip_prefix("urn:ogc:def:crs:epsg:") {
        // A version may stand between the last two colons.
        Some(rest) => rest.rsplit(':').next().unwrap_or(rest).to_owned(),
        None => plain.strip_prefix("epsg").unwrap_or(&plain).trim_start_matches([':', ' ']).to_owned(),
    };
    let well_formed = (4..=9).contains(&digits.len()) && digits.bytes().all(|b| b.is_ascii_digit());
    match digits.parse::<u32>() {
        Ok(code) if well_formed && code >= 1_000 => Ok(code),
        _ => Err(QuantityError::new(text, "is not an EPSG code", REMEDY)),
    }
}

/// A calendar day: `2026-11-25`, `2026/11/25`, `20261125`, `25 Nov 2026`, or a date with a time behind it.
///
/// Day and month in figures with the year last (`03/04/2026`) read differently in different countries and are refused.
pub fn parse_day(text: &str) -> Result<Day, QuantityError> {
    const REMEDY: &str = "write year-month-day such as “2026-11-25”";
    let bad = |problem: &str| QuantityError::new(text, problem, REMEDY);
    let plain = text.trim();
    // A time of day behind the date does not matter here.
    let plain = match plain.find(['T', ' ']) {
        Some(at) if plain[..at].len() >= 8 => &plain[..at],
        _ => plain,
    };
    if plain.len() == 8 && plain.bytes().all(|b| b.is_ascii_digit()) {
        return day(&plain[..4], &plain[4..6], &plain[6..]).ok_or_else(|| bad("is not a day of the calendar"));
    }
    let parts: Vec<&str> = plain.split(['-', '/', '.', ' ']).filter(|p| !p.is_empty()).collect();
    let [a, b, c] = parts.as_slice() else { return Err(bad("is not a date")) };
    if a.len() == 4 {
        return day(a, b, c).ok_or_else(|| bad("is not a day of the calendar"));
    }
    if let Some(month) = month_by_name(b) {
        return day(c, &month.to_string(), a).ok_or_else(|| bad("is not a day of the calendar"));
    }
    Err(bad(if c.len() == 4 { "does not show which figure is the month" } else { "is not a date" }))
}

/// A month by its name or at least the first three letters of it, 1 for January; case does not matter.
#[must_use]
pub fn month_by_name(text: &str) -> Option<usize> {
    let plain = text.to_lowercase();
    if plain.len() < 3 {
        return None;
    }
    MONTHS.iter().position(|m| m.to_lowercase().starts_with(&plain)).map(|i| i + 1)
}

fn day(year: &str, month: &str, day: &str) -> Option<Day> {
    let (year, month, day) = (year.parse().ok()?, month.parse().ok()?, day.parse().ok()?);
    let date = jiff::civil::Date::new(year, month, day).ok()?;
    let epoch = jiff::civil::date(1970, 1, 1);
    let days = date.since(epoch).ok()?.get_days();
    Some(Day { days_since_epoch: days })
}

/// A day as “2026-11-25”; a day outside the years −9999 to 9999 gives “unknown”.
#[must_use]
pub fn format_day(day: Day) -> String {
    use jiff::ToSpan;
    let epoch = jiff::civil::date(1970, 1, 1);
    day.days_since_epoch
        .checked_abs()
        .filter(|d| *d < 4_000_000)
        .and_then(|_| epoch.checked_add(day.days_since_epoch.days()).ok())
        .map_or_else(|| "unknown".to_owned(), |date| date.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn positions_as_people_write_them() {
        for (text, lat, lon) in [
            ("51.5, -2.3", 51.5, -2.3),
            ("51.5,-2.3", 51.5, -2.3),
            ("51.5 -2.3", 51.5, -2.3),
            ("51.5; −2.3", 51.5, -2.3),
            ("-33, 151", -33.0, 151.0),
            ("51 30.0N 002 18.0W", 51.5, -2.3),
            ("51°30'00\"N 2°18'W", 51.5, -2.3),
            ("51° 30′ 00″ N, 2° 18′ 00″ W", 51.5, -2.3),
            ("51°30''N 2°18'W", f64::NAN, f64::NAN),
            ("51.5N 2.3W", 51.5, -2.3),
            ("N51 30.0 W002 18.0", 51.5, -2.3),
            ("W002 18.0 N51 30.0", 51.5, -2.3),
            ("2.3 w, 51.5 n", 51.5, -2.3),
            ("33 30 36 S 151 00 00 E", -33.51, 151.0),
            ("-0°30', 0°30'", -0.5, 0.5),
        ] {
            if lat.is_nan() {
                assert!(parse_position(text).is_err(), "{text}");
                continue;
            }
            let got = parse_position(text).unwrap();
            assert!((got.lat_deg - lat).abs() < 1e-9 && (got.lon_deg - lon).abs() < 1e-9, "{text}: {got:?}");
        }
    }

    #[test]
    fn what_is_no_position_is_refused() {
        for text in [
            "",
            "51.5",
            "51,5, -2,3",
            "95, 10",
            "10, 195",
            "51 60.0N 2 0W",
            "51.5 30N 2W",
            "51N 2N",
            "-51N 2W",
            "51N 2",
            "north 51 west 2",
            "51 30 2 18",
            "1 2 3",
            "nan, nan",
            "51N 2E 3W",
            "N51 2W",
            "51.5..1, 2",
        ] {
            let error = parse_position(text).unwrap_err().to_string();
            assert!(error.contains("latitude, longitude"), "{text}: {error}");
        }
    }

    #[test]
    fn codes_and_days() {
        for text in
            ["EPSG:27700", "epsg 27700", "27700", "urn:ogc:def:crs:EPSG::27700", "urn:ogc:def:crs:EPSG:6.9:27700"]
        {
            assert_eq!(parse_epsg(text).unwrap(), 27_700, "{text}");
        }
        for text in ["", "EPSG:", "EPSG:-1", "EPSG:99999999999", "WGS84", "12"] {
            assert!(parse_epsg(text).is_err(), "{text}");
        }
        // 2026-11-25 is day 20 782: Python datetime, (date(2026,11,25) - date(1970,1,1)).days.
        for text in [
            "2026-11-25",
            "2026/11/25",
            "20261125",
            "25 Nov 2026",
            "25-November-2026",
            "2026-11-25T10:00:00Z",
            "2026-11-25 10:00",
        ] {
            assert_eq!(parse_day(text).unwrap().days_since_epoch, 20_782, "{text}");
        }
        for text in
            ["", "03/04/2026", "2026-13-01", "2026-02-30", "20261301", "yesterday", "2026", "26-11-25", "00000000"]
        {
            assert!(parse_day(text).unwrap_err().to_string().contains("2026-11-25"), "{text}");
        }
        assert_eq!(format_day(Day { days_since_epoch: 20_782 }), "2026-11-25");
        assert_eq!(format_day(Day { days_since_epoch: i32::MIN }), "unknown");
    }

    proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "\\PC{0,24}", marks in "[0-9NSEW°'\", .+-]{0,20}") {
            for t in [&text, &marks] {
                let _maybe = parse_epsg(t);
                let _maybe = parse_day(t);
                if let Ok(p) = parse_position(t) {
                    prop_assert!(p.lat_deg.abs() <= 90.0 && p.lon_deg.abs() <= 180.0);
                }
            }
        }
        #[test]
        fn days_come_back(days in -100_000..100_000i32) {
            let day = Day { days_since_epoch: days };
            prop_assert_eq!(parse_day(&format_day(day)).unwrap(), day);
        }
        #[test]
        fn positions_come_back(lat in -90.0..90.0f64, lon in -180.0..180.0f64) {
            let p = LonLat { lon_deg: lon, lat_deg: lat };
            let back = parse_position(&format_position(p)).unwrap();
            prop_assert!((back.lat_deg - lat).abs() <= 5.1e-6 && (back.lon_deg - lon).abs() <= 5.1e-6);
        }
    }
}
