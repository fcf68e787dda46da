//! MBTiles: a SQLite database of web-map tiles (MBTiles specification 1.3), rows counted from the south.

use super::tile_pyramid::{FINEST_ZOOM, TileAt, TileSpan, TileStore, corners};
use crate::error::{LoadError, LoadErrorKind, Progress};
use rusqlite::config::DbConfig;
use rusqlite::limits::Limit;
use rusqlite::{Connection, ErrorCode, OpenFlags, OptionalExtension, params};
use sparefield_geometry::position::LonLat;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// Steps of SQLite's virtual machine between two looks at how long a question takes.
const STEPS: i32 = 10_000;
/// How many of these one question may take: some seconds. A database may answer slowly on purpose.
const MOST_LOOKS: u32 = 5_000;
/// Most bytes of one tile.
const MOST_TILE_BYTES: i64 = 32 << 20;

/// The largest value that the database may make, bytes: a tile, and room for the row around it.
const LARGEST_VALUE: i32 = 48 << 20;

/// An opened database of tiles.
pub(crate) struct MbTiles {
    path: PathBuf,
    database: Mutex<Connection>,
    zooms: (u8, u8),
}

fn explained(path: &Path, error: &rusqlite::Error) -> LoadError {
    let (kind, problem, remedy) = match error.sqlite_error_code() {
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            (LoadErrorKind::Unreadable, "another program is writing it".to_owned(), "wait for it to end and try again")
        }
        Some(ErrorCode::OperationInterrupted) => (
            LoadErrorKind::Corrupt,
            "looking for a tile takes too long".to_owned(),
            "make the file anew, with an index on its tiles",
        ),
        Some(ErrorCode::TooBig | ErrorCode::OutOfMemory) => {
            (LoadErrorKind::TooLarge, "a value in it is larger than any tile".to_owned(), "make the file anew")
        }
        Some(ErrorCode::NotADatabase | ErrorCode::DatabaseCorrupt) => {
            (LoadErrorKind::Corrupt, "it is damaged".to_owned(), "copy or download the file again")
        }
        _ => (LoadErrorKind::Corrupt, format!("it cannot be read as MBTiles ({error})"), "make the file anew"),
    };
    LoadError::new(path, kind, problem, remedy)
}

/// Opens a database of tiles, and says what it spans.
pub(crate) fn open(path: &Path) -> Result<(MbTiles, TileSpan, String), LoadError> {
    let wrong = |e: rusqlite::Error| explained(path, &e);
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let database = Connection::open_with_flags(path, flags).map_err(wrong)?;
    restrict(&database).map_err(wrong)?;
    guard(&database);
    let text = |name: &str| -> Result<Option<String>, LoadError> {
        let sql = "SELECT CAST(value AS TEXT) FROM metadata WHERE name = ?1 AND length(value) < 65536";
        match database.query_row(sql, params![name], |row| row.get::<_, Option<String>>(0)).optional() {
            Ok(value) => Ok(value.flatten()),
            // The table of remarks may be missing; the tiles may not.
            Err(rusqlite::Error::SqliteFailure(_, Some(message))) if message.contains("no such table") => Ok(None),
            Err(e) => Err(explained(path, &e)),
        }
    };
    let format = text("format")?.unwrap_or_default().to_lowercase();
    if matches!(format.as_str(), "pbf" | "mvt") {
        return Err(LoadError::new(
            path,
            LoadErrorKind::Unsupported,
            "its tiles are lines and areas (vector tiles), not pictures",
            "use a file of PNG, JPEG or WebP tiles",
        ));
    }
    guard(&database);
    let zooms = database
        .query_row("SELECT min(zoom_level), max(zoom_level) FROM tiles", [], |row| {
            Ok((row.get::<_, Option<i64>>(0)?, row.get::<_, Option<i64>>(1)?))
        })
        .map_err(wrong)?;
    let zooms = match zooms {
        (Some(low), Some(high)) if low >= 0 && low <= high && high <= i64::from(FINEST_ZOOM) => (low as u8, high as u8),
        (None, _) | (_, None) => {
            let problem = "it holds no tiles";
            return Err(LoadError::new(path, LoadErrorKind::NothingHere, problem, "make the file anew"));
        }
        (Some(low), Some(high)) => {
            let problem = format!("its zoom levels go from {low} to {high}, not within 0 to {FINEST_ZOOM}");
            return Err(LoadError::new(path, LoadErrorKind::BadValue, problem, "make the file anew"));
        }
    };
    let stated = text("bounds")?.and_then(|t| bounds(&t));
    let bounds = match stated {
        Some(bounds) => bounds,
        // The coarsest tiles reach farthest, and fill what finer zooms leave open.
        None => span(&database, zooms.0).map_err(wrong)?,
    };
    let words = format!("MBTiles, {} tiles", if format.is_empty() { "picture" } else { &format });
    let store = MbTiles { path: path.to_owned(), database: Mutex::new(database), zooms };
    Ok((store, TileSpan { zooms, bounds }, words))
}

/// Lets a view, as which tiles are often written, make no value larger than a tile and call nothing that does harm.
fn restrict(database: &Connection) -> rusqlite::Result<()> {
    database.set_db_config(DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true)?;
    database.set_db_config(DbConfig::SQLITE_DBCONFIG_TRUSTED_SCHEMA, false)?;
    database.set_limit(Limit::SQLITE_LIMIT_LENGTH, LARGEST_VALUE)?;
    database.set_limit(Limit::SQLITE_LIMIT_ATTACHED, 0)?;
    database.pragma_update(None, "cell_size_check", true)
}

/// Interrupts the next question when it takes too long.
fn guard(database: &Connection) {
    let mut looks = 0;
    database.progress_handler(
        STEPS,
        Some(move || {
            looks += 1;
            looks > MOST_LOOKS
        }),
    );
}

/// Bounds as the specification writes them: west, south, east, north in degrees.
fn bounds(text: &str) -> Option<(LonLat, LonLat)> {
    let numbers: Vec<f64> = text.split(',').map(|t| t.trim().parse().ok()).collect::<Option<_>>()?;
    let &[west, south, east, north] = numbers.as_slice() else { return None };
    let sane = (-180.0..=180.0).contains(&west)
        && east > west
        && east <= 180.0
        && (-90.0..=90.0).contains(&south)
        && north > south
        && north <= 90.0;
    sane.then_some((LonLat { lon_deg: west, lat_deg: south }, LonLat { lon_deg: east, lat_deg: north }))
}

/// Bounds of the tiles of a zoom.
fn span(database: &Connection, zoom: u8) -> rusqlite::Result<(LonLat, LonLat)> {
    let sql =
        "SELECT min(tile_column), max(tile_column), min(tile_row), max(tile_row) FROM tiles WHERE zoom_level = ?1";
    guard(database);
    let [west, east, south, north] = database
        .query_row(sql, params![zoom], |row| Ok([row.get::<_, i64>(0)?, row.get(1)?, row.get(2)?, row.get(3)?]))?;
    let last = (1i64 << zoom) - 1;
    let at = |col: i64, row: i64| {
        corners(TileAt { zoom, col: col.clamp(0, last) as u32, row: (last - row).clamp(0, last) as u32 })
    };
    Ok((at(west, south).0, at(east, north).1))
}

impl TileStore for MbTiles {
    fn tile(&self, at: TileAt, _progress: &dyn Progress) -> Result<Option<Vec<u8>>, LoadError> {
        let wrong = |e: rusqlite::Error| explained(&self.path, &e).at(at.to_string());
        let last = (1i64 << at.zoom) - 1;
        let database = self.database.lock().unwrap_or_else(PoisonError::into_inner);
        guard(&database);
        let sql = "SELECT CASE WHEN length(tile_data) <= ?4 THEN tile_data END, length(tile_data) FROM tiles \
                   WHERE zoom_level = ?1 AND tile_column = ?2 AND tile_row = ?3";
        let mut question = database.prepare_cached(sql).map_err(wrong)?;
        let found = question
            .query_row(params![at.zoom, at.col, last - i64::from(at.row), MOST_TILE_BYTES], |row| {
                Ok((row.get::<_, Option<Vec<u8>>>(0)?, row.get::<_, Option<i64>>(1)?))
            })
            .optional()
            .map_err(wrong)?;
        match found {
            Some((None, Some(length))) => Err(LoadError::new(
                &self.path,
                LoadErrorKind::TooLarge,
                format!("it has {} MB, more than any tile", length >> 20),
                "make the file anew",
            )
            .at(at.to_string())),
            Some((bytes, _)) => Ok(bytes.filter(|b| !b.is_empty())),
            None => Ok(None),
        }
    }

    fn any_tile(&self, _progress: &dyn Progress) -> Result<Option<TileAt>, LoadError> {
        let database = self.database.lock().unwrap_or_else(PoisonError::into_inner);
        guard(&database);
        let sql = "SELECT tile_column, tile_row FROM tiles WHERE zoom_level = ?1 AND length(tile_data) > 0 LIMIT 1";
        let zoom = self.zooms.1;
        let last = (1i64 << zoom) - 1;
        let found = database
            .query_row(sql, params![zoom], |row| Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?)))
            .optional()
            .map_err(|e| explained(&self.path, &e))?;
        Ok(found.map(|(col, row)| TileAt {
            zoom,
            col: col.clamp(0, last) as u32,
            row: (last - row.clamp(0, last)) as u32,
        }))
    }
}
