//! Sorties as rows, the files of their recorders packed beside them, and the user's word on their exercises.
//!
//! The packed files are read only when a sortie is looked at. The row of a file stays when its sortie is taken away, so
//! that undoing brings it back; what no sortie names is cleared away when the file is next opened for editing.

use super::error::AreaFileError;
use super::row::{get_number, get_text};
use super::{Trouble, connect};
use crate::area::Swap;
use crate::sortie::{ExerciseMark, GivenWind, KeptMeasures, Measured, Original, Sortie};
use crate::track::{HeightChoice, HeightSource};
use crate::vector::record::Notes;
use flate2::Compression;
use flate2::read::{ZlibDecoder, ZlibEncoder};
use rusqlite::{Connection, OptionalExtension as _, params};
use std::collections::{HashMap, HashSet};
use std::io::Read as _;
use std::path::Path;
use std::sync::Arc;

const SORTIES: &str = "sorties";
/// Tables that a sortie is written to.
pub(super) const TABLES: [&str; 3] = [SORTIES, "sortie_originals", "exercise_marks"];
/// The largest original that is unpacked, bytes: more than any track that is read.
const LARGEST: u64 = 512 << 20;

fn json<T: serde::Serialize>(thing: &T) -> rusqlite::Result<String> {
    serde_json::to_string(thing).map_err(|e| rusqlite::Error::ToSqlConversionFailure(Box::new(e)))
}

/// Writes a sortie that was added, changed or taken away.
pub(super) fn put(db: &Connection, swap: &Swap<Sortie>) -> rusqlite::Result<()> {
    let before = swap.before.as_deref();
    let Some(after) = swap.after.as_deref() else {
        if let Some(before) = before {
            db.prepare_cached("DELETE FROM sorties WHERE id = ?1")?.execute([&before.id])?;
            db.prepare_cached("DELETE FROM exercise_marks WHERE sortie = ?1")?.execute([&before.id])?;
        }
        return Ok(());
    };
    let was = before.map_or(&after.id, |b| &b.id);
    let columns = after.columns.as_ref().map(json).transpose()?;
    let values = params![
        was,
        after.id,
        after.name,
        after.aircraft,
        after.pilot,
        after.note,
        after.started.map(|t| t.to_string()),
        after.duration_s,
        after.fixes,
        json(&after.heights)?,
        after.heights_by_user,
        columns,
        after.original.key,
        after.original.file_name,
        after.recording,
        after.wind.as_ref().map(json).transpose()?,
        after.measured.0.as_deref().map(json).transpose()?,
    ];
    let update = "UPDATE sorties SET id = ?2, name = ?3, aircraft = ?4, pilot = ?5, note = ?6, started = ?7,
                  duration_s = ?8, fixes = ?9, heights = ?10, heights_by_user = ?11, columns = ?12, original = ?13,
                  file_name = ?14, recording = ?15, wind_given = ?16, measures = ?17
                  WHERE fid = (SELECT min(fid) FROM sorties WHERE id = ?1)";
    // What another program took away meanwhile is written again.
    let changed = if before.is_some() { db.prepare_cached(update)?.execute(values)? } else { 0 };
    if changed == 0 {
        let insert = "INSERT INTO sorties (id, name, aircraft, pilot, note, started, duration_s, fixes, heights,
                      heights_by_user, columns, original, file_name, recording, wind_given, measures)
                      SELECT ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17 WHERE ?1 IS NOT NULL";
        db.prepare_cached(insert)?.execute(values)?;
    }
    put_original(db, &after.original)?;
    put_marks(db, was, before.map_or(&[], |b| &b.marks), after, changed == 0)
}

/// Packs a file beside its sorties, unless it is there.
fn put_original(db: &Connection, original: &Original) -> rusqlite::Result<()> {
    let Some(bytes) = &original.held else { return Ok(()) };
    let there = "SELECT 1 FROM sortie_originals WHERE key = ?1";
    if db.prepare_cached(there)?.exists([&original.key])? {
        return Ok(());
    }
    let mut packed = Vec::new();
    ZlibEncoder::new(bytes.as_slice(), Compression::default())
        .read_to_end(&mut packed)
        .map_err(|e| rusqlite::Error::ToSqlConversionFailure(Box::new(e)))?;
    db.prepare_cached("INSERT INTO sortie_originals (key, size, packed) VALUES (?1, ?2, ?3)")?
        .execute(params![original.key, bytes.len() as i64, packed])
        .map(|_| ())
}

/// Row by row, so that columns of others stay with the marks that stay.
fn put_marks(
    db: &Connection,
    was: &str,
    before: &[ExerciseMark],
    after: &Sortie,
    is_new: bool,
) -> rusqlite::Result<()> {
    if is_new {
        db.prepare_cached("DELETE FROM exercise_marks WHERE sortie = ?1")?.execute([&after.id])?;
    } else if was != after.id {
        db.prepare_cached("UPDATE exercise_marks SET sortie = ?2 WHERE sortie = ?1")?.execute([was, &after.id])?;
    } else if before == after.marks {
        return Ok(());
    }
    let update = "UPDATE exercise_marks SET kind = ?3, start_s = ?4, end_s = ?5, deleted = ?6, note = ?7
                  WHERE sortie = ?1 AND number = ?2";
    let insert = "INSERT INTO exercise_marks (sortie, number, kind, start_s, end_s, deleted, note)
                  VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)";
    for (number, mark) in after.marks.iter().enumerate() {
        let values = params![after.id, number as i64, mark.kind, mark.start_s, mark.end_s, mark.deleted, mark.note];
        if db.prepare_cached(update)?.execute(values)? == 0 {
            db.prepare_cached(insert)?.execute(values)?;
        }
    }
    let surplus = "DELETE FROM exercise_marks WHERE sortie = ?1 AND number >= ?2";
    db.prepare_cached(surplus)?.execute(params![after.id, after.marks.len() as i64]).map(|_| ())
}

/// Reads every sortie, without the files of their recorders.
pub(super) fn sorties(db: &Connection, notes: &mut Notes) -> rusqlite::Result<Vec<Sortie>> {
    let mut marks = marks(db, notes)?;
    let kept: HashSet<String> = db
        .prepare("SELECT key FROM sortie_originals WHERE key IS NOT NULL")?
        .query_map([], |row| row.get::<_, rusqlite::types::Value>(0))?
        .filter_map(|key| if let Ok(rusqlite::types::Value::Text(key)) = key { Some(key) } else { None })
        .collect();
    let mut statement = db.prepare("SELECT * FROM sorties ORDER BY fid")?;
    let mut rows = statement.query([])?;
    let (mut all, mut seen) = (Vec::new(), HashSet::new());
    while let Some(row) = rows.next()? {
        let at = format!("{SORTIES}, row {}", row.get::<_, i64>("fid")?);
        let (id, name) = (get_text(row, "id")?, get_text(row, "name")?);
        if id.is_empty() || !seen.insert(id.clone()) {
            let message = format!("the sortie “{name}” has no identifier of its own; it stays in the file");
            notes.add("sorties that cannot be used", at, message);
            continue;
        }
        let mut sortie = Sortie { name, marks: marks.remove(&id).unwrap_or_default(), ..Sortie::unknown(id) };
        sortie.aircraft = get_text(row, "aircraft")?;
        sortie.pilot = get_text(row, "pilot")?;
        sortie.note = get_text(row, "note")?;
        sortie.started = get_text(row, "started")?.parse().ok();
        sortie.duration_s = get_number(row, "duration_s")?.filter(|s| *s >= 0.0);
        sortie.fixes = get_number(row, "fixes")?.filter(|n| *n >= 0.0).map_or(0, |n| n as u32);
        let heights = serde_json::from_str::<HeightChoice>(&get_text(row, "heights")?).ok().filter(|heights| {
            let pressure =
                matches!(heights.source, HeightSource::Pressure { qnh_hpa } if qnh_hpa.is_nan() || qnh_hpa <= 0.0);
            heights.offset_m.is_finite() && !pressure
        });
        if let Some(heights) = heights {
            sortie.heights = heights;
        } else {
            let message =
                format!("from where the heights of “{}” count is not understood; choose it again", sortie.name);
            notes.add("sorties without heights", at.clone(), message);
        }
        sortie.heights_by_user = get_number(row, "heights_by_user")?.is_some_and(|n| n != 0.0);
        let columns = get_text(row, "columns")?;
        if !columns.is_empty() {
            sortie.columns = serde_json::from_str(&columns).ok();
        }
        let wind = get_text(row, "wind_given")?;
        if !wind.is_empty() {
            sortie.wind = serde_json::from_str::<GivenWind>(&wind).ok().filter(GivenWind::is_sound);
            if sortie.wind.is_none() {
                let message = format!("the wind that was given for “{}” is not understood; give it again", sortie.name);
                notes.add("sorties without their wind", at.clone(), message);
            }
        }
        // Measures that are not understood are only worked out again.
        sortie.measured =
            Measured(serde_json::from_str::<KeptMeasures>(&get_text(row, "measures")?).ok().map(Arc::new));
        sortie.original.key = get_text(row, "original")?;
        sortie.original.file_name = get_text(row, "file_name")?;
        sortie.recording = get_number(row, "recording")?.filter(|n| *n >= 0.0).map_or(0, |n| n as u32);
        if !kept.contains(&sortie.original.key) {
            let message = format!(
                "the recording of the sortie “{}” is not in the file; add the recorder's file again",
                sortie.name
            );
            notes.add("sorties without a recording", at, message);
        }
        all.push(sortie);
    }
    Ok(all)
}

fn marks(db: &Connection, notes: &mut Notes) -> rusqlite::Result<HashMap<String, Vec<ExerciseMark>>> {
    let mut statement = db.prepare("SELECT * FROM exercise_marks ORDER BY sortie, number, fid")?;
    let mut rows = statement.query([])?;
    let mut all: HashMap<String, Vec<ExerciseMark>> = HashMap::new();
    while let Some(row) = rows.next()? {
        let (start, end) = (get_number(row, "start_s")?, get_number(row, "end_s")?);
        let Some((start_s, end_s)) = start.zip(end).filter(|(start, end)| end >= start) else {
            let at = format!("exercise_marks, row {}", row.get::<_, i64>("fid")?);
            let message = "a mark of an exercise has no beginning and end; it stays in the file";
            notes.add("marks that cannot be used", at, message);
            continue;
        };
        all.entry(get_text(row, "sortie")?).or_default().push(ExerciseMark {
            kind: get_text(row, "kind")?,
            start_s,
            end_s,
            deleted: get_number(row, "deleted")?.is_some_and(|n| n != 0.0),
            note: get_text(row, "note")?,
        });
    }
    Ok(all)
}

/// Clears away files that no sortie names any more. The caller holds the transaction.
pub(super) fn clear_unnamed(db: &Connection) -> rusqlite::Result<()> {
    let unnamed = "DELETE FROM sortie_originals
                   WHERE key NOT IN (SELECT original FROM sorties WHERE original IS NOT NULL)";
    db.execute(unnamed, []).map(|_| ())
}

/// Whether there is any file that no sortie names.
pub(super) fn has_unnamed(db: &Connection) -> rusqlite::Result<bool> {
    let unnamed = "SELECT 1 FROM sortie_originals
                   WHERE key NOT IN (SELECT original FROM sorties WHERE original IS NOT NULL)";
    db.prepare(unnamed)?.exists([])
}

/// The file of a recorder, from the area file at a path.
///
/// # Errors
/// When the area file cannot be read, or that file is not in it or is damaged.
pub fn original(path: &Path, key: &str) -> Result<Vec<u8>, AreaFileError> {
    let missing =
        |problem: &str| AreaFileError::new(path, Trouble::Failed, problem.to_owned(), "add the recorder's file again");
    let db = connect::open(path, false)?;
    let sql = "SELECT packed FROM sortie_originals WHERE key = ?1";
    let packed: Option<Vec<u8>> =
        db.query_row(sql, [key], |row| row.get(0)).optional().map_err(|e| AreaFileError::from_sqlite(path, &e))?;
    let packed = packed.ok_or_else(|| missing("the recording of this sortie is not in it"))?;
    let mut bytes = Vec::new();
    let read = ZlibDecoder::new(packed.as_slice()).take(LARGEST + 1).read_to_end(&mut bytes);
    if read.is_err() || bytes.len() as u64 > LARGEST {
        return Err(missing("the recording of this sortie is damaged in it"));
    }
    Ok(bytes)
}
