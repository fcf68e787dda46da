//! `debrief`: the practice failures of recorded flights, measured. `fit`: the glide curve that flights tell.

use super::args::{DebriefArgs, FitArgs};
use super::session::{lon_lat, open_area, unusable};
use super::{CliError, inputs, print, text};
use crate::debrief::glide::{CAUTIONS, best};
use crate::debrief::practise::practise;
use crate::debrief::report::{Named, page};
use crate::debrief::{Ask, Debriefed, LOW_FLYING_M, Sortie, WindFrom, analyse, words};
use crate::print::Format;
use crate::theme::Palette;
use serde_json::{Value, json};
use sparefield_data::area::Area;
use sparefield_data::quantity::{self, UnitPrefs};
use sparefield_data::track::{Recording, decide_heights, read};
use sparefield_geometry::air::WindVector;
use sparefield_geometry::position::{LonLat, Xy};
use sparefield_geometry::track::glide_fit::{FEWEST_POINTS, GlideFit, fit, glide_points};
use sparefield_geometry::track::measures::Over;
use sparefield_geometry::track::phases::Flight;
use sparefield_geometry::track::samples::Samples;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A recording laid over the area.
struct Placed {
    name: String,
    began: Option<String>,
    track: sparefield_geometry::track::Track,
    heights: String,
    notes: Vec<String>,
}

/// Where the first recording that can be read was flown: the middle one of its fixes. Terrain files may cover far more
/// than one area, and without fields nothing else says which part is meant.
fn flown_at(files: &[PathBuf]) -> Option<LonLat> {
    let loaded = files.iter().find_map(|path| read(path).ok())?;
    let fixes: Vec<LonLat> = loaded.value.first()?.good().map(|fix| fix.place).collect();
    fixes.get(fixes.len() / 2).copied()
}

/// Reads recordings and lays them over the area.
fn placed(files: &[PathBuf], area: &Area) -> Result<Vec<Placed>, CliError> {
    let mut list = Vec::new();
    for path in files {
        let loaded = read(path).map_err(|e| unusable(&e))?;
        let several = loaded.value.len() > 1;
        let notes: Vec<String> = loaded.warnings.iter().map(ToString::to_string).collect();
        for (i, recording) in loaded.value.iter().enumerate() {
            let notes = if i == 0 { notes.clone() } else { Vec::new() };
            list.push(place(path, recording, several, area, notes)?);
        }
    }
    Ok(list)
}

fn place(
    path: &Path,
    recording: &Recording,
    several: bool,
    area: &Area,
    notes: Vec<String>,
) -> Result<Placed, CliError> {
    let ground = |at: LonLat| area.frame.to_xy(at).ok().and_then(|p| area.terrain.height_at(p));
    let decided = decide_heights(recording, &ground);
    let track = recording
        .in_frame(&area.frame, &decided.choice)
        .map_err(|e| CliError::BadInput(format!("{}: {e}", path.display())))?;
    let file = path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned());
    let name = if several { format!("{file}: {}", recording.name) } else { file };
    let began =
        recording.started().filter(|_| recording.date_known).map(|t| t.strftime("%Y-%m-%d %H:%M UTC").to_string());
    let heights = format!("Heights: {}. {}", decided.choice.words(), decided.reason);
    Ok(Placed { name, began, track, heights, notes })
}

/// Runs `debrief`.
///
/// # Errors
/// For bad input, or when the page or standard output cannot be written.
pub(super) fn run(args: &DebriefArgs) -> Result<(), CliError> {
    let land = inputs::area(&args.area, flown_at(&args.tracks))?;
    let given = inputs::wind(&args.conditions)?;
    let wind = (given.surface.is_some() || !given.aloft.is_empty()).then_some(given);
    let low_flying_m = args.low.as_deref().map_or(Ok(LOW_FLYING_M), |t| {
        quantity::parse_height_m(t, None).map_err(|e| CliError::BadInput(format!("--low: {e}")))
    })?;
    let aircraft = inputs::aircraft(&args.conditions)?;
    let (rules, today) = (inputs::rules(&args.conditions)?, inputs::day(&args.conditions)?);
    let area = Arc::new(open_area(&land).map_err(|e| unusable(&e))?);
    let ask = Ask { area: Arc::clone(&area), aircraft: Arc::new(aircraft.value), wind, rules, today, low_flying_m };
    let flights = placed(&args.tracks, &area)?;
    let mut sorties: Vec<(Placed, Sortie)> = Vec::new();
    for flight in flights {
        let sortie = analyse(&ask, &flight.track, None, &|_| true)
            .map_err(|e| CliError::BadInput(format!("{}: {e}", flight.name)))?;
        sorties.push((flight, sortie));
    }
    let units = inputs::units_of(args.low.as_deref().unwrap_or("ft"), &args.conditions);
    if let Some(path) = &args.report {
        let palette = Palette::built_in().map_err(|e| CliError::Failure(e.to_string()))?;
        let named: Vec<Named<'_>> = sorties
            .iter()
            .map(|(f, s)| Named { name: f.name.clone(), began: f.began.clone(), sortie: s, heights: f.heights.clone() })
            .collect();
        super::page::save(path, &page(&named, units), Format::A4, &palette)?;
    }
    if args.json {
        let list = sorties.iter().map(|(f, s)| document(f, s)).collect::<Result<Vec<_>, _>>()?;
        print(&format!("{:#}\n", json!({ "sorties": list })))
    } else {
        print(&people(&sorties, units))
    }
}

fn vector(area: &Area, wind: WindVector, at: Xy) -> Value {
    json!({
        "from_deg": wind.from_bearing().map(|from| area.to_true(from, at).deg()),
        "speed_ms": wind.speed_ms(),
    })
}

fn document(flight: &Placed, s: &Sortie) -> Result<Value, CliError> {
    let area = &s.ask.area;
    let home = area.home.as_ref().map_or_else(|| area.centre(), |h| h.position);
    let bands: Vec<Value> = s
        .turns_wind
        .bands
        .iter()
        .map(|b| {
            let mut value = vector(area, b.wind, home);
            value["height_amsl_m"] = b.height_amsl_m.into();
            value["standard_deviation_ms"] = b.sd_ms.into();
            value["samples"] = b.samples.into();
            value
        })
        .collect();
    // What everything was worked out with: what the turns tell, or what was given, at the heights of the flight.
    let used = s.flight.wind.bands.iter().map(|b| {
        let mut value = vector(area, b.wind, home);
        value["height_amsl_m"] = b.height_amsl_m.into();
        value
    });
    let used: Vec<Value> = used.collect();
    let all = &s.flight.samples.all;
    let exercises = s.exercises.iter().map(|e| exercise(s, e)).collect::<Result<Vec<_>, _>>()?;
    let phases: Vec<Value> = s
        .flight
        .phases
        .iter()
        .map(|p| {
            json!({
                "phase": p.kind,
                "start_s": all[p.samples.start].time_s,
                "end_s": all[p.samples.end - 1].time_s,
                "confidence": p.confidence,
            })
        })
        .collect();
    let bare = s
        .cover
        .bare
        .iter()
        .map(|b| {
            Ok(json!({
                "start_s": all[b.first].time_s,
                "end_s": all[b.last].time_s,
                "from": lon_lat(&area.frame, all[b.first].position)?,
                "to": lon_lat(&area.frame, all[b.last].position)?,
                "missing_height_m": b.missing_m,
            }))
        })
        .collect::<Result<Vec<_>, CliError>>()?;
    let low: Vec<Value> = s
        .low
        .iter()
        .map(|l| json!({ "start_s": all[l.first].time_s, "end_s": all[l.last].time_s, "lowest_agl_m": l.lowest_m }))
        .collect();
    Ok(json!({
        "name": flight.name,
        "started": flight.began,
        "fixes": s.fixes,
        "duration_s": s.seconds(),
        "heights": flight.heights,
        "wind": {
            "from": match s.wind_from { WindFrom::Track => "track", WindFrom::User => "given", WindFrom::Nobody => "none" },
            "surface": vector(area, s.wind.surface, home),
            "bands": bands,
            "used": used,
        },
        "phases": phases,
        "events": s.events.iter().map(|e| json!({
            "kind": e.kind, "start_s": e.start_s, "end_s": e.end_s, "confidence": e.confidence,
        })).collect::<Vec<_>>(),
        "cover": {
            "seconds": s.cover.seconds,
            "none_share": s.cover.none,
            "one_share": s.cover.one,
            "several_share": s.cover.several,
            "without": bare,
        },
        "low_flying": low,
        "exercises": exercises,
        "practise": practise(&[s], UnitPrefs::default()).next.iter().map(|r| json!({
            "said": r.said.replace('\u{a0}', " "), "rule": r.rule, "exercises": r.exercises,
        })).collect::<Vec<_>>(),
        "cautions": words::cautions(s).into_iter().chain(flight.notes.iter().cloned()).collect::<Vec<_>>(),
    }))
}

fn exercise(s: &Sortie, one: &Debriefed) -> Result<Value, CliError> {
    let m = &one.measures;
    let area = &s.ask.area;
    let all = &s.flight.samples.all;
    let field = |candidate: usize| {
        let c = &s.candidates[candidate];
        let f = &area.fields[c.field];
        json!({
            "id": f.id,
            "name": f.name,
            "verdict": c.verdict,
            "landing_heading_deg": area.to_true(c.landing.heading, c.landing.aim).deg(),
        })
    };
    let aims: Vec<Value> = m
        .aims
        .iter()
        .map(|a| {
            let mut value = field(a.candidate);
            value["from_s"] = all[a.from].time_s.into();
            value["height_agl_m"] = s.flight.flying[a.from].height_agl_m.into();
            value
        })
        .collect();
    let turns: Vec<Value> = m
        .turns
        .iter()
        .map(|t| {
            json!({
                "start_s": all[t.samples.start].time_s,
                "turned_deg": t.turned_rad.to_degrees(),
                "mean_bank_deg": t.bank_rad.to_degrees(),
                "steepest_bank_deg": t.steepest_rad.to_degrees(),
                "lost_m": t.lost_m,
                "predicted_m": t.predicted_m,
            })
        })
        .collect();
    let passed: Vec<Value> = m
        .passed_low
        .iter()
        .map(|p| {
            let (kind, id) = match p.over {
                Over::Hazard(i) => ("hazard", area.hazards.get(i).map(|h| h.id.clone())),
                Over::QuietZone(i) => ("quiet-zone", area.quiet_zones.get(i).map(|z| z.id.clone())),
                Over::Stock(i) => ("stock", area.fields.get(i).map(|f| f.id.clone())),
            };
            json!({ "kind": kind, "id": id, "time_s": p.time_s, "height_m": p.height_m, "wanted_m": p.wanted_m })
        })
        .collect();
    Ok(json!({
        "start": one.exercise.start_s,
        "start_earliest": one.exercise.start_between_s.map(|b| b.0),
        "start_latest": one.exercise.start_between_s.map(|b| b.1),
        "end": one.exercise.end_s,
        "ending": one.exercise.ending,
        "confidence": one.exercise.confidence,
        "position": lon_lat(&area.frame, m.position)?,
        "height_agl_at_start_m": m.height_agl_m,
        "height_amsl_at_start_m": m.height_amsl_m,
        "to_gliding_speed_s": m.to_glide_speed_s,
        "to_first_turn_s": m.to_first_turn_s,
        "aims": aims,
        "changes_of_mind": m.aims.len().saturating_sub(1),
        "field": m.landing.map(field),
        "turns": turns,
        "mean_airspeed_ms": m.mean_speed_ms,
        "slowest_airspeed_ms": m.speed_range_ms.map(|r| r.0),
        "fastest_airspeed_ms": m.speed_range_ms.map(|r| r.1),
        "intended_airspeed_ms": s.ask.aircraft.straight_speed_ms(),
        "base_leg_distance_m": m.base_leg_distance_m,
        "height_abeam_m": m.abeam_m,
        "height_at_base_m": m.at_base_m,
        "height_on_final_m": m.on_final_m,
        "s_turns": m.s_turns,
        "orbits": m.orbits,
        "lowest": {
            "time_s": all[m.lowest].time_s,
            "position": lon_lat(&area.frame, all[m.lowest].position)?,
            "height_agl_m": m.lowest_agl_m,
            "along_strip_m": m.lowest_along_m,
        },
        "arrival": m.arrival,
        "passed_low": passed,
        "outcome": m.outcome,
        "outcome_words": words::outcome(one, UnitPrefs::default()).replace('\u{a0}', " "),
        "last_option_s": m.last_option_s,
        "best_in_hindsight": one.hindsight.as_ref().map(|h| {
            let mut value = field(h.candidate);
            value["join"] = h.circuit.plan.join.words().into();
            value
        }),
        "options": s.options[m.samples.clone()].iter().map(|o| o.fields).collect::<Vec<_>>(),
    }))
}

fn people(sorties: &[(Placed, Sortie)], units: UnitPrefs) -> String {
    let mut out = String::new();
    for (flight, s) in sorties {
        let began = flight.began.as_deref().map_or_else(String::new, |b| format!(", {b}"));
        let _ = writeln!(out, "{}{began}: {} fixes, {}", flight.name, s.fixes, words::clock(s.seconds()));
        let _ = writeln!(out, "{}", s.ask.aircraft.name);
        let _ = writeln!(out, "{}", text::item("wind", &words::wind(s, units)));
        let _ = writeln!(out, "{}", text::item("heights", &flight.heights));
        let _ = writeln!(out, "{}", text::item("options", &words::cover(s, units)));
        if s.exercises.is_empty() {
            let _ = writeln!(out, "\nNo practice failure was recognised.");
        }
        for (i, one) in s.exercises.iter().enumerate() {
            let _ = writeln!(
                out,
                "\n{}. At {} ({} as a practice failure). {}",
                i + 1,
                words::clock(one.exercise.start_s),
                words::sure(one.exercise.confidence),
                words::headline(s, one, units)
            );
            let _ = writeln!(out, "{}", text::item("outcome", &words::outcome(one, units)));
            for (name, value) in words::figures(s, one, units) {
                let _ = writeln!(out, "{}", text::item("", &format!("{name}: {value}")));
            }
            for change in words::changes(s, one, units) {
                let _ = writeln!(out, "{}", text::item("changed", &change));
            }
            for low in &one.measures.passed_low {
                let _ = writeln!(out, "{}", text::item("low", &words::passed_low(s, low, units)));
            }
            let _ = writeln!(out, "{}", text::item("hindsight", &words::hindsight(s, one)));
        }
        out.push('\n');
    }
    let all: Vec<&Sortie> = sorties.iter().map(|(_, s)| s).collect();
    let found = practise(&all, units);
    for (label, list) in [("went well", &found.well), ("practise", &found.next)] {
        for remark in list {
            let _ = writeln!(out, "{}", text::item(label, &remark.said));
        }
    }
    out.push('\n');
    let mut said: Vec<String> = Vec::new();
    for (flight, s) in sorties {
        for caution in words::cautions(s).into_iter().chain(flight.notes.iter().cloned()) {
            if !said.contains(&caution) {
                let _ = writeln!(out, "{}", text::item("caution", &caution));
                said.push(caution);
            }
        }
    }
    out
}

/// Runs `fit`.
///
/// # Errors
/// For bad input, or when the flights tell no glide curve.
pub(super) fn run_fit(args: &FitArgs) -> Result<(), CliError> {
    let land = inputs::area(&args.area, flown_at(&args.tracks))?;
    let aircraft = inputs::aircraft_named(args.aircraft.as_deref())?.value;
    let area = open_area(&land).map_err(|e| unusable(&e))?;
    let mut points = Vec::new();
    let mut no_wind = 0;
    let flights = placed(&args.tracks, &area)?;
    for flight in &flights {
        let analysed = Flight::of(Samples::of(&flight.track), &aircraft, Some(&area.terrain), None);
        no_wind += usize::from(analysed.wind.bands.is_empty());
        points.extend(glide_points(&analysed));
    }
    let Some(told) = fit(&points) else {
        let wind = if no_wind > 0 {
            format!(" {no_wind} of {} recordings tell no wind: fly full turns at each height.", flights.len())
        } else {
            String::new()
        };
        return Err(CliError::BadInput(format!(
            "{} steady stretches of gliding were found; a glide curve needs {FEWEST_POINTS} or more at several speeds.{wind}",
            points.len()
        )));
    };
    if args.json {
        return print(&format!("{:#}\n", fit_document(&told, &aircraft)));
    }
    let units = UnitPrefs::default();
    let (own_speed, own_ratio) = (aircraft.glide.best_glide_speed_ms(), aircraft.glide.best_glide_ratio());
    let mut out = format!("Glide curve from {} steady stretches of {} recordings\n", told.points, flights.len());
    let _ = writeln!(out, "{}", text::item("best glide", &best(&told, units)));
    let _ = writeln!(
        out,
        "{}",
        text::item("by file", &format!("{}: {} at {own_ratio:.1} to 1", aircraft.name, units.format_speed(own_speed)))
    );
    let differs = ((told.best_ratio.0 - own_ratio) / told.best_ratio.1.max(1e-6)).abs() > 2.0;
    let _ = writeln!(
        out,
        "{}",
        text::item(
            "",
            if differs {
                "The ratio differs by more than two standard deviations: put these values into the aircraft file if the \
             flights were flown as you fly a real failure."
            } else {
                "The aircraft file agrees within two standard deviations."
            }
        )
    );
    for caution in CAUTIONS {
        let _ = writeln!(out, "{}", text::item("caution", caution));
    }
    print(&out)
}

fn fit_document(told: &GlideFit, aircraft: &sparefield_geometry::aircraft::Aircraft) -> Value {
    let (a, b) = aircraft.glide.coefficients();
    let pair = |p: (f64, f64)| json!({ "value": p.0, "standard_deviation": p.1 });
    json!({
        "points": told.points,
        "scatter_ms": told.scatter_ms,
        "a_s2_per_m2": pair(told.a),
        "b_m2_per_s2": pair(told.b),
        "best_glide_speed_ms": pair(told.best_speed_ms),
        "best_glide_ratio": pair(told.best_ratio),
        "aircraft": {
            "name": aircraft.name,
            "a_s2_per_m2": a,
            "b_m2_per_s2": b,
            "best_glide_speed_ms": aircraft.glide.best_glide_speed_ms(),
            "best_glide_ratio": aircraft.glide.best_glide_ratio(),
        },
    })
}
