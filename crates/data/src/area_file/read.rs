//! Rows into the things of an area. Another program may have changed any of them, so nothing is taken for granted: what
//! cannot be used costs its row, stays in the file, and is told.

use super::drills;
use super::known::{Ends, WITH_ID};
use super::row::{area, edges_of, get_number, get_shapes, get_text, is_height, poles_of};
use super::sorties;
use super::split::Split;
use crate::area::{Home, Lane, LaneKind, Proposal, RunwayEnd, Start};
use crate::error::Warning;
use crate::quantity::{ReportedWind, parse_day};
use crate::sortie::Sortie;
use crate::vector::record::Notes;
use crate::vector::ring::{Ring, clean_polygon};
use crate::vector::{EdgeLine, match_edges};
use rusqlite::{Connection, Row};
use sparefield_geometry::drill::{DrillResult, DrillSet};
use sparefield_geometry::fields::model::{
    BoundaryEdge, Calendar, Day, EdgeKind, Field, Hazard, HazardKind, HazardShape, QuietKind, QuietZone, Remarks,
    Stock, Surface, ring_area,
};
use sparefield_geometry::position::{Bearing, Xy};
use std::collections::{HashMap, HashSet};

/// Height above ground below which a quiet zone is not to be overflown when its row does not say, metres: 500 ft, as
/// for the other formats.
const QUIET_BELOW_M: f64 = 152.4;

/// Everything in the tables.
#[derive(Debug, Default)]
pub(super) struct Content {
    pub(super) fields: Vec<Field>,
    pub(super) proposals: Vec<Proposal>,
    pub(super) hazards: Vec<Hazard>,
    pub(super) quiet_zones: Vec<QuietZone>,
    pub(super) lanes: Vec<Lane>,
    pub(super) home: Option<Home>,
    pub(super) start: Option<Start>,
    pub(super) drill_sets: Vec<DrillSet>,
    pub(super) drill_results: Vec<DrillResult>,
    pub(super) sorties: Vec<Sortie>,
    /// Identifiers given to rows that had none of their own: table, row, identifier.
    pub(super) new_ids: Vec<(&'static str, i64, String)>,
    /// Rows that hold several things.
    pub(super) splits: Vec<Split>,
    pub(super) warnings: Vec<Warning>,
}

/// Reads every table.
pub(super) fn content(db: &Connection) -> rusqlite::Result<Content> {
    let mut reader = Reader { db, notes: Notes::default(), ids: Ids::read(db)?, splits: Vec::new() };
    let mut content = Content::default();
    let fields = reader.fields("fields", |field, _, _| Ok(field))?;
    content.fields = reader.with_edges(fields)?;
    let proposals = reader.fields("proposals", proposal)?;
    content.proposals = proposals.into_iter().map(|read| read.thing).collect();
    content.hazards = reader.hazards()?;
    content.quiet_zones = reader.quiet_zones()?;
    content.lanes = reader.lanes()?;
    content.home = reader.home()?;
    content.start = reader.start()?;
    content.drill_sets = drills::sets(db, &mut reader.notes)?;
    content.drill_results = drills::results(db, &mut reader.notes)?;
    content.sorties = sorties::sorties(db, &mut reader.notes)?;
    content.new_ids = reader.ids.new;
    content.splits = reader.splits;
    content.warnings = reader.notes.into_warnings();
    Ok(content)
}

/// Identifiers, table by table.
#[derive(Default)]
struct Ids {
    /// Those that rows have.
    own: HashMap<&'static str, HashSet<String>>,
    /// Those given to things so far.
    used: HashMap<&'static str, HashSet<String>>,
    new: Vec<(&'static str, i64, String)>,
}

impl Ids {
    fn read(db: &Connection) -> rusqlite::Result<Self> {
        let mut ids = Self::default();
        for table in WITH_ID {
            let mut statement = db.prepare(&format!("SELECT id FROM {table} WHERE id IS NOT NULL"))?;
            let mut rows = statement.query([])?;
            while let Some(row) = rows.next()? {
                ids.own.entry(table).or_default().insert(get_text(row, "id")?);
            }
        }
        Ok(ids)
    }

    /// The identifier of a row: its own, or a free one where it has none or another row has it.
    fn take(&mut self, table: &'static str, fid: i64, own: String, notes: &mut Notes) -> String {
        if !own.is_empty() && self.used.entry(table).or_default().insert(own.clone()) {
            return own;
        }
        let stem = if own.is_empty() { table.trim_end_matches('s') } else { &own };
        let free = self.free(table, &format!("{stem}-"), fid);
        if !own.is_empty() {
            let message = format!("there is more than one “{own}”; this one is called “{free}” now");
            notes.add("identifiers that were there twice", place(table, fid), message);
        }
        self.new.push((table, fid, free.clone()));
        free
    }

    /// A stem and the next number from one on that make an identifier which no row has.
    fn free(&mut self, table: &'static str, stem: &str, from: i64) -> String {
        let own = self.own.entry(table).or_default();
        let used = self.used.entry(table).or_default();
        let mut number = from;
        loop {
            let candidate = format!("{stem}{number}");
            if !own.contains(&candidate) && used.insert(candidate.clone()) {
                return candidate;
            }
            number = number.wrapping_add(1);
        }
    }
}

fn place(table: &str, fid: i64) -> String {
    format!("{table}, row {fid}")
}

/// An outer ring and its holes.
type Outline = (Vec<Xy>, Vec<Vec<Xy>>);

/// A thing with its row, and whether the row came from another program.
struct Placed<T> {
    thing: T,
    fid: i64,
    foreign: bool,
}

struct Reader<'a> {
    db: &'a Connection,
    notes: Notes,
    ids: Ids,
    splits: Vec<Split>,
}

impl Reader<'_> {
    /// Notes a word that is not one of those known, and gives what stands for the unknown.
    fn word<T>(&mut self, text: &str, at: &str, known: Option<T>, unknown: T) -> T {
        if known.is_none() && !text.trim().is_empty() {
            let message = format!("“{}” is not a word that is known here; it counts as unknown", shortened(text));
            self.notes.add("words not understood", at, message);
        }
        known.unwrap_or(unknown)
    }

    fn day(&mut self, text: &str, at: &str) -> Option<Day> {
        if text.trim().is_empty() {
            return None;
        }
        parse_day(text)
            .map_err(|e| self.notes.add("dates not understood", at, format!("{e}; the date counts as unknown")))
            .ok()
    }

    fn pairs<T: serde::de::DeserializeOwned>(&mut self, text: &str, at: &str) -> Vec<T> {
        if text.is_empty() {
            return Vec::new();
        }
        serde_json::from_str(text).unwrap_or_else(|e| {
            self.notes.add("lists not understood", at, format!("a list in it is not JSON ({e}); it was passed over"));
            Vec::new()
        })
    }

    /// A height above ground; `None` for nothing and for what cannot be one, which is told.
    fn height(&mut self, row: &Row<'_>, column: &str, at: &str) -> rusqlite::Result<Option<f64>> {
        let height = get_number(row, column)?.filter(|h| is_height(*h));
        let text = get_text(row, column)?;
        if height.is_none() && !text.trim().is_empty() {
            let message = format!("“{}” is not a height; its height counts as unknown", shortened(&text));
            self.notes.add("heights not understood", at, message);
        }
        Ok(height)
    }

    /// The identifiers of several things in one row, the first being that of the row; each gets a row of its own when
    /// the file is written.
    fn split(&mut self, table: &'static str, fid: i64, id: String, shapes: Vec<HazardShape>) -> Vec<String> {
        let mut ids = vec![id.clone()];
        let mut shapes = shapes.into_iter();
        let Some(first) = shapes.next().filter(|_| shapes.len() > 0) else { return ids };
        let mut others = Vec::new();
        for (number, shape) in (2..).zip(shapes) {
            let own = self.ids.free(table, &format!("{id} part "), number);
            ids.push(own.clone());
            others.push((own, shape));
        }
        let message = format!("it is in {} parts; each is a thing of its own now", ids.len());
        self.notes.add("shapes of several parts", place(table, fid), message);
        self.splits.push(Split { table, fid, first, others });
        ids
    }

    /// The outlines and holes of a row, cleaned only where they need it.
    fn polygons(&mut self, row: &Row<'_>, at: &str) -> rusqlite::Result<Vec<Outline>> {
        let kind = "outlines that cannot be used";
        let stays = "it is not shown and stays in the file as it is";
        let areas = match get_shapes(row)? {
            Ok(shapes) => shapes
                .into_iter()
                .filter_map(|s| if let HazardShape::Area { outer, holes } = s { Some((outer, holes)) } else { None })
                .collect::<Vec<_>>(),
            Err(why) => {
                self.notes.add(kind, at, format!("{why}; {stays}"));
                return Ok(Vec::new());
            }
        };
        if areas.is_empty() {
            self.notes.add(kind, at, format!("it has no outline; {stays}"));
        }
        let mut all = Vec::new();
        for (outer, holes) in areas {
            let ring = Ring { edges: vec![BoundaryEdge::UNKNOWN; outer.len()], points: outer.clone() };
            match clean_polygon(ring, holes.clone()) {
                Ok(cleaned) if cleaned.repairs.is_empty() && ring_area(&outer) > 0.0 => all.push((outer, holes)),
                Ok(cleaned) => {
                    for repair in &cleaned.repairs {
                        self.notes.add("outlines that were repaired", at, repair.clone());
                    }
                    all.extend(cleaned.parts.into_iter().map(|p| (p.outer.points, p.holes)));
                }
                // The row is as it was, and no part of it is taken for the whole.
                Err(fault) => {
                    self.notes.add(kind, at, format!("{}; {stays}", fault.words()));
                    return Ok(Vec::new());
                }
            }
        }
        // The largest keeps the name.
        all.sort_by(|(a, _), (b, _)| ring_area(b).abs().total_cmp(&ring_area(a).abs()));
        Ok(all)
    }

    /// The outlines of a row as things, each with its identifier.
    fn named_polygons(
        &mut self,
        (table, fid): (&'static str, i64),
        id: String,
        row: &Row<'_>,
    ) -> rusqlite::Result<Vec<(String, Outline)>> {
        let outlines = self.polygons(row, &place(table, fid))?;
        let ids = self.split(table, fid, id, outlines.iter().map(|(outer, holes)| area(outer, holes)).collect());
        Ok(ids.into_iter().zip(outlines).collect())
    }

    /// Fields of a table, without what stands on their sides.
    fn fields<T>(
        &mut self,
        table: &'static str,
        make: impl Fn(Field, &Row<'_>, &mut Self) -> rusqlite::Result<T>,
    ) -> rusqlite::Result<Vec<Placed<T>>> {
        let mut months = self.months(table)?;
        let mut photographs = self.photographs(table)?;
        let mut all = Vec::new();
        let mut statement = self.db.prepare(&format!("SELECT * FROM {table} ORDER BY fid"))?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let fid: i64 = row.get("fid")?;
            let at = place(table, fid);
            let own = get_text(row, "id")?;
            let foreign = own.is_empty();
            // An outline that cannot be shown keeps its identifier.
            let id = self.ids.take(table, fid, own, &mut self.notes);
            let (months, photographs) = (months.remove(&fid), photographs.remove(&fid));
            let outlines = self.named_polygons((table, fid), id, row)?;
            if outlines.is_empty() {
                continue;
            }
            let (surface, stock) = (get_text(row, "surface")?, get_text(row, "stock")?);
            let facts = Field {
                name: get_text(row, "name")?,
                surface: self.word(&surface, &at, Surface::from_words(&surface), Surface::Unknown),
                stock: self.word(&stock, &at, Stock::from_words(&stock), Stock::Unknown),
                surveyed: self.day(&get_text(row, "surveyed")?, &at),
                stock_seen: self.day(&get_text(row, "stock_seen")?, &at),
                calendar: Calendar {
                    year: get_number(row, "crop_year")?.filter(|y| y.fract() == 0.0).map(|y| y as i32),
                    crop: get_text(row, "crop")?,
                    months: months.unwrap_or_default(),
                },
                remarks: Remarks {
                    hazards: get_text(row, "hazard_remarks")?,
                    access: get_text(row, "access")?,
                    permission: get_text(row, "permission")?,
                    photographs: photographs.unwrap_or_default(),
                },
                notes: get_text(row, "notes")?,
                other: self.pairs(&get_text(row, "other")?, &at),
                ..Field::default()
            };
            for (part, (id, (outer, holes))) in outlines.into_iter().enumerate() {
                let edges = vec![BoundaryEdge::UNKNOWN; outer.len()];
                let field = Field { id, outer, holes, edges, ..facts.clone() };
                // Links to edges belong to the first part; those of the others are found by place.
                let foreign = foreign || part > 0;
                all.push(Placed { thing: make(field, row, self)?, fid, foreign });
            }
        }
        Ok(all)
    }

    fn months(&mut self, owner: &str) -> rusqlite::Result<HashMap<i64, [Option<Surface>; 12]>> {
        let sql = "SELECT fid, owner_fid, month, surface FROM calendar_months WHERE owner = ?1 ORDER BY fid";
        let mut statement = self.db.prepare(sql)?;
        let mut rows = statement.query([owner])?;
        let mut all: HashMap<i64, [Option<Surface>; 12]> = HashMap::new();
        while let Some(row) = rows.next()? {
            let at = place("calendar_months", row.get("fid")?);
            let text = get_text(row, "surface")?;
            let surface = self.word(&text, &at, Surface::from_words(&text).map(Some), None);
            let month = get_number(row, "month")?.map_or(0, |m| m as usize);
            let Some(owner) = get_number(row, "owner_fid")? else { continue };
            if let Some(slot) = all.entry(owner as i64).or_default().get_mut(month.wrapping_sub(1)) {
                *slot = surface;
            }
        }
        Ok(all)
    }

    fn photographs(&mut self, owner: &str) -> rusqlite::Result<HashMap<i64, Vec<String>>> {
        let sql = "SELECT owner_fid, path FROM photographs WHERE owner = ?1 ORDER BY owner_fid, number, fid";
        let mut statement = self.db.prepare(sql)?;
        let mut rows = statement.query([owner])?;
        let mut all: HashMap<i64, Vec<String>> = HashMap::new();
        while let Some(row) = rows.next()? {
            if let Some(owner) = get_number(row, "owner_fid")? {
                all.entry(owner as i64).or_default().push(get_text(row, "path")?);
            }
        }
        Ok(all)
    }

    /// Gives every side what the file says stands on it.
    ///
    /// A link counts while the side is where the edge is. Where another program changed an outline, its sides no longer
    /// fit their links; they are then matched by place, exactly or by running along, and what finds nothing is unknown.
    fn with_edges(&mut self, mut fields: Vec<Placed<Field>>) -> rusqlite::Result<Vec<Field>> {
        let edges = self.boundary_edges()?;
        let mut links: HashMap<i64, Vec<(usize, i64)>> = HashMap::new();
        {
            let mut statement = self.db.prepare("SELECT field_fid, side, edge_fid FROM field_sides ORDER BY fid")?;
            let mut rows = statement.query([])?;
            while let Some(row) = rows.next()? {
                let value = |column: &str| get_number(row, column);
                if let (Some(field), Some(side), Some(edge)) = (value("field_fid")?, value("side")?, value("edge_fid")?)
                {
                    links.entry(field as i64).or_default().push((side.max(0.0) as usize, edge as i64));
                }
            }
        }
        let mut changed = Vec::new();
        for (index, placed) in fields.iter_mut().enumerate() {
            let field = &mut placed.thing;
            let ring = &field.outer;
            let mut fits = !placed.foreign;
            for (side, edge_fid) in links.remove(&placed.fid).unwrap_or_default() {
                let ends = ring.get(side).map(|&a| Ends::of(a, ring[(side + 1) % ring.len()]));
                match edges.get(&edge_fid) {
                    Some((line, edge)) if ends.is_some() && ends == Ends::of_line(line) => field.edges[side] = *edge,
                    _ => fits = false,
                }
            }
            if !fits {
                changed.push(index);
            }
        }
        if !changed.is_empty() {
            self.match_by_place(&mut fields, &changed, &edges);
        }
        Ok(fields.into_iter().map(|placed| placed.thing).collect())
    }

    fn match_by_place(
        &mut self,
        fields: &mut [Placed<Field>],
        changed: &[usize],
        edges: &HashMap<i64, (Vec<Xy>, BoundaryEdge)>,
    ) {
        // In the order of the rows: what is found must not depend on the order of a table in memory.
        let mut rows: Vec<_> = edges.iter().collect();
        rows.sort_unstable_by_key(|(fid, _)| **fid);
        let mut by_ends: HashMap<Ends, BoundaryEdge> = HashMap::new();
        for (_, (line, edge)) in &rows {
            if let Some(ends) = Ends::of_line(line) {
                by_ends.entry(ends).or_insert(*edge);
            }
        }
        let lines: Vec<EdgeLine> = rows
            .into_iter()
            .map(|(fid, (line, edge))| EdgeLine {
                place: place("boundary_edges", *fid),
                field_id: String::new(),
                line: line.clone(),
                edge: *edge,
            })
            .collect();
        let bare = |i: &usize| Field::new(fields[*i].thing.id.clone(), fields[*i].thing.outer.clone());
        let mut along: Vec<Field> = changed.iter().map(bare).collect();
        match_edges(&mut along, &lines);
        for (&index, near) in changed.iter().zip(along) {
            let placed = &mut fields[index];
            let ring = placed.thing.outer.clone();
            let mut unknown = 0;
            for (side, edge) in placed.thing.edges.iter_mut().enumerate() {
                if *edge != BoundaryEdge::UNKNOWN {
                    continue;
                }
                let ends = Ends::of(ring[side], ring[(side + 1) % ring.len()]);
                *edge = by_ends.get(&ends).copied().unwrap_or(near.edges[side]);
                unknown += usize::from(*edge == BoundaryEdge::UNKNOWN);
            }
            if !placed.foreign {
                let label = placed.thing.label().to_owned();
                let message = format!(
                    "the outline of “{label}” was changed by another program; what stands on its sides was found by \
                     place, and {unknown} of {} sides are unknown",
                    ring.len()
                );
                self.notes.add("outlines changed elsewhere", place("fields", placed.fid), message);
            }
        }
    }

    fn boundary_edges(&mut self) -> rusqlite::Result<HashMap<i64, (Vec<Xy>, BoundaryEdge)>> {
        let mut all = HashMap::new();
        let mut statement = self.db.prepare("SELECT fid, geom, kind, height_m FROM boundary_edges ORDER BY fid")?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let fid: i64 = row.get("fid")?;
            let at = place("boundary_edges", fid);
            let kind = get_text(row, "kind")?;
            let kind = self.word(&kind, &at, EdgeKind::from_words(&kind), EdgeKind::Unknown);
            let edge = BoundaryEdge { kind, height_m: self.height(row, "height_m", &at)? };
            match get_shapes(row)? {
                Ok(shapes) => {
                    let lines =
                        shapes.into_iter().find_map(|s| if let HazardShape::Line(l) = s { Some(l) } else { None });
                    all.extend(lines.map(|line| (fid, (line, edge))));
                }
                Err(why) => self.notes.add("edges that cannot be used", at, format!("{why}; it was passed over")),
            }
        }
        Ok(all)
    }

    fn hazards(&mut self) -> rusqlite::Result<Vec<Hazard>> {
        let mut all = Vec::new();
        let mut statement = self.db.prepare("SELECT * FROM hazards ORDER BY fid")?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let fid: i64 = row.get("fid")?;
            let at = place("hazards", fid);
            let id = self.ids.take("hazards", fid, get_text(row, "id")?, &mut self.notes);
            let shapes = get_shapes(row)?.unwrap_or_else(|why| {
                self.notes.add("hazards that cannot be placed", &at, format!("{why}; it is not shown"));
                Vec::new()
            });
            let kind = get_text(row, "kind")?;
            let kind = self.word(&kind, &at, HazardKind::from_words(&kind), HazardKind::Other);
            let poles = get_text(row, "pole_heights_m")?;
            let pole_heights_m = if poles.is_empty() {
                Vec::new()
            } else {
                poles_of(&poles).unwrap_or_else(|| {
                    self.notes.add(
                        "heights not understood",
                        &at,
                        "one of its pole heights is none; they count as unknown",
                    );
                    Vec::new()
                })
            };
            let hazard = Hazard {
                height_m: self.height(row, "height_m", &at)?,
                pole_heights_m,
                name: get_text(row, "name")?,
                other: self.pairs(&get_text(row, "other")?, &at),
                // What is in the way is never left out because it is drawn in several parts.
                ..Hazard::new(id.clone(), kind, HazardShape::Line(Vec::new()))
            };
            let ids = self.split("hazards", fid, id, shapes.clone());
            for (id, shape) in ids.into_iter().zip(shapes) {
                let poles = match &shape {
                    HazardShape::Line(line) if hazard.pole_heights_m.len() == line.len() => {
                        hazard.pole_heights_m.clone()
                    }
                    _ => {
                        if !hazard.pole_heights_m.is_empty() {
                            let message = "its pole heights do not fit its vertices any more and count as unknown";
                            self.notes.add("pole heights that do not fit", &at, message);
                        }
                        Vec::new()
                    }
                };
                all.push(Hazard { id, shape, pole_heights_m: poles, ..hazard.clone() });
            }
        }
        Ok(all)
    }

    fn quiet_zones(&mut self) -> rusqlite::Result<Vec<QuietZone>> {
        let mut all = Vec::new();
        let mut statement = self.db.prepare("SELECT * FROM quiet_zones ORDER BY fid")?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let fid: i64 = row.get("fid")?;
            let at = place("quiet_zones", fid);
            let id = self.ids.take("quiet_zones", fid, get_text(row, "id")?, &mut self.notes);
            let outlines = self.named_polygons(("quiet_zones", fid), id, row)?;
            if outlines.is_empty() {
                continue;
            }
            let kind = get_text(row, "kind")?;
            let kind = self.word(&kind, &at, QuietKind::from_words(&kind), QuietKind::Other);
            let below_agl_m = self.height(row, "below_agl_m", &at)?.unwrap_or_else(|| {
                let message = "it does not say below which height it is not to be overflown; 500 ft were taken";
                self.notes.add("quiet zones without height", &at, message);
                QUIET_BELOW_M
            });
            let name = get_text(row, "name")?;
            all.extend(outlines.into_iter().map(|(id, (outer, _))| QuietZone {
                id,
                kind,
                name: name.clone(),
                outer,
                below_agl_m,
            }));
        }
        Ok(all)
    }

    fn lanes(&mut self) -> rusqlite::Result<Vec<Lane>> {
        let mut all = Vec::new();
        let mut statement = self.db.prepare("SELECT * FROM lanes ORDER BY fid")?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let kind = if get_text(row, "kind")? == "river" { LaneKind::River } else { LaneKind::Lane };
            let name = get_text(row, "name")?;
            // They carry no result, so one that cannot be drawn is only not drawn.
            for shape in get_shapes(row)?.unwrap_or_default() {
                if let HazardShape::Line(line) = shape {
                    all.push(Lane { kind, name: name.clone(), line });
                }
            }
        }
        Ok(all)
    }

    fn home(&mut self) -> rusqlite::Result<Option<Home>> {
        let mut statement = self.db.prepare("SELECT * FROM runway_ends ORDER BY fid")?;
        let mut rows = statement.query([])?;
        let mut ends = Vec::new();
        while let Some(row) = rows.next()? {
            let read = (point(row)?, get_number(row, "heading_true_rad")?, get_number(row, "elevation_amsl_m")?);
            if let (Some(threshold), Some(heading), Some(elevation_amsl_m)) = read {
                let heading_true = Bearing::from_rad(heading);
                ends.push(RunwayEnd { name: get_text(row, "name")?, heading_true, threshold, elevation_amsl_m });
            } else {
                let message = "a runway end lacks its place, heading or height and was left out";
                self.notes.add("runway ends that lack something", place("runway_ends", row.get("fid")?), message);
            }
        }
        let mut statement = self.db.prepare("SELECT * FROM home ORDER BY fid LIMIT 1")?;
        let mut rows = statement.query([])?;
        let Some(row) = rows.next()? else { return Ok(None) };
        let value = |column: &str| get_number(row, column);
        let numbers = (value("elevation_amsl_m")?, value("runway_length_m")?, value("runway_width_m")?);
        let (Some(position), (Some(elevation_amsl_m), Some(runway_length_m), Some(runway_width_m))) =
            (point(row)?, numbers)
        else {
            let message = "the home strip lacks its place, height, length or width and was left out";
            self.notes.add("a home strip that lacks something", place("home", row.get("fid")?), message);
            return Ok(None);
        };
        let (name, field_id) = (get_text(row, "name")?, get_text(row, "field_id")?);
        Ok(Some(Home { name, field_id, position, elevation_amsl_m, runway_length_m, runway_width_m, ends }))
    }

    fn start(&mut self) -> rusqlite::Result<Option<Start>> {
        let mut statement = self.db.prepare("SELECT * FROM start_state ORDER BY fid LIMIT 1")?;
        let mut rows = statement.query([])?;
        let Some(row) = rows.next()? else { return Ok(None) };
        let value = |column: &str| get_number(row, column);
        let read = (point(row)?, value("height_agl_m")?, value("heading_true_rad")?, value("wind_speed_ms")?);
        let (Some(position), Some(height_agl_m), Some(heading), Some(speed_ms)) = read else { return Ok(None) };
        let (from, gust_ms) = (value("wind_from_true_rad")?.map(Bearing::from_rad), value("wind_gust_ms")?);
        let wind = ReportedWind { from, speed_ms, gust_ms };
        Ok(Some(Start { position, height_agl_m, heading_true: Bearing::from_rad(heading), wind }))
    }
}

fn point(row: &Row<'_>) -> rusqlite::Result<Option<Xy>> {
    let shapes = get_shapes(row)?.unwrap_or_default();
    Ok(shapes.into_iter().find_map(|s| if let HazardShape::Point(at) = s { Some(at) } else { None }))
}

fn proposal(mut field: Field, row: &Row<'_>, reader: &mut Reader<'_>) -> rusqlite::Result<Proposal> {
    let at = place("proposals", row.get("fid")?);
    match edges_of(&get_text(row, "edges")?) {
        Some(edges) if edges.len() == field.outer.len() => field.edges = edges,
        Some(edges) if edges.is_empty() => {}
        _ => reader.notes.add("sides that do not fit", &at, "its sides do not fit its outline and count as unknown"),
    }
    Ok(Proposal {
        field,
        // What another program left out is no promise.
        score: get_number(row, "score")?.unwrap_or(0.0),
        strip_length_m: get_number(row, "strip_length_m")?.unwrap_or(0.0),
        checked: reader.pairs(&get_text(row, "checked")?, &at),
        not_checked: reader.pairs(&get_text(row, "not_checked")?, &at),
        refused: get_number(row, "refused")?.is_some_and(|v| v != 0.0),
    })
}

/// Writes the identifiers given to rows that had none, so that they keep them.
pub(super) fn keep_ids(db: &Connection, new: &[(&'static str, i64, String)]) -> rusqlite::Result<()> {
    for (table, fid, id) in new {
        debug_assert!(WITH_ID.contains(table), "only tables with identifiers");
        db.prepare_cached(&format!("UPDATE {table} SET id = ?2 WHERE fid = ?1"))?
            .execute(rusqlite::params![fid, id])?;
    }
    Ok(())
}

fn shortened(text: &str) -> String {
    const LONGEST: usize = 40;
    if text.chars().count() <= LONGEST {
        text.to_owned()
    } else {
        text.chars().take(LONGEST).collect::<String>() + "…"
    }
}
