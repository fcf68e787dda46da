//! `drill`: a failure on the terminal. The clock runs from when the engine stops to when the choice is typed.

mod lists;

use super::args::DrillArgs;
use super::session::{lon_lat, open_area, unusable};
use super::text::{self, Table};
use super::{CliError, inputs, print};
use crate::assess::STANDING_CAUTIONS;
use crate::drill::{self, Rehearsal, words};
use serde_json::{Value, json};
use sparefield_data::NoProgress;
use sparefield_data::area::{Change, Edit};
use sparefield_data::area_file::AreaFile;
use sparefield_data::drills::Drills;
use sparefield_data::quantity::{self, UnitPrefs, format_bearing, format_day, format_position};
use sparefield_geometry::air::WindVector;
use sparefield_geometry::circuit::Join;
use sparefield_geometry::drill::{Choice, DrillResult, DrillSet, Standing, loss, next_number};
use sparefield_geometry::fields::circuit_height::Hand;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::position::Bearing;
use std::fmt::Write as _;
use std::io::{BufRead as _, IsTerminal as _, Write as _};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Runs the subcommand.
///
/// # Errors
/// For bad input, or when something cannot be written.
pub(super) fn run(args: &DrillArgs) -> Result<(), CliError> {
    let bad = |e: &dyn std::fmt::Display| CliError::BadInput(e.to_string());
    let today = match args.date.as_deref() {
        None => inputs::today(),
        Some(text) => quantity::parse_day(text).map_err(|e| CliError::BadInput(format!("--date: {e}")))?,
    };
    let area = open_area(&inputs::area(&args.area, None)?).map_err(|e| unusable(&e))?;
    let read = args.sets.as_deref().map(|path| Drills::read(path, &area.frame)).transpose();
    let read = read.map_err(|e| unusable(&e))?;
    let sets: &[Arc<DrillSet>] = read.as_ref().map_or(&area.drill_sets, |loaded| &loaded.value.sets);
    if let Some(path) = &args.export {
        let drills = Drills { sets: sets.to_vec(), results: area.drill_results.to_vec() };
        drills.write(path, &area.frame).map_err(|e| CliError::Failure(e.to_string()))?;
        return print(&format!(
            "{} drill sets and {} results written to {}\n",
            drills.sets.len(),
            drills.results.len(),
            path.display()
        ));
    }
    if args.list {
        return lists::sets(sets, args.json);
    }
    let pilot = args.pilot.as_deref().unwrap_or_default().trim();
    let own: Vec<&DrillResult> = area.drill_results.iter().map(AsRef::as_ref).filter(|r| r.pilot == pilot).collect();
    if args.progress {
        return lists::progress(pilot, &own, args.json);
    }
    let set = chosen_set(sets, args.set.as_deref())?;
    let home = area.home.as_ref().map(|h| h.position);
    let number = args.number.map_or_else(|| next_number(set, home, &own, args.seed), Ok).map_err(|e| bad(&e))?;
    let rehearsal = Rehearsal::new(&area, set, number, today, &[]).map_err(|e| bad(&e))?;
    let desk = Desk { listed: rehearsal.listed(), rehearsal: &rehearsal, units: UnitPrefs::default(), json: args.json };
    let (join, hand) = (named_join(args.join.as_deref())?, named_hand(args.hand.as_deref())?);
    let choices = if args.choose.is_empty() {
        desk.say(&desk.briefing()?)?;
        desk.ask(join, hand)?
    } else {
        desk.typed(&args.choose, &args.after, join, hand)?
    };
    let id = drill::identifier(pilot, set, number);
    let (mut result, flown) = rehearsal.finish(&choices, &id, pilot);
    result.robustness = rehearsal.flown_many(&choices, &flown, &result, &|| false);
    if let (Some(path), false) = (&args.area.area, pilot.is_empty()) {
        keep(path, today, &result)?;
    }
    if args.json {
        print(&format!("{:#}\n", desk.document(&result)?))
    } else {
        if !args.choose.is_empty() {
            print(&desk.briefing()?)?;
        }
        print(&desk.score(&result))
    }
}

fn keep(path: &std::path::Path, today: Day, result: &DrillResult) -> Result<(), CliError> {
    let written = AreaFile::open(path, today, &NoProgress).and_then(|loaded| {
        let (mut file, _) = loaded.value;
        file.write(&Edit::new("drill", vec![Change::DrillResult(Arc::new(result.clone()))]))
    });
    written.map_err(|e| unusable(&e.into()))
}

pub(super) fn chosen_set<'a>(sets: &'a [Arc<DrillSet>], wanted: Option<&str>) -> Result<&'a DrillSet, CliError> {
    let Some(wanted) = wanted else {
        return sets.first().map(AsRef::as_ref).ok_or_else(|| {
            CliError::BadInput("there are no drill sets in this area; name a document of some with --sets".into())
        });
    };
    let lower = wanted.trim().to_lowercase();
    let exact = sets.iter().find(|s| s.id == wanted || s.name.to_lowercase() == lower);
    let mut starting = sets.iter().filter(|s| s.name.to_lowercase().starts_with(&lower));
    match (exact, starting.next(), starting.next()) {
        (Some(set), _, _) | (None, Some(set), None) => Ok(set),
        _ => {
            let names: Vec<String> = sets.iter().map(|s| format!("“{}”", s.name)).collect();
            Err(CliError::BadInput(format!("--set: “{wanted}” is none of the drill sets {}", names.join(", "))))
        }
    }
}

fn named_join(text: Option<&str>) -> Result<Option<Join>, CliError> {
    let read = |text: &str| {
        Join::from_words(text).ok_or_else(|| {
            let all: Vec<&str> = Join::ALL.iter().map(|j| j.words()).collect();
            CliError::BadInput(format!("--join: “{text}” is none of {}", all.join(", ")))
        })
    };
    text.map(read).transpose()
}

fn named_hand(text: Option<&str>) -> Result<Option<Hand>, CliError> {
    match text.map(|t| t.trim().to_lowercase()).as_deref() {
        None => Ok(None),
        Some("left") => Ok(Some(Hand::Left)),
        Some("right") => Ok(Some(Hand::Right)),
        Some(other) => Err(CliError::BadInput(format!("--hand: “{other}” is neither left nor right"))),
    }
}

/// One drill at the terminal.
struct Desk<'a> {
    rehearsal: &'a Rehearsal,
    listed: Vec<usize>,
    units: UnitPrefs,
    json: bool,
}

impl Desk<'_> {
    /// Says something while the pilot is asked: beside the document where one is wanted.
    fn say(&self, text: &str) -> Result<(), CliError> {
        if self.json {
            let said = std::io::stderr().lock().write_all(text.as_bytes());
            return said.map_err(|e| CliError::Failure(format!("standard error cannot be written ({e})")));
        }
        print(text)
    }

    /// What the pilot is told, and the fields around.
    fn briefing(&self) -> Result<String, CliError> {
        let (rehearsal, failure) = (self.rehearsal, self.rehearsal.failure());
        let area = rehearsal.area();
        let place = area.frame.to_lonlat(failure.position).map_err(|e| CliError::Failure(e.to_string()))?;
        let wind = words::told_wind(failure, area, self.units);
        let mut out = format!("{}\n{}, drill {}\n", area.title, rehearsal.set().name, failure.number);
        let _ = writeln!(
            out,
            "{}, {} above the ground, heading {}, at {}\nWind {wind}\n",
            failure.aircraft,
            self.units.format_height(failure.height_agl_m),
            format_bearing(area.to_true(failure.heading, failure.position)),
            format_position(place),
        );
        let mut table = Table::new(&["#", "field", "where", "from you", "away"]);
        for (i, &index) in self.listed.iter().enumerate() {
            let field = &area.fields[index];
            let way = field.centroid() - failure.position;
            let bearing = way.bearing().unwrap_or(failure.heading);
            table.row([
                (i + 1).to_string(),
                field.label().to_owned(),
                words::clock(failure.heading.turn_to(bearing)),
                format_bearing(area.to_true(bearing, failure.position)),
                self.units.format_length(way.norm()),
            ]);
        }
        let _ = writeln!(out, "{table}");
        Ok(out)
    }

    /// Asks, and takes the time.
    fn ask(&self, join: Option<Join>, hand: Option<Hand>) -> Result<Vec<Choice>, CliError> {
        let stdin = std::io::stdin();
        if stdin.is_terminal() {
            self.say("The engine is running. Fly on, and keep a field in mind…\n")?;
            std::thread::sleep(Duration::from_secs_f64(self.rehearsal.failure().stops_after_s));
        }
        self.say("\nTHE ENGINE STOPS. Which field, and in which direction? Number, or number:degrees, or none:\n")?;
        let start = Instant::now();
        for line in stdin.lock().lines() {
            let line = line.map_err(|e| CliError::Failure(format!("standard input cannot be read ({e})")))?;
            let at_s = start.elapsed().as_secs_f64();
            match self.choice(line.trim(), at_s, join, hand) {
                Ok(choice) => return Ok(choice.into_iter().collect()),
                // The clock goes on.
                Err(why) => self.say(&format!("{why}. Again:\n"))?,
            }
        }
        Ok(Vec::new())
    }

    fn typed(
        &self,
        choose: &[String],
        after: &[String],
        join: Option<Join>,
        hand: Option<Hand>,
    ) -> Result<Vec<Choice>, CliError> {
        if choose.len() != after.len() {
            return Err(CliError::BadInput(format!(
                "--after is given {} times and --choose {} times; give one for each",
                after.len(),
                choose.len()
            )));
        }
        let mut choices: Vec<Choice> = Vec::new();
        for (text, after) in choose.iter().zip(after) {
            let at_s = quantity::parse_time_s(after, true).map_err(|e| CliError::BadInput(format!("--after: {e}")))?;
            if !(0.0..=3_600.0).contains(&at_s) || choices.last().is_some_and(|c| at_s < c.at_s) {
                return Err(CliError::BadInput(format!(
                    "--after: “{after}” is not between 0 and 3600 seconds, or comes before the choice above it"
                )));
            }
            let choice = self.choice(text, at_s, join, hand);
            choices.extend(choice.map_err(|e| CliError::BadInput(format!("--choose: {e}")))?);
        }
        Ok(choices)
    }

    /// A choice as typed; nothing for "none".
    fn choice(&self, text: &str, at_s: f64, join: Option<Join>, hand: Option<Hand>) -> Result<Option<Choice>, String> {
        if text.eq_ignore_ascii_case("none") {
            return Ok(None);
        }
        let (name, towards) = match text.rsplit_once(':') {
            Some((name, direction)) => {
                let at = self.rehearsal.failure().position;
                let direction = quantity::parse_bearing(direction).map_err(|e| e.to_string())?;
                (name.trim(), Some(self.rehearsal.area().to_grid(direction, at)))
            }
            None => (text, None),
        };
        let fields = &self.rehearsal.area().fields;
        let number = name.parse::<usize>().ok().and_then(|n| self.listed.get(n.checked_sub(1)?)).copied();
        let same = |index: &usize| {
            let field = &fields[*index];
            field.id.eq_ignore_ascii_case(name) || field.label().eq_ignore_ascii_case(name)
        };
        let named = || (0..fields.len()).find(same);
        let index = number
            .or_else(named)
            .ok_or_else(|| format!("“{name}” is neither the number of a field in the list nor a field of this area"))?;
        let offer = self
            .rehearsal
            .offer(index, towards)
            .ok_or_else(|| format!("there is no strip to land on in {} that way", fields[index].label()))?;
        Ok(Some(Choice { at_s, offer, join, hand }))
    }

    fn score(&self, result: &DrillResult) -> String {
        let mut out = format!("{}\n", result.words());
        for (label, words) in words::lines(result, self.rehearsal.area(), self.units) {
            let _ = writeln!(out, "{}", text::item(label, &words));
        }
        out.push_str("\nCautions\n");
        for caution in STANDING_CAUTIONS {
            let _ = writeln!(out, "{}", text::item("", caution));
        }
        out
    }

    fn document(&self, result: &DrillResult) -> Result<Value, CliError> {
        let area = self.rehearsal.area();
        let at = result.position;
        let deg = |grid_rad: f64| area.to_true(Bearing::from_rad(grid_rad), at).deg();
        let wind = |wind: WindVector| json!({ "from_deg": wind.from_bearing().map(|b| area.to_true(b, at).deg()), "speed_ms": wind.speed_ms() });
        let standing = |s: &Option<Standing>| {
            s.as_ref().map(|s| {
                json!({
                    "field": s.field_id,
                    "name": s.field_name,
                    "heading_deg": deg(s.heading_grid_rad),
                    "verdict": s.verdict,
                    "score": s.score,
                    "spare_height_m": s.spare_height_m,
                })
            })
        };
        let choices: Vec<Value> = result
            .choices
            .iter()
            .map(|c| {
                json!({
                    "at_s": c.at_s,
                    "field": c.field_id,
                    "name": c.field_name,
                    "heading_deg": deg(c.heading_grid_rad),
                    "height_m": c.height_m,
                })
            })
            .collect();
        Ok(json!({
            "id": result.id,
            "pilot": result.pilot,
            "date": format_day(result.day),
            "set": { "id": result.set_id, "name": result.set_name, "seed": result.set_seed, "number": result.number },
            "aircraft": result.aircraft,
            "state": {
                "position": lon_lat(&area.frame, at)?,
                "height_agl_m": result.height_agl_m,
                "heading_deg": deg(result.heading_grid_rad),
            },
            "told": result.told,
            "told_wind": wind(result.told_wind),
            "true_wind": wind(result.true_wind),
            "stops_after_s": self.rehearsal.failure().stops_after_s,
            "choices": choices,
            "time_to_choose_s": result.time_to_choose_s,
            "chosen_at_failure": standing(&result.chosen_at_failure),
            "best_at_failure": standing(&result.best_at_failure),
            "chosen_at_choice": standing(&result.chosen_at_choice),
            "best_at_choice": standing(&result.best_at_choice),
            "regret_at_failure": result.regret_at_failure,
            "regret_at_choice": result.regret_at_choice,
            "outcome": result.outcome,
            "stopped_in_strip": result.stopped_in_strip(),
            "words": result.words(),
            "changes": result.changes,
            "commit_height_m": result.commit_height_m,
            "join": result.join,
            "hand": result.hand,
            "base_leg_distance_m": result.base_leg_distance_m,
            "base_leg_error_m": result.base_leg_error_m(),
            "short_margin_m": result.short_margin_m,
            "long_margin_m": result.long_margin_m,
            "least_clearance_m": result.least_clearance_m,
            "robustness": result.robustness,
            "loss": loss(result),
            "cautions": STANDING_CAUTIONS,
        }))
    }
}
