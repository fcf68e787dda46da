//! `circuit`: the circuit into one field, flown.

use super::args::CircuitArgs;
use super::session::Session;
use super::text::{self, Table};
use super::{CliError, print};
use crate::assess::Assessment;
use crate::circuits::many::Many;
use crate::circuits::{Answer, Around, Wanted, many_words, words};
use crate::not_looked_at;
use serde_json::{Value, json};
use sparefield_data::quantity::{self, HeightUnit, LengthUnit, SpeedUnit, UnitPrefs, format_bearing};
use sparefield_data::vector::{TrackFix, write_track};
use sparefield_geometry::circuit::{Budget, Circuit, InTheWay, Join, RobustnessError};
use sparefield_geometry::fields::circuit_height::Hand;
use sparefield_geometry::fields::verdict::{RankedField, Verdict};
use sparefield_geometry::position::Bearing;
use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;

const SI: UnitPrefs = UnitPrefs { height: HeightUnit::M, speed: SpeedUnit::Ms, length: LengthUnit::M };

/// How exactly the touchdown of a flown circuit is known, metres: agreement with an independent integration.
const TOUCHDOWN_M: f64 = 0.5;

/// Time between two fixes of a written track, seconds.
const FIX_S: f64 = 1.0;

/// Runs the subcommand.
///
/// # Errors
/// For bad input, or when a file or standard output cannot be written.
pub(super) fn run(args: &CircuitArgs) -> Result<(), CliError> {
    let wanted = wanted(args)?;
    let session = Session::open(&args.area, &args.state, &args.conditions)?;
    let assessment = session.assess()?;
    let ranked = chosen(args, &session, &assessment)?;
    let around = Around::new(Arc::new(session.area.clone()));
    let answer = around
        .answer(&assessment, &ranked, wanted, &|| false)
        .map_err(|e| CliError::BadInput(format!("--field: {e}")))?;
    if let (Some(path), Ok(circuit)) = (&args.out, &answer.circuit) {
        write(path, &session, &ranked, circuit)?;
    }
    let budget = Budget { samples: args.samples as usize, seed: args.conditions.seed, stop: None };
    let many = around.many(&assessment, &answer, wanted, &budget, &|| false);
    let told = Told { session: &session, assessment: &assessment, around: &around, ranked: &ranked, answer: &answer };
    if args.json {
        print(&format!("{:#}\n", document(told, many.as_ref())?))
    } else {
        print(&people(told, many.as_ref(), args.out.as_deref())?)
    }
}

fn wanted(args: &CircuitArgs) -> Result<Wanted, CliError> {
    let join = args
        .join
        .as_deref()
        .map(|text| {
            let names: Vec<&str> = Join::ALL.iter().map(|j| j.words()).collect();
            Join::from_words(text)
                .ok_or_else(|| CliError::BadInput(format!("--join: “{text}” is none of {}", names.join(", "))))
        })
        .transpose()?;
    let hand = args
        .hand
        .as_deref()
        .map(|text| match text.trim().to_lowercase().as_str() {
            "left" => Ok(Hand::Left),
            "right" => Ok(Hand::Right),
            _ => Err(CliError::BadInput(format!("--hand: “{text}” is neither left nor right"))),
        })
        .transpose()?;
    Ok(Wanted { join, hand, over_quiet_zones: args.over_quiet_zones })
}

/// The field asked for, with the strip asked for.
fn chosen(args: &CircuitArgs, session: &Session, assessment: &Assessment) -> Result<RankedField, CliError> {
    let named = |ranked: &&RankedField, name: &str| {
        let field = &session.area.fields[ranked.index];
        field.id == name || field.name.eq_ignore_ascii_case(name)
    };
    let mut ranked = match args.field.as_deref() {
        Some(name) => assessment.ranked.iter().find(|r| named(r, name)).cloned().ok_or_else(|| {
            CliError::BadInput(format!("--field: no field has the identifier or name “{name}”; see sparefield rank"))
        })?,
        None => assessment.ranked.first().cloned().ok_or_else(|| {
            CliError::BadInput(
                "there are no fields in this area, so there is no circuit; name some with --fields".into(),
            )
        })?,
    };
    if let Some(text) = args.strip.as_deref() {
        let bearing = quantity::parse_bearing(text).map_err(|e| CliError::BadInput(format!("--strip: {e}")))?;
        let centre = session.area.fields[ranked.index].centroid();
        let heading = session.area.to_grid(bearing, centre);
        ranked.strip = assessment.strip_towards(ranked.index, heading);
    }
    Ok(ranked)
}

fn fixes(circuit: &Circuit) -> Vec<&sparefield_geometry::circuit::TrackPoint> {
    let mut next_s = 0.0;
    let last = circuit.track.len().saturating_sub(1);
    let mut out = Vec::new();
    for (i, point) in circuit.track.iter().enumerate() {
        if point.motion.time_s >= next_s || i == last {
            out.push(point);
            next_s = point.motion.time_s + FIX_S;
        }
    }
    out
}

fn write(path: &Path, session: &Session, ranked: &RankedField, circuit: &Circuit) -> Result<(), CliError> {
    let name = format!("Circuit into {}", session.area.fields[ranked.index].label());
    let fixes: Vec<TrackFix> = fixes(circuit)
        .into_iter()
        .map(|p| TrackFix {
            position: p.motion.position,
            height_amsl_m: p.motion.height_amsl_m,
            time_s: p.motion.time_s,
            what: p.leg.words(),
        })
        .collect();
    write_track(path, &name, &fixes, &session.area.frame).map_err(|e| CliError::Failure(e.to_string()))
}

/// A circuit flown many times, or why it was not.
type Flown = Result<Many, RobustnessError>;

/// Everything that is told of an answer.
#[derive(Clone, Copy)]
struct Told<'a> {
    session: &'a Session,
    assessment: &'a Assessment,
    around: &'a Around,
    ranked: &'a RankedField,
    answer: &'a Answer,
}

fn document(told: Told<'_>, many: Option<&Flown>) -> Result<Value, CliError> {
    let Told { session, assessment, around, ranked, answer } = told;
    let field = &session.area.fields[ranked.index];
    let mut out = json!({
        "state": session.state_json(assessment)?,
        "aircraft": session.conditions.aircraft.name,
        "wind": session.wind_json(assessment),
        "cautions": session.cautions(assessment, SI),
        "field": { "id": field.id, "name": field.name },
        "strip": {
            "heading_deg": session.true_deg(answer.landing.heading, answer.landing.aim),
            "aiming_point": session.lon_lat(answer.landing.aim)?,
            "length_m": answer.landing.length_m,
        },
        "verdict": ranked.verdict,
        "feasible": answer.circuit.is_ok(),
    });
    let circuit = match &answer.circuit {
        Ok(circuit) => circuit,
        Err(why) => {
            out["reason"] = json!(plain(&around.refusal(why, SI)));
            out["why"] = json!(why);
            out["robustness"] = Value::Null;
            return Ok(out);
        }
    };
    out["join"] = json!(circuit.plan.join);
    out["hand"] = json!(circuit.plan.hand);
    out["orbits"] = json!(circuit.plan.orbits);
    out["s_turns"] = json!(circuit.plan.has_s_turns());
    out["base_leg_distance_m"] = json!(circuit.base_leg_distance_m);
    out["base_leg_distance_is_pilots"] = json!(circuit.base_leg_is_pilots);
    out["duration_s"] = json!(circuit.duration_s);
    out["spare_height_m"] = json!(circuit.spare_m);
    out["least_clearance_m"] = json!(circuit.least_clearance_m);
    out["legs"] = circuit
        .legs
        .iter()
        .map(|l| {
            json!({
                "leg": l.leg,
                "turn_deg": l.turned_rad.map(f64::to_degrees),
                "start_s": l.start_s,
                "duration_s": l.duration_s,
                "distance_m": l.distance_m,
                "start_height_agl_m": l.start_height_m,
                "height_lost_m": l.lost_m,
            })
        })
        .collect();
    out["key_positions"] = circuit
        .keys
        .iter()
        .map(|k| {
            Ok(json!({
                "name": k.name,
                "position": session.lon_lat(k.position)?,
                "height_agl_m": k.height_m,
                "time_s": k.time_s,
            }))
        })
        .collect::<Result<Vec<_>, CliError>>()?
        .into();
    out["touchdown"] = session.lon_lat(circuit.touchdown)?;
    out["stop"] = session.lon_lat(circuit.stop)?;
    out["aim_error_m"] = json!(circuit.aim_error_m);
    out["short_margin_m"] = json!(circuit.short_margin_m);
    out["long_margin_m"] = json!(circuit.long_margin_m);
    out["stops_in_strip"] = json!(circuit.short_margin_m >= -TOUCHDOWN_M && circuit.long_margin_m >= 0.0);
    out["far_end"] = answer.far_end.map_or(
        Value::Null,
        |end| json!({ "kind": end.edge.kind, "height_m": end.edge.height_m, "beyond_strip_m": end.beyond_m }),
    );
    out["last_change"] = match &answer.last_change {
        None => Value::Null,
        Some(change) => json!({
            "position": session.lon_lat(change.commit.at.position)?,
            "height_agl_m": change.commit.height_m,
            "time_s": change.commit.at.time_s,
            "field": session.area.fields[change.field].id,
            "spare_height_m": change.commit.least.spare_m,
        }),
    };
    out["robustness"] = match many {
        None => Value::Null,
        Some(Ok(many)) => robustness(told, many),
        Some(Err(why)) => json!({ "reason": why.to_string() }),
    };
    Ok(out)
}

fn robustness(told: Told<'_>, many: &Many) -> Value {
    let r = &many.flown;
    let area = &told.session.area;
    let met = r.met.iter().map(|met| {
        let (kind, id) = match met.over {
            InTheWay::Ground => ("ground", ""),
            InTheWay::UnknownGround => ("unknown ground", ""),
            InTheWay::Hazard(i) => area.hazards.get(i).map_or(("hazard", ""), |h| (h.kind.words(), h.id.as_str())),
            InTheWay::QuietZone(i) => ("quiet zone", area.quiet_zones.get(i).map_or("", |z| z.id.as_str())),
        };
        json!({ "what": kind, "id": id, "flights": met.flights })
    });
    json!({
        "samples": r.samples,
        "seed": many.seed,
        "landed_in_strip_share": r.share,
        "standard_error": r.standard_error,
        "short_share": r.short,
        "long_share": r.long,
        "aside_share": r.aside,
        "hit_share": r.hit,
        "low_over_quiet_zone_share": r.disturbs,
        "met": met.collect::<Vec<_>>(),
        "touchdown_behind_aiming_point_m": r.along,
        "inputs": r.inputs,
        "not_counted": not_looked_at::BY_FLIGHTS,
    })
}

/// Words of JSON have ordinary spaces.
fn plain(text: &str) -> String {
    text.replace(['\u{a0}', '\u{202f}'], " ")
}

fn people(told: Told<'_>, many: Option<&Flown>, written: Option<&Path>) -> Result<String, CliError> {
    let Told { session, assessment, around, ranked, answer } = told;
    let units = session.units;
    let mut out = session.heading_lines(assessment)?;
    let field = &session.area.fields[ranked.index];
    let landing = format_bearing(Bearing::from_deg(session.true_deg(answer.landing.heading, answer.landing.aim)));
    let _ = writeln!(out, "\n{}, landing {landing}", field.label());
    if ranked.verdict == Verdict::Out {
        let why = session.reason(&assessment.headline(ranked), answer.landing.aim, units);
        let _ = writeln!(out, "The list has this field out: {why}");
    }
    match &answer.circuit {
        Err(why) => {
            let _ = writeln!(out, "No circuit works from here. {}", around.refusal(why, units));
        }
        Ok(circuit) => {
            out.push_str(&flown(answer, circuit, units));
            if let Some(change) = &answer.last_change {
                let other = session.area.fields[change.field].label();
                let _ = writeln!(
                    out,
                    "The choice can last change {} above the landing place, after {:.0} s, to {other}",
                    units.format_height_at_most(change.commit.height_m),
                    change.commit.at.time_s,
                );
            } else {
                out.push_str("No other field can be made from anywhere on it: this is the only choice.\n");
            }
        }
    }
    if let Some(many) = many {
        out.push_str("\nHow robust it is\n");
        let mut line = |words: &str| {
            let _ = writeln!(out, "{}", text::item("", words));
        };
        match many {
            Err(why) => line(&words::capital(&format!("{why}."))),
            Ok(many) => {
                line(&many_words::sentence(many));
                for (what, flights) in many_words::misses(many, around) {
                    line(&format!("{} {what}", many_words::grouped(flights)));
                }
                line(&many_words::what_hurts(many));
                line(&many_words::spread(many, units));
                line(not_looked_at::BY_FLIGHTS);
            }
        }
    }
    if let (Some(path), true) = (written, answer.circuit.is_ok()) {
        let _ = writeln!(out, "Track: {}", path.display());
    }
    out.push_str("\nCautions\n");
    for caution in session.cautions(assessment, units) {
        let _ = writeln!(out, "{}", text::item("", &caution));
    }
    Ok(out)
}

fn flown(answer: &Answer, circuit: &Circuit, units: UnitPrefs) -> String {
    let mut out = String::new();
    let orbits = match circuit.plan.orbits {
        0 => String::new(),
        1 => ", one orbit".to_owned(),
        n => format!(", {n} orbits"),
    };
    let s_turns = if circuit.plan.has_s_turns() { ", S-turns" } else { "" };
    let hand = match circuit.plan.hand {
        Hand::Left => "left hand",
        Hand::Right => "right hand",
    };
    let hand = if circuit.plan.join == Join::StraightIn && !circuit.plan.has_s_turns() && circuit.plan.orbits == 0 {
        String::new()
    } else {
        format!(", {hand}")
    };
    let _ = writeln!(out, "Join: {}{hand}{orbits}{s_turns}", circuit.plan.join.words());
    if circuit.plan.join != Join::StraightIn {
        let why = if circuit.base_leg_is_pilots { "" } else { ", for wings level at the final height" };
        let _ =
            writeln!(out, "Base leg {} from the landing end{why}", units.format_length(circuit.base_leg_distance_m));
    }
    let mut keys = Table::new(&["key position", "height above landing", "after"]);
    for key in &circuit.keys {
        keys.row([key.name.words().to_owned(), units.format_height(key.height_m), format!("{:.0} s", key.time_s)]);
    }
    let _ = write!(out, "\n{keys}");
    let mut turns = Table::new(&["turn onto", "through", "height lost"]);
    for leg in &circuit.legs {
        if let Some(turned) = leg.turned_rad {
            let side = if turned < 0.0 { "left" } else { "right" };
            turns.row([
                leg.leg.words().to_owned(),
                format!("{:.0}° {side}", turned.to_degrees().abs()),
                units.format_height(leg.lost_m),
            ]);
        }
    }
    let _ = write!(out, "\n{turns}");
    let short = circuit.short_margin_m;
    let _ = if short < -TOUCHDOWN_M {
        writeln!(out, "\nTouches down {} before the usable landing end", units.format_length_at_most(-short))
    } else {
        writeln!(out, "\nTouches down {} behind the usable landing end", units.format_length_at_least(short.max(0.0)))
    };
    let _ = writeln!(out, "{}", words::stop(answer, circuit, units));
    let _ = writeln!(out, "The cheapest way round would leave {}", units.format_height_at_least(circuit.spare_m));
    let _ = writeln!(
        out,
        "Never less than {} above the ground before the final",
        units.format_height_at_least(circuit.least_clearance_m)
    );
    out
}
