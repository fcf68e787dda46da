//! `route`: cover along a line from a file, or along one that is found between places.

use super::args::RouteArgs;
use super::options::{Asked, common, fields_words, join, said};
use super::session::lon_lat;
use super::{CliError, inputs, print};
use crate::jobs::read_route;
use crate::options_map::{FoundRoute, OptionsMap, Route, RouteHeight, RoutePoint, Stretch, find_route, gpx, route};
use serde_json::{Value, json};
use sparefield_data::quantity::{UnitPrefs, format_position, parse_height_m, parse_speed_ms};
use sparefield_geometry::position::Xy;
use std::fmt::Write as _;

/// Runs `route`.
///
/// # Errors
/// For bad input, or when standard output cannot be written.
pub(super) fn run(args: &RouteArgs) -> Result<(), CliError> {
    let metres =
        |option: &str, text: &str| parse_height_m(text, None).map_err(|e| CliError::BadInput(format!("{option}: {e}")));
    let height = match (&args.height, &args.height_amsl) {
        (_, Some(text)) => RouteHeight::AboveSea(metres("--height-amsl", text)?),
        (Some(text), None) => RouteHeight::AboveGround(metres("--height", text)?),
        (None, None) => {
            return Err(CliError::BadInput(
                "--height is missing: say how high the route is flown, such as --height 1500ft".into(),
            ));
        }
    };
    let speed = args
        .speed
        .as_deref()
        .map(|text| parse_speed_ms(text, None).map_err(|e| CliError::BadInput(format!("--speed: {e}"))))
        .transpose()?;
    if speed.is_some_and(|s| !(1.0..=150.0).contains(&s)) {
        return Err(CliError::BadInput("--speed: the airspeed must be between 1 and 150 m/s".into()));
    }
    let asked = Asked::new(&args.area, &args.conditions, &args.choice)?;
    let map = asked.map()?;
    let found = found(args, &map, height)?;
    let line = match (&args.file, &found) {
        (Some(file), _) => read_route(file, &map.area).map_err(CliError::BadInput)?,
        (None, Some(found)) => found.line.clone(),
        (None, None) => return Err(CliError::BadInput("name a file with a route, or --from and --to".into())),
    };
    let flown = route(&map, None, &line, height, speed.unwrap_or_else(|| map.conditions.aircraft.straight_speed_ms()));
    if let Some(path) = &args.out {
        let text = gpx(&line, &map.area.frame).map_err(|e| CliError::Failure(e.to_string()))?;
        std::fs::write(path, text).map_err(|e| CliError::Failure(format!("{}: {e}", path.display())))?;
    }
    let typed = args.height.as_deref().or(args.height_amsl.as_deref()).unwrap_or("ft");
    let units = inputs::units_of(typed, &args.conditions);
    if args.json {
        let mut out = route_document(&map, &flown)?;
        if let Some(found) = &found {
            join(&mut out, found_document(&map, found)?);
        }
        return print(&format!("{out:#}\n"));
    }
    print(&route_people(&map, &flown, found.as_ref(), units))
}

/// The route that is to be found, where one is.
fn found(args: &RouteArgs, map: &OptionsMap, height: RouteHeight) -> Result<Option<FoundRoute>, CliError> {
    let (Some(from), Some(to)) = (&args.from, &args.to) else { return Ok(None) };
    let named =
        std::iter::once(("--from", from)).chain(args.via.iter().map(|via| ("--via", via))).chain([("--to", to)]);
    let mut places: Vec<Xy> = Vec::new();
    for (option, text) in named {
        let Some(place) = inputs::position(option, Some(text))? else { continue };
        let at = map.area.frame.to_xy(place).ok().filter(|at| map.least.frame.cell_of(*at).is_some());
        let outside = || CliError::BadInput(format!("{option}: {} is not in this area", format_position(place)));
        places.push(at.ok_or_else(outside)?);
    }
    let found = find_route(map, None, &places, height, &|| false);
    found.map(Some).ok_or_else(|| CliError::Failure("no route was found between these places".into()))
}

fn found_document(map: &OptionsMap, found: &FoundRoute) -> Result<Value, CliError> {
    let line = found.line.iter().map(|p| lon_lat(&map.area.frame, *p)).collect::<Result<Vec<_>, _>>()?;
    Ok(json!({
        "line": line,
        "straight_m": found.straight_m,
        "detour_m": found.detour_m(),
    }))
}

fn route_document(map: &OptionsMap, flown: &Route) -> Result<Value, CliError> {
    let mut out = common(map);
    let segments = flown.stretches.iter().map(|s| stretch_json(map, flown, s)).collect::<Result<Vec<_>, _>>()?;
    let profile = flown.points.iter().map(|p| point_json(map, p)).collect::<Result<Vec<_>, _>>()?;
    let worst = flown.worst().map(|p| point_json(map, p)).transpose()?;
    join(
        &mut out,
        json!({
            "length_m": flown.length_m,
            "uncovered_m": flown.uncovered_m(),
            "worst": worst,
            "segments": segments,
            "profile": profile,
        }),
    );
    Ok(out)
}

fn stretch_json(map: &OptionsMap, flown: &Route, stretch: &Stretch) -> Result<Value, CliError> {
    Ok(json!({
        "covered": stretch.covered,
        "from_m": stretch.from_m,
        "to_m": stretch.to_m,
        "length_m": stretch.to_m - stretch.from_m,
        "seconds": stretch.seconds.is_finite().then_some(stretch.seconds),
        "covering_height_amsl_m": stretch.covering_amsl_m,
        "worst": point_json(map, &flown.points[stretch.worst])?,
    }))
}

fn point_json(map: &OptionsMap, point: &RoutePoint) -> Result<Value, CliError> {
    Ok(json!({
        "along_m": point.along_m,
        "position": lon_lat(&map.area.frame, point.position)?,
        "terrain_height_m": point.ground_amsl_m,
        "height_amsl_m": point.height_amsl_m,
        "least_height_amsl_m": point.least_amsl_m,
        "spare_height_m": point.spare_m(),
        "field": point.field.and_then(|i| map.area.fields.get(i)).map(|f| f.id.clone()),
    }))
}

fn route_people(map: &OptionsMap, flown: &Route, found: Option<&FoundRoute>, units: UnitPrefs) -> String {
    let needed = fields_words(map.least.fields_needed());
    let mut out = format!("{}\n{}\n\n", map.area.title, map.conditions.aircraft.name);
    let _ = writeln!(
        out,
        "Route of {}: {} of it without {needed} in reach",
        units.format_length(flown.length_m),
        if flown.uncovered_m() > 0.0 { units.format_length_at_most(flown.uncovered_m()) } else { "nothing".into() },
    );
    if let Some(found) = found {
        let _ = writeln!(
            out,
            "Found round ground without cover, {} longer than the straight line of {}",
            units.format_length_at_most(found.detour_m()),
            units.format_length(found.straight_m),
        );
    }
    for stretch in &flown.stretches {
        let span = format!("{} to {}", units.format_length(stretch.from_m), units.format_length(stretch.to_m));
        let worst = &flown.points[stretch.worst];
        let words = if stretch.covered {
            let spare = worst.spare_m().map_or_else(String::new, |s| units.format_height_at_least(s));
            format!("covered, at least {spare} in hand")
        } else {
            let seconds = if stretch.seconds.is_finite() {
                format!("about {:.0} s", stretch.seconds)
            } else {
                "for ever against this wind".to_owned()
            };
            let fix = match stretch.covering_amsl_m {
                Some(height) => {
                    format!("covered from {} above sea level on", units.format_height_at_most(height))
                }
                None => "no height looked at covers it: fly round it".to_owned(),
            };
            format!("NOT covered, {seconds}; {fix}")
        };
        let _ = writeln!(out, "  {span}: {words}");
    }
    said(&mut out, map);
    out
}
