//! Values with units as people type them, and the way back.
//!
//! Every reader here takes the text of one value and gives SI, or one sentence that says what is understood. A number
//! without a unit is an error unless the caller names the unit it stands for. No reader ever gives NaN or infinity;
//! what range makes sense (a height above ground of −300 m?) is the caller's business.
//!
//! The factors are exact by definition: 1 ft = 0.3048 m, 1 yd = 0.9144 m and 1 mi = 1609.344 m (international yard and
//! pound agreement, 1959); 1 NM = 1852 m and 1 kt = 1852/3600 m/s (BIPM, *SI Brochure*, 8th ed., table 8).

mod format;
mod place;
mod wind;

pub use format::{UnitPrefs, WindWords, format_bearing, format_quantity, format_slope};
pub use place::{format_day, format_position, month_by_name, parse_day, parse_epsg, parse_position};
pub use wind::{ReportedWind, WindAloft, parse_wind, parse_wind_aloft};

use serde::{Deserialize, Serialize};
use sparefield_geometry::position::Bearing;
use thiserror::Error;

/// A text that is not the value it should be. Prints as one sentence with what would be understood.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("“{text}” {problem}; {remedy}")]
pub struct QuantityError {
    /// The text as typed, shortened when long.
    pub text: String,
    /// What is wrong with it.
    pub problem: String,
    /// What is understood.
    pub remedy: String,
}

impl QuantityError {
    fn new(text: &str, problem: impl Into<String>, remedy: impl Into<String>) -> Self {
        let text = text.trim();
        let mut shown: String = text.chars().take(40).filter(|c| !c.is_control()).collect();
        if text.chars().count() > 40 {
            shown.push('…');
        }
        Self { text: shown, problem: problem.into(), remedy: remedy.into() }
    }
}

/// A unit of height.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HeightUnit {
    /// Feet.
    #[default]
    Ft,
    /// Metres.
    M,
}

/// A unit of horizontal distance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LengthUnit {
    /// Metres.
    #[default]
    M,
    /// Feet.
    Ft,
    /// Yards.
    Yd,
}

/// A unit of speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SpeedUnit {
    /// Statute miles an hour.
    #[default]
    Mph,
    /// Knots.
    Kt,
    /// Kilometres an hour.
    Kmh,
    /// Metres a second.
    Ms,
}

const FOOT_M: f64 = 0.304_8;
const YARD_M: f64 = 0.914_4;
const MILE_M: f64 = 1_609.344;
const NAUTICAL_MILE_M: f64 = 1_852.0;
const KNOT_MS: f64 = NAUTICAL_MILE_M / 3_600.0;
const MPH_MS: f64 = 0.447_04;
const KMH_MS: f64 = 1.0 / 3.6;
const FPM_MS: f64 = FOOT_M / 60.0;

impl HeightUnit {
    /// Metres in one of it.
    #[must_use]
    pub fn metres(self) -> f64 {
        match self {
            Self::Ft => FOOT_M,
            Self::M => 1.0,
        }
    }
    /// The unit as written after a number.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Ft => "ft",
            Self::M => "m",
        }
    }
}

impl LengthUnit {
    /// Metres in one of it.
    #[must_use]
    pub fn metres(self) -> f64 {
        match self {
            Self::M => 1.0,
            Self::Ft => FOOT_M,
            Self::Yd => YARD_M,
        }
    }
    /// The unit as written after a number.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Self::M => "m",
            Self::Ft => "ft",
            Self::Yd => "yd",
        }
    }
}

impl SpeedUnit {
    /// Metres a second in one of it.
    #[must_use]
    pub fn metres_per_second(self) -> f64 {
        match self {
            Self::Mph => MPH_MS,
            Self::Kt => KNOT_MS,
            Self::Kmh => KMH_MS,
            Self::Ms => 1.0,
        }
    }
    /// The unit as written after a number.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Mph => "mph",
            Self::Kt => "kt",
            Self::Kmh => "km/h",
            Self::Ms => "m/s",
        }
    }
}

/// A height or height difference in metres. A bare number is in `default`, or an error when that is `None`.
pub fn parse_height_m(text: &str, default: Option<HeightUnit>) -> Result<f64, QuantityError> {
    scaled(text, "height", LENGTH_REMEDY, length_factor, default.map(HeightUnit::metres))
}

/// A horizontal distance in metres. A bare number is in `default`, or an error when that is `None`.
pub fn parse_length_m(text: &str, default: Option<LengthUnit>) -> Result<f64, QuantityError> {
    scaled(text, "length", LENGTH_REMEDY, length_factor, default.map(LengthUnit::metres))
}

/// A speed in m/s. A bare number is in `default`, or an error when that is `None`.
pub fn parse_speed_ms(text: &str, default: Option<SpeedUnit>) -> Result<f64, QuantityError> {
    scaled(text, "speed", SPEED_REMEDY, speed_factor, default.map(SpeedUnit::metres_per_second))
}

/// A sink rate in m/s, positive downwards; a unit is always needed.
pub fn parse_sink_ms(text: &str) -> Result<f64, QuantityError> {
    let factor = |unit: &str| match unit {
        "fpm" | "ft/min" | "ft/minute" | "feet per minute" | "feet/min" => Some(FPM_MS),
        other => speed_factor(other),
    };
    scaled(text, "sink rate", "write it with fpm, m/s or kt, such as “600 fpm”", factor, None)
}

/// An angle in radians; a bare number is in degrees. Any finite value is taken as it stands.
pub fn parse_angle_rad(text: &str) -> Result<f64, QuantityError> {
    let factor = |unit: &str| match unit {
        "°" | "deg" | "degs" | "degree" | "degrees" | "º" => Some(1f64.to_radians()),
        "rad" | "radian" | "radians" => Some(1.0),
        _ => None,
    };
    scaled(text, "angle", "write degrees, such as “30 deg” or “30°”", factor, Some(1f64.to_radians()))
}

/// A compass direction, 0 to 360 degrees.
pub fn parse_bearing(text: &str) -> Result<Bearing, QuantityError> {
    const REMEDY: &str = "write degrees from 0 to 360, such as “240”";
    let deg = parse_angle_rad(text).map_err(|e| QuantityError { remedy: REMEDY.into(), ..e })?.to_degrees();
    if (0.0..=360.0 + 1e-9).contains(&deg) {
        Ok(Bearing::from_deg(deg))
    } else {
        Err(QuantityError::new(text, "is not a direction", REMEDY))
    }
}

/// A rate of roll or turn in rad/s; a bare number is in degrees a second.
pub fn parse_angle_rate_rad_s(text: &str) -> Result<f64, QuantityError> {
    let factor = |unit: &str| match unit {
        "°/s" | "deg/s" | "degrees/s" | "deg/sec" | "deg per second" | "degrees per second" | "º/s" => {
            Some(1f64.to_radians())
        }
        "rad/s" => Some(1.0),
        _ => None,
    };
    scaled(text, "rate", "write degrees a second, such as “20 deg/s”", factor, Some(1f64.to_radians()))
}

/// A time in seconds. A bare number is in seconds only when `bare_seconds` is set.
pub fn parse_time_s(text: &str, bare_seconds: bool) -> Result<f64, QuantityError> {
    let factor = |unit: &str| match unit {
        "s" | "sec" | "secs" | "second" | "seconds" => Some(1.0),
        "min" | "mins" | "minute" | "minutes" => Some(60.0),
        "h" | "hr" | "hour" | "hours" => Some(3_600.0),
        _ => None,
    };
    scaled(text, "time", "write it with s or min, such as “4 s”", factor, bare_seconds.then_some(1.0))
}

/// A glide ratio: `6`, `6.5`, `6:1` or `1:6`.
pub fn parse_ratio(text: &str) -> Result<f64, QuantityError> {
    const REMEDY: &str = "write a number such as “6” or “6:1”";
    let bad = || QuantityError::new(text, "is not a glide ratio", REMEDY);
    let number = |part: &str| match split_number(part) {
        Ok((value, "")) => Ok(value),
        _ => Err(bad()),
    };
    let value = match text.split_once(':') {
        None => number(text)?,
        Some((over, one)) => {
            let (a, b) = (number(over)?, number(one)?);
            if b == 1.0 {
                a
            } else if a == 1.0 {
                b
            } else {
                return Err(bad());
            }
        }
    };
    if value > 0.0 { Ok(value) } else { Err(bad()) }
}

const LENGTH_REMEDY: &str = "write it with ft, m, km, yd, nm (nautical) or mi, such as “1500 ft” or “450 m”";
const SPEED_REMEDY: &str = "write it with mph, kt, km/h or m/s, such as “50 mph” or “12 kt”";

fn length_factor(unit: &str) -> Option<f64> {
    Some(match unit {
        "m" | "metre" | "metres" | "meter" | "meters" => 1.0,
        "km" | "kilometre" | "kilometres" | "kilometer" | "kilometers" => 1_000.0,
        "ft" | "ft." | "foot" | "feet" | "'" | "′" | "’" => FOOT_M,
        "yd" | "yds" | "yard" | "yards" => YARD_M,
        "nm" | "nmi" | "nautical mile" | "nautical miles" => NAUTICAL_MILE_M,
        "mi" | "mile" | "miles" | "statute mile" | "statute miles" => MILE_M,
        _ => return None,
    })
}

fn speed_factor(unit: &str) -> Option<f64> {
    Some(match unit {
        "mph" | "mi/h" | "miles per hour" => MPH_MS,
        "kt" | "kts" | "kn" | "knot" | "knots" => KNOT_MS,
        "km/h" | "kmh" | "kph" | "km/hr" | "kmph" => KMH_MS,
        "m/s" | "mps" | "ms" | "m/sec" | "metres per second" => 1.0,
        _ => return None,
    })
}

/// A number and a unit, turned to SI by the unit's factor.
fn scaled(
    text: &str,
    what: &str,
    remedy: &str,
    factor_of: impl Fn(&str) -> Option<f64>,
    default: Option<f64>,
) -> Result<f64, QuantityError> {
    if text.trim().is_empty() {
        return Err(QuantityError::new(text, format!("is empty where a {what} belongs"), remedy));
    }
    let (value, unit) = split_number(text).map_err(|problem| QuantityError::new(text, problem.words(what), remedy))?;
    let unit = unit.to_lowercase();
    let unit = unit.split_whitespace().collect::<Vec<_>>().join(" ");
    let factor = if unit.is_empty() {
        default.ok_or_else(|| QuantityError::new(text, "has no unit", remedy))?
    } else {
        factor_of(&unit).ok_or_else(|| {
            let article = if what.starts_with(['a', 'e', 'i', 'o', 'u']) { "an" } else { "a" };
            QuantityError::new(
                text,
                format!("has a unit that is not understood as {article} {what} (“{unit}”)"),
                remedy,
            )
        })?
    };
    let result = value * factor;
    if result.is_finite() { Ok(result) } else { Err(QuantityError::new(text, "is too large a number", remedy)) }
}

/// Why no number stands at the front of a text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum NumberProblem {
    None,
    Comma,
    Malformed,
    TooLarge,
}

impl NumberProblem {
    fn words(self, what: &str) -> String {
        match self {
            Self::None => format!("does not start with a number, so it is no {what}"),
            Self::Comma => {
                "has a comma that is neither between thousands nor a decimal point (write 1.5, or 1500)".into()
            }
            Self::Malformed => "has a number that cannot be read".into(),
            Self::TooLarge => "is too large a number".into(),
        }
    }
}

fn is_gap(c: char) -> bool {
    // Ordinary, no-break, thin, and narrow no-break spaces.
    matches!(c, ' ' | '\t' | '\u{a0}' | '\u{2009}' | '\u{202f}')
}

/// The number at the front of a text and the rest, trimmed. Thousands may be set apart by commas or spaces.
fn split_number(text: &str) -> Result<(f64, &str), NumberProblem> {
    let text = text.trim_matches(|c: char| is_gap(c) || c.is_whitespace());
    let (negative, body) = match text.chars().next() {
        Some(c @ ('-' | '−')) => (true, &text[c.len_utf8()..]),
        Some('+') => (false, &text[1..]),
        _ => (false, text),
    };
    let mut digits = String::new();
    let mut end = 0;
    // Length of the run of digits since the start or the last separator, and which separator is in use.
    let (mut run, mut separator, mut point) = (0, None, false);
    let mut chars = body.char_indices().peekable();
    while let Some(&(at, c)) = chars.peek() {
        if c.is_ascii_digit() {
            digits.push(c);
            run += 1;
            end = at + 1;
            chars.next();
        } else if c == '.' {
            if point || (separator.is_some() && run != 3) {
                return Err(NumberProblem::Malformed);
            }
            // "ft." must not be read as a number, and "5." is not one.
            if !body[at + 1..].starts_with(|d: char| d.is_ascii_digit()) {
                return Err(if run == 0 { NumberProblem::None } else { NumberProblem::Malformed });
            }
            point = true;
            digits.push(c);
            end = at + 1;
            chars.next();
        } else if (c == ',' || is_gap(c)) && body[at + c.len_utf8()..].starts_with(|d: char| d.is_ascii_digit()) {
            let problem = if c == ',' { NumberProblem::Comma } else { NumberProblem::Malformed };
            let leading = separator.is_none() && (1..=3).contains(&run);
            let following = separator == Some(c) && run == 3;
            if point || !(leading || following) {
                return Err(problem);
            }
            separator = Some(c);
            run = 0;
            chars.next();
        } else {
            break;
        }
    }
    if !digits.contains(|c: char| c.is_ascii_digit()) {
        return Err(NumberProblem::None);
    }
    if !point && separator.is_some() && run != 3 {
        return Err(if separator == Some(',') { NumberProblem::Comma } else { NumberProblem::Malformed });
    }
    let value: f64 = digits.parse().map_err(|_unreadable| NumberProblem::Malformed)?;
    if !value.is_finite() {
        return Err(NumberProblem::TooLarge);
    }
    let rest = body[end..].trim_matches(|c: char| is_gap(c) || c.is_whitespace());
    Ok((if negative { -value } else { value }, rest))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn close(a: f64, b: f64) -> bool {
        (a - b).abs() <= 1e-9 * b.abs().max(1.0)
    }

    #[test]
    fn heights_as_people_type_them() {
        for (text, metres) in [
            ("1500 ft", 457.2),
            ("1500ft", 457.2),
            ("1,500 ft", 457.2),
            ("1 500 ft", 457.2),
            ("1\u{202f}500\u{a0}ft", 457.2),
            ("1500'", 457.2),
            ("1500 FT", 457.2),
            ("1500 ft.", 457.2),
            ("457 m", 457.0),
            ("0.5 km", 500.0),
            (".5 km", 500.0),
            ("2 nm", 3_704.0),
            ("1 mi", 1_609.344),
            ("100 yards", 91.44),
            ("−20 m", -20.0),
            ("+20 m", 20.0),
            ("  20  metres ", 20.0),
            ("12,345,678.5 m", 12_345_678.5),
        ] {
            let got = parse_height_m(text, None).unwrap();
            assert!(close(got, metres), "{text}: {got}");
        }
    }

    #[test]
    fn what_is_no_height_is_said_so() {
        for (text, part) in [
            ("1500", "has no unit"),
            ("", "is empty"),
            ("ft", "does not start with a number"),
            ("1500 furlongs", "furlongs"),
            ("1,5 m", "comma"),
            ("15,00 ft", "comma"),
            ("1,500,00 ft", "comma"),
            ("1.2.3 m", "cannot be read"),
            ("1 2 m", "cannot be read"),
            ("5. m", "cannot be read"),
            ("nan m", "does not start with a number"),
            ("inf", "does not start with a number"),
            ("1e3 m", "e3 m"),
            ("12 kt", "not understood as a height"),
            ("- ft", "does not start with a number"),
        ] {
            let error = parse_height_m(text, None).unwrap_err().to_string();
            assert!(error.contains(part), "{text}: {error}");
            assert!(error.contains("ft, m, km"), "{error}");
        }
        let huge = format!("{} m", "9".repeat(400));
        assert!(parse_height_m(&huge, None).unwrap_err().to_string().contains("too large"));
        assert!(
            parse_height_m(&format!("{} km", "9".repeat(307)), None).unwrap_err().to_string().contains("too large")
        );
    }

    #[test]
    fn a_bare_number_takes_the_callers_unit() {
        assert!(close(parse_height_m("1500", Some(HeightUnit::Ft)).unwrap(), 457.2));
        assert!(close(parse_length_m("100", Some(LengthUnit::Yd)).unwrap(), 91.44));
        assert!(close(parse_speed_ms("10", Some(SpeedUnit::Kt)).unwrap(), 18_520.0 / 3_600.0));
    }

    #[test]
    fn speeds_and_sinks() {
        for (text, ms) in [
            ("65 mph", 29.057_6),
            ("12kt", 6.173_333_333_333),
            ("12 kts", 6.173_333_333_333),
            ("20 km/h", 5.555_555_555_556),
            ("6 m/s", 6.0),
            ("6m/s", 6.0),
        ] {
            assert!(close(parse_speed_ms(text, None).unwrap(), ms), "{text}");
        }
        assert!(close(parse_sink_ms("600 fpm").unwrap(), 3.048));
        assert!(close(parse_sink_ms("600 ft/min").unwrap(), 3.048));
        assert!(close(parse_sink_ms("3 m/s").unwrap(), 3.0));
        assert!(parse_sink_ms("3").unwrap_err().to_string().contains("has no unit"));
        assert!(parse_speed_ms("600 fpm", None).is_err());
    }

    #[test]
    fn angles_times_and_ratios() {
        assert!(close(parse_bearing("240").unwrap().deg(), 240.0));
        assert!(close(parse_bearing("240°").unwrap().deg(), 240.0));
        assert!(close(parse_bearing("360").unwrap().deg(), 0.0));
        assert!(parse_bearing("361").is_err());
        assert!(parse_bearing("-10").is_err());
        assert!(parse_bearing("north").is_err());
        assert!(close(parse_angle_rad("30 deg").unwrap(), 30f64.to_radians()));
        assert!(close(parse_angle_rate_rad_s("20 deg/s").unwrap(), 20f64.to_radians()));
        assert!(close(parse_time_s("4 s", false).unwrap(), 4.0));
        assert!(close(parse_time_s("1.5 min", false).unwrap(), 90.0));
        assert!(parse_time_s("4", false).is_err());
        assert!(close(parse_time_s("4", true).unwrap(), 4.0));
        for (text, ratio) in [("6", 6.0), ("6.5:1", 6.5), ("1 : 6", 6.0)] {
            assert!(close(parse_ratio(text).unwrap(), ratio), "{text}");
        }
        for text in ["", "0", "-6", "6:2", "six", "6:1:1", "6 m"] {
            assert!(parse_ratio(text).is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn no_text_makes_a_reader_panic_or_give_a_non_number(text in "\\PC{0,24}") {
            for value in [
                parse_height_m(&text, Some(HeightUnit::Ft)),
                parse_length_m(&text, None),
                parse_speed_ms(&text, Some(SpeedUnit::Kt)),
                parse_sink_ms(&text),
                parse_angle_rad(&text),
                parse_ratio(&text),
                parse_time_s(&text, true),
            ].into_iter().flatten() {
                prop_assert!(value.is_finite());
            }
        }
        #[test]
        fn numbers_with_units_come_back(value in -1.0e6..1.0e6_f64) {
            let (metres, feet) = (format!("{value} m"), format!("{value}ft"));
            prop_assert!(close(parse_height_m(&metres, None).unwrap(), value));
            prop_assert!(close(parse_height_m(&feet, None).unwrap(), value * 0.304_8));
        }
    }
}
