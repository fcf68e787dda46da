//! Rows that hold several things: each thing becomes a row of its own, so that it can be edited and taken away alone.

use super::blob;
use super::row::quoted;
use rusqlite::{Connection, params};
use sparefield_geometry::fields::model::HazardShape;

/// A row that holds several things.
#[derive(Debug)]
pub(super) struct Split {
    pub(super) table: &'static str,
    pub(super) fid: i64,
    /// What stays in the row.
    pub(super) first: HazardShape,
    /// The others, each with its identifier.
    pub(super) others: Vec<(String, HazardShape)>,
}

impl Split {
    /// Leaves the first thing in the row, and gives each other one a copy of it. The caller holds the transaction.
    pub(super) fn write(&self, db: &Connection, srs_id: i32) -> rusqlite::Result<()> {
        let Self { table, fid, first, others } = self;
        // Where others demand that a column is different in every row, it stays with the first.
        let sql = "SELECT name FROM pragma_table_info(?1) WHERE name NOT IN ('fid', 'id', 'geom') AND name NOT IN
                   (SELECT column.name FROM pragma_index_list(?1) list, pragma_index_info(list.name) column
                    WHERE list.\"unique\" AND column.name IS NOT NULL)";
        let names =
            db.prepare_cached(sql)?.query_map([table], |row| row.get(0))?.collect::<Result<Vec<String>, _>>()?;
        let names = names.iter().flat_map(|name| [", ".to_owned(), quoted(name)]).collect::<String>();
        let copy = format!("INSERT INTO {table} (id, geom{names}) SELECT ?2, ?3{names} FROM {table} WHERE fid = ?1");
        for (id, shape) in others {
            db.prepare_cached(&copy)?.execute(params![fid, id, blob::encode(shape, srs_id)])?;
            let own = db.last_insert_rowid();
            for (belonging, columns) in [("calendar_months", "month, surface"), ("photographs", "number, path")] {
                let sql = format!(
                    "INSERT INTO {belonging} (owner, owner_fid, {columns}) SELECT owner, ?3, {columns}
                     FROM {belonging} WHERE owner = ?1 AND owner_fid = ?2"
                );
                db.prepare_cached(&sql)?.execute(params![table, fid, own])?;
            }
        }
        let sql = format!("UPDATE {table} SET geom = ?2 WHERE fid = ?1");
        db.prepare_cached(&sql)?.execute(params![fid, blob::encode(first, srs_id)]).map(|_| ())
    }
}
