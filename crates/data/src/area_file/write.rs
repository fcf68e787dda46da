//! Edits into rows: only rows and columns that an edit touches are written, so that what others added stays.

use super::blob;
use super::drills;
use super::graves::{Buried, Graves};
use super::known::{EdgeKey, Ends, Known};
use super::layers;
use super::row::{Column, Stored, quoted};
use super::schema;
use super::sorties;
use crate::area::{Change, Edit, Home, Identified, Swap};
use crate::sortie::Sortie;
use rusqlite::types::Value;
use rusqlite::{Connection, OptionalExtension as _, params, params_from_iter};
use sparefield_geometry::drill::{DrillResult, DrillSet};
use sparefield_geometry::fields::model::{BoundaryEdge, Field, HazardShape};
use sparefield_geometry::position::Xy;
use std::collections::{BTreeMap, HashMap};
use std::path::Path;
use std::sync::Arc;

/// The hand that writes: one transaction's view of the file.
pub(super) struct Writer<'a> {
    db: &'a Connection,
    known: &'a mut Known,
    /// What was taken away before.
    graves: &'a Graves,
    /// What this transaction takes away.
    dug: Graves,
    srs_id: i32,
    /// Where the file is, for what is named by its place relative to it.
    path: &'a Path,
    /// Tables written to, with the extent of what was written.
    touched: BTreeMap<&'static str, Option<(Xy, Xy)>>,
}

impl<'a> Writer<'a> {
    pub(super) fn new(
        db: &'a Connection,
        known: &'a mut Known,
        graves: &'a Graves,
        srs_id: i32,
        path: &'a Path,
    ) -> Self {
        Self { db, known, graves, dug: Graves::default(), srs_id, path, touched: BTreeMap::new() }
    }

    /// Writes every change of an edit. The caller holds the transaction.
    pub(super) fn edit(&mut self, edit: &Edit) -> rusqlite::Result<()> {
        self.carry_edges(&edit.changes)?;
        for change in &edit.changes {
            match change {
                Change::Field(swap) => self.swap(swap)?,
                Change::Hazard(swap) => self.swap(swap)?,
                Change::QuietZone(swap) => self.swap(swap)?,
                Change::Proposal(swap) => self.swap(swap)?,
                Change::DrillSet(swap) => self.drill_set(swap)?,
                Change::DrillResult(result) => self.drill_result(result)?,
                Change::Sortie(swap) => self.sortie(swap)?,
                Change::Home(swap) => self.home(swap.after.as_deref())?,
                Change::Title(swap) => {
                    let title = swap.after.as_deref().map_or("", String::as_str);
                    schema::put_meta(self.db, "title", title)?;
                }
                Change::Layers(swap) => {
                    let layers = swap.after.clone().unwrap_or_default();
                    layers::put(self.db, &layers, self.path)?;
                }
            }
        }
        Ok(())
    }

    /// Brings the table of contents up to date, and gives what was taken away. Called last.
    pub(super) fn finish(self) -> rusqlite::Result<Graves> {
        let sql = "UPDATE gpkg_contents SET last_change = strftime('%Y-%m-%dT%H:%M:%fZ','now'),
                   min_x = min(coalesce(min_x, ?2), ?2), min_y = min(coalesce(min_y, ?3), ?3),
                   max_x = max(coalesce(max_x, ?4), ?4), max_y = max(coalesce(max_y, ?5), ?5) WHERE table_name = ?1";
        let dated = "UPDATE gpkg_contents SET last_change = strftime('%Y-%m-%dT%H:%M:%fZ','now') WHERE table_name = ?1";
        for (table, extent) in self.touched {
            match extent {
                Some((low, high)) => {
                    self.db.prepare_cached(sql)?.execute(params![table, low.x, low.y, high.x, high.y])?;
                }
                None => {
                    self.db.prepare_cached(dated)?.execute([table])?;
                }
            }
        }
        Ok(self.dug)
    }

    fn touch(&mut self, table: &'static str, extent: Option<(Xy, Xy)>) {
        let slot = self.touched.entry(table).or_default();
        *slot = match (*slot, extent) {
            (Some((low, high)), Some((l, h))) => {
                Some((Xy::new(low.x.min(l.x), low.y.min(l.y)), Xy::new(high.x.max(h.x), high.y.max(h.y))))
            }
            (a, b) => a.or(b),
        };
    }

    fn swap<T: Stored + Identified + Send + Sync + 'static>(&mut self, swap: &Swap<T>) -> rusqlite::Result<()> {
        let before = swap.before.as_ref();
        let row = match before {
            Some(before) => self.row_of(&**before)?.map(|fid| (before, fid)),
            None => None,
        };
        match (row, swap.after.as_ref()) {
            (Some((before, fid)), Some(after)) => {
                if self.update(&**before, &**after, fid)? {
                    self.belongings(Some(&**before), &**after, fid)?;
                } else {
                    // Another program took the row away meanwhile; what the pilot drew is kept all the same.
                    let fid = self.insert(&**after)?;
                    self.belongings(None, &**after, fid)?;
                    self.known.put_row(T::TABLE, after.id(), fid);
                    return Ok(());
                }
                self.known.drop_row(T::TABLE, before.id(), fid);
                self.known.put_row(T::TABLE, after.id(), fid);
            }
            (None, Some(after)) => {
                let buried = self.dug.of(after).or_else(|| self.graves.of(after)).cloned();
                let fid = self.insert_as(&**after, buried.as_ref())?;
                self.belongings(None, &**after, fid)?;
                self.known.put_row(T::TABLE, after.id(), fid);
            }
            (Some((before, fid)), None) => {
                self.remove(before, fid)?;
                self.known.drop_row(T::TABLE, before.id(), fid);
            }
            (None, None) => {}
        }
        Ok(())
    }

    /// The row of a thing. Of several with one identifier it is the one that lies where the thing lies.
    fn row_of<T: Stored + Identified>(&self, thing: &T) -> rusqlite::Result<Option<i64>> {
        let rows = self.known.rows(T::TABLE, thing.id());
        if rows.len() > 1 {
            let own = blob::encode(&thing.shape(), self.srs_id);
            let sql = format!("SELECT geom FROM {} WHERE fid = ?1", T::TABLE);
            for fid in rows {
                // Another program may have taken the row away meanwhile.
                let geom: Option<Option<Vec<u8>>> =
                    self.db.prepare_cached(&sql)?.query_row([fid], |row| row.get(0)).optional()?;
                if geom.flatten().as_ref() == Some(&own) {
                    return Ok(Some(*fid));
                }
            }
        }
        Ok(rows.first().copied())
    }

    /// Adds a row.
    pub(super) fn insert<T: Stored>(&mut self, thing: &T) -> rusqlite::Result<i64> {
        self.insert_as(thing, None)
    }

    /// Adds a row, as the one that it was before it was taken away.
    fn insert_as<T: Stored>(&mut self, thing: &T, buried: Option<&Buried>) -> rusqlite::Result<i64> {
        let shape = thing.shape();
        let mut columns = vec![("geom", Value::Blob(blob::encode(&shape, self.srs_id)))];
        columns.extend(thing.columns());
        let fid = self.insert_row(T::TABLE, columns, buried)?;
        self.touch(T::TABLE, blob::extent(&shape));
        Ok(fid)
    }

    fn insert_row(&mut self, table: &str, columns: Vec<Column>, buried: Option<&Buried>) -> rusqlite::Result<i64> {
        if let Some(Buried { fid, others }) = buried {
            let number = Value::Integer(*fid);
            let own = columns.iter().map(|(name, value)| ((*name).to_owned(), value));
            let all = own.chain(others.iter().map(|(name, value)| (quoted(name), value)));
            let (names, values): (Vec<String>, Vec<&Value>) =
                std::iter::once(("fid".to_owned(), &number)).chain(all).unzip();
            let marks = vec!["?"; names.len()].join(", ");
            let sql = format!("INSERT INTO {table} ({}) VALUES ({marks})", names.join(", "));
            // Another program may have taken the number or a column meanwhile; then it is a new row.
            match self.db.prepare_cached(&sql).and_then(|mut s| s.execute(params_from_iter(values))) {
                Ok(_) => return Ok(self.db.last_insert_rowid()),
                Err(e) => log::warn!("{table}: what others wrote about a row could not be brought back ({e})"),
            }
        }
        let (names, values): (Vec<&str>, Vec<Value>) = columns.into_iter().unzip();
        let marks = vec!["?"; names.len()].join(", ");
        let sql = format!("INSERT INTO {table} ({}) VALUES ({marks})", names.join(", "));
        self.db.prepare_cached(&sql)?.execute(params_from_iter(values))?;
        Ok(self.db.last_insert_rowid())
    }

    /// Adds a row with all that belongs to it.
    pub(super) fn insert_whole<T: Stored + Identified + Send + Sync + 'static>(
        &mut self,
        thing: &Arc<T>,
    ) -> rusqlite::Result<()> {
        self.swap(&Swap { before: None, after: Some(Arc::clone(thing)) })
    }

    /// Writes the columns that differ. Says whether the row was there.
    fn update<T: Stored>(&mut self, before: &T, after: &T, fid: i64) -> rusqlite::Result<bool> {
        let (old, new) = (before.columns(), after.columns());
        let mut changed: Vec<(&str, Value)> =
            new.into_iter().zip(old).filter(|(n, o)| n != o).map(|(n, _)| n).collect();
        let shape = after.shape();
        if shape == before.shape() {
            self.touch(T::TABLE, None);
        } else {
            changed.push(("geom", Value::Blob(blob::encode(&shape, self.srs_id))));
            self.touch(T::TABLE, blob::extent(&shape));
        }
        // With nothing to change the row is still looked for.
        let sets: Vec<String> = changed.iter().map(|(name, _)| format!("{name} = ?")).collect();
        let sets = if sets.is_empty() { "fid = fid".to_owned() } else { sets.join(", ") };
        let sql = format!("UPDATE {} SET {sets} WHERE fid = ?", T::TABLE);
        let values = changed.into_iter().map(|c| c.1).chain(std::iter::once(Value::Integer(fid)));
        Ok(self.db.prepare_cached(&sql)?.execute(params_from_iter(values))? > 0)
    }

    fn remove<T: Stored + Identified + Send + Sync + 'static>(
        &mut self,
        thing: &Arc<T>,
        fid: i64,
    ) -> rusqlite::Result<()> {
        let own: Vec<&str> = thing.columns().into_iter().map(|c| c.0).collect();
        if let Some(buried) = Buried::read(self.db, T::TABLE, fid, &own)? {
            self.dug.bury(thing, buried);
        }
        self.db.prepare_cached(&format!("DELETE FROM {} WHERE fid = ?1", T::TABLE))?.execute([fid])?;
        self.touch(T::TABLE, None);
        if thing.field().is_some() {
            for table in ["calendar_months", "photographs"] {
                self.clear(table, T::TABLE, fid)?;
            }
        }
        if T::TABLE == Field::TABLE {
            self.sides(&[], &[], fid)?;
        }
        Ok(())
    }

    fn clear(&mut self, table: &'static str, owner: &str, fid: i64) -> rusqlite::Result<()> {
        let sql = format!("DELETE FROM {table} WHERE owner_fid = ?1 AND owner = ?2");
        if self.db.prepare_cached(&sql)?.execute(params![fid, owner])? > 0 {
            self.touch(table, None);
        }
        Ok(())
    }

    /// Months, photographs and sides of a field.
    fn belongings<T: Stored>(&mut self, before: Option<&T>, after: &T, fid: i64) -> rusqlite::Result<()> {
        let Some(new) = after.field() else { return Ok(()) };
        let old = before.and_then(Stored::field);
        if old.map_or([None; 12], |f| f.calendar.months) != new.calendar.months {
            self.clear("calendar_months", T::TABLE, fid)?;
            let sql = "INSERT INTO calendar_months (owner, owner_fid, month, surface) VALUES (?1, ?2, ?3, ?4)";
            let mut statement = self.db.prepare_cached(sql)?;
            for (month, surface) in (1..).zip(new.calendar.months).filter_map(|(m, s)| Some((m, s?))) {
                let month: i32 = month;
                statement.execute(params![T::TABLE, fid, month, surface.words()])?;
            }
            drop(statement);
            self.touch("calendar_months", None);
        }
        if old.map_or(&[][..], |f| &f.remarks.photographs) != new.remarks.photographs {
            self.clear("photographs", T::TABLE, fid)?;
            let sql = "INSERT INTO photographs (owner, owner_fid, number, path) VALUES (?1, ?2, ?3, ?4)";
            let mut statement = self.db.prepare_cached(sql)?;
            for (number, path) in new.remarks.photographs.iter().enumerate() {
                statement.execute(params![T::TABLE, fid, number as i64, path])?;
            }
            drop(statement);
            self.touch("photographs", None);
        }
        let same_sides = old.is_some_and(|f| f.edges == new.edges && f.outer == new.outer);
        if T::TABLE == Field::TABLE && !same_sides {
            self.sides(&new.outer, &new.edges, fid)?;
        }
        Ok(())
    }

    /// Links a field to the rows of what stands on its sides, making those that are new and taking away those that no
    /// field has any more. Sides of which nothing is known have no row.
    fn sides(&mut self, outer: &[Xy], edges: &[BoundaryEdge], field_fid: i64) -> rusqlite::Result<()> {
        let mut linked = Vec::new();
        {
            let mut statement = self.db.prepare_cached("SELECT edge_fid FROM field_sides WHERE field_fid = ?1")?;
            let mut rows = statement.query([field_fid])?;
            while let Some(row) = rows.next()? {
                linked.push(row.get::<_, i64>(0)?);
            }
        }
        self.db.prepare_cached("DELETE FROM field_sides WHERE field_fid = ?1")?.execute([field_fid])?;
        for (side, (&from, &edge)) in outer.iter().zip(edges).enumerate() {
            if edge == BoundaryEdge::UNKNOWN {
                continue;
            }
            let to = outer[(side + 1) % outer.len()];
            let key = EdgeKey::new(Ends::of(from, to), edge);
            let edge_fid = match self.known.edge(&key) {
                Some(fid) => fid,
                None => self.new_edge(from, to, edge, key)?,
            };
            self.db
                .prepare_cached("INSERT INTO field_sides (field_fid, side, edge_fid) VALUES (?1, ?2, ?3)")?
                .execute(params![field_fid, side as i64, edge_fid])?;
        }
        self.touch("field_sides", None);
        linked.sort_unstable();
        linked.dedup();
        for edge_fid in linked {
            self.drop_edge_unless_linked(edge_fid)?;
        }
        Ok(())
    }

    fn new_edge(&mut self, from: Xy, to: Xy, edge: BoundaryEdge, key: EdgeKey) -> rusqlite::Result<i64> {
        let shape = HazardShape::Line(vec![from, to]);
        let columns = vec![
            ("geom", Value::Blob(blob::encode(&shape, self.srs_id))),
            ("kind", Value::Text(edge.kind.words().to_owned())),
            ("height_m", edge.height_m.map_or(Value::Null, Value::Real)),
        ];
        let buried = self.dug.of_edge(&key).or_else(|| self.graves.of_edge(&key)).cloned();
        let fid = self.insert_row("boundary_edges", columns, buried.as_ref())?;
        self.touch("boundary_edges", blob::extent(&shape));
        self.known.put_edge(key, fid);
        Ok(fid)
    }

    fn drop_edge_unless_linked(&mut self, edge_fid: i64) -> rusqlite::Result<()> {
        let linked: bool = self
            .db
            .prepare_cached("SELECT EXISTS (SELECT 1 FROM field_sides WHERE edge_fid = ?1)")?
            .query_row([edge_fid], |row| row.get(0))?;
        if linked {
            return Ok(());
        }
        if let Some(key) = self.known.edge_key(edge_fid)
            && let Some(buried) = Buried::read(self.db, "boundary_edges", edge_fid, &["kind", "height_m"])?
        {
            self.dug.bury_edge(key, buried);
        }
        if self.db.prepare_cached("DELETE FROM boundary_edges WHERE fid = ?1")?.execute([edge_fid])? > 0 {
            self.known.drop_edge(edge_fid);
            self.touch("boundary_edges", None);
        }
        Ok(())
    }

    /// Where something else stands on a side now, or at another height, its row is changed and not replaced, provided
    /// that every field that shares it says the same: what others wrote beside it then stays.
    fn carry_edges(&mut self, changes: &[Change]) -> rusqlite::Result<()> {
        let mut wanted: HashMap<EdgeKey, Vec<(BoundaryEdge, Xy, Xy)>> = HashMap::new();
        for change in changes {
            let Change::Field(Swap { before: Some(before), after: Some(after) }) = change else { continue };
            let old: HashMap<Ends, BoundaryEdge> =
                sides_of(before).map(|(a, b, edge)| (Ends::of(a, b), edge)).collect();
            for (a, b, edge) in sides_of(after) {
                let ends = Ends::of(a, b);
                if let Some(&was) = old.get(&ends)
                    && was != edge
                    && was != BoundaryEdge::UNKNOWN
                    && edge != BoundaryEdge::UNKNOWN
                {
                    wanted.entry(EdgeKey::new(ends, was)).or_default().push((edge, a, b));
                }
            }
        }
        for (key, says) in wanted {
            let (edge, a, b) = says[0];
            let new_key = EdgeKey::new(Ends::of(a, b), edge);
            let (Some(fid), None) = (self.known.edge(&key), self.known.edge(&new_key)) else { continue };
            let links: i64 = self
                .db
                .prepare_cached("SELECT count(*) FROM field_sides WHERE edge_fid = ?1")?
                .query_row([fid], |row| row.get(0))?;
            if links == says.len() as i64 && says.iter().all(|s| s.0 == edge) {
                self.db
                    .prepare_cached("UPDATE boundary_edges SET kind = ?2, height_m = ?3 WHERE fid = ?1")?
                    .execute(params![fid, edge.kind.words(), edge.height_m])?;
                self.known.put_edge(new_key, fid);
                self.touch("boundary_edges", None);
            }
        }
        Ok(())
    }

    /// Writes a drill set that was added, changed or taken away.
    pub(super) fn drill_set(&mut self, swap: &Swap<DrillSet>) -> rusqlite::Result<()> {
        let table = drills::put_set(self.db, swap)?;
        self.touch(table, None);
        Ok(())
    }

    /// Adds the result of a drill.
    pub(super) fn drill_result(&mut self, result: &DrillResult) -> rusqlite::Result<()> {
        let table = drills::add_result(self.db, result)?;
        self.touch(table, None);
        Ok(())
    }

    /// Writes a sortie that was added, changed or taken away.
    pub(super) fn sortie(&mut self, swap: &Swap<Sortie>) -> rusqlite::Result<()> {
        sorties::put(self.db, swap)?;
        for table in sorties::TABLES {
            self.touch(table, None);
        }
        Ok(())
    }

    /// Keeps one setting.
    pub(super) fn setting(&mut self, key: &str, json: &str) -> rusqlite::Result<()> {
        let sql = "INSERT OR REPLACE INTO sparefield_settings (key, value) VALUES (?1, ?2)";
        self.db.prepare_cached(sql)?.execute(params![key, json]).map(|_| ())
    }

    /// Writes the home strip anew; it is one row with a row for each end.
    pub(super) fn home(&mut self, home: Option<&Home>) -> rusqlite::Result<()> {
        self.db.execute_batch("DELETE FROM home; DELETE FROM runway_ends")?;
        self.touch("home", None);
        self.touch("runway_ends", None);
        if let Some(home) = home {
            self.insert(home)?;
            for end in &home.ends {
                self.insert(end)?;
            }
        }
        Ok(())
    }
}

fn sides_of(field: &Field) -> impl Iterator<Item = (Xy, Xy, BoundaryEdge)> + '_ {
    let ring = &field.outer;
    ring.iter().zip(&field.edges).enumerate().map(move |(i, (&a, &edge))| (a, ring[(i + 1) % ring.len()], edge))
}
