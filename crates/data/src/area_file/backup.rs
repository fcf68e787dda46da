//! Whole copies of an area file: before a migration, and where the pilot asks for one.

use super::error::{AreaFileError, exists};
use rusqlite::Connection;
use rusqlite::types::{ToSqlOutput, ValueRef};
use sparefield_geometry::fields::model::Day;
use std::path::{Path, PathBuf};

/// Copies the open database to a new file: written whole beside its place first, then moved there.
///
/// # Errors
/// When the place cannot be written; nothing is left there then.
pub(super) fn copy(from: &Connection, to: &Path, replace: bool) -> Result<(), AreaFileError> {
    if !replace && to.exists() {
        return Err(exists(to));
    }
    let folder = folder_of(to);
    let temporary = tempfile::Builder::new().prefix(".copy-").suffix(".gpkg").tempfile_in(folder);
    let temporary = temporary.map_err(|e| AreaFileError::from_io(to, &e))?;
    // SQLite writes into an empty file, and takes everything that is committed, whatever pages it lies in.
    // A name need not be text: its bytes go to SQLite as they are.
    let name = temporary.path().as_os_str().as_encoded_bytes();
    let name = ToSqlOutput::Borrowed(ValueRef::Text(name));
    from.execute("VACUUM INTO ?1", [name]).map_err(|e| AreaFileError::from_sqlite(to, &e))?;
    temporary.as_file().sync_all().map_err(|e| AreaFileError::from_io(to, &e))?;
    open_to_others(&temporary).map_err(|e| AreaFileError::from_io(to, &e))?;
    let moved = if replace { temporary.persist(to) } else { temporary.persist_noclobber(to) };
    moved.map_err(|e| AreaFileError::from_io(to, &e.error))?;
    Ok(())
}

/// A temporary file is for its owner alone; a copy is for whom any new file is.
#[cfg(unix)]
fn open_to_others(file: &tempfile::NamedTempFile) -> std::io::Result<()> {
    use std::os::unix::fs::PermissionsExt as _;
    file.as_file().set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn open_to_others(_file: &tempfile::NamedTempFile) -> std::io::Result<()> {
    Ok(())
}

pub(super) fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Copies a file of an older schema beside itself: `NAME.backup-v1-20261125.gpkg`.
pub(super) fn before_migration(
    from: &Connection,
    path: &Path,
    version: u32,
    today: Day,
) -> Result<PathBuf, AreaFileError> {
    let (year, month, day) = today.civil();
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let stem = format!("{stem}.backup-v{version}-{year:04}{month:02}{day:02}");
    // An earlier backup is never replaced: this one may be of the better file, but nobody knows.
    let mut number = 1_u32;
    loop {
        let name = if number == 1 { format!("{stem}.gpkg") } else { format!("{stem}-{number}.gpkg") };
        let place = path.with_file_name(name);
        if !place.exists() {
            copy(from, &place, false)?;
            return Ok(place);
        }
        number += 1;
    }
}

/// The newest backup beside a file, by its name.
pub(super) fn newest(path: &Path) -> Option<PathBuf> {
    let start = format!("{}.backup-", path.file_stem()?.to_string_lossy());
    let entries = std::fs::read_dir(folder_of(path)).ok()?;
    let backups = entries.filter_map(Result::ok).filter(|e| e.file_name().to_string_lossy().starts_with(&start));
    backups.filter_map(|e| Some((e.metadata().ok()?.modified().ok()?, e.path()))).max().map(|(_, path)| path)
}
