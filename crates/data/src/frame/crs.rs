//! Reference systems and the operations between them, as PROJ makes them.

use super::FrameError;
use proj::Proj;
use serde_json::Value;
use std::cell::RefCell;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::rc::Rc;
use std::sync::{Arc, Mutex};

/// A number for a message: short, whatever nonsense it is.
pub(crate) fn shown(value: f64) -> String {
    if value.abs() < 1e9 { format!("{}", (value * 1e6).round() / 1e6) } else { format!("{value:.3e}") }
}

/// What the coordinates of a reference system are.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Axes {
    /// Longitude and latitude.
    Angles,
    /// East and north in metres.
    Metres,
    /// East and north in another unit: its name and its length in metres.
    OtherLength(String, f64),
}

/// A horizontal coordinate reference system, as PROJ understands it.
#[derive(Clone, Debug)]
pub struct Crs {
    definition: Arc<str>,
    key: u64,
    name: Arc<str>,
    epsg: Option<u32>,
    pub(super) axes: Axes,
    vertical: Option<Arc<str>>,
}

impl PartialEq for Crs {
    /// Equal codes, or the same definition letter for letter.
    fn eq(&self, other: &Self) -> bool {
        match (self.epsg, other.epsg) {
            (Some(a), Some(b)) => a == b,
            _ => self.definition == other.definition,
        }
    }
}

const WKT_KEYWORDS: [&str; 12] = [
    "PROJCS",
    "GEOGCS",
    "GEOCCS",
    "COMPD_CS",
    "PROJCRS",
    "PROJECTEDCRS",
    "GEOGCRS",
    "GEOGRAPHICCRS",
    "GEODCRS",
    "GEODETICCRS",
    "COMPOUNDCRS",
    "BOUNDCRS",
];

impl Crs {
    /// From an EPSG code; a compound system is reduced to its horizontal part.
    ///
    /// # Errors
    /// When the code is unknown, or is not a horizontal system.
    pub fn from_epsg(code: u32) -> Result<Self, FrameError> {
        Self::from_definition(&format!("EPSG:{code}"))
    }

    /// From well-known text, as in a `.prj` file (WKT 1 of OGC or Esri, or WKT 2).
    ///
    /// # Errors
    /// When the text is not well-known text, or PROJ does not understand it.
    pub fn from_wkt(text: &str) -> Result<Self, FrameError> {
        let text = text.trim_start_matches('\u{feff}').trim().trim_end_matches('\0');
        let keyword = text.split(['[', '(']).next().unwrap_or_default().trim().to_ascii_uppercase();
        if WKT_KEYWORDS.contains(&keyword.as_str()) {
            Self::from_definition(text)
        } else {
            Err(not_understood(text, "it does not begin like well-known text"))
        }
    }

    /// From what a person types: `EPSG:27700`, `27700`, a PROJ string or well-known text.
    ///
    /// # Errors
    /// When the text is none of these, or PROJ does not understand it.
    pub fn from_user(text: &str) -> Result<Self, FrameError> {
        let text = text.trim();
        if let Ok(code) = text.parse::<u32>() {
            return Self::from_epsg(code);
        }
        if let Some((authority, code)) = text.split_once(':') {
            let authority = authority.trim().to_ascii_uppercase();
            let code = code.trim();
            let code_is_plain = !code.is_empty() && code.chars().all(|c| c.is_ascii_alphanumeric());
            if ["EPSG", "ESRI", "IGNF", "OGC"].contains(&authority.as_str()) && code_is_plain {
                return Self::from_definition(&format!("{authority}:{code}"));
            }
        }
        if text.starts_with('+') {
            return Self::from_proj_string(text);
        }
        Self::from_wkt(text)
    }

    /// From a PROJ string such as `+proj=tmerc +lat_0=49 …`.
    ///
    /// # Errors
    /// When PROJ does not understand it.
    pub fn from_proj_string(text: &str) -> Result<Self, FrameError> {
        if !text.contains("+proj=") {
            return Err(not_understood(text, "there is no +proj= in it"));
        }
        if text.contains("+type=crs") {
            Self::from_definition(text)
        } else {
            Self::from_definition(&format!("{text} +type=crs"))
        }
    }

    /// WGS 84 in degrees (EPSG:4326).
    ///
    /// # Errors
    /// Only when PROJ's database is missing.
    pub fn wgs84() -> Result<Self, FrameError> {
        Self::from_epsg(4326)
    }

    /// From any text PROJ takes for a reference system, PROJJSON included; the text is not checked before.
    ///
    /// Reading one from the database takes some milliseconds, so the last ones are remembered.
    pub(crate) fn from_definition(text: &str) -> Result<Self, FrameError> {
        const REMEMBERED: usize = 64;
        static KNOWN: Mutex<Vec<(String, Crs)>> = Mutex::new(Vec::new());
        // A thread that panicked while holding the list has left it whole.
        let lock = || KNOWN.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if let Some((_, crs)) = lock().iter().find(|(known, _)| known == text) {
            return Ok(crs.clone());
        }
        let made = Proj::new(text).map_err(|e| not_understood(text, &e.to_string()))?;
        let json = made.to_projjson(Some(false), None, None).map_err(|e| not_understood(text, &e.to_string()))?;
        let json: Value = serde_json::from_str(&json).map_err(|e| not_understood(text, &e.to_string()))?;
        let crs = Self::from_json(&json, text, None)?;
        let mut known = lock();
        if known.len() >= REMEMBERED {
            known.remove(0);
        }
        known.push((text.to_owned(), crs.clone()));
        Ok(crs)
    }

    /// A system by its code as PROJJSON, for building another on it.
    pub(crate) fn base_json(code: u32) -> Result<Value, FrameError> {
        projjson(&format!("EPSG:{code}")).ok_or_else(|| not_understood(&format!("EPSG:{code}"), "no such code"))
    }

    fn from_json(json: &Value, text: &str, vertical: Option<&str>) -> Result<Self, FrameError> {
        let kind = json["type"].as_str().unwrap_or("unknown");
        if kind == "CompoundCRS" {
            let parts = json["components"].as_array().map_or(&[][..], Vec::as_slice);
            let vertical = parts.get(1).and_then(|part| part["name"].as_str());
            let Some(horizontal) = parts.first() else {
                return Err(not_understood(text, "a compound system without parts"));
            };
            let definition = match epsg_of(horizontal).or_else(|| code_by_name(horizontal)) {
                Some(code) => format!("EPSG:{code}"),
                None => horizontal.to_string(),
            };
            let reread;
            let horizontal =
                if let Some(made) = definition.starts_with("EPSG:").then(|| projjson(&definition)).flatten() {
                    reread = made;
                    &reread
                } else {
                    horizontal
                };
            return Self::from_json(horizontal, &definition, vertical);
        }
        // A bound system carries its shift to WGS 84 along; what it is, its base says.
        let base = if kind == "BoundCRS" { &json["source_crs"] } else { json };
        let name = base["name"].as_str().unwrap_or("unnamed").to_owned();
        let subtype = base["coordinate_system"]["subtype"].as_str().unwrap_or("");
        let axes = match (base["type"].as_str().unwrap_or(kind), subtype) {
            ("GeographicCRS", _) | ("GeodeticCRS", "ellipsoidal") => Axes::Angles,
            ("ProjectedCRS", _) => length_unit(&base["coordinate_system"]["axis"][0]["unit"]),
            (other, _) => return Err(FrameError::NotHorizontal { name, kind: other.to_owned() }),
        };
        let mut hasher = DefaultHasher::new();
        text.hash(&mut hasher);
        Ok(Self {
            definition: text.into(),
            key: hasher.finish(),
            name: name.into(),
            epsg: if kind == "BoundCRS" { None } else { epsg_of(base) },
            axes,
            vertical: vertical.map(Into::into),
        })
    }

    /// The system's name, as PROJ's database or the text gives it.
    pub fn name(&self) -> &str {
        &self.name
    }
    /// The EPSG code, where there is one.
    pub fn epsg(&self) -> Option<u32> {
        self.epsg
    }
    /// Whether coordinates are longitude and latitude.
    pub fn is_geographic(&self) -> bool {
        self.axes == Axes::Angles
    }
    /// Length of one unit in metres, `None` for a geographic system.
    pub fn unit_m(&self) -> Option<f64> {
        match &self.axes {
            Axes::Angles => None,
            Axes::Metres => Some(1.0),
            Axes::OtherLength(_, metres) => Some(*metres),
        }
    }
    /// The name of the vertical part that was set aside, when the system was a compound one.
    pub fn vertical(&self) -> Option<&str> {
        self.vertical.as_deref()
    }
    /// The text PROJ is given for this system.
    pub fn definition(&self) -> &str {
        &self.definition
    }
    /// Name and code for people, such as "WGS 84 / UTM zone 31N (EPSG:32631)".
    pub fn label(&self) -> String {
        match self.epsg {
            Some(code) => format!("{} (EPSG:{code})", self.name),
            None => self.name.to_string(),
        }
    }
}

fn not_understood(text: &str, detail: &str) -> FrameError {
    // Every version of PROJ's database has WGS 84; without it, the database is the trouble and not the text.
    if Proj::new("EPSG:4326").is_err() {
        let named = ["PROJ_DATA", "PROJ_LIB"].into_iter().find(|name| std::env::var_os(name).is_some());
        return FrameError::NoDatabase {
            remedy: match named {
                Some(name) => format!("unset the environment variable {name}, which leads to another version of it"),
                None => "remove the file proj.db of another version of PROJ from the user's data folder".to_owned(),
            },
        };
    }
    let mut short: String = text.chars().take(60).collect();
    if text.chars().count() > 60 {
        short.push('…');
    }
    FrameError::NotUnderstood { text: short, detail: detail.trim().to_owned() }
}

fn projjson(definition: &str) -> Option<Value> {
    let made = Proj::new(definition).ok()?;
    serde_json::from_str(&made.to_projjson(Some(false), None, None).ok()?).ok()
}

/// The code of a part of a compound system, which PROJ writes without one: found by name, taken only when the
/// database's entry of that name is otherwise the same.
fn code_by_name(part: &Value) -> Option<u32> {
    let mut known = projjson(part["name"].as_str()?)?;
    let code = epsg_of(&known)?;
    let same = ["base_crs", "conversion", "datum", "coordinate_system"]
        .iter()
        .all(|key| without_ids(known[*key].take()) == without_ids(part[*key].clone()));
    same.then_some(code)
}

fn without_ids(mut json: Value) -> Value {
    match &mut json {
        Value::Object(map) => {
            map.retain(|key, _| key != "id");
            for (_, value) in map.iter_mut() {
                *value = without_ids(value.take());
            }
        }
        Value::Array(all) => {
            for value in all {
                *value = without_ids(value.take());
            }
        }
        _ => {}
    }
    json
}

fn epsg_of(json: &Value) -> Option<u32> {
    let id = &json["id"];
    if id["authority"].as_str()? != "EPSG" {
        return None;
    }
    let code = &id["code"];
    code.as_u64().and_then(|c| u32::try_from(c).ok()).or_else(|| code.as_str()?.parse().ok())
}

fn length_unit(unit: &Value) -> Axes {
    if unit.as_str() == Some("metre") {
        return Axes::Metres;
    }
    let factor = unit["conversion_factor"].as_f64().unwrap_or(f64::NAN);
    if factor == 1.0 {
        return Axes::Metres;
    }
    let name = unit["name"].as_str().or(unit.as_str()).unwrap_or("an unknown unit");
    Axes::OtherLength(name.to_owned(), factor)
}

/// Length of one unit of a vertical reference system in metres, by its EPSG code; `None` when it is not known.
pub(crate) fn vertical_unit_m(epsg: u32) -> Option<f64> {
    let json = projjson(&format!("EPSG:{epsg}"))?;
    if json["type"].as_str() != Some("VerticalCRS") {
        return None;
    }
    match length_unit(&json["coordinate_system"]["axis"][0]["unit"]) {
        Axes::Metres => Some(1.0),
        Axes::OtherLength(_, metres) => metres.is_finite().then_some(metres),
        Axes::Angles => None,
    }
}

/// How many operations a thread keeps; an area needs two for each reference system among its files.
const KEPT_OPERATIONS: usize = 32;

thread_local! {
    static OPERATIONS: RefCell<Vec<(u64, u64, Rc<Proj>)>> = const { RefCell::new(Vec::new()) };
}

/// The operation between two systems for this thread, made at first use.
pub(super) fn operation(from: &Crs, to: &Crs) -> Result<Rc<Proj>, FrameError> {
    let kept = OPERATIONS.with_borrow(|all| {
        all.iter().find(|(a, b, _)| *a == from.key && *b == to.key).map(|(_, _, made)| Rc::clone(made))
    });
    if let Some(made) = kept {
        return Ok(made);
    }
    let no_operation = |detail: String| FrameError::NoOperation { from: from.label(), to: to.label(), detail };
    let made = Proj::new_known_crs(&from.definition, &to.definition, None).map_err(|e| no_operation(e.to_string()))?;
    // Normalising the axes may fail and leave an object that hands coordinates back unchanged: it has no description.
    let info = made.proj_info();
    if info.id.is_none() && info.description.is_none() && info.definition.is_none() {
        return Err(no_operation("its axes cannot be put in order".to_owned()));
    }
    let made = Rc::new(made);
    OPERATIONS.with_borrow_mut(|all| {
        if all.len() >= KEPT_OPERATIONS {
            all.remove(0);
        }
        all.push((from.key, to.key, Rc::clone(&made)));
    });
    Ok(made)
}

/// Converts one pair of coordinates; anything that is not finite on either side is an error.
pub(super) fn convert(from: &Crs, to: &Crs, made: &Proj, x: f64, y: f64) -> Result<(f64, f64), FrameError> {
    let out_of_domain = || FrameError::OutOfDomain { x, y, from: from.label(), to: to.label() };
    if !(x.is_finite() && y.is_finite()) {
        return Err(out_of_domain());
    }
    // What PROJ says about a point is always that it lies outside the domain; the sentence above says it plainly.
    let Ok((u, v)) = made.convert((x, y)) else { return Err(out_of_domain()) };
    if u.is_finite() && v.is_finite() { Ok((u, v)) } else { Err(out_of_domain()) }
}
