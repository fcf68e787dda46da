//! What is drawn over the map while annotating: what is chosen, handles, drafts, drags, the lasso.

use super::on_map::{corners_of, has_room, lasso_id};
use crate::edits;
use crate::edits::things::vertices;
use crate::model::{Model, Thing, Tool};
use crate::theme::{Theme, with_alpha};
use crate::views::map::{Bounds, Pen, STRIP_HEIGHT, Shown, View};
use egui::{Align2, Color32, Mesh, Painter, Pos2, Rect, Shape, Stroke, StrokeKind, Ui, Vec2};
use sparefield_data::area::{Area, Change};
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::fields::model::{Field, HazardShape};
use sparefield_geometry::outline::place::{ends_of, ring_of};
use sparefield_geometry::outline::{CornerRef, RingRef, SideRef};
use sparefield_geometry::position::Xy;

/// Chosen fields smaller than this on the screen get a thinner line and no halo, which would hide them, points.
const SMALL_PT: f32 = 20.0;

struct Over<'a> {
    painter: Painter,
    view: &'a View,
    theme: &'a Theme,
}

/// Draws it.
pub(super) fn draw(ui: &Ui, shown: &Shown, model: &Model, theme: &Theme) {
    let Some(area) = &model.area else { return };
    // The strip along the lower edge with the scale stays clear.
    let mut room = shown.view.rect;
    room.max.y -= STRIP_HEIGHT;
    let over = Over { painter: ui.painter().with_clip_rect(room), view: &shown.view, theme };
    let annotating = &model.annotating;
    if model.suggesting.shown {
        over.suggestions(area);
    }
    // While sides are described, what stands on them must be seen.
    if annotating.tool != Tool::Sides {
        over.chosen_fields(area, annotating.field_indices(), annotating.chosen.len() > 1);
        annotating.chosen.iter().for_each(|thing| over.chosen(area, thing));
    }
    if let [Thing::Field(id)] = annotating.chosen.as_slice()
        && let Ok((_, field)) = edits::field(area, id)
    {
        if let Some((a, b)) = annotating.side.and_then(|s| ends_of(field, SideRef::outer(s))) {
            over.line(&[a, b], Stroke::new(6.0, theme.colours.accent));
        }
        if annotating.tool == Tool::Choose && has_room(&shown.view, &field.outer) {
            over.field_handles(field, annotating.corner);
        }
    }
    if let Some((id, sides)) = &annotating.painting
        && let Ok((_, field)) = edits::field(area, id)
    {
        for (a, b) in sides.iter().filter_map(|s| ends_of(field, SideRef::outer(*s))) {
            over.line(&[a, b], Stroke::new(6.0, theme.colours.accent));
        }
    }
    if let Tool::Draw(what) = annotating.tool {
        over.draft(model, what.is_outline());
    }
    if let Some(hand) = &annotating.in_hand {
        match &hand.made {
            Some(Ok(edit)) => over.preview(&edit.changes, model.settings.units),
            Some(Err(why)) => over.refused(why.at.unwrap_or(hand.at), &why.sentence),
            None => {}
        }
    }
    if let Some(at) = annotating.refused.as_ref().and_then(|r| r.at) {
        over.cross(at);
    }
    if let Some(points) = ui.data(|d| d.get_temp::<Vec<Xy>>(lasso_id())) {
        over.lasso(&points);
    }
}

impl Over<'_> {
    fn at(&self, p: Xy) -> Pos2 {
        self.view.to_screen(p)
    }

    fn line(&self, points: &[Xy], stroke: Stroke) {
        let points: Vec<Pos2> = points.iter().map(|&p| self.at(p)).collect();
        // A halo, so that the line stands out from relief and imagery alike.
        let halo = Stroke::new(stroke.width + 3.0, with_alpha(self.theme.colours.halo, 0.7));
        self.painter.add(Shape::line(points.clone(), halo));
        self.painter.add(Shape::line(points, stroke));
    }

    fn ring(&self, ring: &[Xy], stroke: Stroke) {
        let mut closed = ring.to_vec();
        closed.extend(ring.first().copied());
        self.line(&closed, stroke);
    }

    fn dashed(&self, points: &[Xy], colour: Color32) {
        let points: Vec<Pos2> = points.iter().map(|&p| self.at(p)).collect();
        self.painter.extend(Shape::dashed_line(&points, Stroke::new(2.0, colour), 7.0, 5.0));
    }

    /// Open suggestions: dashed, for nobody has looked at them. Numbers stand where there is room, the best first.
    fn suggestions(&self, area: &Area) {
        let c = &self.theme.colours;
        let shown = self.view.bounds(0.0);
        let mut taken: Vec<Rect> = Vec::new();
        for (place, proposal) in area.proposals.iter().filter(|p| !p.refused).enumerate() {
            let bounds = Bounds::around(&proposal.field.outer);
            if !shown.meets(&bounds) {
                continue;
            }
            let ring = proposal.field.outer.iter().chain(proposal.field.outer.first());
            let points: Vec<Pos2> = ring.map(|&p| self.at(p)).collect();
            let size = self.at(bounds.min).distance(self.at(bounds.max));
            if size < 60.0 {
                // Dashes as long as the outline would be a blot.
                self.painter.add(Shape::line(points, Stroke::new(1.0, with_alpha(c.accent, 0.7))));
                continue;
            }
            self.painter.extend(Shape::dashed_line(&points, Stroke::new(2.0, c.accent), 7.0, 5.0));
            let middle = self.at(proposal.field.centroid());
            let label = Rect::from_center_size(middle, Vec2::new(44.0, 22.0));
            if taken.iter().all(|other| !other.intersects(label)) {
                taken.push(label);
                self.text(middle, &format!("{}?", place + 1), c.accent);
            }
        }
    }

    /// The chosen fields as two meshes, for they may be all there are.
    fn chosen_fields(&self, area: &Area, chosen: &[usize], many: bool) {
        let stroke = Stroke::new(if many { 3.0 } else { 2.5 }, self.theme.colours.accent);
        let halo = Stroke::new(stroke.width + 3.0, with_alpha(self.theme.colours.halo, 0.7));
        let small = Stroke::new(1.5, stroke.color);
        let (mut pen, mut halos, mut lines) = (Pen::new(&self.painter), Mesh::default(), Mesh::default());
        let shown = self.view.bounds(8.0);
        for field in chosen.iter().filter_map(|&i| area.fields.get(i)) {
            let bounds = Bounds::around(&field.outer);
            if !shown.meets(&bounds) {
                continue;
            }
            let is_small = self.view.points(bounds.min.distance(bounds.max)) < SMALL_PT;
            for ring in std::iter::once(&field.outer).chain(&field.holes).filter(|ring| ring.len() > 2) {
                let points: Vec<Pos2> = ring.iter().map(|&p| self.at(p)).collect();
                if is_small {
                    pen.draw(&points, true, small, &mut lines);
                } else {
                    pen.draw(&points, true, halo, &mut halos);
                    pen.draw(&points, true, stroke, &mut lines);
                }
            }
        }
        for mesh in [halos, lines] {
            self.painter.add(Shape::mesh(mesh));
        }
    }

    fn chosen(&self, area: &Area, thing: &Thing) {
        let stroke = Stroke::new(2.5, self.theme.colours.accent);
        match thing {
            // Drawn together before.
            Thing::Field(_) => {}
            Thing::Proposal(id) => {
                if let Some(proposal) = area.proposals.iter().find(|p| &p.field.id == id) {
                    self.ring(&proposal.field.outer, stroke);
                }
            }
            Thing::Hazard(id) => {
                let Ok(hazard) = edits::hazard(area, id) else { return };
                match &hazard.shape {
                    HazardShape::Point(at) => {
                        self.painter.circle_stroke(self.at(*at), 12.0, stroke);
                    }
                    HazardShape::Line(line) => self.line(line, stroke),
                    HazardShape::Area { outer, .. } => self.ring(outer, stroke),
                }
                if has_room(self.view, &corners_of(area, thing)) {
                    self.handles(vertices(hazard));
                }
            }
            Thing::QuietZone(id) => {
                if let Ok(zone) = edits::quiet_zone(area, id) {
                    self.ring(&zone.outer, stroke);
                    self.handles(&zone.outer);
                }
            }
        }
    }

    fn handle(&self, p: Xy, filled: bool) {
        let c = &self.theme.colours;
        let rect = Rect::from_center_size(self.at(p), Vec2::splat(if filled { 12.0 } else { 9.0 }));
        let fill = if filled { c.accent } else { c.panel_raised };
        self.painter.rect(rect, 1.0, fill, Stroke::new(2.0, c.accent), StrokeKind::Middle);
    }

    fn handles(&self, places: &[Xy]) {
        for &p in places {
            self.handle(p, false);
        }
    }

    fn field_handles(&self, field: &Field, chosen: Option<CornerRef>) {
        let c = &self.theme.colours;
        for ring in std::iter::once(RingRef::Outer).chain((0..field.holes.len()).map(RingRef::Hole)) {
            let Some(points) = ring_of(field, ring) else { continue };
            for side in 0..points.len() {
                let Some((a, b)) = ends_of(field, SideRef { ring, side }) else { continue };
                if self.at(a).distance(self.at(b)) >= 44.0 {
                    self.painter.circle(self.at((a + b) * 0.5), 4.0, c.panel_raised, Stroke::new(1.5, c.accent));
                }
            }
            for (corner, &p) in points.iter().enumerate() {
                self.handle(p, chosen == Some(CornerRef { ring, corner }));
            }
        }
    }

    fn draft(&self, model: &Model, is_outline: bool) {
        let c = &self.theme.colours;
        let draft = &model.annotating.draft;
        let units = model.settings.units;
        if draft.corners.len() >= 2 {
            self.line(&draft.corners, Stroke::new(2.5, c.accent));
        }
        if let Some(strip) = &draft.strip {
            let along = strip.heading.unit();
            let half = Xy::new(along.y, -along.x) * (strip.width_m / 2.0);
            let corners = [strip.start - half, strip.end - half, strip.end + half, strip.start + half];
            let mut closed = corners.to_vec();
            closed.push(corners[0]);
            self.dashed(&closed, c.roomy);
        }
        self.handles(&draft.corners);
        let Some(pen) = &draft.pen else { return };
        let colour = if pen.refused.is_some() { c.caution } else { c.accent };
        let mut next: Vec<Xy> = draft.corners.last().copied().into_iter().collect();
        next.extend(pen.along.iter().copied());
        next.push(pen.at);
        self.dashed(&next, colour);
        if is_outline && draft.corners.len() >= 2 && !pen.closes {
            let closing: Vec<Pos2> = [pen.at, draft.corners[0]].iter().map(|&p| self.at(p)).collect();
            self.painter.extend(Shape::dashed_line(&closing, Stroke::new(1.0, with_alpha(colour, 0.6)), 3.0, 5.0));
        }
        let at = self.at(pen.at);
        if pen.closes {
            self.painter.circle_stroke(at, 10.0, Stroke::new(3.0, colour));
        } else if pen.target.is_some() {
            self.painter.circle_stroke(at, 7.0, Stroke::new(2.0, colour));
        }
        self.painter.circle_filled(at, 3.0, colour);
        if let Some(measures) = &draft.measures {
            let all = draft.with_pen();
            for (i, side) in measures.sides.iter().enumerate() {
                let (Some(&a), Some(&b)) = (all.get(i), all.get((i + 1) % all.len().max(1))) else { continue };
                if self.at(a).distance(self.at(b)) >= 60.0 {
                    self.text(self.at((a + b) * 0.5), &units.format_length(side.length_m), c.ink);
                }
            }
        }
        if let Some(why) = &pen.refused {
            self.refused(why.at.unwrap_or(pen.at), &why.sentence);
        }
    }

    fn preview(&self, changes: &[Change], units: UnitPrefs) {
        let stroke = Stroke::new(2.0, self.theme.colours.accent);
        for change in changes {
            match change {
                Change::Field(swap) => {
                    if let Some(after) = &swap.after {
                        self.ring(&after.outer, stroke);
                        after.holes.iter().for_each(|hole| self.ring(hole, stroke));
                        self.changed_sides(swap.before.as_deref(), after, units);
                    }
                }
                Change::Hazard(swap) => match swap.after.as_ref().map(|h| &h.shape) {
                    Some(HazardShape::Point(at)) => self.handle(*at, true),
                    Some(HazardShape::Line(line)) => self.line(line, stroke),
                    Some(HazardShape::Area { outer, .. }) => self.ring(outer, stroke),
                    None => {}
                },
                Change::QuietZone(swap) => {
                    if let Some(after) = &swap.after {
                        self.ring(&after.outer, stroke);
                    }
                }
                Change::Proposal(_)
                | Change::Home(_)
                | Change::Title(_)
                | Change::Layers(_)
                | Change::DrillSet(_)
                | Change::DrillResult(_)
                | Change::Sortie(_) => {}
            }
        }
    }

    /// Lengths of the sides that a drag changes.
    fn changed_sides(&self, before: Option<&Field>, after: &Field, units: UnitPrefs) {
        let count = after.outer.len();
        let old = before.map_or(&[][..], |f| f.outer.as_slice());
        let was = |a: Xy, b: Xy| (0..old.len()).any(|i| old[i] == a && old[(i + 1) % old.len()] == b);
        for i in 0..count {
            let (a, b) = (after.outer[i], after.outer[(i + 1) % count]);
            if !was(a, b) && self.at(a).distance(self.at(b)) >= 40.0 {
                self.text(self.at((a + b) * 0.5), &units.format_length(a.distance(b)), self.theme.colours.ink);
            }
        }
    }

    fn refused(&self, at: Xy, why: &str) {
        self.cross(at);
        self.text(self.at(at) + Vec2::new(0.0, 26.0), why, self.theme.colours.caution);
    }

    fn cross(&self, at: Xy) {
        let (at, d) = (self.at(at), Vec2::splat(8.0));
        let stroke = Stroke::new(3.0, self.theme.colours.caution);
        self.painter.line_segment([at - d, at + d], stroke);
        self.painter.line_segment([at + Vec2::new(-d.x, d.y), at + Vec2::new(d.x, -d.y)], stroke);
    }

    /// Words on a plate of paper, kept inside the map.
    fn text(&self, at: Pos2, words: &str, colour: Color32) {
        let c = &self.theme.colours;
        let wrap = self.view.rect.width().min(360.0);
        let galley = self.painter.layout(words.to_owned(), self.theme.small_font(), colour, wrap);
        let room = self.view.rect.shrink(6.0);
        let rect = Align2::CENTER_CENTER.anchor_size(at, galley.size()).expand2(Vec2::new(5.0, 2.0));
        let shift = Vec2::new(
            (room.left() - rect.left()).max(0.0) + (room.right() - rect.right()).min(0.0),
            (room.top() - rect.top()).max(0.0) + (room.bottom() - rect.bottom()).min(0.0),
        );
        let rect = rect.translate(shift);
        self.painter.rect_filled(rect, 3.0, with_alpha(c.panel_raised, 0.9));
        self.painter.galley(rect.min + Vec2::new(5.0, 2.0), galley, colour);
    }

    fn lasso(&self, points: &[Xy]) {
        let c = &self.theme.colours;
        let screen: Vec<Pos2> = points.iter().map(|&p| self.at(p)).collect();
        if let (Some(first), Some(last)) = (screen.first(), screen.last()) {
            self.painter.extend(Shape::dashed_line(&[*last, *first], Stroke::new(1.0, c.accent), 4.0, 4.0));
        }
        self.painter.add(Shape::line(screen, Stroke::new(2.0, c.accent)));
    }
}
