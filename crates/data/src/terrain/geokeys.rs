//! GeoTIFF keys: the reference system, what a pixel is, the vertical unit, and where posts lie.
//!
//! Keys and codes: OGC GeoTIFF Standard 19-008r4 (2019), annexes; and GeoTIFF 1.0 (Ritter and Ruth, 1995) for the
//! codes of UTM projections and transformation methods.

use super::affine::Affine;
use super::tiff_tags::{self as tags, Directory};
use crate::frame::{Crs, FrameError, shown, vertical_unit_m};
use serde_json::{Value, json};
use std::collections::BTreeMap;

const MODEL_TYPE: u16 = 1024;
const RASTER_TYPE: u16 = 1025;
const GEOGRAPHIC_TYPE: u16 = 2048;
const GEODETIC_DATUM: u16 = 2050;
const PRIME_MERIDIAN: u16 = 2051;
const ELLIPSOID: u16 = 2056;
const SEMI_MAJOR: u16 = 2057;
const SEMI_MINOR: u16 = 2058;
const INVERSE_FLATTENING: u16 = 2059;
const PRIME_MERIDIAN_LONGITUDE: u16 = 2061;
const TO_WGS84: u16 = 2062;
const PROJECTED_TYPE: u16 = 3072;
const PROJECTED_CITATION: u16 = 3073;
const PROJECTION: u16 = 3074;
const TRANSFORMATION_METHOD: u16 = 3075;
const LINEAR_UNITS: u16 = 3076;
const VERTICAL_TYPE: u16 = 4096;
const VERTICAL_UNITS: u16 = 4099;
const USER_DEFINED: u64 = 32767;

/// The keys of one directory.
#[derive(Clone, Debug, Default)]
pub(crate) struct GeoKeys {
    numbers: BTreeMap<u16, u64>,
    doubles: BTreeMap<u16, Vec<f64>>,
    texts: BTreeMap<u16, String>,
}

impl GeoKeys {
    /// Reads the keys; what points outside its parameters is left out.
    pub(crate) fn read(directory: &Directory) -> Self {
        let mut keys = Self::default();
        let entries = directory.unsigned(tags::GEO_KEY_DIRECTORY);
        let doubles = directory.floats(tags::GEO_DOUBLE_PARAMS);
        let text = directory.text(tags::GEO_ASCII_PARAMS).unwrap_or_default();
        for entry in entries.get(4..).unwrap_or_default().chunks_exact(4) {
            let (Ok(key), place, count, value) = (u16::try_from(entry[0]), entry[1], entry[2], entry[3]) else {
                continue;
            };
            let range = value as usize..(value as usize).saturating_add(count as usize);
            match place {
                0 => {
                    keys.numbers.insert(key, value);
                }
                34736 => {
                    if let Some(values) = doubles.get(range) {
                        keys.doubles.insert(key, values.to_vec());
                    }
                }
                34737 => {
                    if let Some(part) = text.get(range.start..range.end.min(text.len())) {
                        keys.texts.insert(key, part.trim_end_matches('|').to_owned());
                    }
                }
                _ => {}
            }
        }
        keys
    }

    fn code(&self, key: u16) -> Option<u64> {
        self.numbers.get(&key).copied().filter(|&code| code != 0)
    }
    fn double(&self, key: u16) -> Option<f64> {
        self.doubles.get(&key).and_then(|all| all.first()).copied().filter(|v| v.is_finite())
    }
    /// Whether the file states what a pixel is, and that it is a point.
    pub(crate) fn pixel_is_point(&self) -> bool {
        self.code(RASTER_TYPE) == Some(2)
    }
}

/// What the keys say about the reference system.
#[derive(Debug)]
pub(crate) enum Stated {
    /// Nothing.
    Nothing,
    /// A system, with remarks on what was assumed.
    System(Box<Crs>, Vec<String>),
    /// A system that cannot be used, and why.
    Unusable(String),
}

/// The horizontal reference system of the keys.
pub(crate) fn reference_system(keys: &GeoKeys) -> Stated {
    let found = match (keys.code(PROJECTED_TYPE), keys.code(GEOGRAPHIC_TYPE), keys.code(MODEL_TYPE)) {
        (_, _, Some(3)) => return Stated::Unusable("its coordinates are geocentric".to_owned()),
        (Some(code), _, _) if code != USER_DEFINED => by_code(code),
        (Some(_), _, _) | (None, _, Some(1)) => user_defined_projection(keys),
        (None, Some(code), _) if code != USER_DEFINED => by_code(code),
        (None, Some(_), _) => geographic_base(keys).and_then(|(base, remarks)| match base["code"].as_u64() {
            Some(code) => by_code(code).map(|(crs, _)| (crs, remarks)),
            None => Crs::from_definition(&base.to_string()).map(|crs| (crs, remarks)).map_err(|e| e.to_string()),
        }),
        _ => return Stated::Nothing,
    };
    match found {
        Ok((crs, mut remarks)) => {
            // A unit that contradicts the named system would move the whole file.
            if let (Some(unit), Some(stated)) = (crs.unit_m(), keys.code(LINEAR_UNITS).and_then(linear_unit_m))
                && (unit / stated - 1.0).abs() > 1e-7
            {
                remarks.push(format!(
                    "its linear unit is stated as {stated} m, but {} has {unit} m; the latter was taken",
                    crs.label()
                ));
            }
            Stated::System(Box::new(crs), remarks)
        }
        Err(problem) => Stated::Unusable(problem),
    }
}

type Found = Result<(Crs, Vec<String>), String>;

fn by_code(code: u64) -> Found {
    let code = u32::try_from(code).map_err(|e| e.to_string())?;
    Crs::from_epsg(code).map(|crs| (crs, Vec::new())).map_err(|e| match e {
        FrameError::NotUnderstood { .. } => format!("its reference system code {code} is not known to EPSG"),
        other => other.to_string(),
    })
}

fn linear_unit_m(code: u64) -> Option<f64> {
    match code {
        9001 => Some(1.0),
        9002 => Some(0.3048),
        // US survey foot: 1200/3937 m by definition (EPSG:9003).
        9003 => Some(1200.0 / 3937.0),
        9036 => Some(1000.0),
        _ => None,
    }
}

/// The geographic system under a user-defined one, as PROJJSON.
fn geographic_base(keys: &GeoKeys) -> Result<(Value, Vec<String>), String> {
    let meridian_is_greenwich = keys.code(PRIME_MERIDIAN).is_none_or(|c| c == 8901 || c == USER_DEFINED)
        && keys.double(PRIME_MERIDIAN_LONGITUDE).unwrap_or(0.0) == 0.0;
    if let Some(code) = keys.code(GEOGRAPHIC_TYPE).filter(|&c| c != USER_DEFINED) {
        return Ok((json!({"type": "code", "code": code}), Vec::new()));
    }
    if !meridian_is_greenwich {
        return Err("its user-defined system does not start from Greenwich".to_owned());
    }
    // Datum codes of the usual geographic systems: datum = system + 2000 (EPSG:6326 of 4326, and so on).
    if let Some(datum) = keys.code(GEODETIC_DATUM).filter(|c| (6001..7000).contains(c)) {
        return Ok((json!({"type": "code", "code": datum - 2000}), Vec::new()));
    }
    let shift = keys.doubles.get(&TO_WGS84);
    let shift_is_zero = shift.is_some_and(|all| all.iter().all(|&v| v == 0.0));
    if shift.is_some() && !shift_is_zero {
        return Err("its datum is stated only by a shift to WGS 84".to_owned());
    }
    let (a, inverse_flattening) = match keys.code(ELLIPSOID) {
        Some(7030) => (6_378_137.0, 298.257_223_563),
        Some(7019) => (6_378_137.0, 298.257_222_101),
        _ => {
            let a = keys.double(SEMI_MAJOR).ok_or("its datum and ellipsoid are not stated")?;
            let inverse = match (keys.double(INVERSE_FLATTENING), keys.double(SEMI_MINOR)) {
                (Some(inverse), _) => inverse,
                (None, Some(b)) if a > b => a / (a - b),
                _ => return Err("its ellipsoid is not stated in full".to_owned()),
            };
            (a, inverse)
        }
    };
    let modern = (a - 6_378_137.0).abs() < 1e-3 && (inverse_flattening - 298.2572).abs() < 1e-3;
    if !modern && !shift_is_zero {
        return Err("its datum is not stated, and its ellipsoid is not that of WGS 84 or GRS 80, so positions could be off by hundreds of metres".to_owned());
    }
    // With an unknown datum PROJ takes the two systems as coinciding, which holds to about a metre for those on GRS 80.
    let remark = "its datum is not stated; on this ellipsoid it was taken as that of WGS 84".to_owned();
    let base = json!({
        "type": "GeographicCRS",
        "name": "unknown, on the ellipsoid of the file",
        "datum": {
            "type": "GeodeticReferenceFrame",
            "name": "unknown",
            "ellipsoid": {"name": "of the file", "semi_major_axis": a, "inverse_flattening": inverse_flattening},
        },
        "coordinate_system": {"subtype": "ellipsoidal", "axis": [
            {"name": "Geodetic latitude", "abbreviation": "Lat", "direction": "north", "unit": "degree"},
            {"name": "Geodetic longitude", "abbreviation": "Lon", "direction": "east", "unit": "degree"},
        ]},
    });
    Ok((base, vec![remark]))
}

/// Parameter of a conversion: name and EPSG code, where its value lies among the keys, its default, its unit.
struct Parameter(&'static str, u32, &'static [u16], Option<f64>, &'static str);

const LATITUDE: Parameter = Parameter("Latitude of natural origin", 8801, &[3081, 3089, 3085], Some(0.0), "degree");
const LONGITUDE: Parameter = Parameter("Longitude of natural origin", 8802, &[3080, 3088, 3084], None, "degree");
const SCALE: Parameter = Parameter("Scale factor at natural origin", 8805, &[3092, 3093], Some(1.0), "unity");
const EASTING: Parameter = Parameter("False easting", 8806, &[3082, 3086, 3090], Some(0.0), "metre");
const NORTHING: Parameter = Parameter("False northing", 8807, &[3083, 3087, 3091], Some(0.0), "metre");
const FALSE_LATITUDE: Parameter = Parameter("Latitude of false origin", 8821, &[3085, 3081], None, "degree");
const FALSE_LONGITUDE: Parameter = Parameter("Longitude of false origin", 8822, &[3084, 3080], None, "degree");
const PARALLEL_1: Parameter = Parameter("Latitude of 1st standard parallel", 8823, &[3078], None, "degree");
const PARALLEL_2: Parameter = Parameter("Latitude of 2nd standard parallel", 8824, &[3079], None, "degree");
const FALSE_EASTING: Parameter = Parameter("Easting at false origin", 8826, &[3086, 3082], Some(0.0), "metre");
const FALSE_NORTHING: Parameter = Parameter("Northing at false origin", 8827, &[3087, 3083], Some(0.0), "metre");

fn user_defined_projection(keys: &GeoKeys) -> Found {
    // Esri's writers put the whole system into the citation.
    if let Some(wkt) = keys.texts.get(&PROJECTED_CITATION).and_then(|t| t.split_once("ESRI PE String = ")) {
        return Crs::from_wkt(wkt.1).map(|crs| (crs, Vec::new())).map_err(|e| e.to_string());
    }
    if let Some(stated) = keys.code(LINEAR_UNITS)
        && linear_unit_m(stated) != Some(1.0)
    {
        return Err("its projection is user-defined and not in metres".to_owned());
    }
    let (base, remarks) = geographic_base(keys)?;
    let base_code = (base["type"] == "code").then(|| base["code"].as_u64()).flatten();
    let projection = keys.code(PROJECTION).unwrap_or(USER_DEFINED);
    let utm = match projection {
        16001..=16060 => Some((projection - 16000, false)),
        16101..=16160 => Some((projection - 16100, true)),
        _ => None,
    };
    if let (Some((zone, south)), Some(4326)) = (utm, base_code) {
        return by_code(if south { 32700 } else { 32600 } + zone).map(|(crs, _)| (crs, remarks));
    }
    let conversion = if let Some((zone, south)) = utm {
        let value = |p: &Parameter, v: f64| parameter(p, v);
        json!({"name": format!("UTM zone {zone}{}", if south { "S" } else { "N" }),
            "method": {"name": "Transverse Mercator", "id": {"authority": "EPSG", "code": 9807}},
            "parameters": [value(&LATITUDE, 0.0), value(&LONGITUDE, 6.0 * zone as f64 - 183.0), value(&SCALE, 0.9996),
                value(&EASTING, 500_000.0), value(&NORTHING, if south { 10_000_000.0 } else { 0.0 })]})
    } else if projection == USER_DEFINED {
        let origin: [&Parameter; 5] = [&LATITUDE, &LONGITUDE, &SCALE, &EASTING, &NORTHING];
        let false_origin: [&Parameter; 6] =
            [&FALSE_LATITUDE, &FALSE_LONGITUDE, &PARALLEL_1, &PARALLEL_2, &FALSE_EASTING, &FALSE_NORTHING];
        let (name, code, parameters): (&str, u32, Vec<&Parameter>) = match keys.code(TRANSFORMATION_METHOD) {
            Some(1) => ("Transverse Mercator", 9807, origin.to_vec()),
            Some(8) => ("Lambert Conic Conformal (2SP)", 9802, false_origin.to_vec()),
            Some(9) => ("Lambert Conic Conformal (1SP)", 9801, origin.to_vec()),
            Some(10) => ("Lambert Azimuthal Equal Area", 9820, vec![&LATITUDE, &LONGITUDE, &EASTING, &NORTHING]),
            Some(11) => ("Albers Equal Area", 9822, false_origin.to_vec()),
            Some(other) => {
                return Err(format!("its user-defined projection method {other} is not one that is read here"));
            }
            None => return Err("its projection is user-defined, without a method".to_owned()),
        };
        let mut list = Vec::new();
        for p in parameters {
            let value = p.2.iter().find_map(|&key| keys.double(key)).or(p.3);
            let value = value.ok_or_else(|| format!("its user-defined projection lacks the {}", p.0.to_lowercase()))?;
            list.push(parameter(p, value));
        }
        json!({"name": "of the file", "method": {"name": name, "id": {"authority": "EPSG", "code": code}}, "parameters": list})
    } else {
        return Err(format!(
            "its projection code {projection} without a projected system is not one that is read here"
        ));
    };
    let base = match base_code {
        Some(code) => Crs::base_json(u32::try_from(code).map_err(|e| e.to_string())?).map_err(|e| e.to_string())?,
        None => base,
    };
    let name = keys.texts.get(&1026).map_or("user-defined projection", String::as_str);
    let system = json!({
        "type": "ProjectedCRS", "name": name, "base_crs": base, "conversion": conversion,
        "coordinate_system": {"subtype": "Cartesian", "axis": [
            {"name": "Easting", "abbreviation": "E", "direction": "east", "unit": "metre"},
            {"name": "Northing", "abbreviation": "N", "direction": "north", "unit": "metre"},
        ]},
    });
    Crs::from_definition(&system.to_string()).map(|crs| (crs, remarks)).map_err(|e| e.to_string())
}

fn parameter(p: &Parameter, value: f64) -> Value {
    json!({"name": p.0, "value": value, "unit": p.4, "id": {"authority": "EPSG", "code": p.1}})
}

/// What the keys say about heights.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Heights {
    /// Metres for one unit; 1 where nothing is said.
    Unit(f64),
    /// Heights above the ellipsoid.
    Ellipsoidal,
    /// A unit that is not understood.
    UnknownUnit(u64),
}

/// The vertical unit, and whether heights are above the ellipsoid.
pub(crate) fn heights(keys: &GeoKeys) -> Heights {
    let vertical = keys.code(VERTICAL_TYPE).filter(|&c| c != USER_DEFINED);
    // 5001 to 5033 are GeoTIFF 1.0's codes for heights above an ellipsoid; 4979 is WGS 84 in three dimensions.
    let three_d = keys.code(GEOGRAPHIC_TYPE) == Some(4979);
    if vertical.is_some_and(|c| (5001..=5033).contains(&c) || c == 4979) || (three_d && vertical.is_none()) {
        return Heights::Ellipsoidal;
    }
    match keys.code(VERTICAL_UNITS) {
        Some(code) => linear_unit_m(code).map_or(Heights::UnknownUnit(code), Heights::Unit),
        None => Heights::Unit(vertical.and_then(|c| u32::try_from(c).ok()).and_then(vertical_unit_m).unwrap_or(1.0)),
    }
}

/// The map from posts to coordinates, or what is wrong; `None` when the file is not georeferenced.
pub(crate) fn posts(directory: &Directory, keys: &GeoKeys, cols: usize, rows: usize) -> Option<Result<Affine, String>> {
    let matrix = directory.floats(tags::MODEL_TRANSFORMATION);
    let ties = directory.floats(tags::MODEL_TIE_POINT);
    let scale = directory.floats(tags::MODEL_PIXEL_SCALE);
    let raster = if matrix.len() >= 16 {
        Affine { a: matrix[0], b: matrix[1], c: matrix[3], d: matrix[4], e: matrix[5], f: matrix[7] }
    } else if ties.len() >= 6 && scale.len() >= 2 {
        let (dx, dy) = (scale[0], scale[1]);
        if !(dx > 0.0 && dy > 0.0) {
            return Some(Err(format!("its pixel size {} × {} is not greater than zero", shown(dx), shown(dy))));
        }
        Affine::north_up(ties[3] - ties[0] * dx, ties[4] + ties[1] * dy, dx, dy)
    } else if ties.len() >= 18 {
        let pairs: Vec<_> = ties.chunks_exact(6).map(|t| ((t[0], t[1]), (t[3], t[4]))).collect();
        let Some((fitted, worst)) = Affine::fit(&pairs) else {
            return Some(Err("its tie points lie on one line".to_owned()));
        };
        let pixel = (fitted.a.abs() + fitted.b.abs()).min(fitted.d.abs() + fitted.e.abs());
        if worst > 0.1 * pixel {
            let off = worst / pixel;
            return Some(Err(format!(
                "its {} tie points do not lie on an affine map (up to {off:.1} pixels off)",
                pairs.len()
            )));
        }
        fitted
    } else if matrix.is_empty() && ties.is_empty() && scale.is_empty() {
        return None;
    } else {
        return Some(Err("its tie points and pixel size are incomplete".to_owned()));
    };
    // Raster coordinates count from the corner of the first pixel when a pixel is an area, and from its centre when
    // it is a point: half a pixel, which is 15 m for a 30 m model.
    let posts = if keys.pixel_is_point() { raster } else { raster.resampled(0.5, 0.5, 1.0, 1.0) };
    let far = posts.apply(cols as f64, rows as f64);
    if posts.inverse().is_none() || !(far.0.is_finite() && far.1.is_finite()) {
        return Some(Err("its pixels do not span an area".to_owned()));
    }
    Some(Ok(posts))
}
