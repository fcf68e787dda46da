//! What is drawn under the fields, kept as one setting. Files are named by their place relative to the area's own, so
//! that a folder with all of them can be moved.

use super::backup::folder_of;
use super::terrain_source::relative;
use super::{put_setting, setting};
use crate::imagery::AreaLayers;
use rusqlite::Connection;
use std::path::{Component, Path, PathBuf};

/// The setting that names the layers.
const LAYERS: &str = "layers";

/// Writes them into the file at `path`.
pub(super) fn put(db: &Connection, layers: &AreaLayers, path: &Path) -> rusqlite::Result<()> {
    put_setting(db, LAYERS, &layers.with_files(|file| relative(file, folder_of(path))))
}

/// Reads them from the file at `path`; `None` where none are named or the setting cannot be understood.
pub(super) fn get(db: &Connection, path: &Path) -> rusqlite::Result<Option<AreaLayers>> {
    let kept: Option<AreaLayers> = setting(db, LAYERS)?;
    let folder = folder_of(path);
    let folder = std::fs::canonicalize(folder).unwrap_or_else(|_missing| folder.to_owned());
    Ok(kept.map(|layers| layers.with_files(|file| seen_from(&folder, file)).within_bounds()))
}

/// A file as seen from a folder, without `..` in its name: one name for one file, so that it is known again when it is
/// added once more.
fn seen_from(folder: &Path, file: &Path) -> PathBuf {
    let mut place = folder.to_owned();
    for part in file.components() {
        match part {
            Component::ParentDir => drop(place.pop()),
            Component::CurDir => {}
            // A whole name takes the place of the folder.
            other => place.push(other),
        }
    }
    place
}

/// Whether the setting is there at all.
pub(super) fn are_named(db: &Connection) -> rusqlite::Result<bool> {
    let sql = "SELECT count(*) > 0 FROM sparefield_settings WHERE key = ?1";
    db.query_row(sql, [LAYERS], |row| row.get(0))
}
