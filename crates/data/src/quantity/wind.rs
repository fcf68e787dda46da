//! Winds as people and weather reports write them.

use super::{QuantityError, SpeedUnit, parse_bearing, parse_height_m, parse_speed_ms};
use sparefield_geometry::air::WindVector;
use sparefield_geometry::position::Bearing;

/// Above this, m/s, a wind is taken for a typing error (common practice, no source: about 190 kt).
const LARGEST_WIND_MS: f64 = 100.0;

const REMEDY: &str = "write direction/speed such as “250/12” (from 250°, 12 kt) or “250/6 m/s”, a report group such as “25012G20KT”, or “calm”";

/// A wind at the surface as reported.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReportedWind {
    /// Where it comes from; `None` when it is calm or variable.
    pub from: Option<Bearing>,
    /// Mean speed, m/s.
    pub speed_ms: f64,
    /// Gusts, m/s, never below the mean.
    pub gust_ms: Option<f64>,
}

impl ReportedWind {
    /// No wind.
    pub const CALM: Self = Self { from: None, speed_ms: 0.0, gust_ms: None };

    /// Whether the direction is variable: there is a wind, and nobody knows from where.
    #[must_use]
    pub fn is_variable(&self) -> bool {
        self.from.is_none() && (self.speed_ms > 0.0 || self.gust_ms.is_some())
    }

    /// The mean wind, or `None` when its direction is variable, which is for the caller to say and to deal with.
    #[must_use]
    pub fn vector(&self) -> Option<WindVector> {
        match self.from {
            Some(from) => Some(WindVector::coming_from(from, self.speed_ms)),
            None if self.is_variable() => None,
            None => Some(WindVector::CALM),
        }
    }
}

/// A wind aloft as typed: a height whose reference the caller states, and the wind there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindAloft {
    /// Height in metres.
    pub height_m: f64,
    /// The wind there.
    pub wind: WindVector,
}

/// A wind: `250/12` (knots unless a unit follows), `250/12G20kt`, `25012KT`, `25012G20KT`, `VRB02KT`, `00000KT`, `calm`.
///
/// # Source
/// The report groups follow WMO-No. 306, *Manual on Codes*, FM 15 METAR (units KT, MPS and KMH).
pub fn parse_wind(text: &str) -> Result<ReportedWind, QuantityError> {
    let plain = text.trim().to_lowercase();
    if plain.is_empty() {
        return Err(QuantityError::new(text, "is empty where a wind belongs", REMEDY));
    }
    if matches!(plain.as_str(), "calm" | "no wind" | "nil" | "0" | "00000kt" | "00000mps" | "00000kmh") {
        return Ok(ReportedWind::CALM);
    }
    let (direction, speed) = match plain.split_once(['/', '@']) {
        Some((direction, speed)) => (direction.trim().to_owned(), speed.trim().to_owned()),
        None => report_group(&plain)
            .ok_or_else(|| QuantityError::new(text, "is not a wind", REMEDY))
            .map(|(direction, speed)| (direction.to_owned(), speed))?,
    };
    let from = if matches!(direction.as_str(), "vrb" | "variable") {
        None
    } else {
        Some(parse_bearing(&direction).map_err(|e| QuantityError::new(text, e.problem, REMEDY))?)
    };
    let (mean, gust, unit) = mean_gust_unit(&speed);
    let in_ms = |part: &str| -> Result<f64, QuantityError> {
        let part = part.trim();
        // A unit behind the gust counts for the mean, too.
        let with_unit =
            if part.ends_with(|c: char| c.is_ascii_digit()) { format!("{part}{unit}") } else { part.into() };
        let value = parse_speed_ms(&with_unit, Some(SpeedUnit::Kt))
            .map_err(|e| QuantityError::new(text, format!("has a speed that {}", e.problem), REMEDY))?;
        if (0.0..=LARGEST_WIND_MS).contains(&value) {
            Ok(value)
        } else {
            Err(QuantityError::new(text, "has a speed that no wind has", REMEDY))
        }
    };
    let speed_ms = in_ms(mean)?;
    let gust_ms = gust.map(in_ms).transpose()?;
    if gust_ms.is_some_and(|gust| gust < speed_ms) {
        return Err(QuantityError::new(text, "has gusts below the mean wind", REMEDY));
    }
    let calm = speed_ms == 0.0 && gust_ms.is_none();
    Ok(ReportedWind { from: if calm { None } else { from }, speed_ms, gust_ms })
}

/// A wind aloft: `2000ft:270/25`. The height needs a unit; variable and gusting winds have no place aloft.
pub fn parse_wind_aloft(text: &str) -> Result<WindAloft, QuantityError> {
    const ALOFT: &str = "write height:direction/speed such as “2000ft:270/25”";
    let (height, wind) =
        text.split_once(':').ok_or_else(|| QuantityError::new(text, "has no colon between height and wind", ALOFT))?;
    let height_m = parse_height_m(height, None)
        .map_err(|e| QuantityError::new(text, format!("has a height that {}", e.problem), ALOFT))?;
    let wind =
        parse_wind(wind).map_err(|e| QuantityError { text: e.text, problem: e.problem, remedy: ALOFT.into() })?;
    let vector = wind.vector().ok_or_else(|| QuantityError::new(text, "has a variable direction", ALOFT))?;
    Ok(WindAloft { height_m, wind: vector })
}

/// Splits `25012g20kt` into direction and speed; `None` unless it has exactly that form.
fn report_group(plain: &str) -> Option<(&str, String)> {
    let unit = ["kt", "mps", "kmh"].into_iter().find(|u| plain.ends_with(u))?;
    let body = plain.strip_suffix(unit)?;
    let (direction, speeds) = (body.get(..3)?, body.get(3..)?);
    let digits = |part: &str| matches!(part.len(), 2 | 3) && part.bytes().all(|b| b.is_ascii_digit());
    if direction != "vrb" && !(direction.bytes().all(|b| b.is_ascii_digit())) {
        return None;
    }
    let well_formed = match speeds.split_once('g') {
        Some((mean, gust)) => digits(mean) && digits(gust),
        None => digits(speeds),
    };
    well_formed.then(|| (direction, format!("{speeds}{unit}")))
}

/// Splits `12g20kt`, `12 kt gusting 20` into mean, gust and the unit that closes the text.
fn mean_gust_unit(speed: &str) -> (&str, Option<&str>, &str) {
    let (mean, gust) = match speed.split_once("gusting") {
        Some((mean, gust)) => (mean, Some(gust)),
        None => match speed.split_once('g') {
            Some((mean, gust)) => (mean, Some(gust)),
            None => (speed, None),
        },
    };
    let unit = |part: &'_ str| part.trim_start_matches(|c: char| !c.is_alphabetic()).len();
    let closing = match gust {
        Some(gust) if unit(gust) > 0 => &gust[gust.len() - unit(gust)..],
        _ => &mean[mean.len() - unit(mean)..],
    };
    (mean, gust, closing.trim())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const KT: f64 = 1_852.0 / 3_600.0;

    fn check(text: &str, from_deg: Option<f64>, speed_ms: f64, gust_ms: Option<f64>) {
        let wind = parse_wind(text).unwrap();
        assert!((wind.speed_ms - speed_ms).abs() < 1e-9, "{text}: {wind:?}");
        assert_eq!(wind.from.map(|b| b.deg().round()), from_deg, "{text}");
        assert_eq!(wind.gust_ms.is_some(), gust_ms.is_some(), "{text}");
        if let (Some(a), Some(b)) = (wind.gust_ms, gust_ms) {
            assert!((a - b).abs() < 1e-9, "{text}");
        }
    }

    #[test]
    fn winds_as_people_write_them() {
        check("250/12", Some(250.0), 12.0 * KT, None);
        check("250°/12 kt", Some(250.0), 12.0 * KT, None);
        check("250/12kt", Some(250.0), 12.0 * KT, None);
        check("250/6m/s", Some(250.0), 6.0, None);
        check("250/6 m/s", Some(250.0), 6.0, None);
        check("250/20 km/h", Some(250.0), 20.0 / 3.6, None);
        check("070 / 10 mph", Some(70.0), 4.470_4, None);
        check("250/12G20", Some(250.0), 12.0 * KT, Some(20.0 * KT));
        check("250/6g9 m/s", Some(250.0), 6.0, Some(9.0));
        check("250/12 gusting 20 kt", Some(250.0), 12.0 * KT, Some(20.0 * KT));
        check("calm", None, 0.0, None);
        check("0/0", None, 0.0, None);
        check("360/5", Some(0.0), 5.0 * KT, None);
    }

    /// Form after WMO-No. 306, FM 15; the values are those groups' meaning read off digit by digit.
    #[test]
    fn report_groups() {
        check("27025G40KT", Some(270.0), 25.0 * KT, Some(40.0 * KT));
        check("25012KT", Some(250.0), 12.0 * KT, None);
        check("VRB02KT", None, 2.0 * KT, None);
        check("00000KT", None, 0.0, None);
        check("24008MPS", Some(240.0), 8.0, None);
        check("240108KT", Some(240.0), 108.0 * KT, None);
        assert!(parse_wind("VRB02KT").unwrap().is_variable());
        assert_eq!(parse_wind("VRB02KT").unwrap().vector(), None);
        assert_eq!(parse_wind("00000KT").unwrap().vector(), Some(WindVector::CALM));
    }

    #[test]
    fn what_is_no_wind_is_refused() {
        for text in [
            "",
            "250",
            "250/",
            "/12",
            "400/12",
            "-10/12",
            "250/-5",
            "250/500",
            "250/12G8",
            "25012",
            "2501KT",
            "250/12 ft",
            "250/nan",
            "250/12/3",
            "VRB",
            "2501 2KT",
            "a/b",
            "250:12",
            "ßßß",
        ] {
            let error = parse_wind(text).unwrap_err().to_string();
            assert!(error.contains("250/12"), "{text}: {error}");
        }
    }

    #[test]
    fn winds_aloft() {
        let wind = parse_wind_aloft("2000ft:270/25").unwrap();
        assert!((wind.height_m - 609.6).abs() < 1e-9);
        assert!((wind.wind.east_ms - 25.0 * KT).abs() < 1e-9, "{wind:?}");
        assert!(wind.wind.north_ms.abs() < 1e-9);
        for text in ["270/25", "2000:270/25", "2000ft:VRB05KT", "2000ft:", ":270/25"] {
            assert!(parse_wind_aloft(text).is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "\\PC{0,16}") {
            if let Ok(wind) = parse_wind(&text) {
                prop_assert!(wind.speed_ms.is_finite() && wind.speed_ms >= 0.0);
            }
            let _maybe = parse_wind_aloft(&text);
        }
        #[test]
        fn groups_come_back(direction in 1u32..=36, speed in 1u32..99, more in 0u32..50) {
            let wind = parse_wind(&format!("{:03}{speed:02}G{:02}KT", direction * 10, speed + more)).unwrap();
            prop_assert!((wind.speed_ms - f64::from(speed) * KT).abs() < 1e-9);
            prop_assert!((wind.gust_ms.unwrap() - f64::from(speed + more) * KT).abs() < 1e-9);
        }
    }
}
