//! The numbers of a circuit, each with how it comes about.

use super::flights::Flight;
use super::words::{capital, clock, far_end, turn};
use sparefield_data::quantity::{UnitPrefs, format_bearing};
use sparefield_geometry::circuit::KeyName;
use sparefield_geometry::position::Bearing;

const FLOWN: &str = "point-mass glide in layered wind (Etkin, Dynamics of Atmospheric Flight, 1972), speed in turns from \
                     Welch, Welch & Irving, The Complete Soaring Pilot's Handbook";
const DISTANCE: &str = "landing distance of the aircraft file with the factors of UK CAA Safety Sense 09";
const PRACTICE: &str = "common practice, no source";

/// One number of a circuit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// What it is.
    pub what: &'static str,
    /// Its value.
    pub value: String,
    /// How it comes about.
    pub how: &'static str,
    /// What went in, by name.
    pub inputs: Vec<(String, String)>,
    /// Published source, or "common practice, no source".
    pub source: &'static str,
}

/// The numbers of a circuit, for a table and for comparing two.
#[must_use]
pub fn rows(flight: &Flight, convergence_rad: f64, units: UnitPrefs) -> Vec<Row> {
    let (circuit, landing) = (&flight.circuit, &flight.answer.landing);
    let row = |what, value, how, inputs: Vec<(&str, String)>, source| Row {
        what,
        value,
        how,
        inputs: inputs.into_iter().map(|(name, value)| (name.to_owned(), value)).collect(),
        source,
    };
    let bearing = |b: Bearing| format_bearing(Bearing::from_rad(b.rad() + convergence_rad));
    let height_at = |name: KeyName| circuit.keys.iter().find(|k| k.name == name).map_or(0.0, |k| k.height_m);
    let begun_m = height_at(KeyName::EngineStops);
    let turns: Vec<(String, f64)> =
        circuit.legs.iter().filter_map(|leg| Some((capital(&turn(leg)?), leg.lost_m))).collect();
    let in_turns: f64 = turns.iter().map(|t| t.1).sum();
    let flown_m = flight.profile.last().map_or(0.0, |p| p.distance_m);
    let reaction_s = flight.circuit.keys.iter().find(|k| k.name == KeyName::EndOfReaction).map_or(0.0, |k| k.time_s);
    let stop_m = landing.length_m - landing.aim_from_start_m - circuit.long_margin_m;
    let change = flight.answer.last_change.as_ref();
    vec![
        row(
            "Landing direction",
            bearing(circuit.heading),
            "The best strip of the field in this wind",
            vec![("strip's own direction", bearing(landing.heading))],
            PRACTICE,
        ),
        row(
            "Spare height",
            units.format_height_at_least(circuit.spare_m),
            "What the cheapest circuit from here would leave over the aiming point; this one uses it up",
            vec![
                ("height above the landing place when the engine stops", units.format_height_at_least(begun_m)),
                ("needed by the cheapest circuit", units.format_height_at_most(begun_m - circuit.spare_m)),
            ],
            FLOWN,
        ),
        row(
            "Time to touchdown",
            clock(circuit.duration_s),
            "From the engine's stop, the reaction time included",
            vec![("reaction", clock(reaction_s)), ("flown over the ground", units.format_length(flown_m))],
            FLOWN,
        ),
        Row {
            what: "Lost in turns",
            value: units.format_height_at_most(in_turns),
            how: "Height lost in every turn together",
            inputs: turns.into_iter().map(|(name, lost)| (name, units.format_height_at_most(lost))).collect(),
            source: FLOWN,
        },
        row(
            "Least clearance",
            units.format_height_at_least(circuit.least_clearance_m),
            "Least height above the ground before the final",
            vec![(
                "asked for before the final; near the landing place half the height above it",
                units.format_height(flight.clearance_m),
            )],
            PRACTICE,
        ),
        row(
            "Landing end to touchdown",
            margin(circuit.short_margin_m, units),
            "Usable ground before the place where the glide meets the ground",
            vec![
                ("aiming point behind the strip's start", units.format_length(landing.aim_from_start_m)),
                ("moved in by what stands under the approach", units.format_length(landing.displacement_m)),
                ("touchdown behind the aiming point", signed(circuit.aim_error_m, units)),
            ],
            FLOWN,
        ),
        row(
            "Strip left beyond the stop",
            margin(circuit.long_margin_m, units),
            "After the landing distance from 50 ft with every factor but the general one",
            vec![
                ("strip", units.format_length(landing.length_m)),
                ("aiming point behind its start", units.format_length(landing.aim_from_start_m)),
                ("landing distance from 50 ft", units.format_length_at_most(landing.stop_from_50_ft_m)),
                ("stop behind the aiming point", signed(stop_m, units)),
            ],
            DISTANCE,
        ),
        row(
            "Boundary beyond the end",
            far_end(flight.answer.far_end, units),
            "What somebody entered for the side of the field that the strip runs towards",
            flight.answer.far_end.iter().map(|e| ("beyond the strip's end", units.format_length(e.beyond_m))).collect(),
            PRACTICE,
        ),
        row(
            "Commit height",
            change.map_or_else(|| "none".to_owned(), |c| units.format_height_at_most(c.commit.height_m)),
            "Below it no other of the next four fields could be made by a circuit of its own",
            change
                .iter()
                .flat_map(|c| {
                    [
                        ("after the engine stopped", clock(c.commit.at.time_s)),
                        ("left over by the other circuit there", units.format_height_at_least(c.commit.least.spare_m)),
                    ]
                })
                .collect(),
            FLOWN,
        ),
    ]
}

fn signed(metres: f64, units: UnitPrefs) -> String {
    let sign = if metres < 0.0 { "−" } else { "" };
    format!("{sign}{}", units.format_length(metres.abs()))
}

fn margin(metres: f64, units: UnitPrefs) -> String {
    if metres < 0.0 {
        format!("short by {}", units.format_length_at_most(-metres))
    } else {
        units.format_length_at_least(metres)
    }
}
