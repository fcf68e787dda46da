//! Drawing and describing the home area: the tool in hand, what is chosen, and what is being drawn or dragged.

use super::Model;
use crate::edits::draft::{Attraction, Draft, Drawing};
use crate::edits::{self, Made, Refused};
use sparefield_data::area::{Area, Change, Edit, Places, Swap};
use sparefield_geometry::fields::hazards::distance_to_m;
use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind, Field, HazardShape};
use sparefield_geometry::outline::finding::overlap;
use sparefield_geometry::outline::index::Owner;
use sparefield_geometry::outline::pick::{Hit, Hold};
use sparefield_geometry::outline::snap::Target;
use sparefield_geometry::outline::{CornerRef, OutlineIndex, SideRef};
use sparefield_geometry::position::Xy;
use std::collections::HashSet;
use std::sync::Arc;

/// Something in the area that can be chosen, by identifier.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Thing {
    /// A field.
    Field(String),
    /// A hazard.
    Hazard(String),
    /// A quiet zone.
    QuietZone(String),
    /// A suggested field.
    Proposal(String),
}

/// What the pointer does on the map.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Tool {
    /// Chooses, and drags corners of what is chosen.
    #[default]
    Choose,
    /// Says what stands on sides.
    Sides,
    /// Draws.
    Draw(Drawing),
}

/// What is being dragged.
#[derive(Clone, Debug, PartialEq)]
pub enum Grip {
    /// A corner of a field.
    Corner(String, CornerRef),
    /// A new corner, pulled out of a side.
    NewCorner(String, SideRef),
    /// A vertex of a hazard.
    HazardVertex(String, usize),
    /// A corner of a quiet zone.
    ZoneCorner(String, usize),
    /// All chosen fields, from where they were taken hold of.
    Fields(Xy),
}

/// A drag under way.
#[derive(Clone, Debug)]
pub struct InHand {
    /// What is dragged.
    pub grip: Grip,
    /// The edit that letting go makes, or why it will not.
    pub made: Option<Made>,
    /// Where it is now.
    pub at: Xy,
}

/// One thing the pilot did while annotating.
#[derive(Clone, Debug, PartialEq)]
pub enum AnnotateCommand {
    /// Take a tool.
    Take(Tool),
    /// Choose what is under a place of the map, within a radius; `add` to what is chosen.
    ChooseAt {
        /// The place.
        at: Xy,
        /// How far beside a thing still counts, metres.
        radius_m: f64,
        /// Whether what is chosen stays chosen.
        add: bool,
    },
    /// Choose these.
    Choose(Vec<Thing>),
    /// Choose fields that a lasso meets, added to what is chosen.
    Lasso(Vec<Xy>),
    /// Choose a side of the one chosen field.
    ChooseSide(Option<usize>),
    /// Choose a corner of the one chosen field.
    ChooseCorner(Option<CornerRef>),
    /// Go to the next corner, or back to the one before.
    StepCorner {
        /// Backwards.
        back: bool,
    },
    /// Move the chosen corner.
    MoveCorner(Xy),
    /// Insert a corner in the middle of the side after the chosen corner.
    InsertCorner,
    /// Delete the chosen corner, or else everything chosen.
    Delete,
    /// Take hold of something.
    Grab(Grip),
    /// Drag what is held.
    Drag {
        /// To where.
        to: Xy,
        /// What attracts, metres.
        radius_m: f64,
        /// Corners of neighbours stay.
        alone: bool,
    },
    /// Let go.
    Drop,
    /// Move the pen.
    Pen {
        /// To where.
        to: Xy,
        /// What attracts, metres.
        radius_m: f64,
    },
    /// The pen left the map.
    LiftPen,
    /// Set a corner where the pen is.
    SetCorner,
    /// Take the last corner back.
    TakeBack,
    /// Finish what is being drawn.
    Finish,
    /// Take up again what was left unfinished.
    BringBack,
    /// Leave what is being drawn, or else the tool, or else the choice.
    Leave,
    /// Set what attracts the pen.
    SetAttraction(Attraction),
    /// Choose what the sides tool says.
    SetBrush(BoundaryEdge),
    /// The pointer passed a side while saying what stands there.
    PaintAt {
        /// The place.
        at: Xy,
        /// How near a side must be, metres.
        radius_m: f64,
    },
    /// The sides passed are said.
    PaintEnd,
    /// Do an edit that was made from the area as it is; a refusal is shown.
    Do(Box<Made>),
    /// Forget why the last thing was not done.
    ForgetRefusal,
    /// Join the chosen fields.
    Join,
}

/// The state of annotating.
#[derive(Default)]
pub struct Annotate {
    /// The tool in hand.
    pub tool: Tool,
    /// What is chosen, in the order of choosing.
    pub chosen: Vec<Thing>,
    /// The chosen side of the one chosen field.
    pub side: Option<usize>,
    /// The chosen corner of the one chosen field.
    pub corner: Option<CornerRef>,
    /// What is being drawn.
    pub draft: Draft,
    /// What was left unfinished, and could be taken up again.
    pub left: Option<(Drawing, Vec<Xy>)>,
    /// What is being dragged.
    pub in_hand: Option<InHand>,
    /// What attracts the pen.
    pub attraction: Attraction,
    /// What the sides tool says.
    pub brush: Option<BoundaryEdge>,
    /// The field and sides passed so far.
    pub painting: Option<(String, Vec<usize>)>,
    /// Why the last thing was not done.
    pub refused: Option<Refused>,
    /// The fields among what is chosen: their identifiers, and their indices in the area.
    fields: (Vec<String>, Vec<usize>),
    index: Option<(u64, OutlineIndex<Arc<Field>>)>,
}

/// What the sides tool says before anybody chose: a hedge nobody measured.
const FIRST_BRUSH: BoundaryEdge = BoundaryEdge { kind: EdgeKind::Hedge, height_m: None };

impl Annotate {
    /// The one field that is chosen, if exactly one thing is and it is a field.
    #[must_use]
    pub fn one_field(&self) -> Option<&str> {
        match self.chosen.as_slice() {
            [Thing::Field(id)] => Some(id),
            _ => None,
        }
    }
    /// Identifiers of the chosen fields, in the order of choosing.
    #[must_use]
    pub fn fields(&self) -> &[String] {
        &self.fields.0
    }
    /// Indices of the chosen fields in the area, in the order of choosing.
    #[must_use]
    pub fn field_indices(&self) -> &[usize] {
        &self.fields.1
    }
    /// Notes which fields are chosen, after what is chosen or the area changed.
    pub(super) fn note_fields(&mut self, area: &Area) {
        let places = Places::new(&area.fields, self.chosen.len());
        let chosen = self.chosen.iter().filter_map(|thing| match thing {
            Thing::Field(id) => Some((id.clone(), places.find(id)?.0)),
            _ => None,
        });
        self.fields = chosen.unzip();
    }
    /// Identifiers of the chosen suggestions.
    #[must_use]
    pub fn proposals(&self) -> Vec<String> {
        let ids = self.chosen.iter().filter_map(|t| if let Thing::Proposal(id) = t { Some(id.clone()) } else { None });
        ids.collect()
    }
    /// Whether something is being drawn and would be lost by leaving.
    #[must_use]
    pub fn is_drawing(&self) -> bool {
        matches!(self.tool, Tool::Draw(_)) && !self.draft.corners.is_empty()
    }
    /// What the sides tool says.
    #[must_use]
    pub fn brush(&self) -> BoundaryEdge {
        self.brush.unwrap_or(FIRST_BRUSH)
    }
    /// Forgets everything that belongs to an area, as when another is opened.
    pub fn clear(&mut self) {
        *self = Self { attraction: self.attraction, brush: self.brush, ..Self::default() };
    }
    /// Leaves what is being drawn; a slip of the hand must not cost a long outline.
    fn leave_draft(&mut self) {
        let draft = std::mem::take(&mut self.draft);
        if let (Tool::Draw(drawing), true) = (self.tool, draft.corners.len() > 1) {
            self.left = Some((drawing, draft.corners));
        }
    }
    /// Forgets what is no longer in the area.
    pub fn follow(&mut self, area: &Area) {
        let count = self.chosen.len();
        let (fields, hazards) = (Places::new(&area.fields, count), Places::new(&area.hazards, count));
        let (zones, proposals) = (Places::new(&area.quiet_zones, count), Places::new(&area.proposals, count));
        self.chosen.retain(|thing| match thing {
            Thing::Field(id) => fields.find(id).is_some(),
            Thing::Hazard(id) => hazards.find(id).is_some(),
            Thing::QuietZone(id) => zones.find(id).is_some(),
            Thing::Proposal(id) => proposals.find(id).is_some(),
        });
        self.note_fields(area);
        let corners = self.one_field().and_then(|id| area.fields.iter().find(|f| f.id == id));
        self.side = self.side.filter(|s| corners.is_some_and(|f| *s < f.outer.len()));
        self.corner = self.corner.filter(|c| corners.is_some_and(|f| edits::outline::corner_at(f, *c).is_some()));
    }
    fn index(&mut self, area: &Area, revision: u64) -> &OutlineIndex<Arc<Field>> {
        if self.index.as_ref().is_none_or(|(made, _)| *made != revision) {
            let lines = area.hazards.iter().filter_map(|h| match &h.shape {
                HazardShape::Line(line) => Some(line.clone()),
                _ => None,
            });
            self.index = Some((revision, OutlineIndex::new(area.fields.to_vec(), lines.collect())));
        }
        // Made above where it was missing.
        &self.index.get_or_insert_with(|| (revision, OutlineIndex::default())).1
    }
}

impl Model {
    /// Applies a command of annotating.
    pub fn annotate(&mut self, command: &AnnotateCommand) {
        let Some(area) = self.area.clone() else { return };
        let revision = self.land_revision;
        if !matches!(command, AnnotateCommand::Pen { .. } | AnnotateCommand::LiftPen | AnnotateCommand::Drag { .. }) {
            self.annotating.refused = None;
        }
        let a = &mut self.annotating;
        match command {
            AnnotateCommand::Take(tool) => {
                if a.tool != *tool {
                    a.leave_draft();
                }
                a.tool = *tool;
                a.in_hand = None;
                a.painting = None;
            }
            AnnotateCommand::ChooseAt { at, radius_m, add } => {
                let suggested = self.suggesting.shown;
                let found = thing_at(a.index(&area, revision), &area, *at, *radius_m, suggested);
                self.choose(&area, found, *add);
            }
            AnnotateCommand::Choose(things) => {
                a.chosen.clone_from(things);
                a.side = None;
                a.corner = None;
                self.chosen_changed(&area);
            }
            AnnotateCommand::Lasso(lasso) => {
                // Round suggestions one means the suggestions, while they are looked at.
                let found: Vec<Thing> = if self.suggesting.shown {
                    let open: Vec<&Field> = area.proposals.iter().filter(|p| !p.refused).map(|p| &p.field).collect();
                    let index = OutlineIndex::new(open, Vec::new());
                    let inside = index.in_lasso(lasso, Hold::Part).into_iter();
                    inside.filter_map(|i| Some(Thing::Proposal(index.field(i)?.id.clone()))).collect()
                } else {
                    let inside = a.index(&area, revision).in_lasso(lasso, Hold::Part).into_iter();
                    inside.map(|i| Thing::Field(area.fields[i].id.clone())).collect()
                };
                let known: HashSet<Thing> = a.chosen.iter().cloned().collect();
                a.chosen.extend(found.into_iter().filter(|thing| !known.contains(thing)));
                self.chosen_changed(&area);
            }
            AnnotateCommand::ChooseSide(side) => {
                a.side = *side;
                a.corner = None;
            }
            AnnotateCommand::ChooseCorner(corner) => {
                a.corner = *corner;
                a.side = None;
            }
            AnnotateCommand::StepCorner { back } => {
                if let Some((_, of)) = a.one_field().and_then(|id| edits::field(&area, id).ok()) {
                    a.corner = edits::outline::next_corner(of, a.corner, *back);
                    a.side = None;
                }
            }
            AnnotateCommand::MoveCorner(to) => {
                if let (Some(id), Some(corner)) = (a.one_field(), a.corner) {
                    let made = edits::outline::move_corner(&area, id, corner, *to, true);
                    self.make(made);
                }
            }
            AnnotateCommand::InsertCorner => self.insert_after_corner(&area),
            AnnotateCommand::Delete => self.delete_chosen(&area),
            AnnotateCommand::Grab(grip) => {
                if let Grip::Corner(_, corner) = grip {
                    a.corner = Some(*corner);
                    a.side = None;
                }
                a.in_hand = Some(InHand { grip: grip.clone(), made: None, at: Xy::default() });
            }
            AnnotateCommand::Drag { to, radius_m, alone } => self.drag(&area, *to, *radius_m, *alone),
            AnnotateCommand::Drop => {
                if let Some(hand) = a.in_hand.take() {
                    if let (Grip::NewCorner(_, side), Some(Ok(_))) = (&hand.grip, &hand.made) {
                        a.corner = Some(CornerRef { ring: side.ring, corner: side.side + 1 });
                        a.side = None;
                    }
                    if let Some(made) = hand.made {
                        self.make(made);
                    }
                }
            }
            AnnotateCommand::Pen { to, radius_m } => {
                if let Tool::Draw(drawing) = a.tool {
                    let mut draft = std::mem::take(&mut a.draft);
                    let attraction = a.attraction;
                    let aircraft = &self.conditions.aircraft;
                    let index = self.annotating.index(&area, revision);
                    draft.move_pen(drawing, *to, *radius_m, attraction, index, aircraft);
                    self.annotating.draft = draft;
                }
            }
            AnnotateCommand::LiftPen => a.draft.pen = None,
            AnnotateCommand::SetCorner => self.set_corner(&area),
            AnnotateCommand::TakeBack => {
                a.draft.take_back();
            }
            AnnotateCommand::BringBack => {
                if let Some((drawing, corners)) = a.left.take() {
                    a.tool = Tool::Draw(drawing);
                    a.draft = Draft::with_corners(corners);
                }
            }
            AnnotateCommand::Finish => self.finish_drawing(&area),
            AnnotateCommand::Leave => {
                if a.in_hand.take().is_some() {
                } else if !a.draft.corners.is_empty() {
                    a.leave_draft();
                } else if a.tool != Tool::Choose {
                    a.tool = Tool::Choose;
                } else if a.corner.is_some() || a.side.is_some() {
                    (a.corner, a.side) = (None, None);
                } else {
                    a.chosen.clear();
                    self.chosen_changed(&area);
                }
            }
            AnnotateCommand::SetAttraction(attraction) => a.attraction = *attraction,
            AnnotateCommand::SetBrush(edge) => a.brush = Some(*edge),
            AnnotateCommand::PaintAt { at, radius_m } => a.pass(&area, revision, *at, *radius_m),
            AnnotateCommand::PaintEnd => {
                if let Some((id, sides)) = a.painting.take() {
                    let brush = a.brush();
                    let made = edits::outline::paint_sides(&area, &id, &sides, brush);
                    self.make(made);
                }
            }
            AnnotateCommand::Do(made) => self.make((**made).clone()),
            AnnotateCommand::ForgetRefusal => {}
            AnnotateCommand::Join => {
                let made = edits::outline::join_fields(&area, a.fields());
                self.make(made);
            }
        }
    }

    /// Does an edit, or says why not.
    fn make(&mut self, made: Made) {
        match made {
            Ok(edit) => self.edit(edit),
            Err(why) => self.annotating.refused = Some(why),
        }
    }

    fn edit(&mut self, edit: Edit) {
        self.apply(&crate::command::Command::Edit(Box::new(edit)));
    }

    fn choose(&mut self, area: &Area, found: Option<Thing>, add: bool) {
        let a = &mut self.annotating;
        match (found, add) {
            (Some(thing), true) => match a.chosen.iter().position(|t| *t == thing) {
                Some(at) => {
                    a.chosen.remove(at);
                }
                None => a.chosen.push(thing),
            },
            (Some(thing), false) => a.chosen = vec![thing],
            (None, true) => {}
            (None, false) => a.chosen.clear(),
        }
        (a.side, a.corner) = (None, None);
        self.chosen_changed(area);
    }

    /// One chosen field is the field of the card, too.
    fn chosen_changed(&mut self, area: &Area) {
        self.annotating.note_fields(area);
        let one = self.annotating.one_field();
        self.selected = one.and_then(|id| area.fields.iter().position(|f| f.id == id));
        self.open_working = None;
    }

    fn insert_after_corner(&mut self, area: &Area) {
        let a = &self.annotating;
        let (Some(id), Some(corner)) = (a.one_field(), a.corner) else { return };
        let Ok((_, of)) = edits::field(area, id) else { return };
        let side = SideRef { ring: corner.ring, side: corner.corner };
        let Some((from, to)) = sparefield_geometry::outline::place::ends_of(of, side) else { return };
        let made = edits::outline::insert_corner(area, id, side, (from + to) * 0.5, true);
        let fine = made.is_ok();
        self.make(made);
        if fine {
            self.annotating.corner = Some(CornerRef { ring: corner.ring, corner: corner.corner + 1 });
        }
    }

    fn delete_chosen(&mut self, area: &Area) {
        let a = &self.annotating;
        if let (Some(id), Some(corner)) = (a.one_field(), a.corner) {
            let made = edits::outline::delete_corner(area, id, corner);
            self.annotating.corner = None;
            self.make(made);
            return;
        }
        let fields = a.fields();
        let mut changes = Vec::new();
        let mut words = Vec::new();
        let mut take = |made: Made| -> Result<(), Refused> {
            let edit = made?;
            words.push(edit.words);
            changes.extend(edit.changes);
            Ok(())
        };
        let mut all = || -> Result<(), Refused> {
            if !fields.is_empty() {
                take(edits::describe::delete_fields(area, fields))?;
            }
            for thing in &a.chosen {
                match thing {
                    Thing::Hazard(id) => take(edits::things::delete_hazard(area, id))?,
                    Thing::QuietZone(id) => take(edits::things::delete_quiet_zone(area, id))?,
                    Thing::Field(_) | Thing::Proposal(_) => {}
                }
            }
            Ok(())
        };
        let made = all().map(|()| {
            let what = if words.len() == 1 { words.remove(0) } else { format!("delete {} things", a.chosen.len()) };
            Edit::new(what, changes)
        });
        self.make(made);
    }

    fn drag(&mut self, area: &Area, to: Xy, radius_m: f64, alone: bool) {
        let revision = self.land_revision;
        let attraction = self.annotating.attraction;
        let a = &mut self.annotating;
        let Some(grip) = a.in_hand.as_ref().map(|h| h.grip.clone()) else { return };
        let own = match &grip {
            Grip::Corner(id, _) | Grip::NewCorner(id, _) => area.fields.iter().position(|f| &f.id == id),
            _ => None,
        };
        // What moves does not attract itself, nor do the corners that move with it.
        let from = match &grip {
            Grip::Corner(id, corner) => {
                edits::field(area, id).ok().and_then(|(_, f)| edits::outline::corner_at(f, *corner))
            }
            _ => None,
        };
        let index = a.index(area, revision);
        let moves = |target: &Target| {
            let owner = target.owner();
            let own_field = matches!(owner, Owner::Field(i) if Some(i) == own);
            let moves_along = from.is_some_and(|from| match (owner, target) {
                (Owner::Field(i), Target::Corner { corner, .. }) => index
                    .field(i)
                    .and_then(|f| edits::outline::corner_at(f, *corner))
                    .is_some_and(|p| p.distance(from) <= edits::outline::SAME_CORNER_M),
                (Owner::Field(i), Target::Side { side, .. }) => index
                    .field(i)
                    .and_then(|f| sparefield_geometry::outline::place::ends_of(f, *side))
                    .is_some_and(|(p, q)| p.distance(from).min(q.distance(from)) <= edits::outline::SAME_CORNER_M),
                (Owner::Line(_), _) => false,
            });
            own_field || moves_along
        };
        let free = matches!(grip, Grip::Fields(_));
        let snap = if attraction.neighbours && !free { index.snap(to, radius_m, moves) } else { None };
        let at = snap.map_or(to, |s| s.at);
        let made = match &grip {
            Grip::Corner(id, corner) => edits::outline::move_corner(area, id, *corner, at, !alone),
            Grip::NewCorner(id, side) => edits::outline::insert_corner(area, id, *side, at, !alone),
            Grip::HazardVertex(id, vertex) => edits::things::move_hazard_vertex(area, id, *vertex, at),
            Grip::ZoneCorner(id, vertex) => edits::things::move_zone_corner(area, id, *vertex, at),
            Grip::Fields(from) => edits::outline::move_fields(area, a.fields(), to - *from),
        };
        if let Some(hand) = &mut a.in_hand {
            hand.at = at;
            hand.made = Some(made);
        }
    }

    fn set_corner(&mut self, area: &Area) {
        let Tool::Draw(drawing) = self.annotating.tool else { return };
        match self.annotating.draft.set_corner() {
            Err(why) => self.annotating.refused = Some(why),
            Ok(closes) => {
                if closes || drawing.is_point() {
                    self.finish_drawing(area);
                }
            }
        }
    }

    fn finish_drawing(&mut self, area: &Area) {
        let Tool::Draw(drawing) = self.annotating.tool else { return };
        let corners = &self.annotating.draft.corners;
        let chosen = self.annotating.one_field().map(str::to_owned).or_else(|| meant(area, drawing, corners));
        match self.annotating.draft.finish(drawing, area, chosen.as_deref()) {
            Err(why) => self.annotating.refused = Some(why),
            Ok(edit) => {
                let new = new_thing(&edit);
                let lies_on = if drawing == Drawing::Field { lies_on(area, &edit) } else { None };
                self.edit(edit);
                self.annotating.draft = Draft::default();
                self.annotating.refused = lies_on;
                match drawing {
                    // Usually more of the same follow: several hedges' wires, masts, trees.
                    Drawing::Hazard(_) => {}
                    _ => self.annotating.tool = Tool::Choose,
                }
                if let Some(new) = new {
                    self.annotating.chosen = vec![new];
                    (self.annotating.side, self.annotating.corner) = (None, None);
                    if let Some(area) = self.area.clone() {
                        self.chosen_changed(&area);
                    }
                }
            }
        }
    }
}

impl Annotate {
    /// Notes a side passed by the pointer.
    fn pass(&mut self, area: &Area, revision: u64, at: Xy, radius_m: f64) {
        let only = self.painting.as_ref().and_then(|(id, _)| area.fields.iter().position(|f| &f.id == id));
        let chosen = self.one_field().and_then(|id| area.fields.iter().position(|f| f.id == id));
        let near = |index: &OutlineIndex<Arc<Field>>, only: Option<usize>| {
            let snap = index.snap(at, radius_m, |t| match (t, t.owner()) {
                (Target::Side { side, .. }, Owner::Field(i)) => {
                    side.ring != sparefield_geometry::outline::RingRef::Outer || only.is_some_and(|o| o != i)
                }
                _ => true,
            })?;
            match snap.target {
                Target::Side { owner: Owner::Field(field), side, .. } => Some((field, side.side)),
                _ => None,
            }
        };
        let index = self.index(area, revision);
        // A boundary may belong to two fields; the chosen one is meant first.
        let found = match only {
            Some(only) => near(index, Some(only)),
            None => chosen.and_then(|c| near(index, Some(c))).or_else(|| near(index, None)),
        };
        let Some((field, side)) = found else { return };
        let (_, sides) = self.painting.get_or_insert_with(|| (area.fields[field].id.clone(), Vec::new()));
        if !sides.contains(&side) {
            sides.push(side);
        }
    }
}

/// The field that a cut or a hole is meant for where none is chosen: the only one that can take it.
fn meant(area: &Area, drawing: Drawing, corners: &[Xy]) -> Option<String> {
    let takes = |f: &&Arc<Field>| {
        boxes_meet(&f.outer, corners)
            && match drawing {
                Drawing::Cut => edits::outline::cut_field(area, &f.id, corners).is_ok(),
                Drawing::Hole => edits::outline::add_hole(area, &f.id, corners).is_ok(),
                _ => false,
            }
    };
    let mut able = area.fields.iter().filter(takes);
    match (able.next(), able.next()) {
        (Some(only), None) => Some(only.id.clone()),
        _ => None,
    }
}

/// Whether the upright boxes round two outlines share a point.
fn boxes_meet(one: &[Xy], other: &[Xy]) -> bool {
    let span = |points: &[Xy], of: fn(&Xy) -> f64| {
        points.iter().map(of).fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
    };
    let meet = |of: fn(&Xy) -> f64| {
        let ((low, high), (from, to)) = (span(one, of), span(other, of));
        low <= to && from <= high
    };
    meet(|p| p.x) && meet(|p| p.y)
}

/// What is said of a field that was drawn over others: it is kept, for it may be meant.
fn lies_on(area: &Area, edit: &Edit) -> Option<Refused> {
    /// Less than this share of it is a slip of the pen beside a boundary, which the check of the area reports.
    const SHARE: f64 = 0.02;
    let drawn = edit.changes.iter().rev().find_map(|change| match change {
        Change::Field(Swap { before: None, after: Some(new) }) => Some(new),
        _ => None,
    })?;
    let others = area.fields.iter().filter(|f| boxes_meet(&f.outer, &drawn.outer));
    let (other, area_m2, at) = others
        .filter_map(|f| overlap(drawn, f).map(|(area_m2, at)| (f, area_m2, at)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .filter(|(_, area_m2, _)| *area_m2 > SHARE * drawn.area_m2())?;
    let sentence = format!(
        "It is kept, and lies on {} over {:.2} ha. If that is not meant, undo it or move its corners.",
        other.label(),
        area_m2 / 1e4
    );
    Some(Refused { sentence, at: Some(at) })
}

/// What an edit adds, if one thing.
fn new_thing(edit: &Edit) -> Option<Thing> {
    edit.changes.iter().rev().find_map(|change| match change {
        Change::Field(Swap { before: None, after: Some(new) }) => Some(Thing::Field(new.id.clone())),
        Change::Hazard(Swap { before: None, after: Some(new) }) => Some(Thing::Hazard(new.id.clone())),
        Change::QuietZone(Swap { before: None, after: Some(new) }) => Some(Thing::QuietZone(new.id.clone())),
        _ => None,
    })
}

/// What is under a place of the map: a point or line of a hazard first, for it is small; then the smallest field, a
/// suggested field while they are looked at, a hazard's area, a quiet zone.
fn thing_at(index: &OutlineIndex<Arc<Field>>, area: &Area, at: Xy, radius_m: f64, suggested: bool) -> Option<Thing> {
    let thin = area.hazards.iter().filter(|h| !matches!(h.shape, HazardShape::Area { .. }));
    let nearest = thin.map(|h| (distance_to_m(&h.shape, at), h)).min_by(|a, b| a.0.total_cmp(&b.0));
    if let Some((_, hazard)) = nearest.filter(|(distance, _)| *distance <= radius_m) {
        return Some(Thing::Hazard(hazard.id.clone()));
    }
    let field = match index.hit(at, radius_m, None) {
        Some(Hit::Field { field } | Hit::Corner { field, .. } | Hit::Side { field, .. }) => {
            // Beside a boundary the field on this side of it is meant.
            let inside = index.fields_at(at).first().copied();
            Some(inside.unwrap_or(field))
        }
        Some(Hit::Hole { .. }) | None => None,
    };
    if let Some(field) = field {
        return Some(Thing::Field(area.fields[field].id.clone()));
    }
    let mut open = area.proposals.iter().filter(|p| suggested && !p.refused);
    if let Some(proposal) = open.find(|p| sparefield_geometry::outline::pick::holds(&p.field, at)) {
        return Some(Thing::Proposal(proposal.field.id.clone()));
    }
    if let Some(hazard) = area.hazards.iter().find(|h| distance_to_m(&h.shape, at) <= 0.0) {
        return Some(Thing::Hazard(hazard.id.clone()));
    }
    let inside = |outer: &[Xy]| sparefield_geometry::fields::strip::inside_ring(outer, at);
    area.quiet_zones.iter().find(|z| inside(&z.outer)).map(|z| Thing::QuietZone(z.id.clone()))
}
