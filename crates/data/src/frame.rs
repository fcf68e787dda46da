//! The one door between geographic positions, files' reference systems and the area's metric frame.
//!
//! Everything on the inside is metres east and north in one projected frame; everything outside is longitude and
//! latitude in degrees on WGS 84, in that order. PROJ does every conversion, normalised to longitude–latitude and
//! east–north, whatever order a reference system states for its axes.
//!
//! PROJ's objects belong to one thread; they are made once for each thread and kept there, so that [`Crs`],
//! [`Frame`] and [`Transformer`] may be shared between threads. No grid of datum shifts is shipped and none is
//! fetched: PROJ then takes the best operation that needs none (for EPSG:27700 the seven-parameter one, good to
//! about 2 m as its EPSG entry states).

use proj::Proj;
use serde_json::Value;
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, LonLat, Xy};
use std::cell::RefCell;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::rc::Rc;
use std::sync::{Arc, Mutex};
use thiserror::Error;

/// Why a reference system or a position could not be used.
#[derive(Clone, Debug, Error, PartialEq)]
#[non_exhaustive]
pub enum FrameError {
    /// The text names no reference system.
    #[error(
        "the reference system {text:?} is not understood ({detail}); name one by its code, such as EPSG:27700 or EPSG:32633"
    )]
    NotUnderstood {
        /// The text, shortened.
        text: String,
        /// What PROJ or the parser said.
        detail: String,
    },
    /// A frame must be projected, and this system is in degrees.
    #[error(
        "{name} is geographic (degrees), but an area is computed in metres; name a projected system, such as a UTM zone (EPSG:32601 to 32760) or the national grid"
    )]
    Geographic {
        /// Name of the system.
        name: String,
    },
    /// A frame must be in metres, and this system is in another unit.
    #[error(
        "{name} is in {unit}, but an area is computed in metres; name a projected system in metres, such as a UTM zone (EPSG:32601 to 32760)"
    )]
    NotMetres {
        /// Name of the system.
        name: String,
        /// Its unit.
        unit: String,
    },
    /// Neither geographic nor projected.
    #[error(
        "{name} is neither geographic nor projected ({kind}); name a horizontal system by its code, such as EPSG:32633"
    )]
    NotHorizontal {
        /// Name of the system.
        name: String,
        /// What it is.
        kind: String,
    },
    /// Lengths in the system differ too much from lengths on the ground.
    #[error(
        "lengths in {name} differ by {percent:.1} % from lengths on the ground here; name a system made for this place, such as the UTM zone"
    )]
    Distorted {
        /// Name of the system.
        name: String,
        /// Difference in percent.
        percent: f64,
    },
    /// A position has no image in the other system.
    #[error(
        "the position {}, {} of {from} has no place in {to}; check the reference system and the order of the coordinates",
        shown(*x),
        shown(*y)
    )]
    OutOfDomain {
        /// First coordinate, east or longitude.
        x: f64,
        /// Second coordinate, north or latitude.
        y: f64,
        /// System of the position.
        from: String,
        /// System asked for.
        to: String,
    },
    /// PROJ has no operation between two systems.
    #[error("there is no way from {from} to {to} ({detail}); name another reference system")]
    NoOperation {
        /// System to start from.
        from: String,
        /// System asked for.
        to: String,
        /// What PROJ said.
        detail: String,
    },
    /// PROJ found a database that it cannot read.
    #[error("the database of reference systems cannot be read; {remedy}")]
    NoDatabase {
        /// What to do.
        remedy: String,
    },
    /// UTM ends before the poles.
    #[error("UTM does not cover latitude {lat_deg:.2}°; name a projected system in metres for the polar region")]
    NoUtmZone {
        /// The latitude in degrees.
        lat_deg: f64,
    },
}

/// A number for a message: short, whatever nonsense it is.
pub(crate) fn shown(value: f64) -> String {
    if value.abs() < 1e9 { format!("{}", (value * 1e6).round() / 1e6) } else { format!("{value:.3e}") }
}

/// What the coordinates of a reference system are.
#[derive(Clone, Debug, PartialEq)]
enum Axes {
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
    axes: Axes,
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
    /// A converter from coordinates of this system to longitude and latitude on WGS 84.
    ///
    /// # Errors
    /// When PROJ knows no way there.
    pub fn to_geographic(&self) -> Result<ToGeographic, FrameError> {
        let wgs84 = Self::wgs84()?;
        operation(self, &wgs84)?;
        Ok(ToGeographic { from: self.clone(), wgs84 })
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
fn operation(from: &Crs, to: &Crs) -> Result<Rc<Proj>, FrameError> {
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
fn convert(from: &Crs, to: &Crs, made: &Proj, x: f64, y: f64) -> Result<(f64, f64), FrameError> {
    let out_of_domain = || FrameError::OutOfDomain { x, y, from: from.label(), to: to.label() };
    if !(x.is_finite() && y.is_finite()) {
        return Err(out_of_domain());
    }
    // What PROJ says about a point is always that it lies outside the domain; the sentence above says it plainly.
    let Ok((u, v)) = made.convert((x, y)) else { return Err(out_of_domain()) };
    if u.is_finite() && v.is_finite() { Ok((u, v)) } else { Err(out_of_domain()) }
}

/// The projected metric system in which one area is computed.
///
/// # Example
/// ```
/// use sparefield_data::frame::Frame;
/// use sparefield_geometry::position::LonLat;
/// let place = LonLat { lon_deg: 9.0, lat_deg: 45.0 };
/// let frame = Frame::utm_for(place)?;
/// assert_eq!(frame.epsg(), Some(32632));
/// let xy = frame.to_xy(place)?; // on the central meridian: 500 km east by definition
/// assert!((xy.x - 500_000.0).abs() < 1e-6);
/// # Ok::<(), sparefield_data::frame::FrameError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Frame {
    crs: Crs,
    wgs84: Crs,
}

/// Step along the meridian over which directions and scales are measured, degrees: 111 m, where the difference of
/// two projected positions is good to 1e-9 of it.
const PROBE_DEG: f64 = 1e-3;
/// WGS 84 semi-major axis in metres and flattening (EPSG:7030).
const WGS84_A_M: f64 = 6_378_137.0;
const WGS84_F: f64 = 1.0 / 298.257_223_563;

impl Frame {
    /// The UTM zone of a place, on WGS 84 (EPSG:326zz in the north, 327zz in the south).
    ///
    /// Zones are the plain 6° ones, without the exceptions of Norway and Svalbard: they are for map sheets, and the
    /// plain zone keeps lengths truest.
    ///
    /// # Errors
    /// Beyond 84° north and 80° south, where UTM ends.
    pub fn utm_for(place: LonLat) -> Result<Self, FrameError> {
        if !(place.lat_deg >= -80.0 && place.lat_deg <= 84.0 && place.lon_deg.is_finite()) {
            return Err(FrameError::NoUtmZone { lat_deg: place.lat_deg });
        }
        let lon = place.lon_deg - 360.0 * ((place.lon_deg + 180.0) / 360.0).floor();
        let zone = (((lon + 180.0) / 6.0).floor() as u32).min(59) + 1;
        let base = if place.lat_deg < 0.0 { 32700 } else { 32600 };
        Self::from_crs(Crs::from_epsg(base + zone)?)
    }

    /// A frame a person names, such as `EPSG:27700`.
    ///
    /// # Errors
    /// When the system is not understood, or is not projected in metres.
    pub fn from_user(text: &str) -> Result<Self, FrameError> {
        Self::from_crs(Crs::from_user(text)?)
    }

    /// A frame from a reference system.
    ///
    /// # Errors
    /// When the system is not projected in metres.
    pub fn from_crs(crs: Crs) -> Result<Self, FrameError> {
        match &crs.axes {
            Axes::Angles => Err(FrameError::Geographic { name: crs.label() }),
            Axes::OtherLength(unit, _) => Err(FrameError::NotMetres { name: crs.label(), unit: unit.clone() }),
            Axes::Metres => Ok(Self { crs, wgs84: Crs::wgs84()? }),
        }
    }

    /// The frame's reference system.
    pub fn crs(&self) -> &Crs {
        &self.crs
    }
    /// The name of the frame's reference system.
    pub fn name(&self) -> &str {
        self.crs.name()
    }
    /// The EPSG code, where there is one.
    pub fn epsg(&self) -> Option<u32> {
        self.crs.epsg()
    }

    /// A geographic position in the frame, metres.
    ///
    /// # Errors
    /// When the position has no image in the frame.
    pub fn to_xy(&self, place: LonLat) -> Result<Xy, FrameError> {
        let made = operation(&self.wgs84, &self.crs)?;
        let (x, y) = convert(&self.wgs84, &self.crs, &made, place.lon_deg, place.lat_deg)?;
        Ok(Xy::new(x, y))
    }

    /// A position in the frame as longitude and latitude on WGS 84.
    ///
    /// # Errors
    /// When the position has no image on the ellipsoid.
    pub fn to_lonlat(&self, at: Xy) -> Result<LonLat, FrameError> {
        let made = operation(&self.crs, &self.wgs84)?;
        let (lon_deg, lat_deg) = convert(&self.crs, &self.wgs84, &made, at.x, at.y)?;
        Ok(LonLat { lon_deg, lat_deg })
    }

    /// Many geographic positions in the frame.
    ///
    /// # Errors
    /// At the first position without an image.
    pub fn to_xy_all(&self, places: &[LonLat]) -> Result<Vec<Xy>, FrameError> {
        places.iter().map(|&place| self.to_xy(place)).collect()
    }

    /// Many positions in the frame as longitudes and latitudes.
    ///
    /// # Errors
    /// At the first position without an image.
    pub fn to_lonlat_all(&self, positions: &[Xy]) -> Result<Vec<LonLat>, FrameError> {
        positions.iter().map(|&at| self.to_lonlat(at)).collect()
    }

    /// The angle from true north to grid north at a place, radians, positive where grid north lies east of true
    /// north: true bearing = grid bearing + convergence.
    ///
    /// # Accuracy
    /// Measured over 111 m of the meridian: better than 1e-9 rad against the closed form for UTM.
    ///
    /// # Errors
    /// When the place has no image on the ellipsoid.
    pub fn grid_convergence_rad(&self, at: Xy) -> Result<f64, FrameError> {
        let north = self.meridian_step(at)?;
        Ok(-math::atan2(north.x, north.y))
    }

    /// A bearing from true north, as people give it, turned into one from grid north.
    ///
    /// # Errors
    /// As [`Self::grid_convergence_rad`].
    pub fn grid_bearing(&self, from_true_north: Bearing, at: Xy) -> Result<Bearing, FrameError> {
        Ok(Bearing::from_rad(from_true_north.rad() - self.grid_convergence_rad(at)?))
    }

    /// A bearing from grid north turned into one from true north.
    ///
    /// # Errors
    /// As [`Self::grid_convergence_rad`].
    pub fn true_bearing(&self, from_grid_north: Bearing, at: Xy) -> Result<Bearing, FrameError> {
        Ok(Bearing::from_rad(from_grid_north.rad() + self.grid_convergence_rad(at)?))
    }

    /// Length in the frame for a length of one on the ground, northwards and eastwards.
    ///
    /// # Errors
    /// When the place has no image on the ellipsoid.
    pub fn scale_at(&self, at: Xy) -> Result<(f64, f64), FrameError> {
        let place = self.to_lonlat(at)?;
        let lat = place.lat_deg.to_radians();
        // Radii of curvature of the ellipsoid: Snyder, Map Projections (USGS Professional Paper 1395), eq. 4-18 to 4-20.
        let e2 = WGS84_F * (2.0 - WGS84_F);
        let w2 = 1.0 - e2 * math::sin(lat) * math::sin(lat);
        let meridian_m = WGS84_A_M * (1.0 - e2) / (w2 * w2.sqrt());
        let parallel_m = WGS84_A_M / w2.sqrt() * math::cos(lat);
        let step = (2.0 * PROBE_DEG).to_radians();
        let north = self.meridian_step(at)?.norm() / (meridian_m * step);
        let west = self.to_xy(LonLat { lon_deg: place.lon_deg - PROBE_DEG, ..place })?;
        let east = self.to_xy(LonLat { lon_deg: place.lon_deg + PROBE_DEG, ..place })?;
        Ok((north, (east - west).norm() / (parallel_m * step)))
    }

    /// Refuses a frame whose lengths are false by more than 3 % at a place, as those of web maps are.
    ///
    /// Returns the greater of the two relative errors.
    ///
    /// # Errors
    /// When lengths are false by more than that, or the place has no image on the ellipsoid.
    pub fn check_lengths(&self, at: Xy) -> Result<f64, FrameError> {
        let (north, east) = self.scale_at(at)?;
        let error = (north - 1.0).abs().max((east - 1.0).abs());
        if error <= 0.03 {
            Ok(error)
        } else {
            Err(FrameError::Distorted { name: self.crs.label(), percent: error * 100.0 })
        }
    }

    /// The frame displacement of twice [`PROBE_DEG`] to the north.
    fn meridian_step(&self, at: Xy) -> Result<Xy, FrameError> {
        let place = self.to_lonlat(at)?;
        let limit = 90.0 - 2.0 * PROBE_DEG;
        let lat = place.lat_deg.clamp(-limit, limit);
        let south = self.to_xy(LonLat { lat_deg: lat - PROBE_DEG, ..place })?;
        let north = self.to_xy(LonLat { lat_deg: lat + PROBE_DEG, ..place })?;
        Ok(north - south)
    }
}

/// Converts coordinates of a file to longitude and latitude.
#[derive(Clone, Debug)]
pub struct ToGeographic {
    from: Crs,
    wgs84: Crs,
}

impl ToGeographic {
    /// Coordinates of the file as longitude and latitude on WGS 84.
    ///
    /// # Errors
    /// When the position has no image on the ellipsoid.
    pub fn to_lonlat(&self, x: f64, y: f64) -> Result<LonLat, FrameError> {
        let made = operation(&self.from, &self.wgs84)?;
        let (lon_deg, lat_deg) = convert(&self.from, &self.wgs84, &made, x, y)?;
        Ok(LonLat { lon_deg, lat_deg })
    }
}

/// Converts between the reference system of a file and the frame.
///
/// Coordinates of the file are (east, north) in its units, or (longitude, latitude) in its angular unit.
#[derive(Clone, Debug)]
pub struct Transformer {
    from: Crs,
    to: Crs,
    same: bool,
}

impl Transformer {
    /// A converter between a file's system and a frame.
    ///
    /// # Errors
    /// When PROJ knows no way from one to the other.
    pub fn new(crs: &Crs, frame: &Frame) -> Result<Self, FrameError> {
        operation(crs, &frame.crs)?;
        operation(&frame.crs, crs)?;
        Ok(Self { from: crs.clone(), to: frame.crs.clone(), same: *crs == frame.crs })
    }

    /// Whether both sides are the same system, so that coordinates pass unchanged.
    pub fn is_identity(&self) -> bool {
        self.same
    }

    /// Coordinates of the file in the frame, metres.
    ///
    /// # Errors
    /// When the position has no image in the frame.
    pub fn to_frame(&self, x: f64, y: f64) -> Result<Xy, FrameError> {
        if self.same && x.is_finite() && y.is_finite() {
            return Ok(Xy::new(x, y));
        }
        let (x, y) = convert(&self.from, &self.to, &*operation(&self.from, &self.to)?, x, y)?;
        Ok(Xy::new(x, y))
    }

    /// A position in the frame in the coordinates of the file.
    ///
    /// # Errors
    /// When the position has no image in the file's system.
    pub fn from_frame(&self, at: Xy) -> Result<(f64, f64), FrameError> {
        if self.same && at.x.is_finite() && at.y.is_finite() {
            return Ok((at.x, at.y));
        }
        convert(&self.to, &self.from, &*operation(&self.to, &self.from)?, at.x, at.y)
    }

    /// Many positions of the file in the frame.
    ///
    /// # Errors
    /// At the first position without an image.
    pub fn to_frame_all(&self, positions: &[(f64, f64)]) -> Result<Vec<Xy>, FrameError> {
        positions.iter().map(|&(x, y)| self.to_frame(x, y)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_must_be_projected_in_metres() {
        let message = |text: &str| Frame::from_user(text).unwrap_err().to_string();
        assert!(message("EPSG:4326").contains("geographic"));
        assert!(message("EPSG:2264").contains("US survey foot"));
        assert!(message("EPSG:5773").contains("neither"));
        assert!(message("EPSG:999999").contains("not understood"));
        assert!(message("middle of nowhere").contains("EPSG:27700"));
        assert!(message("EPSG:4326; rm").contains("not understood"));
        assert_eq!(Frame::from_user(" epsg:27700 ").unwrap().epsg(), Some(27700));
        assert_eq!(Frame::from_user("27700").unwrap().name(), "OSGB36 / British National Grid");
    }

    #[test]
    fn compound_systems_give_their_horizontal_part() {
        let crs = Crs::from_epsg(7405).unwrap();
        assert_eq!(crs.epsg(), Some(27700));
        assert!(crs.vertical().unwrap().contains("ODN"));
    }

    #[test]
    fn utm_zones_follow_the_meridian_and_the_equator() {
        let zone = |lon_deg, lat_deg| Frame::utm_for(LonLat { lon_deg, lat_deg }).unwrap().epsg().unwrap();
        assert_eq!(zone(-180.0, 10.0), 32601);
        assert_eq!(zone(179.999, 10.0), 32660);
        assert_eq!(zone(180.0, 10.0), 32601);
        assert_eq!(zone(-34.9, -8.0), 32725);
        assert_eq!(zone(3.0, 0.0), 32631);
        assert!(Frame::utm_for(LonLat { lon_deg: 0.0, lat_deg: 85.0 }).is_err());
        assert!(Frame::utm_for(LonLat { lon_deg: f64::NAN, lat_deg: 5.0 }).is_err());
    }

    #[test]
    fn convergence_is_positive_east_of_the_meridian_in_the_north() {
        // Transverse Mercator on the sphere: tan γ = tan Δλ · sin φ (from memory); the ellipsoid changes it by less
        // than 1e-5 rad this close to the meridian.
        let frame = Frame::utm_for(LonLat { lon_deg: 10.0, lat_deg: 50.0 }).unwrap();
        let at = frame.to_xy(LonLat { lon_deg: 10.0, lat_deg: 50.0 }).unwrap();
        let expected = math::atan(math::tan(1f64.to_radians()) * math::sin(50f64.to_radians()));
        let found = frame.grid_convergence_rad(at).unwrap();
        assert!((found - expected).abs() < 1e-5, "{found} {expected}");
        let grid = frame.grid_bearing(Bearing::NORTH, at).unwrap();
        assert!((grid.turn_to(Bearing::NORTH) - found).abs() < 1e-12);
        let back = frame.true_bearing(grid, at).unwrap();
        assert!(back.turn_to(Bearing::NORTH).abs() < 1e-12);
    }

    #[test]
    fn lengths_of_web_maps_are_refused() {
        let web = Frame::from_user("EPSG:3857").unwrap();
        let at = web.to_xy(LonLat { lon_deg: 0.0, lat_deg: 52.0 }).unwrap();
        assert!(web.check_lengths(at).unwrap_err().to_string().contains("62."), "1/cos 52° = 1.62");
        let utm = Frame::utm_for(LonLat { lon_deg: 3.0, lat_deg: 52.0 }).unwrap();
        let (north, east) = utm.scale_at(utm.to_xy(LonLat { lon_deg: 3.0, lat_deg: 52.0 }).unwrap()).unwrap();
        assert!((north - 0.9996).abs() < 1e-7 && (east - 0.9996).abs() < 1e-7);
    }

    #[test]
    fn positions_without_image_are_errors() {
        let frame = Frame::from_user("EPSG:32633").unwrap();
        assert!(frame.to_xy(LonLat { lon_deg: f64::NAN, lat_deg: 1.0 }).is_err());
        assert!(frame.to_xy(LonLat { lon_deg: 105.0, lat_deg: 0.0 }).is_err());
        assert!(frame.to_lonlat(Xy::new(f64::INFINITY, 0.0)).is_err());
    }

    #[test]
    fn frames_pass_between_threads() {
        let frame = Frame::from_user("EPSG:32633").unwrap();
        let place = LonLat { lon_deg: 15.3, lat_deg: 47.0 };
        let here = frame.to_xy(place).unwrap();
        let there = std::thread::scope(|s| s.spawn(|| frame.to_xy(place).unwrap()).join().unwrap());
        assert_eq!(here, there);
    }
}
