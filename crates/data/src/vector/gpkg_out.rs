//! GeoPackage out: a feature table for each layer, for exchange with other programs.
//!
//! Source: OGC 12-128r19, *GeoPackage Encoding Standard 1.4*.

use super::export::{ExportLayer, columns_of, not_written, on_globe, plain_text, temporary_beside};
use super::gpkg_geometry;
use super::record::Shape;
use crate::error::LoadError;
use crate::frame::Frame;
use rusqlite::types::Value as Sql;
use rusqlite::{Connection, params, params_from_iter};
use serde_json::Value;
use std::collections::HashSet;
use std::path::{Path, PathBuf};

/// Longitude and latitude on WGS 84.
const SRS: i32 = 4_326;
/// "GPKG" as the standard writes it into the header.
const APPLICATION: i32 = 0x4750_4b47;
/// Version 1.4 of the standard.
const VERSION: i32 = 10_400;
/// A day long ago, so that the same data make the same file.
const CHANGED: &str = "1970-01-01T00:00:00.000Z";

/// Longitude and latitude on WGS 84 as well-known text of OGC 01-009.
const WGS84: &str = "GEOGCS[\"WGS 84\",DATUM[\"WGS_1984\",SPHEROID[\"WGS 84\",6378137,298.257223563,\
                     AUTHORITY[\"EPSG\",\"7030\"]],AUTHORITY[\"EPSG\",\"6326\"]],\
                     PRIMEM[\"Greenwich\",0,AUTHORITY[\"EPSG\",\"8901\"]],\
                     UNIT[\"degree\",0.0174532925199433,AUTHORITY[\"EPSG\",\"9122\"]],\
                     AXIS[\"Latitude\",NORTH],AXIS[\"Longitude\",EAST],AUTHORITY[\"EPSG\",\"4326\"]]";

/// The tables that the standard demands, with the three reference systems that every file has.
const BASE: &str = "
CREATE TABLE gpkg_spatial_ref_sys (
  srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY, organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (
  table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE, description TEXT DEFAULT '',
  last_change DATETIME NOT NULL, min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE,
  srs_id INTEGER REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL,
  z TINYINT NOT NULL, m TINYINT NOT NULL, PRIMARY KEY (table_name, column_name), UNIQUE (table_name),
  FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
  FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
INSERT INTO gpkg_spatial_ref_sys VALUES
  ('Undefined Cartesian', -1, 'NONE', -1, 'undefined', NULL),
  ('Undefined geographic', 0, 'NONE', 0, 'undefined', NULL);
";

pub(crate) fn write(path: &Path, layers: &[ExportLayer], frame: &Frame) -> Result<Vec<PathBuf>, LoadError> {
    let file = temporary_beside(path).map_err(|e| not_written(path, &e))?;
    let shapes: Vec<Vec<Shape>> = layers
        .iter()
        .map(|layer| layer.features.iter().map(|f| on_globe(path, &f.shape, frame)).collect())
        .collect::<Result<_, _>>()?;
    fill(file.path(), layers, &shapes).map_err(|e| not_written(path, &e))?;
    file.as_file().sync_all().map_err(|e| not_written(path, &e))?;
    file.persist(path).map_err(|e| not_written(path, &e.error))?;
    Ok(vec![path.to_owned()])
}

fn fill(file: &Path, layers: &[ExportLayer], shapes: &[Vec<Shape>]) -> rusqlite::Result<()> {
    let mut database = Connection::open(file)?;
    database.pragma_update(None, "application_id", APPLICATION)?;
    database.pragma_update(None, "user_version", VERSION)?;
    let work = database.transaction()?;
    work.execute_batch(BASE)?;
    work.execute(
        "INSERT INTO gpkg_spatial_ref_sys VALUES ('WGS 84', ?1, 'EPSG', 4326, ?2, NULL)",
        params![SRS, WGS84],
    )?;
    let mut used = HashSet::new();
    for (layer, shapes) in layers.iter().zip(shapes) {
        let table = free_name(&layer.name, &mut used);
        write_layer(&work, &table, layer, shapes)?;
    }
    work.commit()?;
    database.close().map_err(|(_, e)| e)
}

/// A table's name: that of the layer, unless it is taken or the database keeps it for itself.
fn free_name(wanted: &str, used: &mut HashSet<String>) -> String {
    let wanted = wanted.trim();
    let lower = wanted.to_lowercase();
    let kept = wanted.is_empty() || ["gpkg_", "sqlite_", "rtree_"].iter().any(|p| lower.starts_with(p));
    let base = if kept { format!("layer_{wanted}") } else { wanted.to_owned() };
    let mut name = base.clone();
    let mut n = 2;
    while !used.insert(name.to_lowercase()) {
        name = format!("{base}_{n}");
        n += 1;
    }
    name
}

fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}

/// The kind that all shapes of a table have.
fn kind_of(shapes: &[Shape]) -> &'static str {
    let kind = |shape: &Shape| match shape {
        Shape::Points(_) => "POINT",
        Shape::Lines(lines) if lines.len() == 1 => "LINESTRING",
        Shape::Polygons(polygons) if polygons.len() == 1 => "POLYGON",
        _ => "GEOMETRY",
    };
    let mut kinds = shapes.iter().map(kind);
    let first = kinds.next().unwrap_or("GEOMETRY");
    if kinds.all(|k| k == first) { first } else { "GEOMETRY" }
}

fn write_layer(work: &Connection, table: &str, layer: &ExportLayer, shapes: &[Shape]) -> rusqlite::Result<()> {
    let columns = columns_of(&layer.features);
    let mut used: HashSet<String> = ["fid", "geom"].into_iter().map(str::to_owned).collect();
    let names: Vec<String> = columns
        .iter()
        .map(|column| {
            let mut name = if column.trim().is_empty() { "column".to_owned() } else { column.clone() };
            while !used.insert(name.to_lowercase()) {
                name.push('_');
            }
            name
        })
        .collect();
    let kinds: Vec<&str> = columns.iter().map(|c| sql_kind(layer, c)).collect();
    let kind = kind_of(shapes);
    let described: String = names.iter().zip(&kinds).map(|(name, kind)| format!(", {} {kind}", quoted(name))).collect();
    let table_name = quoted(table);
    work.execute_batch(&format!(
        "CREATE TABLE {table_name} (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom {kind}{described})"
    ))?;
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for pair in shapes.iter().flat_map(Shape::pairs) {
        for axis in 0..2 {
            low[axis] = low[axis].min(pair[axis]);
            high[axis] = high[axis].max(pair[axis]);
        }
    }
    let bound = |v: f64| v.is_finite().then_some(v);
    work.execute(
        "INSERT INTO gpkg_contents VALUES (?1, 'features', ?1, '', ?2, ?3, ?4, ?5, ?6, ?7)",
        params![table, CHANGED, bound(low[0]), bound(low[1]), bound(high[0]), bound(high[1]), SRS],
    )?;
    work.execute("INSERT INTO gpkg_geometry_columns VALUES (?1, 'geom', ?2, ?3, 0, 0)", params![table, kind, SRS])?;
    let places: String = (0..names.len()).map(|i| format!(", ?{}", i + 2)).collect();
    let listed: String = names.iter().map(|n| format!(", {}", quoted(n))).collect();
    let mut insert = work.prepare(&format!("INSERT INTO {table_name} (geom{listed}) VALUES (?1{places})"))?;
    for (feature, shape) in layer.features.iter().zip(shapes) {
        let mut row = vec![Sql::Blob(gpkg_geometry::encode(shape, SRS))];
        row.extend(columns.iter().zip(&kinds).map(|(column, kind)| {
            let value = feature.properties.iter().find(|(name, _)| name == column).map(|(_, value)| value);
            match value {
                None | Some(Value::Null) => Sql::Null,
                Some(Value::Number(n)) if *kind == "INTEGER" => n.as_i64().map_or(Sql::Null, Sql::Integer),
                Some(Value::Number(n)) if *kind == "REAL" => n.as_f64().map_or(Sql::Null, Sql::Real),
                Some(Value::Bool(b)) if *kind == "BOOLEAN" => Sql::Integer(i64::from(*b)),
                Some(value) => Sql::Text(plain_text(value)),
            }
        }));
        insert.execute(params_from_iter(row))?;
    }
    Ok(())
}

/// The type of a column in which every value is of that type.
fn sql_kind(layer: &ExportLayer, column: &str) -> &'static str {
    let mut values = layer
        .features
        .iter()
        .filter_map(|f| f.properties.iter().find(|(name, _)| name == column).map(|(_, value)| value))
        .filter(|v| !v.is_null())
        .peekable();
    if values.peek().is_none() {
        return "TEXT";
    }
    let all: Vec<&Value> = values.collect();
    if all.iter().all(|v| v.is_i64()) {
        "INTEGER"
    } else if all.iter().all(|v| v.is_number()) {
        "REAL"
    } else if all.iter().all(|v| v.is_boolean()) {
        "BOOLEAN"
    } else {
        "TEXT"
    }
}
