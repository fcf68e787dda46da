//! Quantities written for people, in the units they chose.
//!
//! Number and unit are set apart by one no-break space, so that a line never ends between them; the readers of this
//! module take that space back. Rounding is to the step that the program's knowledge deserves, and no digits beyond: to
//! the nearest, or to the side that does not flatter where a number is in hand or needed.

use super::{HeightUnit, LengthUnit, SpeedUnit};
use serde::{Deserialize, Serialize};
use sparefield_geometry::air::WindVector;
use sparefield_geometry::fields::verdict::Quantity;
use sparefield_geometry::position::Bearing;

/// What stands between a number and its unit.
const GAP: char = '\u{a0}';
const NOT_KNOWN: &str = "unknown";

/// The units in which somebody wants to read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct UnitPrefs {
    /// For heights.
    pub height: HeightUnit,
    /// For speeds and winds.
    pub speed: SpeedUnit,
    /// For horizontal distances.
    pub length: LengthUnit,
}

/// How a wind is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WindWords {
    /// `250°/12 kt`.
    Short,
    /// `from 250° at 12 kt`.
    Long,
}

impl UnitPrefs {
    /// A height: whole metres or tens of feet; below 10 m or 100 ft finer, as edges and hedges need.
    #[must_use]
    pub fn format_height(&self, height_m: f64) -> String {
        self.height_rounded(height_m, Rounding::Nearest)
    }

    /// A height in hand, rounded down.
    #[must_use]
    pub fn format_height_at_least(&self, height_m: f64) -> String {
        self.height_rounded(height_m, Rounding::Down)
    }

    /// A height that is needed or wanting, rounded up.
    #[must_use]
    pub fn format_height_at_most(&self, height_m: f64) -> String {
        self.height_rounded(height_m, Rounding::Up)
    }

    fn height_rounded(self, height_m: f64, rounding: Rounding) -> String {
        let value = height_m / self.height.metres();
        let text = match self.height {
            HeightUnit::Ft if value.abs() < rounding.limit(100.0, 1.0) => rounding.apply(value, 1.0, 0),
            HeightUnit::Ft => rounding.apply(value, 10.0, 0),
            HeightUnit::M if value == 0.0 => Some("0".to_owned()),
            HeightUnit::M if value.abs() < rounding.limit(10.0, 0.1) => rounding.apply(value, 0.1, 1),
            HeightUnit::M => rounding.apply(value, 1.0, 0),
        };
        with_unit(text, self.height.symbol())
    }

    /// A horizontal distance: whole units up to 1 000, tens up to 10 000, then kilometres or statute miles.
    #[must_use]
    pub fn format_length(&self, length_m: f64) -> String {
        self.length_rounded(length_m, Rounding::Nearest)
    }

    /// A length that is there, rounded down.
    #[must_use]
    pub fn format_length_at_least(&self, length_m: f64) -> String {
        self.length_rounded(length_m, Rounding::Down)
    }

    /// A length that is needed, rounded up.
    #[must_use]
    pub fn format_length_at_most(&self, length_m: f64) -> String {
        self.length_rounded(length_m, Rounding::Up)
    }

    fn length_rounded(self, length_m: f64, rounding: Rounding) -> String {
        let value = length_m / self.length.metres();
        if value.abs() >= rounding.limit(10_000.0, 10.0) {
            return match self.length {
                LengthUnit::M => with_unit(rounding.apply(length_m / 1_000.0, 0.1, 1), "km"),
                LengthUnit::Ft | LengthUnit::Yd => with_unit(rounding.apply(length_m / super::MILE_M, 0.1, 1), "mi"),
            };
        }
        let text = if value == 0.0 {
            Some("0".to_owned())
        } else if value.abs() < rounding.limit(10.0, 0.1) {
            rounding.apply(value, 0.1, 1)
        } else if value.abs() < rounding.limit(1_000.0, 1.0) {
            rounding.apply(value, 1.0, 0)
        } else {
            rounding.apply(value, 10.0, 0)
        };
        with_unit(text, self.length.symbol())
    }

    /// A speed: whole units, tenths for m/s.
    #[must_use]
    pub fn format_speed(&self, speed_ms: f64) -> String {
        let value = speed_ms / self.speed.metres_per_second();
        let text = if self.speed == SpeedUnit::Ms { rounded(value, 0.1, 1) } else { rounded(value, 1.0, 0) };
        with_unit(text, self.speed.symbol())
    }

    /// A sink rate, positive downwards: tens of feet a minute where heights are in feet, else tenths of m/s.
    #[must_use]
    pub fn format_sink(&self, sink_ms: f64) -> String {
        match self.height {
            HeightUnit::Ft => with_unit(rounded(sink_ms / super::FPM_MS, 10.0, 0), "ft/min"),
            HeightUnit::M => with_unit(rounded(sink_ms, 0.1, 1), "m/s"),
        }
    }

    /// A wind by where it comes from.
    #[must_use]
    pub fn format_wind(&self, wind: WindVector, words: WindWords) -> String {
        let speed = self.format_speed(wind.speed_ms());
        match (wind.from_bearing(), words) {
            (None, _) if wind.speed_ms().is_finite() => "calm".into(),
            (None, _) => NOT_KNOWN.into(),
            (Some(from), WindWords::Short) => format!("{}/{speed}", format_bearing(from)),
            (Some(from), WindWords::Long) => format!("from {} at {speed}", format_bearing(from)),
        }
    }
}

/// A direction as three figures, north as 360°.
#[must_use]
pub fn format_bearing(bearing: Bearing) -> String {
    let deg = bearing.deg();
    if !deg.is_finite() {
        return NOT_KNOWN.into();
    }
    let whole = deg.round() as i64 % 360;
    format!("{:03}°", if whole == 0 { 360 } else { whole })
}

/// A slope given as rise over run, in per cent with one decimal.
#[must_use]
pub fn format_slope(slope: f64) -> String {
    with_unit(rounded(slope * 100.0, 0.1, 1), "%")
}

/// A quantity in words, in the reader's units.
#[must_use]
pub fn format_quantity(quantity: Quantity, prefs: &UnitPrefs) -> String {
    match quantity {
        Quantity::Length(m) => prefs.format_length(m),
        Quantity::LengthAtLeast(m) => prefs.format_length_at_least(m),
        Quantity::LengthAtMost(m) => prefs.format_length_at_most(m),
        Quantity::Height(m) => prefs.format_height(m),
        Quantity::HeightAtLeast(m) => prefs.format_height_at_least(m),
        Quantity::HeightAtMost(m) => prefs.format_height_at_most(m),
        Quantity::Speed(ms) => prefs.format_speed(ms),
        Quantity::Slope(slope) => format_slope(slope),
        Quantity::Direction(bearing) => format_bearing(bearing),
        Quantity::Number(value, decimals) => {
            if value.is_finite() {
                let text = format!("{value:.*}", usize::from(decimals.min(12)));
                // No "−0.0".
                if text.trim_start_matches(['-', '0', '.']).is_empty() {
                    text.trim_start_matches('-').into()
                } else {
                    with_minus(text)
                }
            } else {
                NOT_KNOWN.into()
            }
        }
        Quantity::Days(1) => format!("1{GAP}day"),
        Quantity::Days(days) => format!("{days}{GAP}days"),
    }
}

/// To which side a number is rounded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Rounding {
    Nearest,
    Down,
    Up,
}

impl Rounding {
    /// Where the next coarser step begins: what would be rounded to `limit` anyway is written in that.
    fn limit(self, limit: f64, step: f64) -> f64 {
        if self == Self::Nearest { limit - step / 2.0 } else { limit }
    }
    fn apply(self, value: f64, step: f64, decimals: usize) -> Option<String> {
        // A whole number of steps stays itself, whatever the last bits of a conversion say.
        const SLACK: f64 = 1e-6;
        let steps = match self {
            Self::Nearest => (value / step).round(),
            Self::Down => (value / step + SLACK).floor(),
            Self::Up => (value / step - SLACK).ceil(),
        };
        value.is_finite().then(|| format!("{:.decimals$}", steps * step + 0.0))
    }
}

fn rounded(value: f64, step: f64, decimals: usize) -> Option<String> {
    Rounding::Nearest.apply(value, step, decimals)
}

fn with_unit(number: Option<String>, unit: &str) -> String {
    number.map_or_else(|| NOT_KNOWN.to_owned(), |n| format!("{}{GAP}{unit}", with_minus(n)))
}

/// With a minus sign, which is as wide as a plus and is not lost beside a digit, instead of a hyphen.
fn with_minus(number: String) -> String {
    number.replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::super::*;
    use super::*;
    use proptest::prelude::*;

    const METRIC: UnitPrefs = UnitPrefs { height: HeightUnit::M, speed: SpeedUnit::Ms, length: LengthUnit::M };
    const KNOTS: UnitPrefs = UnitPrefs { height: HeightUnit::Ft, speed: SpeedUnit::Kt, length: LengthUnit::Ft };

    fn plain(text: String) -> String {
        text.replace(GAP, " ")
    }

    #[test]
    fn every_quantity_in_words() {
        let show = |q| plain(format_quantity(q, &UnitPrefs::default()));
        assert_eq!(show(Quantity::Length(287.4)), "287 m");
        assert_eq!(show(Quantity::Length(0.0)), "0 m");
        assert_eq!(show(Quantity::Length(1_254.0)), "1250 m");
        assert_eq!(show(Quantity::Length(12_340.0)), "12.3 km");
        assert_eq!(show(Quantity::Length(4.96)), "5.0 m");
        assert_eq!(show(Quantity::Height(457.2)), "1500 ft");
        assert_eq!(show(Quantity::Height(2.0)), "7 ft");
        assert_eq!(show(Quantity::Height(-30.0)), "−98 ft");
        assert_eq!(show(Quantity::Height(-0.01)), "0 ft");
        assert_eq!(show(Quantity::Speed(22.352)), "50 mph");
        assert_eq!(show(Quantity::Slope(-0.021)), "−2.1 %");
        assert_eq!(show(Quantity::Direction(Bearing::from_deg(75.2))), "075°");
        assert_eq!(show(Quantity::Direction(Bearing::from_deg(359.9))), "360°");
        assert_eq!(show(Quantity::Direction(Bearing::NORTH)), "360°");
        assert_eq!(show(Quantity::Number(1.6445, 2)), "1.64");
        assert_eq!(show(Quantity::Number(-0.001, 1)), "0.0");
        assert_eq!(show(Quantity::Days(1)), "1 day");
        assert_eq!(show(Quantity::Days(12)), "12 days");
        for nothing in [f64::NAN, f64::INFINITY] {
            for q in [
                Quantity::Length(nothing),
                Quantity::Height(nothing),
                Quantity::Speed(nothing),
                Quantity::Slope(nothing),
                Quantity::Number(nothing, 1),
            ] {
                assert_eq!(show(q), "unknown");
            }
        }
        assert_eq!(plain(METRIC.format_height(1.55)), "1.6 m");
        assert_eq!(plain(METRIC.format_height(123.4)), "123 m");
        assert_eq!(plain(METRIC.format_speed(6.16)), "6.2 m/s");
        assert_eq!(plain(KNOTS.format_length(20_000.0)), "12.4 mi");
        assert_eq!(plain(KNOTS.format_sink(3.048)), "600 ft/min");
        let wind = WindVector::coming_from(Bearing::from_deg(250.0), 12.0 * 1_852.0 / 3_600.0);
        assert_eq!(plain(KNOTS.format_wind(wind, WindWords::Short)), "250°/12 kt");
        assert_eq!(plain(KNOTS.format_wind(wind, WindWords::Long)), "from 250° at 12 kt");
        assert_eq!(KNOTS.format_wind(WindVector::CALM, WindWords::Long), "calm");
    }

    #[test]
    fn what_is_in_hand_is_never_flattered() {
        let show = |q| plain(format_quantity(q, &UnitPrefs::default()));
        let feet = |ft: f64| ft * 0.3048;
        assert_eq!(show(Quantity::HeightAtLeast(feet(119.9))), "110 ft");
        assert_eq!(show(Quantity::HeightAtMost(feet(110.1))), "120 ft");
        assert_eq!(show(Quantity::HeightAtLeast(feet(150.0))), "150 ft");
        assert_eq!(show(Quantity::HeightAtMost(feet(150.0))), "150 ft");
        assert_eq!(show(Quantity::HeightAtLeast(feet(99.9))), "99 ft");
        assert_eq!(show(Quantity::HeightAtLeast(feet(-0.2))), "−1 ft");
        assert_eq!(show(Quantity::LengthAtLeast(209.9)), "209 m");
        assert_eq!(show(Quantity::LengthAtMost(209.1)), "210 m");
        assert_eq!(show(Quantity::LengthAtLeast(999.9)), "999 m");
        assert_eq!(show(Quantity::LengthAtMost(1_001.0)), "1010 m");
        assert_eq!(show(Quantity::LengthAtMost(f64::INFINITY)), "unknown");
    }

    proptest! {
        #[test]
        fn rounding_keeps_to_its_side(value in -9_000.0..9_000.0f64) {
            for prefs in [METRIC, KNOTS] {
                let read = |text: String| parse_height_m(&text, None).unwrap();
                prop_assert!(read(prefs.format_height_at_least(value)) <= value + 1e-4);
                prop_assert!(read(prefs.format_height_at_most(value)) >= value - 1e-4);
                let read = |text: String| parse_length_m(&text, None).unwrap();
                prop_assert!(read(prefs.format_length_at_least(value)) <= value + 1e-4);
                prop_assert!(read(prefs.format_length_at_most(value)) >= value - 1e-4);
            }
        }
        #[test]
        fn what_is_written_is_read_back(value in -9_000.0..9_000.0f64) {
            for prefs in [METRIC, KNOTS, UnitPrefs { height: HeightUnit::M, speed: SpeedUnit::Kmh, length: LengthUnit::Yd }] {
                let height = parse_height_m(&prefs.format_height(value), None).unwrap();
                prop_assert!((height - value).abs() <= 5.0 * prefs.height.metres() + 1e-6);
                let length = parse_length_m(&prefs.format_length(value), None).unwrap();
                prop_assert!((length - value).abs() <= 81.0);
                let speed = parse_speed_ms(&prefs.format_speed(value / 100.0), None).unwrap();
                prop_assert!((speed - value / 100.0).abs() <= 0.3);
                let sink = parse_sink_ms(&prefs.format_sink(value / 1_000.0)).unwrap();
                prop_assert!((sink - value / 1_000.0).abs() <= 0.05 + 1e-9);
            }
        }
        #[test]
        fn winds_are_read_back(from in 0.0..360.0f64, speed in 1.0..60.0f64) {
            let wind = WindVector::coming_from(Bearing::from_deg(from), speed);
            for prefs in [METRIC, KNOTS, UnitPrefs::default()] {
                let back = parse_wind(&prefs.format_wind(wind, WindWords::Short)).unwrap();
                prop_assert!((back.speed_ms - speed).abs() <= 0.3);
                prop_assert!(back.from.unwrap().turn_to(Bearing::from_deg(from)).abs() <= 0.501f64.to_radians());
            }
        }
    }
}
