//! Feature tables of a GeoPackage into records, whoever wrote it.
//!
//! The file is opened for reading only, without views, triggers, functions that a schema might call, or extensions:
//! nothing in it is run. Rows of plain tables are read one after the other.
//!
//! Source: OGC 12-128r19, *GeoPackage Encoding Standard 1.4*.

use super::gpkg_geometry;
use super::record::{Columns, Layer, Notes, Record, Shape, StatedCrs};
use super::source::{LARGEST_FILE, MOST_RECORDS, MOST_VALUES, too_many_records, too_many_values};
use crate::error::{LoadError, LoadErrorKind};
use crate::frame::Crs;
use rusqlite::config::DbConfig;
use rusqlite::limits::Limit;
use rusqlite::types::ValueRef;
use rusqlite::{Connection, OpenFlags, OptionalExtension as _};
use serde_json::{Value, json};
use std::path::Path;

const REMEDY: &str = "save the layer again as GeoPackage";
/// Tables in one file that are read.
const MOST_LAYERS: usize = 256;
/// The largest text or geometry, bytes.
const LARGEST_VALUE: i32 = 64 << 20;
/// What one file may make the database do, in its own steps; 20 000 records take some million.
const MOST_STEPS: u64 = 4_000_000_000;
/// Steps between looks at the counter.
const LOOK_EVERY: i32 = 100_000;

/// Reads every feature table, or the one that is named.
pub(crate) fn read(path: &Path, only: Option<&str>) -> Result<Vec<Layer>, LoadError> {
    let size = std::fs::metadata(path).map_err(|e| LoadError::from_io(path, &e))?.len();
    if size > LARGEST_FILE {
        let problem = format!("it has {} MB, more than the {} that are read", size >> 20, LARGEST_FILE >> 20);
        let remedy = "cut the area you fly in out of it";
        return Err(LoadError::new(path, LoadErrorKind::TooLarge, problem, remedy));
    }
    let database = open(path).map_err(|e| failed(path, &e))?;
    let contents = contents(&database).map_err(|e| failed(path, &e))?;
    let Some(contents) = contents else {
        let problem = "it is a database, but no GeoPackage with feature tables";
        return Err(LoadError::new(path, LoadErrorKind::Unsupported, problem, "name a GeoPackage with a vector layer"));
    };
    let mut layers = Vec::new();
    let mut read_in_all = Read::default();
    let mut refused = Notes::default();
    for table in contents.into_iter().filter(|t| only.is_none_or(|name| name == t.name)).take(MOST_LAYERS) {
        if !table.plain {
            let message = format!("“{}” is no plain table; it was left out", super::columns::shortened(&table.name));
            refused.add("layers that are no tables", "", message);
            continue;
        }
        let crs = reference_system(&database, table.srs).map_err(|e| failed(path, &e))?;
        let layer = rows(path, &database, &table, crs, &mut read_in_all)?;
        layers.push(layer);
    }
    if let Some(first) = layers.first_mut() {
        first.notes.append(refused);
        return Ok(layers);
    }
    let problem = match only {
        Some(name) => format!("it has no layer “{}” that can be read", super::columns::shortened(name)),
        None => "it has no feature table that can be read".to_owned(),
    };
    Err(LoadError::new(path, LoadErrorKind::NothingHere, problem, "name a GeoPackage with a vector layer"))
}

/// Opens a database so that nothing in it can run and nothing is written.
fn open(path: &Path) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let database = Connection::open_with_flags(path, flags)?;
    for (setting, on) in [
        (DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true),
        (DbConfig::SQLITE_DBCONFIG_TRUSTED_SCHEMA, false),
        (DbConfig::SQLITE_DBCONFIG_ENABLE_VIEW, false),
        (DbConfig::SQLITE_DBCONFIG_ENABLE_TRIGGER, false),
    ] {
        database.set_db_config(setting, on)?;
    }
    database.set_limit(Limit::SQLITE_LIMIT_LENGTH, LARGEST_VALUE)?;
    database.set_limit(Limit::SQLITE_LIMIT_ATTACHED, 0)?;
    database.pragma_update(None, "cell_size_check", true)?;
    database.pragma_update(None, "mmap_size", 0)?;
    let mut steps = 0_u64;
    let counter = move || {
        steps += LOOK_EVERY as u64;
        steps > MOST_STEPS
    };
    database.progress_handler(LOOK_EVERY, Some(counter));
    Ok(database)
}

fn failed(path: &Path, error: &rusqlite::Error) -> LoadError {
    use rusqlite::ErrorCode as C;
    let (kind, problem, remedy) = match error.sqlite_error_code() {
        Some(C::NotADatabase) => (LoadErrorKind::Corrupt, "it is not a GeoPackage or is damaged".to_owned(), REMEDY),
        Some(C::OperationInterrupted) => {
            (LoadErrorKind::TooLarge, "reading it takes far longer than its size explains".to_owned(), REMEDY)
        }
        Some(C::TooBig | C::OutOfMemory) => {
            (LoadErrorKind::TooLarge, "a value in it is larger than any field's can be".to_owned(), REMEDY)
        }
        Some(C::CannotOpen | C::PermissionDenied) => {
            (LoadErrorKind::Unreadable, format!("it cannot be opened ({error})"), "check the file's permissions")
        }
        Some(C::DatabaseBusy | C::DatabaseLocked) => {
            (LoadErrorKind::Unreadable, "another program is writing to it".to_owned(), "close it there and try again")
        }
        _ => (LoadErrorKind::Corrupt, format!("it is damaged ({error})"), REMEDY),
    };
    LoadError::new(path, kind, problem, remedy)
}

struct Table {
    name: String,
    geometry: String,
    srs: i32,
    /// Whether it is a table and no view or virtual table, which would run what the file says.
    plain: bool,
}

/// The feature tables that the file lists; `None` where it is no GeoPackage.
fn contents(database: &Connection) -> rusqlite::Result<Option<Vec<Table>>> {
    for needed in ["gpkg_contents", "gpkg_geometry_columns", "gpkg_spatial_ref_sys"] {
        if !is_plain_table(database, needed)? {
            return Ok(None);
        }
    }
    let mut statement = database.prepare(
        "SELECT c.table_name, g.column_name, g.srs_id FROM gpkg_contents c \
         JOIN gpkg_geometry_columns g ON g.table_name = c.table_name \
         WHERE c.data_type = 'features' ORDER BY c.rowid LIMIT 1000",
    )?;
    let found = statement.query_map([], |row| {
        let text =
            |value: ValueRef<'_>| value.as_bytes().map(|b| String::from_utf8_lossy(b).into_owned()).unwrap_or_default();
        let srs = row.get_ref(2)?.as_i64().unwrap_or(-1);
        let srs = i32::try_from(srs).unwrap_or(-1);
        Ok(Table { name: text(row.get_ref(0)?), geometry: text(row.get_ref(1)?), srs, plain: false })
    })?;
    let mut tables = Vec::new();
    for table in found {
        let mut table = table?;
        table.plain = is_plain_table(database, &table.name)?;
        tables.push(table);
    }
    Ok(Some(tables))
}

fn is_plain_table(database: &Connection, name: &str) -> rusqlite::Result<bool> {
    let sql = "SELECT type, sql FROM sqlite_master WHERE name = ?1 COLLATE NOCASE AND type IN ('table', 'view')";
    let found: Option<(String, Option<String>)> =
        database.query_row(sql, [name], |row| Ok((row.get(0)?, row.get(1)?))).optional()?;
    let plain = found.is_some_and(|(kind, sql)| {
        kind == "table" && !sql.unwrap_or_default().to_uppercase().contains("CREATE VIRTUAL")
    });
    // Generated columns are worked out when they are read, by whatever formula the file has.
    let generated = "SELECT count(*) FROM pragma_table_xinfo(?1) WHERE hidden <> 0";
    Ok(plain && database.query_row(generated, [name], |row| row.get::<_, i64>(0))? == 0)
}

/// The reference system of an identifier, by the file's own table.
fn reference_system(database: &Connection, id: i32) -> rusqlite::Result<StatedCrs> {
    if id == -1 || id == 0 {
        return Ok(StatedCrs::Missing("it says that its reference system is not defined"));
    }
    let sql = "SELECT organization, organization_coordsys_id, definition FROM gpkg_spatial_ref_sys WHERE srs_id = ?1";
    let found = database
        .query_row(sql, [id], |row| {
            let text = |at: usize| {
                row.get_ref(at)
                    .map(|v| v.as_bytes().map(|b| String::from_utf8_lossy(b).into_owned()).unwrap_or_default())
            };
            Ok((text(0)?, row.get_ref(1)?.as_i64().unwrap_or(-1), text(2)?))
        })
        .optional()?;
    let Some((organization, code, definition)) = found else {
        return Ok(StatedCrs::Missing("its reference system is not in its own list of systems"));
    };
    let named = format!("{}:{code}", organization.trim().to_uppercase());
    if Crs::from_user(&named).is_ok() {
        return Ok(StatedCrs::Named(named));
    }
    if definition.trim().is_empty() || definition.trim().eq_ignore_ascii_case("undefined") {
        return Ok(StatedCrs::Missing("its reference system is named but not defined"));
    }
    Ok(StatedCrs::Wkt(definition))
}

fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}

/// Columns of a table: name, whether true and false are written as numbers, whether it is the key.
fn described(database: &Connection, table: &str) -> rusqlite::Result<Vec<(String, bool, bool)>> {
    let mut statement = database.prepare("SELECT name, type, pk FROM pragma_table_info(?1)")?;
    let rows = statement.query_map([table], |row| {
        let kind: Option<String> = row.get(1)?;
        Ok((
            row.get::<_, String>(0)?,
            kind.unwrap_or_default().eq_ignore_ascii_case("BOOLEAN"),
            row.get::<_, i64>(2)? > 0,
        ))
    })?;
    rows.collect()
}

/// How much was read of all layers.
#[derive(Default)]
struct Read {
    records: usize,
    values: usize,
}

fn rows(
    path: &Path,
    database: &Connection,
    table: &Table,
    crs: StatedCrs,
    read_in_all: &mut Read,
) -> Result<Layer, LoadError> {
    let failed =
        |e: rusqlite::Error| failed(path, &e).at(format!("layer “{}”", super::columns::shortened(&table.name)));
    let columns = described(database, &table.name).map_err(failed)?;
    let mut statement = database.prepare(&format!("SELECT * FROM {}", quoted(&table.name))).map_err(failed)?;
    let names: Vec<String> = statement.column_names().into_iter().map(str::to_owned).collect();
    let meaning = |name: &str| columns.iter().find(|(n, _, _)| n == name);
    let (booleans, keys): (Vec<bool>, Vec<bool>) =
        names.iter().map(|n| meaning(n).map_or((false, false), |(_, boolean, key)| (*boolean, *key))).unzip();
    let geometry = names.iter().position(|n| n.eq_ignore_ascii_case(&table.geometry));
    let mut notes = Notes::default();
    let mut records = Vec::new();
    let mut rows = statement.query([]).map_err(failed)?;
    let mut number = 0;
    while let Some(row) = rows.next().map_err(failed)? {
        number += 1;
        read_in_all.records += 1;
        if read_in_all.records > MOST_RECORDS {
            return Err(too_many_records(path));
        }
        read_in_all.values += names.len();
        if read_in_all.values > MOST_VALUES {
            return Err(too_many_values(path));
        }
        let mut shape = Shape::Nothing;
        let mut values = Vec::with_capacity(names.len());
        let mut problem = None;
        for (i, name) in names.iter().enumerate() {
            let value = row.get_ref(i).map_err(failed)?;
            if Some(i) == geometry {
                match value {
                    ValueRef::Null => {}
                    ValueRef::Blob(blob) => match gpkg_geometry::decode(blob) {
                        Ok((decoded, _)) => shape = decoded,
                        Err(fault) => problem = Some(fault),
                    },
                    _ => problem = Some("its geometry is no geometry".to_owned()),
                }
            } else if !keys[i] || name.eq_ignore_ascii_case("id") {
                values.push((name.clone(), json_of(value, booleans[i], number, name, &mut notes)));
            }
        }
        if let Some(problem) = problem {
            let message = format!("{problem}; it was left out");
            notes.add("features that cannot be read", format!("record {number}"), message);
            continue;
        }
        records.push(Record { number, id: None, shape, columns: Columns::new(values) });
    }
    Ok(Layer { path: path.to_owned(), name: table.name.clone(), format: "GeoPackage", crs, records, notes })
}

fn json_of(value: ValueRef<'_>, boolean: bool, number: usize, name: &str, notes: &mut Notes) -> Value {
    match value {
        ValueRef::Integer(n) if boolean => json!(n != 0),
        ValueRef::Integer(n) => json!(n),
        ValueRef::Real(v) => json!(v),
        ValueRef::Text(bytes) => {
            let text = String::from_utf8_lossy(bytes);
            if text.contains('\u{fffd}') {
                let message = format!("its column “{}” is not UTF-8 text", super::columns::shortened(name));
                notes.add("texts that are not UTF-8", format!("record {number}"), message);
            }
            json!(text)
        }
        // Pictures and the like say nothing that a field's columns could.
        ValueRef::Null | ValueRef::Blob(_) => Value::Null,
    }
}
