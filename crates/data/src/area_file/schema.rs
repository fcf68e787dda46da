//! The tables of an area file, how they are registered as GeoPackage demands, and how an older file is brought up.
//!
//! What comes later (aircraft, winds) gets tables of its own by a further step here; a step never touches a table or
//! column that is not ours.

use crate::frame::Frame;
use proj::Proj;
use proj::wkt::WktVersion;
use rusqlite::{Connection, OptionalExtension as _, params};

/// Application id of a GeoPackage, "GPKG".
pub(super) const GEOPACKAGE: i64 = 0x4750_4B47;

/// The steps from nothing to the present schema: step `n` makes schema `n + 1`.
const STEPS: [&str; 5] = [
    include_str!("schema_v1.sql"),
    include_str!("schema_v2.sql"),
    include_str!("schema_v3.sql"),
    include_str!("schema_v4.sql"),
    include_str!("schema_v5.sql"),
];

/// The schema this program writes.
pub(super) const NEWEST: u32 = STEPS.len() as u32;

/// The first identifier free for reference systems that have no EPSG code.
const OWN_SRS: i32 = 200_001;

/// Tables with geometry: name, geometry type, what a row is.
const FEATURES: [(&str, &str, &str); 9] = [
    ("fields", "POLYGON", "Fields that may take a landing"),
    ("proposals", "POLYGON", "Suggested fields that nobody accepted yet"),
    ("boundary_edges", "LINESTRING", "What stands on the sides of fields; a shared side is one row"),
    ("hazards", "GEOMETRY", "Wires, masts, trees, buildings, woods, water"),
    ("quiet_zones", "POLYGON", "Places not to be overflown low"),
    ("lanes", "LINESTRING", "Lines for orientation"),
    ("home", "POINT", "The home strip"),
    ("runway_ends", "POINT", "Ends of the home strip's runway"),
    ("start_state", "POINT", "A state worth looking at first"),
];

/// Tables without geometry.
const ATTRIBUTES: [(&str, &str); 2] = [
    ("field_sides", "Which boundary edge stands on which side of a field"),
    ("calendar_months", "What is expected to grow on a field in each month"),
];

/// What the standard writes where there is no definition.
const UNDEFINED: &str = "undefined";

/// Methods that well-known text 1 has words for. The library panics when PROJ has none, so the others are not asked
/// for; a reader then goes by the code.
const METHODS_OF_WKT_1: [&str; 9] = [
    "Transverse Mercator",
    "Lambert Conic Conformal (1SP)",
    "Lambert Conic Conformal (2SP)",
    "Lambert Azimuthal Equal Area",
    "Albers Equal Area",
    "Oblique Stereographic",
    "Cassini-Soldner",
    "Hotine Oblique Mercator (variant A)",
    "Hotine Oblique Mercator (variant B)",
];

/// The system as well-known text 1, as the standard's tables hold it.
fn wkt(definition: &str) -> String {
    let text = || {
        let made = Proj::new(definition).ok()?;
        let json: serde_json::Value = serde_json::from_str(&made.to_projjson(Some(false), None, None).ok()?).ok()?;
        let method = json["conversion"]["method"]["name"].as_str();
        let sayable = match json["type"].as_str() {
            Some("GeographicCRS") => true,
            Some("ProjectedCRS") => method.is_some_and(|m| METHODS_OF_WKT_1.contains(&m)),
            _ => false,
        };
        let text = sayable.then(|| made.as_wkt(Some(WktVersion::Wkt1_Gdal), None))?.ok()?;
        Some(text.lines().map(str::trim).collect::<String>())
    };
    text().unwrap_or_else(|| UNDEFINED.to_owned())
}

/// Makes the tables of schema 1, then takes every later step.
pub(super) fn create(db: &Connection, frame: &Frame) -> rusqlite::Result<()> {
    create_v1(db, frame)?;
    migrate(db, 1)
}

/// A file of schema 1; apart so that a test can begin with one.
pub(super) fn create_v1(db: &Connection, frame: &Frame) -> rusqlite::Result<()> {
    db.execute_batch(STEPS[0])?;
    let mut system = db.prepare("INSERT INTO gpkg_spatial_ref_sys VALUES (?1, ?2, ?3, ?4, ?5, ?6)")?;
    // The three rows that every GeoPackage has (OGC 12-128r19, requirement 11).
    let undefined = "undefined reference system";
    system.execute(params!["Undefined cartesian SRS", -1, "NONE", -1, UNDEFINED, format!("cartesian, {undefined}")])?;
    system.execute(params!["Undefined geographic SRS", 0, "NONE", 0, UNDEFINED, format!("geographic, {undefined}")])?;
    let globe = wkt("EPSG:4326");
    let words = "longitude and latitude in degrees";
    system.execute(params!["WGS 84 geodetic", 4326, "EPSG", 4326, globe, words])?;
    let crs = frame.crs();
    let text = wkt(crs.definition());
    let srs_id = srs_id(frame);
    let organization = if crs.epsg().is_some() { "EPSG" } else { "NONE" };
    system.execute(params![
        crs.name(),
        srs_id,
        organization,
        srs_id,
        text,
        "the system in which the area is computed"
    ])?;
    let contents = "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id)
                    VALUES (?1, ?2, ?1, ?3, ?4)";
    let mut contents = db.prepare(contents)?;
    let mut columns = db.prepare("INSERT INTO gpkg_geometry_columns VALUES (?1, 'geom', ?2, ?3, 0, 0)")?;
    for (table, geometry, words) in FEATURES {
        contents.execute(params![table, "features", words, srs_id])?;
        columns.execute(params![table, geometry, srs_id])?;
    }
    for (table, words) in ATTRIBUTES {
        contents.execute(params![table, "attributes", words, None::<i32>])?;
    }
    put_meta(db, "crs", crs.definition())?;
    put_meta(db, "schema_version", "1")
}

/// Takes the steps from a schema to the newest. The caller holds the transaction.
pub(super) fn migrate(db: &Connection, from: u32) -> rusqlite::Result<()> {
    for (number, step) in STEPS.iter().enumerate().skip(from as usize) {
        db.execute_batch(step)?;
        put_meta(db, "schema_version", &(number + 1).to_string())?;
    }
    Ok(())
}

/// The identifier of the frame's reference system in the file.
pub(super) fn srs_id(frame: &Frame) -> i32 {
    frame.epsg().and_then(|code| i32::try_from(code).ok()).unwrap_or(OWN_SRS)
}

pub(super) fn put_meta(db: &Connection, key: &str, value: &str) -> rusqlite::Result<()> {
    db.prepare_cached("INSERT OR REPLACE INTO sparefield_meta (key, value) VALUES (?1, ?2)")?
        .execute(params![key, value])
        .map(|_| ())
}

pub(super) fn meta(db: &Connection, key: &str) -> rusqlite::Result<Option<String>> {
    let found = db.query_row("SELECT value FROM sparefield_meta WHERE key = ?1", [key], |row| row.get(0)).optional()?;
    Ok(found.flatten())
}
