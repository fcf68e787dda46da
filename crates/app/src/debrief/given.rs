//! What the user says of a sortie as a whole: the wind it was flown in, and from where its heights count.

use crate::assess::WindInput;
use sparefield_data::quantity::{ReportedWind, UnitPrefs, WindAloft, WindWords, parse_wind, parse_wind_aloft};
use sparefield_data::sortie::{GivenVector, GivenWind};
use sparefield_data::track::{HeightChoice, HeightDecision, HeightSource, Recording};
use sparefield_geometry::air::{WindProfile, WindVector};
use sparefield_geometry::position::Bearing;

/// Winds aloft that one sortie may be given.
const MOST_ALOFT: usize = 12;
/// Pressures at sea level that anybody may type, hPa (records 870 and 1 085 hPa, WMO; from memory).
const PRESSURES_HPA: std::ops::RangeInclusive<f64> = 870.0..=1_085.0;

/// A wind from what was typed: at the surface, and aloft with semicolons between; nothing typed is no wind given.
///
/// # Errors
/// One sentence about what is not understood.
pub fn wind_typed(surface: &str, aloft: &str) -> Result<Option<GivenWind>, String> {
    let kept = |v: WindVector| GivenVector {
        from_true_rad: v.from_bearing().map_or(0.0, Bearing::rad),
        speed_ms: v.speed_ms(),
    };
    let mut given = GivenWind::default();
    if !surface.trim().is_empty() {
        let told = parse_wind(surface).map_err(|e| format!("The wind “{}” {}: {}.", e.text, e.problem, e.remedy))?;
        let vector = told.vector().ok_or_else(|| {
            "A wind of variable direction tells nothing about the flight: give a direction, or leave it out.".to_owned()
        })?;
        given.surface = Some(kept(vector));
    }
    for part in aloft.split(';').map(str::trim).filter(|p| !p.is_empty()) {
        let told = parse_wind_aloft(part).map_err(|e| format!("The wind “{}” {}: {}.", e.text, e.problem, e.remedy))?;
        given.aloft.push((told.height_m, kept(told.wind)));
    }
    if given.aloft.len() > MOST_ALOFT {
        return Err(format!("More than {MOST_ALOFT} winds aloft are more than anybody knows; give fewer."));
    }
    given.aloft.sort_by(|a, b| a.0.total_cmp(&b.0));
    Ok((given.surface.is_some() || !given.aloft.is_empty()).then_some(given))
}

/// A given wind as it is typed: at the surface, and aloft.
#[must_use]
pub fn wind_as_typed(given: &GivenWind, units: UnitPrefs) -> (String, String) {
    let say = |v: &GivenVector| units.format_wind(vector(v), WindWords::Short).replace('\u{a0}', " ");
    let height = |h: f64| units.format_height(h).replace('\u{a0}', " ");
    let aloft: Vec<String> = given.aloft.iter().map(|(h, v)| format!("{}: {}", height(*h), say(v))).collect();
    (given.surface.as_ref().map_or_else(String::new, say), aloft.join("; "))
}

fn vector(given: &GivenVector) -> WindVector {
    WindVector::coming_from(Bearing::from_rad(given.from_true_rad), given.speed_ms)
}

/// A given wind for the analysis.
#[must_use]
pub fn wind_input(given: &GivenWind) -> WindInput {
    let surface = given.surface.as_ref().map(|v| ReportedWind {
        from: (v.speed_ms > 0.0).then(|| Bearing::from_rad(v.from_true_rad)),
        speed_ms: v.speed_ms,
        gust_ms: None,
    });
    let aloft = given.aloft.iter().map(|(height_m, v)| WindAloft { height_m: *height_m, wind: vector(v) }).collect();
    WindInput { surface, aloft, profile: WindProfile::OPEN_GRASS }
}

/// A pressure at sea level from what was typed, hPa.
///
/// # Errors
/// One sentence where it is none.
pub fn qnh_typed(text: &str) -> Result<f64, String> {
    let number = text.trim().to_lowercase().replace("hpa", "").replace(',', ".");
    match number.trim().parse::<f64>() {
        Ok(hpa) if PRESSURES_HPA.contains(&hpa) => Ok(hpa),
        _ => Err(format!("“{}” is no QNH: write hectopascals, such as 1013.", text.trim())),
    }
}

/// From where a sortie's heights could count, and what each choice would change.
#[derive(Clone, Debug, PartialEq)]
pub struct HeightsTold {
    /// What the program decides, why, and what else the recording allows.
    pub decision: HeightDecision,
    /// For each alternative how much higher it puts the flight than what is used now, metres (median over the fixes);
    /// `None` where either gives no heights.
    pub shift_m: Vec<Option<f64>>,
    /// The same for what the program decides.
    pub from_decided_m: Option<f64>,
}

impl HeightsTold {
    /// Compares what a recording allows with what is used now.
    #[must_use]
    pub fn of(recording: &Recording, decision: HeightDecision, now: &HeightChoice) -> Self {
        let shift = |to: &HeightChoice, from: &HeightChoice| {
            let mut all: Vec<f64> = recording
                .good()
                .filter_map(|fix| Some(recording.height_amsl_m(fix, to)? - recording.height_amsl_m(fix, from)?))
                .filter(|d| d.is_finite())
                .collect();
            all.sort_by(f64::total_cmp);
            all.get(all.len() / 2).copied()
        };
        let shift_m = decision.alternatives.iter().map(|to| shift(to, now)).collect();
        let from_decided_m = shift(now, &decision.choice);
        Self { decision, shift_m, from_decided_m }
    }

    /// Whether the recording has pressures, so that a QNH can be given.
    #[must_use]
    pub fn has_pressure(&self) -> bool {
        self.decision.alternatives.iter().any(|c| matches!(c.source, HeightSource::Pressure { .. }))
    }

    /// How much higher or lower something is, in words.
    #[must_use]
    pub fn shift_words(shift_m: Option<f64>, units: UnitPrefs) -> String {
        match shift_m {
            None => "no heights to compare".to_owned(),
            Some(d) if d.abs() < 0.5 => "no change".to_owned(),
            Some(d) if d > 0.0 => format!("{} higher", units.format_height(d)),
            Some(d) => format!("{} lower", units.format_height(-d)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wind_is_typed_kept_and_shown_as_it_was() {
        let given = wind_typed("250/12kt", "3000ft:290/25kt; 1000ft:270/20kt").unwrap().unwrap();
        let kt = 1_852.0 / 3_600.0;
        let surface = given.surface.unwrap();
        assert!(
            (surface.from_true_rad.to_degrees() - 250.0).abs() < 1e-9 && (surface.speed_ms - 12.0 * kt).abs() < 1e-9
        );
        assert_eq!(given.aloft.iter().map(|a| (a.0 / 0.3048).round()).collect::<Vec<_>>(), [1_000.0, 3_000.0]);
        let units = UnitPrefs { speed: sparefield_data::quantity::SpeedUnit::Kt, ..UnitPrefs::default() };
        let (surface, aloft) = wind_as_typed(&given, units);
        let again = wind_typed(&surface, &aloft).unwrap().unwrap();
        assert!(
            (again.surface.unwrap().speed_ms - 12.0 * kt).abs() < 0.3 && again.aloft.len() == 2,
            "{surface}; {aloft}"
        );
        assert_eq!(wind_typed(" ", "").unwrap(), None);
        assert_eq!(wind_typed("calm", "").unwrap().unwrap().surface.unwrap().speed_ms, 0.0);
        for (surface, aloft) in [("vrb/5", ""), ("west", ""), ("", "270/20"), ("250/900", "")] {
            let why = wind_typed(surface, aloft).unwrap_err();
            assert!(why.ends_with('.') && !why.contains(".."), "{why}");
        }
    }

    #[test]
    fn a_qnh_is_a_pressure_that_was_ever_seen() {
        assert_eq!(qnh_typed(" 1013,25 hPa"), Ok(1_013.25));
        assert!(qnh_typed("29.92").unwrap_err().contains("hectopascals"));
        assert!(qnh_typed("NaN").is_err());
    }
}
