//! Aircraft from TOML files: values with units as people write them.
//!
//! Six keys are needed: `name`, `stall_speed`, `best_glide_speed` and `best_glide_ratio` (or three or more
//! `[[glide_point]]` tables of `speed` and `sink`), `approach_speed` and `landing_distance`. Every other key has a
//! default; those taken are named in a warning, because a default is a guess about somebody's aircraft.

use crate::error::{LoadError, LoadErrorKind, Loaded, Warning};
use crate::quantity::{
    QuantityError, parse_angle_rad, parse_angle_rate_rad_s, parse_height_m, parse_length_m, parse_ratio, parse_sink_ms,
    parse_speed_ms, parse_time_s,
};
use sparefield_geometry::aircraft::{Aircraft, AircraftError, GlideCurve, GlideSpeed};
use std::path::Path;
use toml::{Table, Value};

const BUILTIN: [(&str, &str); 3] = [
    ("two-seat-flexwing.toml", include_str!("../../../assets/aircraft/two-seat-flexwing.toml")),
    ("powered-hang-glider.toml", include_str!("../../../assets/aircraft/powered-hang-glider.toml")),
    ("light-three-axis.toml", include_str!("../../../assets/aircraft/light-three-axis.toml")),
];

/// The keys of an aircraft file, needed ones first; an optional key has the text of its default.
const KEYS: [(&str, Option<&str>); 20] = [
    ("name", None),
    ("stall_speed", None),
    ("best_glide_speed", None),
    ("best_glide_ratio", None),
    ("approach_speed", None),
    ("landing_distance", None),
    ("glide_point", Some("")),
    ("max_speed", Some("90 mph")),
    // The default is reckoned from the stall speed.
    ("min_glide_speed", Some("1.1 × stall_speed")),
    ("glide_speed", Some("best")),
    ("turn_bank", Some("30 deg")),
    ("max_bank", Some("45 deg")),
    ("roll_rate", Some("20 deg/s")),
    ("reaction_time", Some("4 s")),
    ("base_leg_distance", Some("250 m")),
    ("final_height", Some("300 ft")),
    ("strip_width", Some("20 m")),
    ("edge_margin", Some("5 m")),
    ("max_crosswind", Some("15 mph")),
    ("terrain_clearance", Some("50 m")),
];

/// The slowest speed that "best" may choose where the file does not say, as a multiple of the stall speed
/// (design choice; no source).
const MIN_GLIDE_OVER_STALL: f64 = 1.1;

/// A measured point this far off the fitted curve, as a share of its sink, is worth a warning (no source).
const POINT_OFF_CURVE: f64 = 0.2;

/// The largest aircraft file read, bytes.
const LARGEST_FILE: u64 = 1 << 20;

/// The invented aircraft that come with the program, each marked "(example)".
#[must_use]
pub fn builtin() -> Vec<Aircraft> {
    BUILTIN
        .iter()
        .filter_map(|(name, text)| match parse(name, text) {
            Ok(loaded) => Some(loaded.value),
            Err(error) => {
                log::error!("{error}");
                None
            }
        })
        .collect()
}

/// Finds an aircraft by a file's path, or by the name of a built-in one or the beginning of it, in any case.
///
/// # Errors
/// When there is neither such a file nor exactly one such aircraft, or the file is not right.
pub fn find(name_or_path: &str) -> Result<Loaded<Aircraft>, LoadError> {
    let wanted = name_or_path.trim();
    let path = Path::new(wanted);
    let is_toml = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml"));
    if is_toml || wanted.contains(['/', '\\']) || path.is_file() {
        return load(path);
    }
    let all = builtin();
    let lower = wanted.to_lowercase();
    let matching: Vec<&Aircraft> = all.iter().filter(|a| a.name.to_lowercase().starts_with(&lower)).collect();
    let exact = all.iter().find(|a| a.name.to_lowercase() == lower);
    let found = match (exact, matching.as_slice()) {
        (Some(aircraft), _) => aircraft,
        (None, [one]) if !lower.is_empty() => one,
        (None, several) => {
            let quoted = |list: Vec<&str>| list.iter().map(|n| format!("“{n}”")).collect::<Vec<_>>().join(", ");
            let names = quoted(all.iter().map(|a| a.name.as_str()).collect());
            let problem = if several.len() > 1 && !lower.is_empty() {
                format!("this is the beginning of {}", quoted(several.iter().map(|a| a.name.as_str()).collect()))
            } else {
                "there is no such aircraft or file".to_owned()
            };
            let remedy = format!("name a .toml file, or one of {names}, or enough of its beginning");
            return Err(LoadError::new(path, LoadErrorKind::Unreadable, problem, remedy));
        }
    };
    Ok(Loaded {
        value: found.clone(),
        warnings: Vec::new(),
        provenance: vec![format!("{}: invented aircraft that comes with the program", found.name)],
    })
}

/// Reads an aircraft file.
///
/// # Errors
/// When the file cannot be read or its content is not an aircraft.
pub fn load(path: &Path) -> Result<Loaded<Aircraft>, LoadError> {
    let size = std::fs::metadata(path).map_err(|e| LoadError::from_io(path, &e))?.len();
    if size > LARGEST_FILE {
        let problem = "it is far larger than an aircraft file";
        return Err(LoadError::new(path, LoadErrorKind::TooLarge, problem, "name an aircraft file"));
    }
    let bytes = std::fs::read(path).map_err(|e| LoadError::from_io(path, &e))?;
    let text = String::from_utf8(bytes).map_err(|e| {
        let line = e.as_bytes().iter().take(e.utf8_error().valid_up_to()).filter(|b| **b == b'\n').count() + 1;
        LoadError::new(path, LoadErrorKind::Corrupt, "it is not UTF-8 text", "save it as UTF-8")
            .at(format!("line {line}"))
    })?;
    parse_at(path, &text)
}

/// Reads the text of an aircraft file; `name` stands for the file in messages.
///
/// # Errors
/// When the text is not TOML, a key is missing or wrong, or the numbers do not describe an aircraft.
pub fn parse(name: &str, text: &str) -> Result<Loaded<Aircraft>, LoadError> {
    parse_at(Path::new(name), text)
}

fn parse_at(path: &Path, text: &str) -> Result<Loaded<Aircraft>, LoadError> {
    let text = text.trim_start_matches('\u{feff}');
    if text.trim().is_empty() {
        let remedy = format!("it needs {}", needed().join(", "));
        return Err(LoadError::new(path, LoadErrorKind::Empty, "the file is empty", remedy));
    }
    let table: Table = text.parse().map_err(|e: toml::de::Error| {
        let line = e.span().map_or(1, |span| text.get(..span.start).unwrap_or("").matches('\n').count() + 1);
        let problem = format!("it is not TOML ({})", e.message().replace('\n', " "));
        LoadError::new(path, LoadErrorKind::Corrupt, problem, "write lines such as stall_speed = \"38 mph\"")
            .at(format!("line {line}"))
    })?;
    let mut warnings = Vec::new();
    for key in table.keys().filter(|k| !KEYS.iter().any(|(known, _)| known == k)) {
        let near = nearest(key).map_or_else(String::new, |near| format!("; did you mean “{near}”?"));
        warnings.push(Warning {
            place: format!("key “{key}”"),
            message: format!("this key is not known and was passed over{near}"),
        });
    }
    let file = File { path, table: &table };
    let mut assumed = Vec::new();
    let aircraft = file.aircraft(&mut assumed, &mut warnings)?;
    if !assumed.is_empty() {
        warnings.push(Warning {
            place: String::new(),
            message: format!("not stated, and taken from the invented example: {}", assumed.join(", ")),
        });
    }
    aircraft.validate().map_err(|e| file.unfit(&e))?;
    let provenance = vec![format!("{}: aircraft file, “{}”", path.display(), aircraft.name)];
    Ok(Loaded { value: aircraft, warnings, provenance })
}

fn needed() -> Vec<&'static str> {
    KEYS.iter().filter(|(_, default)| default.is_none()).map(|(key, _)| *key).collect()
}

struct File<'a> {
    path: &'a Path,
    table: &'a Table,
}

impl File<'_> {
    fn bad(&self, key: &str, problem: impl Into<String>, remedy: impl Into<String>) -> LoadError {
        LoadError::new(self.path, LoadErrorKind::BadValue, problem, remedy).at(format!("key “{key}”"))
    }

    fn missing(&self, key: &str) -> LoadError {
        // A key near this one that is not known is the likely slip.
        let slip = self
            .table
            .keys()
            .find(|k| !KEYS.iter().any(|(known, _)| known == k) && nearest(k) == Some(key))
            .map_or_else(String::new, |k| format!(" (“{k}” looks like it)"));
        let example = match key {
            "name" => "name = \"My aircraft\"",
            "stall_speed" => "stall_speed = \"38 mph\"",
            "best_glide_speed" => "best_glide_speed = \"50 mph\", or three or more [[glide_point]] tables",
            "best_glide_ratio" => "best_glide_ratio = 6.0, or three or more [[glide_point]] tables",
            "approach_speed" => "approach_speed = \"55 mph\"",
            _ => "landing_distance = \"180 m\" (from 50 ft to stop, still air, level, dry short grass, sea level)",
        };
        self.bad(key, format!("it is missing{slip}"), format!("add a line such as {example}"))
    }

    /// A key's text; a number is turned into text so that the reader can say which units it needs.
    fn text(&self, key: &str) -> Result<Option<String>, LoadError> {
        match self.table.get(key) {
            None => Ok(None),
            Some(value) => plain(value)
                .map(Some)
                .ok_or_else(|| self.bad(key, "it is neither text nor a number", "write a value such as \"38 mph\"")),
        }
    }

    fn quantity(
        &self,
        key: &str,
        assumed: &mut Vec<String>,
        read: impl Fn(&str) -> Result<f64, QuantityError>,
    ) -> Result<f64, LoadError> {
        let default = KEYS.iter().find(|(known, _)| *known == key).and_then(|(_, default)| *default);
        let text = match (self.text(key)?, default) {
            (Some(text), _) => text,
            (None, Some(default)) => {
                assumed.push(format!("{key} = \"{default}\""));
                default.to_owned()
            }
            (None, None) => return Err(self.missing(key)),
        };
        read(&text).map_err(|e| self.misread(key, &e))
    }

    fn misread(&self, key: &str, e: &QuantityError) -> LoadError {
        self.bad(key, format!("“{}” {}", e.text, e.problem), e.remedy.clone())
    }

    fn unfit(&self, error: &AircraftError) -> LoadError {
        match error {
            AircraftError::OutOfRange { what, value, expected } => {
                self.bad(&key_of(what), format!("it is {value}"), format!("it must be {expected}"))
            }
            other => self.bad("glide_point", other.to_string(), "check speeds and sinks"),
        }
    }

    fn aircraft(&self, assumed: &mut Vec<String>, warnings: &mut Vec<Warning>) -> Result<Aircraft, LoadError> {
        let name = match self.table.get("name") {
            Some(Value::String(name)) if !name.trim().is_empty() => name.trim().to_owned(),
            Some(_) => return Err(self.bad("name", "it is not a name", "write text in quotes")),
            None => return Err(self.missing("name")),
        };
        let speed = |text: &str| parse_speed_ms(text, None);
        let length = |text: &str| parse_length_m(text, None);
        let stall_speed_ms = self.quantity("stall_speed", assumed, speed)?;
        let glide = self.glide(warnings)?;
        let approach_speed_ms = self.quantity("approach_speed", assumed, speed)?;
        let landing_distance_m = self.quantity("landing_distance", assumed, length)?;
        let max_speed_ms = self.quantity("max_speed", assumed, speed)?;
        let min_glide_speed_ms = if self.table.contains_key("min_glide_speed") {
            self.quantity("min_glide_speed", assumed, speed)?
        } else {
            assumed.push("min_glide_speed = 1.1 × stall_speed".into());
            MIN_GLIDE_OVER_STALL * stall_speed_ms
        };
        let glide_speed = match self.text("glide_speed")? {
            None => {
                assumed.push("glide_speed = \"best\"".into());
                GlideSpeed::BestForWind
            }
            Some(text) if text.trim().eq_ignore_ascii_case("best") => GlideSpeed::BestForWind,
            Some(text) => GlideSpeed::Held(parse_speed_ms(&text, None).map_err(|e| {
                let e = QuantityError { remedy: format!("{}, or “best”", e.remedy), ..e };
                self.misread("glide_speed", &e)
            })?),
        };
        let best = glide.best_glide_speed_ms();
        if best < stall_speed_ms || best > max_speed_ms {
            warnings.push(Warning {
                place: "glide curve".into(),
                message: format!("its best glide, at {best:.1} m/s, lies outside the speeds between stall and maximum"),
            });
        }
        Ok(Aircraft {
            name,
            glide,
            stall_speed_ms,
            approach_speed_ms,
            max_speed_ms,
            min_glide_speed_ms,
            glide_speed,
            landing_distance_m,
            turn_bank_rad: self.quantity("turn_bank", assumed, parse_angle_rad)?,
            max_bank_rad: self.quantity("max_bank", assumed, parse_angle_rad)?,
            roll_rate_rad_s: self.quantity("roll_rate", assumed, parse_angle_rate_rad_s)?,
            reaction_time_s: self.quantity("reaction_time", assumed, |t| parse_time_s(t, false))?,
            base_leg_distance_m: self.quantity("base_leg_distance", assumed, length)?,
            final_height_m: self.quantity("final_height", assumed, |t| parse_height_m(t, None))?,
            strip_width_m: self.quantity("strip_width", assumed, length)?,
            edge_margin_m: self.quantity("edge_margin", assumed, length)?,
            max_crosswind_ms: self.quantity("max_crosswind", assumed, speed)?,
            terrain_clearance_m: self.quantity("terrain_clearance", assumed, |t| parse_height_m(t, None))?,
        })
    }

    fn glide(&self, warnings: &mut Vec<Warning>) -> Result<GlideCurve, LoadError> {
        const REMEDY: &str =
            "write three or more tables [[glide_point]] with speed = \"50 mph\" and sink = \"600 fpm\"";
        let Some(points) = self.table.get("glide_point") else {
            let speed = self.quantity("best_glide_speed", &mut Vec::new(), |t| parse_speed_ms(t, None))?;
            let ratio = self.quantity("best_glide_ratio", &mut Vec::new(), parse_ratio)?;
            return GlideCurve::from_best_glide(speed, ratio).map_err(|e| self.unfit(&e));
        };
        if let Some(key) = ["best_glide_speed", "best_glide_ratio"].into_iter().find(|k| self.table.contains_key(*k)) {
            let problem = "it is given together with glide points, and the two may disagree";
            return Err(self.bad(key, problem, "keep the glide points, or best glide speed and ratio"));
        }
        let bad = |problem: String| self.bad("glide_point", problem, REMEDY);
        let list = points.as_array().ok_or_else(|| bad("it is not a list of tables".into()))?;
        if list.len() < 3 {
            return Err(bad(format!("there are {} of them, and a curve needs three", list.len())));
        }
        let mut pairs = Vec::with_capacity(list.len());
        for (i, point) in list.iter().enumerate() {
            let key = format!("glide_point {}", i + 1);
            let part = |name: &str| {
                point
                    .get(name)
                    .and_then(plain)
                    .ok_or_else(|| self.bad(&key, format!("its {name} is missing or is not a value"), REMEDY))
            };
            let speed = parse_speed_ms(&part("speed")?, None).map_err(|e| self.misread(&key, &e))?;
            let sink = parse_sink_ms(&part("sink")?).map_err(|e| self.misread(&key, &e))?;
            if !(speed > 0.0 && sink > 0.0) {
                return Err(self.bad(&key, "its speed and sink are not both above zero", REMEDY));
            }
            pairs.push((speed, sink));
        }
        let curve = GlideCurve::fit(&pairs).map_err(|e| self.unfit(&e))?;
        // The same ranges as for a curve given by its best glide.
        GlideCurve::from_best_glide(curve.best_glide_speed_ms(), curve.best_glide_ratio())
            .map_err(|e| bad(format!("the curve through them cannot be right: {e}")))?;
        for (i, (speed, sink)) in pairs.iter().enumerate() {
            let fitted = curve.sink_ms(*speed, 1.0);
            if (fitted - sink).abs() > POINT_OFF_CURVE * sink {
                warnings.push(Warning {
                    place: format!("glide_point {}", i + 1),
                    message: format!(
                        "its sink of {sink:.2} m/s is far from the fitted curve, which has {fitted:.2} m/s there"
                    ),
                });
            }
        }
        Ok(curve)
    }
}

fn plain(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text.clone()),
        Value::Integer(number) => Some(number.to_string()),
        Value::Float(number) => Some(number.to_string()),
        _ => None,
    }
}

/// The key that holds what a range check names.
fn key_of(what: &str) -> String {
    match what {
        "best glide speed" => "best_glide_speed",
        "best glide ratio" => "best_glide_ratio",
        "slowest glide speed" => "min_glide_speed",
        "maximum speed" => "max_speed",
        "maximum bank" => "max_bank",
        "maximum crosswind" => "max_crosswind",
        other => return other.replace(' ', "_"),
    }
    .to_owned()
}

/// The known key that differs in the fewest letters, if it is near at all.
fn nearest(key: &str) -> Option<&'static str> {
    let plain = key.to_lowercase().replace('-', "_");
    KEYS.iter()
        .map(|(known, _)| (*known, edit_distance(&plain, known)))
        .min_by_key(|(_, distance)| *distance)
        .filter(|(known, distance)| *distance <= known.len().div_ceil(3))
        .map(|(known, _)| known)
}

/// Letters to insert, delete or replace to turn one text into the other (Levenshtein 1966).
fn edit_distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().take(64).enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, cb) in b.iter().enumerate() {
            let replaced = diagonal + usize::from(ca != *cb);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const LEAST: &str = "name = \"Mine\"\nstall_speed = \"38 mph\"\nbest_glide_speed = \"50 mph\"\nbest_glide_ratio = 6\napproach_speed = \"55 mph\"\nlanding_distance = \"180 m\"\n";

    fn message(text: &str) -> String {
        parse("mine.toml", text).unwrap_err().to_string()
    }

    #[test]
    fn the_examples_are_there_and_say_so() {
        let all = builtin();
        assert_eq!(all.len(), 3);
        for (aircraft, (name, text)) in all.iter().zip(BUILTIN) {
            assert!(aircraft.name.ends_with("(example)"), "{}", aircraft.name);
            assert_eq!(parse(name, text).unwrap().warnings, [], "{name}");
        }
    }

    #[test]
    fn the_flexwing_is_the_one_of_the_geometry() {
        let expected = Aircraft::example_flexwing();
        let got = &builtin()[0];
        assert_eq!(got.name, expected.name);
        assert_eq!(got.glide_speed, expected.glide_speed);
        let numbers = |a: &Aircraft| {
            let (p, q) = a.glide.coefficients();
            [
                p * 1e5,
                q,
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
                a.final_height_m,
                a.strip_width_m,
                a.edge_margin_m,
                a.max_crosswind_ms,
                a.terrain_clearance_m,
            ]
        };
        for (a, b) in numbers(got).into_iter().zip(numbers(&expected)) {
            assert!((a - b).abs() <= 1e-12 * b.abs().max(1.0), "{a} {b}");
        }
    }

    #[test]
    fn six_keys_are_enough_and_the_rest_is_said() {
        let loaded = parse("mine.toml", LEAST).unwrap();
        let stall = 38.0 * 0.447_04;
        assert!((loaded.value.min_glide_speed_ms - 1.1 * stall).abs() < 1e-12);
        assert_eq!(loaded.warnings.len(), 1);
        let said = &loaded.warnings[0].message;
        for key in KEYS.iter().skip(7).map(|(key, _)| *key) {
            assert!(said.contains(key), "{key}: {said}");
        }
    }

    #[test]
    fn each_needed_key_is_missed_by_name() {
        for key in needed() {
            let text: String = LEAST.split_inclusive('\n').filter(|l| !l.starts_with(key)).collect();
            let said = message(&text);
            assert!(
                said.contains(&format!("key “{key}”: it is missing")) && said.contains("add a line such as"),
                "{said}"
            );
        }
        let said = message(&LEAST.replace("stall_speed", "stall_sped"));
        assert!(said.contains("“stall_sped” looks like it"), "{said}");
    }

    #[test]
    fn wrong_values_are_told_with_what_is_allowed() {
        for (from, to, parts) in [
            ("\"38 mph\"", "38", ["“38” has no unit", "mph, kt, km/h or m/s"]),
            ("\"38 mph\"", "\"38 furlongs\"", ["stall_speed", "not understood"]),
            ("\"38 mph\"", "\"-5 mph\"", ["stall_speed", "must be between 3 and 120 m/s"]),
            ("\"38 mph\"", "true", ["stall_speed", "neither text nor a number"]),
            ("= 6", "= 0", ["best_glide_ratio", "6:1"]),
            ("= 6", "= 200", ["best_glide_ratio", "between 1 and 80"]),
            ("= 6", "= nan", ["best_glide_ratio", "not a glide ratio"]),
            ("\"50 mph\"", "\"500 mph\"", ["best_glide_speed", "between 5 and 80 m/s"]),
            ("\"180 m\"", "\"18 km\"", ["landing_distance", "between 10 and 3 000 m"]),
            ("\"55 mph\"", "\"30 mph\"", ["approach_speed", "above the stall speed"]),
            ("\"Mine\"", "\"\"", ["key “name”", "not a name"]),
            ("\"Mine\"", "\"Mine", ["line 1", "not TOML"]),
        ] {
            let said = message(&LEAST.replacen(from, to, 1));
            for part in parts {
                assert!(said.contains(part), "{to}: {said}");
            }
            assert!(said.starts_with("mine.toml"), "{said}");
        }
        assert!(message("").contains("empty"));
        assert!(message(&format!("{LEAST}glide_speed = \"fast\"\n")).contains("or “best”"));
        assert!(message(&format!("{LEAST}max_bank = \"90 deg\"\n")).contains("between 5 and 75 degrees"));
    }

    #[test]
    fn an_unknown_key_is_a_warning_with_the_nearest() {
        let loaded = parse("mine.toml", &format!("{LEAST}turn_banks = \"30 deg\"\ncolour = \"red\"\n")).unwrap();
        let said: Vec<String> = loaded.warnings.iter().map(ToString::to_string).collect();
        assert!(said[0].contains("colour") && !said[0].contains("did you mean"), "{said:?}");
        assert!(said[1].contains("did you mean “turn_bank”?"), "{said:?}");
    }

    #[test]
    fn glide_points_are_fitted() {
        let without: String = LEAST.split_inclusive('\n').filter(|l| !l.starts_with("best_glide")).collect();
        // Points on the curve of 20 m/s and 8 : 1: sink = V³/(2·8·400) + 400/(2·8·V).
        let point = |v: f64| {
            format!("[[glide_point]]\nspeed = \"{v} m/s\"\nsink = \"{} m/s\"\n", v * v * v / 6_400.0 + 25.0 / v)
        };
        let text = format!("{without}{}{}{}", point(16.0), point(20.0), point(30.0));
        let curve = parse("mine.toml", &text).unwrap().value.glide;
        assert!((curve.best_glide_speed_ms() - 20.0).abs() < 1e-9);
        assert!((curve.best_glide_ratio() - 8.0).abs() < 1e-9);
        assert!(message(&format!("{without}{}{}", point(16.0), point(20.0))).contains("there are 2 of them"));
        assert!(message(&format!("{LEAST}{}", point(16.0))).contains("given together with glide points"));
        assert!(message(&text.replacen("sink", "sank", 1)).contains("its sink is missing"));
        assert!(message(&text.replace("16 m/s", "20 m/s").replace("30 m/s", "20 m/s")).contains("glide curve"));
        let off = text.replacen(&format!("{} m/s", 20.0_f64.powi(3) / 6_400.0 + 25.0 / 20.0), "4 m/s", 1);
        assert!(
            parse("mine.toml", &off).unwrap().warnings.iter().any(|w| w.message.contains("far from the fitted curve"))
        );
        let lines = format!("{without}{}{}", point(16.0), point(20.0))
            + "[[glide_point]]\nspeed = \"60 mph\"\nsink = \"700 fpm\"\n";
        assert!(parse("mine.toml", &lines).is_ok());
    }

    #[test]
    fn aircraft_are_found_by_name_beginning_or_file() {
        assert_eq!(find("two-seat FLEXWING (example)").unwrap().value.name, "Two-seat flexwing (example)");
        assert_eq!(find(" two ").unwrap().value.name, "Two-seat flexwing (example)");
        assert!(find("light").unwrap().value.name.starts_with("Light three-axis"));
        for wanted in ["", "zeppelin"] {
            let said = find(wanted).unwrap_err().to_string();
            assert!(said.contains("Two-seat flexwing (example)") && said.contains(".toml"), "{said}");
        }
        assert!(find("missing.toml").unwrap_err().to_string().contains("there is no such file"));
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("mine.toml");
        std::fs::write(&path, LEAST).unwrap();
        assert_eq!(find(path.to_str().unwrap()).unwrap().value.name, "Mine");
        std::fs::write(&path, b"name = \"\xff\"").unwrap();
        assert!(find(path.to_str().unwrap()).unwrap_err().to_string().contains("line 1: it is not UTF-8"));
        assert!(find(&format!("{}/", folder.path().display())).unwrap_err().to_string().contains("folder"));
    }

    #[test]
    fn letters_between_words_are_counted() {
        assert_eq!(edit_distance("kitten", "sitting"), 3);
        assert_eq!(edit_distance("", "abc"), 3);
    }

    proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "\\PC{0,60}", cut in 0..300usize, key in 0..KEYS.len(), value in "[0-9a-z. \"°/-]{0,12}") {
            let _maybe = parse("x.toml", &text);
            let _maybe = parse("x.toml", LEAST.get(..cut.min(LEAST.len())).unwrap_or(""));
            let _maybe = parse("x.toml", &format!("{LEAST}{} = \"{value}\"\n", KEYS[key].0));
        }
    }
}
