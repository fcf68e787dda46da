//! Opening the database: what is checked before a byte of it is trusted, and how it is set up.

use super::error::{AreaFileError, Trouble, damaged, gone};
use super::schema;
use rusqlite::functions::{Context, FunctionFlags};
use rusqlite::{Connection, OpenFlags};
use std::path::Path;
use std::time::Duration;

/// How long another program's short transaction is waited for.
const PATIENCE: Duration = Duration::from_secs(2);
const SQLITE_MAGIC: &[u8] = b"SQLite format 3\0";

/// Opens an existing file.
pub(super) fn open(path: &Path, writable: bool) -> Result<Connection, AreaFileError> {
    let sqlite = |e: &rusqlite::Error| AreaFileError::from_sqlite(path, e);
    check_magic(path)?;
    let access = if writable { OpenFlags::SQLITE_OPEN_READ_WRITE } else { OpenFlags::SQLITE_OPEN_READ_ONLY };
    let db = Connection::open_with_flags(path, access | OpenFlags::SQLITE_OPEN_NO_MUTEX).map_err(|e| sqlite(&e))?;
    prepare(&db).map_err(|e| sqlite(&e))?;
    Ok(db)
}

/// Makes a new, empty database; fails where a file is.
pub(super) fn make(path: &Path) -> Result<Connection, AreaFileError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let db = Connection::open_with_flags(path, flags).map_err(|e| AreaFileError::from_sqlite(path, &e))?;
    prepare(&db).map_err(|e| AreaFileError::from_sqlite(path, &e))?;
    Ok(db)
}

fn check_magic(path: &Path) -> Result<(), AreaFileError> {
    use std::io::Read as _;
    let mut head = Vec::new();
    let file = std::fs::File::open(path).map_err(|e| AreaFileError::from_io(path, &e))?;
    let meta = file.metadata().map_err(|e| AreaFileError::from_io(path, &e))?;
    if meta.is_dir() {
        return Err(AreaFileError::new(path, Trouble::NotAnArea, "it is a folder", "choose an area file in it"));
    }
    file.take(SQLITE_MAGIC.len() as u64).read_to_end(&mut head).map_err(|e| AreaFileError::from_io(path, &e))?;
    if head.is_empty() {
        return Err(damaged(path, "it is empty"));
    }
    if head != SQLITE_MAGIC {
        let problem = "it is not a GeoPackage, or its first bytes are damaged";
        let remedy = "choose an area file, or restore this one from a copy";
        return Err(AreaFileError::new(path, Trouble::NotAnArea, problem, remedy));
    }
    Ok(())
}

fn prepare(db: &Connection) -> rusqlite::Result<()> {
    db.busy_timeout(PATIENCE)?;
    // Functions named in a file's triggers and views run only where they are harmless.
    db.pragma_update(None, "trusted_schema", false)?;
    db.pragma_update(None, "cell_size_check", true)?;
    db.set_prepared_statement_cache_capacity(128);
    spatial_index_functions(db)
}

/// Sets up safe writing.
///
/// A write-ahead log with `synchronous = FULL`: when a transaction returns it is on the disk, through one wait for the
/// disk. A rollback journal waits some six times: 28 ms against 4 ms on a virtual disk that takes 4 ms for each. Between
/// edits the log is emptied into the file (see [`settle`]) and on closing it is taken away, so that the area is one file
/// again; after a kill the log lies beside it and is taken in when the file is next opened. Where the log cannot be
/// had, as on a network disk, SQLite stays with its journal.
pub(super) fn for_writing(db: &Connection, path: &Path) -> Result<(), AreaFileError> {
    let sqlite = |e: &rusqlite::Error| AreaFileError::from_sqlite(path, e);
    db.pragma_update(None, "synchronous", "FULL").map_err(|e| sqlite(&e))?;
    // A write that changes nothing tells now, and not at the first edit, whether the file can be written.
    db.execute_batch("BEGIN IMMEDIATE; PRAGMA user_version; COMMIT").map_err(|e| sqlite(&e))?;
    let mode: String =
        db.pragma_update_and_check(None, "journal_mode", "WAL", |row| row.get(0)).map_err(|e| sqlite(&e))?;
    log::debug!("{}: written with journal mode {mode}", path.display());
    Ok(())
}

/// Empties the log into the file.
pub(super) fn settle(db: &Connection) -> rusqlite::Result<()> {
    db.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))
}

/// Takes the log away, before the file is closed. While another program has the file open, the log stays with it.
pub(super) fn one_file(db: &Connection, path: &Path) {
    // Nobody else is waited for when the window closes.
    let done = db
        .busy_timeout(Duration::ZERO)
        .and_then(|()| db.pragma_update_and_check(None, "journal_mode", "DELETE", |row| row.get::<_, String>(0)));
    if let Err(e) = done {
        log::warn!("{}: its log stays beside it ({e}); keep the two together", path.display());
    }
}

/// Whether the pages hang together and it is an area of a schema that is known; gives the schema.
pub(super) fn check(db: &Connection, path: &Path) -> Result<u32, AreaFileError> {
    let sqlite = |e: &rusqlite::Error| AreaFileError::from_sqlite(path, e);
    let application: i64 = db.pragma_query_value(None, "application_id", |r| r.get(0)).map_err(|e| sqlite(&e))?;
    let ours = db.table_exists(None, "sparefield_meta").map_err(|e| sqlite(&e))?;
    if !ours {
        let foreign = if application == schema::GEOPACKAGE { "a GeoPackage of another program" } else { "a database" };
        return Err(AreaFileError::new(
            path,
            Trouble::NotAnArea,
            format!("it is {foreign}, not an area file"),
            "open an area and import its layers, saved as GeoJSON or Shapefile, into it",
        ));
    }
    let answer: String = db.query_row("PRAGMA quick_check(1)", [], |row| row.get(0)).map_err(|e| sqlite(&e))?;
    if answer != "ok" {
        return Err(damaged(path, "its content is damaged"));
    }
    let version = schema::meta(db, "schema_version").map_err(|e| sqlite(&e))?;
    match version.as_deref().map(str::trim).and_then(|v| v.parse::<u32>().ok()) {
        Some(version @ 1..=schema::NEWEST) => Ok(version),
        Some(version) if version > schema::NEWEST => Err(AreaFileError::new(
            path,
            Trouble::Newer,
            format!("a newer version of Sparefield wrote it (schema {version}; this one knows {})", schema::NEWEST),
            "open it with that version; it has not been changed",
        )),
        _ => Err(damaged(path, "it does not say which schema it has")),
    }
}

/// What tells a file from every other on this machine, whatever its name; `None` where it is not there.
#[cfg(unix)]
pub(super) fn identity(path: &Path) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt as _;
    std::fs::metadata(path).ok().map(|m| (m.dev(), m.ino()))
}

/// Elsewhere an open file cannot be moved, so that it is there is enough.
#[cfg(not(unix))]
pub(super) fn identity(path: &Path) -> Option<(u64, u64)> {
    path.exists().then_some((0, 0))
}

/// The functions that a GeoPackage's spatial index calls from its triggers (OGC 12-128r19, F.3), so that a layer that
/// another program indexed can still be edited here.
fn spatial_index_functions(db: &Connection) -> rusqlite::Result<()> {
    let flags = FunctionFlags::SQLITE_UTF8 | FunctionFlags::SQLITE_DETERMINISTIC | FunctionFlags::SQLITE_INNOCUOUS;
    let extent = |context: &Context<'_>| -> Option<(f64, f64, f64, f64)> {
        let shapes = super::blob::decode(context.get_raw(0).as_blob().ok()?).ok()?;
        let corners = shapes.iter().filter_map(super::blob::extent);
        let (low, high) = corners.reduce(|(low, high), (l, h)| {
            let low = sparefield_geometry::position::Xy::new(low.x.min(l.x), low.y.min(l.y));
            (low, sparefield_geometry::position::Xy::new(high.x.max(h.x), high.y.max(h.y)))
        })?;
        Some((low.x, high.x, low.y, high.y))
    };
    db.create_scalar_function("ST_MinX", 1, flags, move |c| Ok(extent(c).map(|e| e.0)))?;
    db.create_scalar_function("ST_MaxX", 1, flags, move |c| Ok(extent(c).map(|e| e.1)))?;
    db.create_scalar_function("ST_MinY", 1, flags, move |c| Ok(extent(c).map(|e| e.2)))?;
    db.create_scalar_function("ST_MaxY", 1, flags, move |c| Ok(extent(c).map(|e| e.3)))?;
    db.create_scalar_function("ST_IsEmpty", 1, flags, move |c| Ok(extent(c).is_none()))
}

/// The lock by which one window tells another that it has an area open: a file beside it, held while it is open.
///
/// SQLite's own locks last only as long as a transaction, so that other programs can look at the area meanwhile.
#[derive(Debug)]
pub(super) struct WindowLock {
    file: Option<std::fs::File>,
    path: std::path::PathBuf,
}

impl WindowLock {
    pub(super) fn take(path: &Path) -> Result<Self, AreaFileError> {
        if !path.exists() {
            return Err(gone(path));
        }
        let mut name = path.file_name().unwrap_or_default().to_owned();
        name.push("-open");
        let lock = path.with_file_name(name);
        loop {
            let file = std::fs::OpenOptions::new().create(true).truncate(false).write(true).open(&lock);
            let file = file.map_err(|e| AreaFileError::from_io(path, &e))?;
            match file.try_lock() {
                // A window that closed in between took the file away: a lock on it would keep nobody out.
                Ok(()) if !is_at(&file, &lock) => {}
                Ok(()) => return Ok(Self { file: Some(file), path: lock }),
                Err(std::fs::TryLockError::WouldBlock) => {
                    return Err(AreaFileError::new(
                        path,
                        Trouble::InUse,
                        "it is open in another window of Sparefield",
                        "close it there first, or go on there",
                    ));
                }
                Err(std::fs::TryLockError::Error(e)) => {
                    // Some network disks know no locks; SQLite's own still keep every transaction whole.
                    log::warn!("{}: the file cannot be locked ({e})", lock.display());
                    return Ok(Self { file: Some(file), path: lock });
                }
            }
        }
    }
}

/// Whether an open file is the one that a path leads to.
#[cfg(unix)]
fn is_at(file: &std::fs::File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt as _;
    file.metadata().is_ok_and(|m| Some((m.dev(), m.ino())) == identity(path))
}

/// Elsewhere a file that is open keeps its name.
#[cfg(not(unix))]
fn is_at(_file: &std::fs::File, path: &Path) -> bool {
    path.exists()
}

impl Drop for WindowLock {
    fn drop(&mut self) {
        // Taken away while it is still held, so that nobody locks it in between.
        if let Err(e) = std::fs::remove_file(&self.path) {
            log::warn!("{}: the lock could not be taken away ({e}); it does no harm", self.path.display());
        }
        self.file = None;
    }
}
