//! Rows that were taken away while the file is open, kept so that an undone deletion brings back all of them: their
//! numbers, by which tables of others may refer to them, and the columns that others added.

use super::known::EdgeKey;
use crate::area::{Identified, Thing};
use rusqlite::types::Value;
use rusqlite::{Connection, OptionalExtension as _};
use std::collections::HashMap;
use std::sync::Arc;

/// What a row held beside what the program writes.
#[derive(Clone, Debug)]
pub(super) struct Buried {
    /// Its number.
    pub(super) fid: i64,
    /// Columns of others that held something.
    pub(super) others: Vec<(String, Value)>,
}

impl Buried {
    /// Reads what a row holds beside the columns that the program writes.
    pub(super) fn read(db: &Connection, table: &str, fid: i64, own: &[&str]) -> rusqlite::Result<Option<Self>> {
        let mut statement = db.prepare_cached(&format!("SELECT * FROM {table} WHERE fid = ?1"))?;
        statement
            .query_row([fid], |row| {
                let names: Vec<String> = row.as_ref().column_names().into_iter().map(str::to_owned).collect();
                let mut others = Vec::new();
                for (i, name) in names.into_iter().enumerate() {
                    if name == "fid" || name == "geom" || own.contains(&name.as_str()) {
                        continue;
                    }
                    // Text that is not UTF-8 could not be written back as it was.
                    if let Ok(value) = row.get::<_, Value>(i)
                        && value != Value::Null
                    {
                        others.push((name, value));
                    }
                }
                Ok(Self { fid, others })
            })
            .optional()
    }
}

/// Rows taken away.
#[derive(Clone, Debug, Default)]
pub(super) struct Graves {
    /// By kind and identifier; with the very thing, by which it is told from a new one of its name.
    things: HashMap<(&'static str, String), (Thing, Buried)>,
    edges: HashMap<EdgeKey, Buried>,
}

impl Graves {
    /// Keeps what was read of the row of a thing that is taken away.
    pub(super) fn bury<T: Identified + Send + Sync + 'static>(&mut self, thing: &Arc<T>, buried: Buried) {
        self.things.insert((T::WHAT, thing.id().to_owned()), (Thing::of(thing), buried));
    }
    /// What the row of the very same thing held.
    pub(super) fn of<T: Identified + Send + Sync + 'static>(&self, thing: &Arc<T>) -> Option<&Buried> {
        let (gone, buried) = self.things.get(&(T::WHAT, thing.id().to_owned()))?;
        gone.is(thing).then_some(buried)
    }
    pub(super) fn bury_edge(&mut self, key: EdgeKey, buried: Buried) {
        self.edges.insert(key, buried);
    }
    pub(super) fn of_edge(&self, key: &EdgeKey) -> Option<&Buried> {
        self.edges.get(key)
    }
    /// Takes in what a transaction that is now on the disk took away.
    pub(super) fn extend(&mut self, more: Self) {
        self.things.extend(more.things);
        self.edges.extend(more.edges);
    }
}
