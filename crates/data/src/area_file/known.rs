//! Which row holds which thing, so that an edit finds it without looking through the table.

use super::blob;
use rusqlite::Connection;
use rusqlite::types::ValueRef;
use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind, HazardShape};
use sparefield_geometry::position::Xy;
use std::collections::HashMap;

/// Tables whose rows have identifiers of their own.
pub(super) const WITH_ID: [&str; 4] = ["fields", "proposals", "hazards", "quiet_zones"];

/// Two ends of a side in either order, bit for bit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Ends([u64; 4]);

impl Ends {
    pub(super) fn of(a: Xy, b: Xy) -> Self {
        // Zero has two signs and is one place.
        let bits = |v: f64| (v + 0.0).to_bits();
        let (a, b) = ([bits(a.x), bits(a.y)], [bits(b.x), bits(b.y)]);
        let (first, second) = if a <= b { (a, b) } else { (b, a) };
        Self([first[0], first[1], second[0], second[1]])
    }
    /// The ends of a line of one segment.
    pub(super) fn of_line(line: &[Xy]) -> Option<Self> {
        if let [a, b] = line { Some(Self::of(*a, *b)) } else { None }
    }
}

/// What makes a boundary edge one row: where it stands, what it is, and how high.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct EdgeKey {
    ends: Ends,
    kind: &'static str,
    height: Option<u64>,
}

impl EdgeKey {
    pub(super) fn new(ends: Ends, edge: BoundaryEdge) -> Self {
        Self { ends, kind: edge.kind.words(), height: edge.height_m.map(f64::to_bits) }
    }
}

/// Rows by identifier, and boundary edges by place and content.
#[derive(Debug, Default)]
pub(super) struct Known {
    /// Several rows only where undo brought back an identifier that two things had.
    rows: HashMap<&'static str, HashMap<String, Vec<i64>>>,
    edges: HashMap<EdgeKey, i64>,
    edge_keys: HashMap<i64, EdgeKey>,
}

impl Known {
    /// Looks through the tables.
    pub(super) fn read(db: &Connection) -> rusqlite::Result<Self> {
        let mut known = Self::default();
        for table in WITH_ID {
            let mut statement =
                db.prepare(&format!("SELECT fid, id FROM {table} WHERE id IS NOT NULL ORDER BY fid"))?;
            let mut rows = statement.query([])?;
            while let Some(row) = rows.next()? {
                let id = super::row::get_text(row, "id")?;
                known.rows.entry(table).or_default().entry(id).or_default().push(row.get(0)?);
            }
        }
        let mut statement = db.prepare("SELECT fid, geom, kind, height_m FROM boundary_edges ORDER BY fid")?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let ValueRef::Blob(bytes) = row.get_ref(1)? else { continue };
            if let Ok([HazardShape::Line(line)]) = blob::decode(bytes).as_deref()
                && let Some(ends) = Ends::of_line(line)
            {
                let kind = EdgeKind::from_words(&super::row::get_text(row, "kind")?).unwrap_or(EdgeKind::Unknown);
                let edge = BoundaryEdge { kind, height_m: super::row::get_number(row, "height_m")? };
                let (key, fid) = (EdgeKey::new(ends, edge), row.get(0)?);
                known.edges.entry(key).or_insert(fid);
                known.edge_keys.insert(fid, key);
            }
        }
        Ok(known)
    }

    /// The rows with an identifier.
    pub(super) fn rows(&self, table: &'static str, id: &str) -> &[i64] {
        self.rows.get(table).and_then(|rows| rows.get(id)).map_or(&[], Vec::as_slice)
    }
    pub(super) fn put_row(&mut self, table: &'static str, id: &str, fid: i64) {
        let rows = self.rows.entry(table).or_default().entry(id.to_owned()).or_default();
        if !rows.contains(&fid) {
            rows.push(fid);
        }
    }
    /// Forgets that a row has an identifier.
    pub(super) fn drop_row(&mut self, table: &'static str, id: &str, fid: i64) {
        if let Some(rows) = self.rows.get_mut(table).and_then(|rows| rows.get_mut(id)) {
            rows.retain(|known| *known != fid);
        }
    }
    pub(super) fn edge(&self, key: &EdgeKey) -> Option<i64> {
        self.edges.get(key).copied()
    }
    pub(super) fn edge_key(&self, fid: i64) -> Option<EdgeKey> {
        self.edge_keys.get(&fid).copied()
    }
    pub(super) fn put_edge(&mut self, key: EdgeKey, fid: i64) {
        self.drop_edge(fid);
        self.edges.insert(key, fid);
        self.edge_keys.insert(fid, key);
    }
    pub(super) fn drop_edge(&mut self, fid: i64) {
        if let Some(key) = self.edge_keys.remove(&fid)
            && self.edges.get(&key) == Some(&fid)
        {
            self.edges.remove(&key);
        }
    }
}
