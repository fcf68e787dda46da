//! An aircraft as an aircraft file, so that what the program made can be read, changed and handed on like any other.

use sparefield_geometry::aircraft::{Aircraft, GlideSpeed};
use std::fmt::Write as _;
use toml::Value;

/// The text of an aircraft file. `remarks` stand above it, one on a line.
///
/// Speeds in m/s and lengths in metres, with every digit: what is read again is the same aircraft, angles to rounding.
#[must_use]
pub fn to_toml(aircraft: &Aircraft, remarks: &[String]) -> String {
    let mut out = String::new();
    for remark in remarks {
        let _ = writeln!(out, "# {}", remark.replace(|c: char| c.is_control(), " "));
    }
    let _ = writeln!(out, "name = {}", Value::String(aircraft.name.clone()));
    let _ = writeln!(out, "best_glide_ratio = {:?}", aircraft.glide.best_glide_ratio());
    let held = match aircraft.glide_speed {
        GlideSpeed::BestForWind => "best".to_owned(),
        GlideSpeed::Held(v) => format!("{v} m/s"),
    };
    let _ = writeln!(out, "glide_speed = \"{held}\"");
    let degrees = |rad: f64| rad.to_degrees();
    for (key, value, unit) in [
        ("best_glide_speed", aircraft.glide.best_glide_speed_ms(), "m/s"),
        ("stall_speed", aircraft.stall_speed_ms, "m/s"),
        ("approach_speed", aircraft.approach_speed_ms, "m/s"),
        ("landing_distance", aircraft.landing_distance_m, "m"),
        ("max_speed", aircraft.max_speed_ms, "m/s"),
        ("min_glide_speed", aircraft.min_glide_speed_ms, "m/s"),
        ("turn_bank", degrees(aircraft.turn_bank_rad), "deg"),
        ("max_bank", degrees(aircraft.max_bank_rad), "deg"),
        ("roll_rate", degrees(aircraft.roll_rate_rad_s), "deg/s"),
        ("reaction_time", aircraft.reaction_time_s, "s"),
        ("base_leg_distance", aircraft.base_leg_distance_m, "m"),
        ("final_height", aircraft.final_height_m, "m"),
        ("strip_width", aircraft.strip_width_m, "m"),
        ("edge_margin", aircraft.edge_margin_m, "m"),
        ("max_crosswind", aircraft.max_crosswind_ms, "m/s"),
        ("terrain_clearance", aircraft.terrain_clearance_m, "m"),
    ] {
        let _ = writeln!(out, "{key} = \"{value} {unit}\"");
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aircraft_file::{builtin, parse};
    use proptest::prelude::*;

    /// Every number of an aircraft, and how fast it glides.
    fn numbers(a: &Aircraft) -> [f64; 17] {
        let held = if let GlideSpeed::Held(v) = a.glide_speed { v } else { 0.0 };
        let (speed, ratio) = (a.glide.best_glide_speed_ms(), a.glide.best_glide_ratio());
        [
            speed,
            ratio,
            held,
            a.stall_speed_ms,
            a.approach_speed_ms,
            a.max_speed_ms,
            a.min_glide_speed_ms,
            a.landing_distance_m,
            a.turn_bank_rad,
            a.max_bank_rad,
            a.roll_rate_rad_s,
            a.reaction_time_s,
            a.base_leg_distance_m,
            a.final_height_m + a.strip_width_m,
            a.edge_margin_m,
            a.max_crosswind_ms,
            a.terrain_clearance_m,
        ]
    }

    proptest! {
        #[test]
        fn an_aircraft_comes_back(
            which in 0..3usize,
            name in "[^\\p{C}]{1,30}",
            remark in ".{0,30}",
            stretch in 1.0..1.2f64,
            held in any::<bool>(),
        ) {
            prop_assume!(!name.trim().is_empty());
            let mut one = builtin().swap_remove(which);
            one.name = name.trim().to_owned();
            one.landing_distance_m *= stretch;
            one.max_crosswind_ms *= stretch;
            if held {
                one.glide_speed = GlideSpeed::Held(one.approach_speed_ms);
            }
            let text = to_toml(&one, &[remark]);
            let read = parse("made.toml", &text).unwrap();
            prop_assert_eq!(read.warnings, []);
            prop_assert_eq!(&read.value.name, &one.name);
            prop_assert_eq!(matches!(read.value.glide_speed, GlideSpeed::Held(_)), held);
            for (a, b) in numbers(&read.value).into_iter().zip(numbers(&one)) {
                prop_assert!((a - b).abs() <= 1e-12 * b.abs().max(1.0), "{a} {b}: {text}");
            }
        }
    }
}
