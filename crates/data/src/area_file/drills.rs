//! Drill sets and results as rows: a few columns for people and other programs, and the whole as JSON.
//!
//! A set is edited, so its row changes where it differs. A result is only ever added; nothing here deletes one or
//! changes it, but for adding how its circuits come out when they are flown many times.

use super::row::{get_number, get_text};
use crate::area::Swap;
use crate::quantity::format_day;
use crate::vector::record::Notes;
use rusqlite::{Connection, params};
use sparefield_geometry::drill::{DrillResult, DrillSet};
use std::collections::HashSet;

const SETS: &str = "drill_sets";
const RESULTS: &str = "drill_results";

fn json<T: serde::Serialize>(thing: &T) -> rusqlite::Result<String> {
    serde_json::to_string(thing).map_err(|e| rusqlite::Error::ToSqlConversionFailure(Box::new(e)))
}

/// Writes a set that was added, changed or taken away. Says whether anything was written.
pub(super) fn put_set(db: &Connection, swap: &Swap<DrillSet>) -> rusqlite::Result<&'static str> {
    match (&swap.before, &swap.after) {
        (Some(before), None) => {
            db.prepare_cached("DELETE FROM drill_sets WHERE id = ?1")?.execute([&before.id])?;
        }
        (before, Some(after)) => {
            let definition = json(after.as_ref())?;
            let was = before.as_ref().map_or(&after.id, |b| &b.id);
            // The first of that identifier, as it is read. What another program took away meanwhile is written again.
            let sql = "UPDATE drill_sets SET id = ?2, name = ?3, drills = ?4, definition = ?5
                       WHERE fid = (SELECT min(fid) FROM drill_sets WHERE id = ?1)";
            let changed = match before {
                Some(_) => {
                    db.prepare_cached(sql)?.execute(params![was, after.id, after.name, after.drills, definition])?
                }
                None => 0,
            };
            if changed == 0 {
                db.prepare_cached("INSERT INTO drill_sets (id, name, drills, definition) VALUES (?1, ?2, ?3, ?4)")?
                    .execute(params![after.id, after.name, after.drills, definition])?;
            }
        }
        (None, None) => {}
    }
    Ok(SETS)
}

/// Adds a result, unless one of its identifier is there; to that, how its circuits come out, where that was not known.
pub(super) fn add_result(db: &Connection, result: &DrillResult) -> rusqlite::Result<&'static str> {
    let sql = "INSERT INTO drill_results (id, pilot, day, set_id, number, stopped_in_strip, document)
               SELECT ?1, ?2, ?3, ?4, ?5, ?6, ?7 WHERE NOT EXISTS (SELECT 1 FROM drill_results WHERE id = ?1)";
    db.prepare_cached(sql)?.execute(params![
        result.id,
        result.pilot,
        format_day(result.day),
        result.set_id,
        result.number,
        result.stopped_in_strip(),
        json(result)?
    ])?;
    if let Some(robustness) = &result.robustness {
        // Only what belongs to it is added, so that what another program keeps in the document stays.
        let sql = "UPDATE drill_results SET document = json_set(document, '$.robustness', json(?2))
                   WHERE fid = (SELECT min(fid) FROM drill_results WHERE id = ?1)
                     AND json_valid(document) AND json_extract(document, '$.robustness') IS NULL";
        db.prepare_cached(sql)?.execute(params![result.id, json(robustness)?])?;
    }
    Ok(RESULTS)
}

/// Reads every set. A name changed by another program counts.
pub(super) fn sets(db: &Connection, notes: &mut Notes) -> rusqlite::Result<Vec<DrillSet>> {
    let mut statement = db.prepare("SELECT * FROM drill_sets ORDER BY fid")?;
    let mut rows = statement.query([])?;
    let (mut all, mut seen) = (Vec::new(), HashSet::new());
    while let Some(row) = rows.next()? {
        let at = format!("{SETS}, row {}", row.get::<_, i64>("fid")?);
        let (id, name) = (get_text(row, "id")?, get_text(row, "name")?);
        let mut set: DrillSet = match serde_json::from_str(&get_text(row, "definition")?) {
            Ok(set) => set,
            Err(e) => {
                notes.add(
                    "drill sets that cannot be used",
                    at,
                    format!("the drill set “{name}” is not understood ({e}); it stays in the file"),
                );
                continue;
            }
        };
        if id.is_empty() || !seen.insert(id.clone()) {
            notes.add(
                "drill sets that cannot be used",
                at,
                format!("the drill set “{name}” has no identifier of its own; it stays in the file"),
            );
            continue;
        }
        set.id = id;
        set.name = name;
        if let Some(drills) = get_number(row, "drills")?.filter(|n| *n >= 0.0) {
            set.drills = drills as u32;
        }
        if let Err(e) = set.validate() {
            notes.add("drill sets that cannot be flown", at, e.to_string());
        }
        all.push(set);
    }
    Ok(all)
}

/// Reads every result, the first of each identifier.
pub(super) fn results(db: &Connection, notes: &mut Notes) -> rusqlite::Result<Vec<DrillResult>> {
    let mut statement = db.prepare("SELECT fid, document FROM drill_results ORDER BY fid")?;
    let mut rows = statement.query([])?;
    let (mut all, mut seen) = (Vec::new(), HashSet::new());
    while let Some(row) = rows.next()? {
        match serde_json::from_str::<DrillResult>(&get_text(row, "document")?) {
            Ok(result) => {
                if seen.insert(result.id.clone()) {
                    all.push(result);
                }
            }
            Err(e) => {
                let at = format!("{RESULTS}, row {}", row.get::<_, i64>("fid")?);
                let message = format!("the result of a drill is not understood ({e}); it stays in the file");
                notes.add("results of drills that cannot be read", at, message);
            }
        }
    }
    Ok(all)
}
