//! The options map on the map: lines, dusk over what is not covered, and a route.

use crate::command::Command;
use crate::model::{CoverCommand, CoverLook, CoverMade, CoverShade, Model, RouteCommand};
use crate::options_map::RoutePoint;
use crate::theme::{Theme, with_alpha};
use crate::views::map::{LitMask, ReachOverlay, Ring, Shown, VeilPicture, View};
use egui::{Align2, CursorIcon, Painter, Pos2, Shape, Stroke, Ui, Vec2};
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// Points of the screen nearer than this to the last are left out.
const CLOSE: f32 = 1.5;

/// What is drawn, worked out once for a map, a height and a look.
#[derive(Default)]
pub(in crate::views) struct Derived {
    lines_of: Option<(Arc<CoverMade>, UnitPrefs)>,
    lines: Vec<Ring>,
    dusk_of: Option<Arc<CoverShade>>,
    dusk: Option<Arc<ReachOverlay>>,
    /// The picture that was made of a shade beside the window.
    picture: Option<(Arc<CoverShade>, Arc<VeilPicture>)>,
    look: CoverLook,
}

impl Derived {
    pub(in crate::views) fn refresh(&mut self, model: &Model) {
        let cover = &model.cover;
        self.look = cover.look;
        let Some(made) = &cover.made else {
            *self = Self::default();
            return;
        };
        let units = model.settings.units;
        if !self.lines_of.as_ref().is_some_and(|(of, u)| Arc::ptr_eq(of, made) && *u == units) {
            let lines = made.lines.iter().map(|line| Ring {
                level_m: line.height_agl_m,
                label: format!("in reach from {}", units.format_height(line.height_agl_m)),
                lines: line.lines.clone(),
            });
            self.lines = lines.collect();
            self.lines_of = Some((Arc::clone(made), units));
        }
        let shade = cover.shade.as_ref().filter(|shade| cover.look != CoverLook::Lines && !shade.veil.is_empty());
        if !self.dusk_of.as_ref().zip(shade).is_some_and(|(of, shade)| Arc::ptr_eq(of, shade)) {
            self.dusk = shade.map(|shade| {
                let lit = LitMask { frame: shade.of.map.least.frame, veil: Arc::clone(&shade.veil) };
                let its = self.picture.take().filter(|(of, _)| Arc::ptr_eq(of, shade));
                Arc::new(ReachOverlay { rings: Vec::new(), lit, picture: its.map(|(_, picture)| picture) })
            });
            self.dusk_of = shade.cloned();
        }
    }

    /// Takes the picture of a shade.
    pub(in crate::views) fn take_dusk(&mut self, shade: &Arc<CoverShade>, picture: Option<Arc<VeilPicture>>) {
        self.picture = picture.map(|picture| (Arc::clone(shade), picture));
    }

    /// Lines of the map; none where dusk tells.
    pub(in crate::views) fn lines(&self) -> &[Ring] {
        if self.look == CoverLook::Lines { &self.lines } else { &[] }
    }

    /// Dusk over what is not covered, where it is shown.
    pub(in crate::views) fn dusk(&self) -> Option<&Arc<ReachOverlay>> {
        self.dusk.as_ref()
    }
}

/// Draws the route, and takes the clicks that draw one.
pub(in crate::views) fn on_map(ui: &Ui, shown: &Shown, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let plan = &model.cover.route;
    if plan.drawing && model.shows_cover() {
        let map = &shown.response;
        if map.hovered() {
            ui.ctx().set_cursor_icon(CursorIcon::Crosshair);
        }
        let mut push = |command| commands.push(Command::Cover(CoverCommand::Route(command)));
        if map.double_clicked() {
            push(RouteCommand::Draw(false));
        } else if map.clicked()
            && let Some(pointer) = map.interact_pointer_pos()
        {
            push(RouteCommand::Add(shown.view.to_world(pointer)));
        }
    }
    if !model.shows_cover() || plan.places.is_empty() {
        return;
    }
    let painter = ui.painter().with_clip_rect(shown.view.rect);
    let c = &theme.colours;
    if let Some(made) = &plan.made {
        let line = screen(&shown.view, made.line.iter().copied());
        painter.add(Shape::line(line, Stroke::new(7.0, with_alpha(c.halo, 0.8))));
        for stretch in &made.route.stretches {
            let of_it = |p: &&RoutePoint| p.along_m >= stretch.from_m && p.along_m <= stretch.to_m;
            let line = screen(&shown.view, made.route.points.iter().filter(of_it).map(|p| p.position));
            if stretch.covered {
                painter.add(Shape::line(line, Stroke::new(3.0, c.ink)));
            } else {
                // Told apart without colour, too.
                painter.extend(Shape::dashed_line(&line, Stroke::new(4.5, c.caution), 9.0, 5.0));
            }
        }
        if let Some(point) = plan.pointed_m.and_then(|along| nearest(&made.route.points, along)) {
            let at = shown.view.to_screen(point.position);
            painter.circle(at, 6.0, c.accent, Stroke::new(2.0, c.halo));
        }
    } else {
        let line = screen(&shown.view, plan.places.iter().copied());
        painter.extend(Shape::dashed_line(&line, Stroke::new(4.5, with_alpha(c.halo, 0.8)), 6.0, 4.0));
        painter.extend(Shape::dashed_line(&line, Stroke::new(2.0, c.ink), 6.0, 4.0));
    }
    if plan.from_file.is_none() {
        for (i, place) in plan.places.iter().enumerate() {
            corner(&painter, shown.view.to_screen(*place), i + 1, theme);
        }
    }
}

fn corner(painter: &Painter, at: Pos2, number: usize, theme: &Theme) {
    let c = &theme.colours;
    painter.circle(at, 5.0, c.panel, Stroke::new(2.0, c.ink));
    let font = theme.bold_font(theme.sizes.small);
    let at = at + Vec2::new(9.0, -3.0);
    for halo in [Vec2::new(1.0, 0.0), Vec2::new(-1.0, 0.0), Vec2::new(0.0, 1.0), Vec2::new(0.0, -1.0)] {
        painter.text(at + halo, Align2::LEFT_BOTTOM, number.to_string(), font.clone(), c.halo);
    }
    painter.text(at, Align2::LEFT_BOTTOM, number.to_string(), font, c.ink);
}

/// The point of a route nearest to a distance from its start.
pub(super) fn nearest(points: &[RoutePoint], along_m: f64) -> Option<&RoutePoint> {
    let after = points.partition_point(|p| p.along_m < along_m);
    let near = [after.checked_sub(1), Some(after)].into_iter().flatten().filter_map(|i| points.get(i));
    near.min_by(|a, b| (a.along_m - along_m).abs().total_cmp(&(b.along_m - along_m).abs()))
}

fn screen(view: &View, places: impl Iterator<Item = Xy>) -> Vec<Pos2> {
    let mut points: Vec<Pos2> = Vec::new();
    let mut last = None;
    for place in places {
        let at = view.to_screen(place);
        if points.last().is_none_or(|p| p.distance(at) >= CLOSE) {
            points.push(at);
            last = None;
        } else {
            last = Some(at);
        }
    }
    points.extend(last);
    points
}
