//! The area file: a GeoPackage that holds one area, written by transactions as edits happen.
//!
//! Geometry is in the area's frame, in metres; rings, lines and numbers come back bit for bit. Every table that maps
//! show is a registered layer, so any GIS opens the file. Another program may have it open and write to it meanwhile:
//! rows are found by number, only columns that an edit touches are written, and tables and columns of others stay.
//!
//! # Source
//! OGC 12-128r19, GeoPackage Encoding Standard 1.4. No spatial index is written, which the standard leaves open; where
//! another program made one, its triggers are served.

mod backup;
mod blob;
mod connect;
mod drills;
mod error;
mod graves;
mod known;
mod layers;
#[cfg(test)]
mod loss_tests;
mod read;
mod row;
mod schema;
mod sorties;
mod split;
mod terrain_source;
#[cfg(test)]
mod tests;
mod write;

pub use error::{AreaFileError, Trouble};
pub use sorties::original;
pub use terrain_source::TerrainSource;

use crate::area::Present;
use crate::area::{Area, Edit, Home, Lane, Proposal, Start, Swap};
use crate::error::{Loaded, Progress, Warning};
use crate::frame::{Crs, Frame};
use crate::imagery::AreaLayers;
use crate::sortie::Sortie;
use connect::WindowLock;
use graves::Graves;
use known::Known;
use rusqlite::{Connection, OptionalExtension as _, TransactionBehavior};
use sparefield_geometry::drill::{DrillResult, DrillSet};
use sparefield_geometry::fields::model::{Day, Field, Hazard, QuietZone};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use write::Writer;

/// What an area file holds: an area without its terrain, and which terrain that is.
#[derive(Clone, Debug, PartialEq)]
pub struct AreaParts {
    /// Title for people.
    pub title: String,
    /// The projected frame.
    pub frame: Arc<Frame>,
    /// Fields.
    pub fields: Arc<Vec<Arc<Field>>>,
    /// Suggested fields.
    pub proposals: Arc<Vec<Arc<Proposal>>>,
    /// Hazards.
    pub hazards: Arc<Vec<Arc<Hazard>>>,
    /// Quiet zones.
    pub quiet_zones: Arc<Vec<Arc<QuietZone>>>,
    /// Lines for orientation.
    pub lanes: Arc<Vec<Lane>>,
    /// What is drawn under the fields.
    pub layers: Arc<AreaLayers>,
    /// Home strip, where one is known.
    pub home: Option<Home>,
    /// A state worth looking at first, where one is known.
    pub start: Option<Start>,
    /// Drill sets.
    pub drill_sets: Arc<Vec<Arc<DrillSet>>>,
    /// Results of drills.
    pub drill_results: Arc<Vec<Arc<DrillResult>>>,
    /// Recorded flights; their files stay in the area file until they are asked for.
    pub sorties: Arc<Vec<Arc<Sortie>>>,
    /// Its terrain.
    pub terrain: TerrainSource,
}

impl AreaParts {
    /// What is in it, for comparing with what comes.
    #[must_use]
    pub fn present(&self) -> Present<'_> {
        Present { fields: &self.fields, hazards: &self.hazards, quiet_zones: &self.quiet_zones }
    }
    /// The parts of an area that is open.
    #[must_use]
    pub fn of(area: &Area, terrain: TerrainSource) -> Self {
        Self {
            title: area.title.clone(),
            frame: Arc::clone(&area.frame),
            fields: Arc::clone(&area.fields),
            proposals: Arc::clone(&area.proposals),
            hazards: Arc::clone(&area.hazards),
            quiet_zones: Arc::clone(&area.quiet_zones),
            lanes: Arc::clone(&area.lanes),
            layers: Arc::clone(&area.layers),
            home: area.home.clone(),
            start: area.start.clone(),
            drill_sets: Arc::clone(&area.drill_sets),
            drill_results: Arc::clone(&area.drill_results),
            sorties: Arc::clone(&area.sorties),
            terrain,
        }
    }
}

/// An area file that is open.
#[derive(Debug)]
pub struct AreaFile {
    db: Connection,
    path: PathBuf,
    srs_id: i32,
    /// Which row holds what; `None` until it is needed, and again after a write that failed.
    known: Option<Known>,
    /// Rows taken away since it was opened.
    graves: Graves,
    /// SQLite's count of changes by others, as of the last look.
    version: i64,
    /// Which file it is on its disk, whatever its name.
    identity: Option<(u64, u64)>,
    /// Why nothing can be written, when nothing can.
    read_only: Option<AreaFileError>,
    /// Held while the file is open. After the connection, so that it goes last.
    _lock: Option<WindowLock>,
}

impl AreaFile {
    /// Makes a new file that holds an area: written whole beside its place first, so that nothing half-made is left.
    ///
    /// # Errors
    /// When there is a file of that name already, or the place cannot be written.
    pub fn create(path: &Path, parts: &AreaParts) -> Result<Self, AreaFileError> {
        if path.exists() {
            return Err(error::exists(path));
        }
        let folder = tempfile::Builder::new().prefix(".new-area-").tempdir_in(backup::folder_of(path));
        let folder = folder.map_err(|e| AreaFileError::from_io(path, &e))?;
        let draft = folder.path().join("area.gpkg");
        let db = connect::make(&draft)?;
        let sqlite = |e: &rusqlite::Error| AreaFileError::from_sqlite(path, e);
        fill(&db, parts, path).map_err(|e| sqlite(&e))?;
        db.close().map_err(|(_, e)| sqlite(&e))?;
        // Not over a file that came there meanwhile.
        match std::fs::hard_link(&draft, path) {
            Ok(()) => {}
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => return Err(error::exists(path)),
            // Some disks know no second name for a file.
            Err(_) => std::fs::rename(&draft, path).map_err(|e| AreaFileError::from_io(path, &e))?,
        }
        drop(folder);
        Self::connect(path, &parts.frame)
    }

    /// Opens a file for editing, and reads what it holds.
    ///
    /// A file of an older schema is brought up to the present one, after a backup was laid beside it that has `today`
    /// in its name. A file that may not be written is opened all the same, with a warning; then no edit can be kept.
    ///
    /// # Errors
    /// When it is not an area file, is damaged, was written by a newer version, or is open elsewhere.
    pub fn open(path: &Path, today: Day, progress: &dyn Progress) -> Result<Loaded<(Self, AreaParts)>, AreaFileError> {
        match Self::open_to_write(path, today, progress) {
            Err(problem) if problem.trouble == Trouble::ReadOnly => {
                let loaded = read(path, progress)?;
                let db = connect::open(path, false)?;
                let mut warnings = loaded.warnings;
                warnings.push(Warning { place: String::new(), message: problem.to_string() });
                let srs_id = schema::srs_id(&loaded.value.frame);
                let identity = connect::identity(path);
                let path = path.to_owned();
                let read_only = Some(problem);
                let file = Self {
                    db,
                    path,
                    srs_id,
                    known: None,
                    graves: Graves::default(),
                    version: 0,
                    identity,
                    read_only,
                    _lock: None,
                };
                Ok(Loaded { value: (file, loaded.value), warnings, provenance: loaded.provenance })
            }
            other => other,
        }
    }

    fn open_to_write(
        path: &Path,
        today: Day,
        progress: &dyn Progress,
    ) -> Result<Loaded<(Self, AreaParts)>, AreaFileError> {
        let sqlite = |e: &rusqlite::Error| AreaFileError::from_sqlite(path, e);
        // What it is comes before whether it may be written: a damaged file is not first locked.
        let mut db = connect::open(path, true)?;
        let version = connect::check(&db, path)?;
        let lock = WindowLock::take(path)?;
        connect::for_writing(&db, path)?;
        let mut warnings = Vec::new();
        if version < schema::NEWEST {
            let kept = backup::before_migration(&db, path, version, today)?;
            let migrated = db
                .transaction_with_behavior(TransactionBehavior::Immediate)
                .and_then(|tx| schema::migrate(&tx, version).and_then(|()| tx.commit()));
            migrated.map_err(|e| sqlite(&e))?;
            let message =
                format!("the area file was of an older version; a copy of it as it was is {}", kept.display());
            warnings.push(Warning { place: String::new(), message });
        }
        let (parts, content) = parts(&db, path, progress)?;
        if !(content.new_ids.is_empty() && content.splits.is_empty()) {
            let srs_id = schema::srs_id(&parts.frame);
            let kept = db.transaction_with_behavior(TransactionBehavior::Immediate).and_then(|tx| {
                read::keep_ids(&tx, &content.new_ids)?;
                content.splits.iter().try_for_each(|split| split.write(&tx, srs_id))?;
                tx.commit()
            });
            kept.map_err(|e| sqlite(&e))?;
        }
        if sorties::has_unnamed(&db).map_err(|e| sqlite(&e))? {
            let cleared = db
                .transaction_with_behavior(TransactionBehavior::Immediate)
                .and_then(|tx| sorties::clear_unnamed(&tx).and_then(|()| tx.commit()));
            cleared.map_err(|e| sqlite(&e))?;
        }
        warnings.extend(content.warnings);
        let (srs_id, identity) = (schema::srs_id(&parts.frame), connect::identity(path));
        let path = path.to_owned();
        let mut file = Self {
            db,
            path,
            srs_id,
            known: None,
            graves: Graves::default(),
            version: 0,
            identity,
            read_only: None,
            _lock: Some(lock),
        };
        file.version = file.changes_by_others().map_err(|e| AreaFileError::from_sqlite(&file.path, &e))?;
        let provenance = vec![format!("{}: area file (GeoPackage), {}", file.path.display(), parts.frame.name())];
        Ok(Loaded { value: (file, parts), warnings, provenance })
    }

    fn connect(path: &Path, frame: &Frame) -> Result<Self, AreaFileError> {
        let lock = WindowLock::take(path)?;
        let db = connect::open(path, true)?;
        connect::for_writing(&db, path)?;
        let (srs_id, identity) = (schema::srs_id(frame), connect::identity(path));
        let path = path.to_owned();
        let mut file = Self {
            db,
            path,
            srs_id,
            known: None,
            graves: Graves::default(),
            version: 0,
            identity,
            read_only: None,
            _lock: Some(lock),
        };
        file.version = file.changes_by_others().map_err(|e| AreaFileError::from_sqlite(&file.path, &e))?;
        Ok(file)
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Why no edit can be kept, when none can.
    #[must_use]
    pub fn read_only(&self) -> Option<&AreaFileError> {
        self.read_only.as_ref()
    }

    /// Writes one edit, whole or not at all; when this returns it is on the disk.
    ///
    /// # Errors
    /// When it could not be written; the file is then as before, and the same edit can be tried again.
    pub fn write(&mut self, edit: &Edit) -> Result<(), AreaFileError> {
        self.transact(|writer| writer.edit(edit))
    }

    /// Brings everything written so far into the one file, which can then be copied by other programs. Called when
    /// nothing was written for a moment.
    ///
    /// # Errors
    /// When the disk refuses; what was written is kept all the same, in the log beside the file.
    pub fn settle(&mut self) -> Result<(), AreaFileError> {
        connect::settle(&self.db).map_err(|e| AreaFileError::from_sqlite(&self.path, &e))
    }

    /// Reads one setting; `None` where there is none or it is not what is asked for.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn setting<T: serde::de::DeserializeOwned>(&self, key: &str) -> Result<Option<T>, AreaFileError> {
        setting(&self.db, key).map_err(|e| AreaFileError::from_sqlite(&self.path, &e))
    }

    /// Keeps one setting.
    ///
    /// # Errors
    /// As [`Self::write`]; also for a value that JSON cannot hold.
    pub fn put_setting<T: serde::Serialize>(&mut self, key: &str, value: &T) -> Result<(), AreaFileError> {
        let json = serde_json::to_string(value).map_err(|e| {
            let problem = format!("the setting “{key}” cannot be written ({e})");
            AreaFileError::new(&self.path, Trouble::Failed, problem, "report this")
        })?;
        self.transact(|writer| writer.setting(key, &json))
    }

    /// Names other terrain files for the area.
    ///
    /// # Errors
    /// As [`Self::write`].
    pub fn put_terrain(&mut self, terrain: &TerrainSource) -> Result<(), AreaFileError> {
        let written = terrain.relative_to(&self.path);
        self.put_setting(TERRAIN, &written)
    }

    /// Saves a copy under another name, with all tables of others; never over another file unless `replace` says so.
    ///
    /// # Errors
    /// When the place cannot be written; nothing is changed there then.
    pub fn save_copy(&self, to: &Path, replace: bool) -> Result<(), AreaFileError> {
        copy_of(&self.db, &self.path, to, replace)
    }

    fn transact(&mut self, act: impl FnOnce(&mut Writer<'_>) -> rusqlite::Result<()>) -> Result<(), AreaFileError> {
        if let Some(why) = &self.read_only {
            return Err(AreaFileError::new(&why.path, why.trouble, &why.problem, &why.remedy));
        }
        // A log would be written beside the old name, and nobody would look for it there.
        if connect::identity(&self.path) != self.identity {
            return Err(error::gone(&self.path));
        }
        self.try_transact(act).map_err(|e| AreaFileError::from_sqlite(&self.path, &e))
    }

    fn try_transact(&mut self, act: impl FnOnce(&mut Writer<'_>) -> rusqlite::Result<()>) -> rusqlite::Result<()> {
        let others = self.changes_by_others()?;
        let known = self.known.take().filter(|_| others == self.version);
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
        // From here on nobody else can write, so what is looked up stays true.
        let seen = tx.pragma_query_value(None, "data_version", |row| row.get(0))?;
        let mut known = match known.filter(|_| seen == others) {
            Some(known) => known,
            None => Known::read(&tx)?,
        };
        let mut writer = Writer::new(&tx, &mut known, &self.graves, self.srs_id, &self.path);
        act(&mut writer)?;
        let dug = writer.finish()?;
        tx.commit()?;
        self.graves.extend(dug);
        self.version = seen;
        // After a failure what is known is read anew, since it may tell of rows that were rolled back.
        self.known = Some(known);
        Ok(())
    }

    fn changes_by_others(&self) -> rusqlite::Result<i64> {
        self.db.pragma_query_value(None, "data_version", |row| row.get(0))
    }
}

impl Drop for AreaFile {
    fn drop(&mut self) {
        if self.read_only.is_none() {
            connect::one_file(&self.db, &self.path);
        }
    }
}

/// The setting that names the terrain.
const TERRAIN: &str = "terrain";

fn setting<T: serde::de::DeserializeOwned>(db: &Connection, key: &str) -> rusqlite::Result<Option<T>> {
    let sql = "SELECT value FROM sparefield_settings WHERE key = ?1";
    let text: Option<Option<String>> = db.query_row(sql, [key], |row| row.get(0)).optional()?;
    Ok(text.flatten().and_then(|text| serde_json::from_str(&text).ok()))
}

fn put_setting<T: serde::Serialize>(db: &Connection, key: &str, value: &T) -> rusqlite::Result<()> {
    let json = serde_json::to_string(value).map_err(|e| rusqlite::Error::ToSqlConversionFailure(Box::new(e)))?;
    let sql = "INSERT OR REPLACE INTO sparefield_settings (key, value) VALUES (?1, ?2)";
    db.execute(sql, rusqlite::params![key, json]).map(|_| ())
}

/// Everything of a new file, in one transaction.
fn fill(db: &Connection, parts: &AreaParts, path: &Path) -> rusqlite::Result<()> {
    // The pragmas of the schema take effect outside of a transaction only where they come first.
    db.pragma_update(None, "synchronous", "FULL")?;
    let tx = db.unchecked_transaction()?;
    schema::create(&tx, &parts.frame)?;
    // An identifier of its own, by which two copies of one area are known to belong together.
    tx.execute("INSERT INTO sparefield_meta VALUES ('area_id', lower(hex(randomblob(16))))", [])?;
    schema::put_meta(&tx, "program_version", env!("CARGO_PKG_VERSION"))?;
    schema::put_meta(&tx, "title", &parts.title)?;
    put_setting(&tx, TERRAIN, &parts.terrain.relative_to(path))?;
    layers::put(&tx, &parts.layers, path)?;
    let (mut known, graves) = (Known::default(), Graves::default());
    let mut writer = Writer::new(&tx, &mut known, &graves, schema::srs_id(&parts.frame), path);
    parts.fields.iter().try_for_each(|field| writer.insert_whole(field))?;
    parts.proposals.iter().try_for_each(|proposal| writer.insert_whole(proposal))?;
    parts.hazards.iter().try_for_each(|hazard| writer.insert_whole(hazard))?;
    parts.quiet_zones.iter().try_for_each(|zone| writer.insert_whole(zone))?;
    parts.lanes.iter().try_for_each(|lane| writer.insert(lane).map(|_| ()))?;
    writer.home(parts.home.as_ref())?;
    parts.start.iter().try_for_each(|start| writer.insert(start).map(|_| ()))?;
    for set in parts.drill_sets.iter() {
        writer.drill_set(&Swap { before: None, after: Some(Arc::clone(set)) })?;
    }
    parts.drill_results.iter().try_for_each(|result| writer.drill_result(result))?;
    for sortie in parts.sorties.iter() {
        writer.sortie(&Swap { before: None, after: Some(Arc::clone(sortie)) })?;
    }
    writer.finish()?;
    tx.commit()
}

/// Says what a file is that is no area file of a schema known here, or is damaged.
///
/// # Errors
/// As [`read`].
pub fn check(path: &Path) -> Result<(), AreaFileError> {
    connect::check(&connect::open(path, false)?, path).map(|_| ())
}

/// Copies an area file under another name, with all tables of others, and changes nothing in it; never over another file.
///
/// # Errors
/// When it is no area file, or the place cannot be written; nothing is changed there then.
pub fn copy(path: &Path, to: &Path) -> Result<(), AreaFileError> {
    let db = connect::open(path, false)?;
    connect::check(&db, path)?;
    copy_of(&db, path, to, false)
}

fn copy_of(db: &Connection, path: &Path, to: &Path, replace: bool) -> Result<(), AreaFileError> {
    if std::fs::canonicalize(to).is_ok_and(|to| std::fs::canonicalize(path).is_ok_and(|own| own == to)) {
        return Err(error::exists(to));
    }
    let terrain: Option<TerrainSource> = setting(db, TERRAIN).map_err(|e| AreaFileError::from_sqlite(path, &e))?;
    let terrain = terrain.unwrap_or_default();
    let drawn = layers::get(db, path).map_err(|e| AreaFileError::from_sqlite(path, &e))?;
    backup::copy(db, to, replace)?;
    // Seen from there the terrain and the images lie elsewhere.
    let written = terrain.resolved_at(path).relative_to(to);
    let drawn = drawn.filter(|drawn| !drawn.list.is_empty());
    if written != terrain || drawn.is_some() {
        let sqlite = |e: &rusqlite::Error| AreaFileError::from_sqlite(to, e);
        let db = connect::open(to, true)?;
        put_setting(&db, TERRAIN, &written).map_err(|e| sqlite(&e))?;
        drawn.iter().try_for_each(|drawn| layers::put(&db, drawn, to)).map_err(|e| sqlite(&e))?;
        db.close().map_err(|(_, e)| sqlite(&e))?;
    }
    Ok(())
}

/// Reads an area file without changing anything. One of an older schema is read by way of a copy.
///
/// # Errors
/// As [`AreaFile::open`], except that it may be open elsewhere.
pub fn read(path: &Path, progress: &dyn Progress) -> Result<Loaded<AreaParts>, AreaFileError> {
    let sqlite = |e: &rusqlite::Error| AreaFileError::from_sqlite(path, e);
    let mut db = connect::open(path, false)?;
    let version = connect::check(&db, path)?;
    let copy;
    if version < schema::NEWEST {
        copy = tempfile::tempdir().map_err(|e| AreaFileError::from_io(path, &e))?;
        let place = copy.path().join("area.gpkg");
        backup::copy(&db, &place, false)?;
        db = connect::open(&place, true)?;
        schema::migrate(&db, version).map_err(|e| sqlite(&e))?;
    }
    let (parts, content) = parts(&db, path, progress)?;
    let provenance = vec![format!("{}: area file (GeoPackage), {}", path.display(), parts.frame.name())];
    Ok(Loaded { value: parts, warnings: content.warnings, provenance })
}

/// The same things, shared; nothing is left behind.
fn shared<T>(all: &mut Vec<T>) -> Arc<Vec<Arc<T>>> {
    Arc::new(std::mem::take(all).into_iter().map(Arc::new).collect())
}

fn parts(db: &Connection, path: &Path, progress: &dyn Progress) -> Result<(AreaParts, read::Content), AreaFileError> {
    let sqlite = |e: &rusqlite::Error| AreaFileError::from_sqlite(path, e);
    if progress.cancelled() {
        return Err(AreaFileError::new(path, Trouble::Cancelled, "opening it was stopped", "open it again"));
    }
    let definition = schema::meta(db, "crs").map_err(|e| sqlite(&e))?.unwrap_or_default();
    let frame = Crs::from_user(&definition).and_then(Frame::from_crs);
    let frame = frame.map_err(|e| error::damaged(path, &format!("its reference system cannot be used: {e}")))?;
    let title = schema::meta(db, "title").map_err(|e| sqlite(&e))?.unwrap_or_default();
    let terrain: Option<TerrainSource> = setting(db, TERRAIN).map_err(|e| sqlite(&e))?;
    let mut content = read::content(db).map_err(|e| sqlite(&e))?;
    let drawn = layers::get(db, path).map_err(|e| sqlite(&e))?;
    if drawn.is_none() && layers::are_named(db).map_err(|e| sqlite(&e))? {
        let message = "the list of images and other layers cannot be read, so none is shown; add them again".to_owned();
        content.warnings.push(Warning { place: path.display().to_string(), message });
    }
    let parts = AreaParts {
        title,
        frame: Arc::new(frame),
        fields: shared(&mut content.fields),
        proposals: shared(&mut content.proposals),
        hazards: shared(&mut content.hazards),
        quiet_zones: shared(&mut content.quiet_zones),
        lanes: Arc::new(std::mem::take(&mut content.lanes)),
        layers: Arc::new(drawn.unwrap_or_default()),
        home: content.home.take(),
        start: content.start.take(),
        drill_sets: shared(&mut content.drill_sets),
        drill_results: shared(&mut content.drill_results),
        sorties: shared(&mut content.sorties),
        terrain: terrain.unwrap_or_default().resolved_at(path),
    };
    Ok((parts, content))
}
