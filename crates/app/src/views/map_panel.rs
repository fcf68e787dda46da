//! The map as the window shows it: the model turned into what the map widget draws, and its events into commands.

use super::annotate;
use super::circuit::marks::CircuitMarks;
use super::list::{signed_height, words};
use super::map::{
    AircraftMark, DistanceUnit, Hands, HomeMark, LayerContent, LitMask, MapEvent, MapInput, MapState, ReachOverlay,
    Readout, Ring, ShownCircuits, ShownLayer, VeilPicture, WindMark, map_view, relief::GroundLook,
};
use crate::assess::{self, Assessment, HeightInput};
use crate::command::Command;
use crate::model::layers::LayerState;
use crate::model::{CoverShade, DrillCommand, FollowCommand, Freshness, Mode, Model, Session, Tool, height_metres};
use crate::theme::Theme;
use egui::Ui;
use sparefield_data::area::LaneKind;
use sparefield_data::quantity::{HeightUnit, LengthUnit, UnitPrefs, format_bearing};
use sparefield_geometry::fields::model::{Field, Hazard, QuietZone};
use sparefield_geometry::fields::verdict::{ReasonKind, Verdict};
use sparefield_geometry::grid::GridFrame;
use sparefield_geometry::position::{Bearing, Xy};
use std::sync::Arc;

/// What the window worked out once for the present area and answer, so that a frame does not do it again.
#[derive(Default)]
pub struct MapDerived {
    land_revision: u64,
    lanes: Vec<Vec<Xy>>,
    home: Option<HomeMark>,
    /// The answers are kept with what was made of them: an address alone may be that of a later answer.
    path_of: Option<(Arc<Assessment>, usize)>,
    path: Vec<Xy>,
    overlay_of: Option<(Arc<Assessment>, HeightUnit)>,
    overlay: Option<Arc<ReachOverlay>>,
    circuits: CircuitMarks,
    cover: super::options::Derived,
}

impl MapDerived {
    /// Takes the picture of how an options map shades the land.
    pub(crate) fn take_dusk(&mut self, shade: &Arc<CoverShade>, picture: Option<Arc<VeilPicture>>) {
        self.cover.take_dusk(shade, picture);
    }

    fn refresh(&mut self, model: &Model) {
        self.circuits.refresh(model);
        self.cover.refresh(model);
        let Some(area) = &model.area else { return };
        if self.land_revision != model.land_revision {
            let (circuits, cover) = (std::mem::take(&mut self.circuits), std::mem::take(&mut self.cover));
            *self = Self { land_revision: model.land_revision, circuits, cover, ..Self::default() };
            // The river itself is a water area; its centre line would be drawn as a lane.
            self.lanes = area.lanes.iter().filter(|l| l.kind == LaneKind::Lane).map(|l| l.line.clone()).collect();
            self.home = area.home.as_ref().map(|h| {
                let from = h.ends.first().map_or(h.position, |e| e.threshold);
                let to = h.ends.get(1).map_or(from, |e| e.threshold);
                HomeMark { from, to, name: h.name.clone() }
            });
        }
        let Some(assessment) = &model.assessment else {
            // Nothing is known to be in reach, so nothing is lit.
            if self.overlay.is_none() || self.overlay_of.is_some() {
                self.overlay = Some(Arc::new(all_dusk(area.terrain.frame)));
            }
            self.overlay_of = None;
            self.path.clear();
            self.path_of = None;
            return;
        };
        let unit = model.settings.units.height;
        if !self.overlay_of.as_ref().is_some_and(|(a, u)| Arc::ptr_eq(a, assessment) && *u == unit) {
            self.overlay = Some(Arc::new(overlay(assessment, &model.rings, model.settings.units)));
            self.overlay_of = Some((Arc::clone(assessment), unit));
        }
        let same_path = match (&self.path_of, model.selected) {
            (Some((a, of)), Some(chosen)) => Arc::ptr_eq(a, assessment) && *of == chosen,
            (of, chosen) => of.is_none() && chosen.is_none(),
        };
        if !same_path {
            self.path = model.selected.and_then(|s| assessment.path_to(&area.terrain, s)).unwrap_or_default();
            self.path_of = model.selected.map(|s| (Arc::clone(assessment), s));
        }
    }
}

/// No land in reach anywhere.
fn all_dusk(terrain: GridFrame) -> ReachOverlay {
    let (low, high) = terrain.bounds();
    let side = (high.x - low.x).max(high.y - low.y);
    let frame = GridFrame { origin: (low + high) * 0.5, cell_m: side, cols: 1, rows: 1 };
    ReachOverlay { rings: Vec::new(), lit: LitMask { frame, veil: Arc::new(vec![255]) }, picture: None }
}

/// Shows the map and pushes what the hand did on it.
pub fn map_panel(
    ui: &mut Ui,
    model: &Model,
    state: &mut MapState,
    derived: &mut MapDerived,
    theme: &Theme,
    commands: &mut Vec<Command>,
) {
    derived.refresh(model);
    let units = model.settings.units;
    let annotating = model.mode == Mode::Annotate;
    // While the land is described or a flight is gone through, nobody asks from where a field would be reached.
    let bare = annotating || model.mode == Mode::Debrief || model.drills() || model.climbs_out();
    let drill = model.drilling.session.as_ref().filter(|_| model.drills());
    // While following, an old answer lights no land: it would look like where the aircraft can glide to now.
    let hidden = model.follows() && model.follow.freshness() != Freshness::Current;
    let nowhere = model.follows() && model.follow.freshness() == Freshness::Gone;
    let area = model.area.as_deref();
    let none_fields: &[Arc<Field>] = &[];
    let none_hazards: &[Arc<Hazard>] = &[];
    let none_zones: &[Arc<QuietZone>] = &[];
    let conditions = &model.conditions;
    let assessment = model.assessment.as_deref();
    let aircraft = match drill {
        Some(session) => Some(drilled_aircraft(model, session)),
        None => area.filter(|_| !bare).map(|_| aircraft_mark(model)),
    };
    let wind = assessment.filter(|_| !bare).map(|a| {
        let vector = a.wind.at_amsl(a.state.height_amsl_m);
        let speed = units.format_speed(conditions.wind_speed_ms);
        let label = if conditions.wind_speed_ms > 0.0 {
            format!("{}/{speed} at the surface", format_bearing(conditions.wind_from))
        } else {
            "calm".to_owned()
        };
        WindMark { wind: vector, label, streaks: false }
    });
    let shown = shown_layers(model);
    let fields = area.map_or(none_fields, |a| a.fields.as_slice());
    // Where the options map shades the land, dusk means that, and not what is out of reach from here.
    let covered = derived.cover.dusk().filter(|_| model.shows_cover() && !model.follows());
    let routing = model.cover.route.drawing && model.shows_cover();
    let input = MapInput {
        theme,
        terrain: area.map(|a| &a.terrain),
        ground: GroundLook {
            shading: true,
            tint: super::layers::tint(model),
            strength: model.layers.ground_opacity,
            contours: model.layers.contours,
        },
        layers: &shown,
        revision: model.land_revision,
        fields,
        doubtful: &|i| model.survey.shown.doubts(i),
        dimmed: &|i| annotating && model.survey.shown.hides(i),
        hazards: area.map_or(none_hazards, |a| a.hazards.as_slice()),
        quiet_zones: area.map_or(none_zones, |a| a.quiet_zones.as_slice()),
        lanes: &derived.lanes,
        home: derived.home.as_ref(),
        ranked: assessment.filter(|_| !bare && !hidden).map(|a| a.ranked.as_slice()),
        cover: if model.shows_cover() { derived.cover.lines() } else { &[] },
        reach: covered.or(derived.overlay.as_ref().filter(|_| !bare && !hidden)),
        aircraft: aircraft.as_ref().filter(|_| !nowhere),
        wind: wind.as_ref().filter(|_| !nowhere),
        hands: match (annotating, routing) {
            (_, true) => Hands { choose: false, ..Hands::default() },
            (true, false) => annotate::on_map::hands(ui, model),
            (false, false) => Hands::default(),
        },
        every_side: annotating && model.annotating.tool == Tool::Sides,
        selected: drill.map_or(if model.drills() { None } else { model.selected }, |session| session.field),
        hovered: model.hovered,
        path: (!bare && !derived.path.is_empty()).then_some(derived.path.as_slice()),
        circuits: if hidden || model.climbs_out() { ShownCircuits::default() } else { derived.circuits.shown() },
        height_in_feet: units.height == HeightUnit::Ft,
        distance_unit: match units.length {
            LengthUnit::M => DistanceUnit::Kilometres,
            LengthUnit::Ft | LengthUnit::Yd => DistanceUnit::Miles,
        },
        format_height: &|h| units.format_height(h),
        to_lonlat: &|p| area.and_then(|a| a.frame.to_lonlat(p).ok()),
        readout: &|p| readout(model, p),
        hover_text: &|i| hover_text(model, i),
    };
    let shown = map_view(ui, state, &input);
    let following = model.follows();
    if following && shown.response.dragged() && !model.follow.looked_away {
        commands.push(Command::Follow(FollowCommand::LookedAway));
    }
    for event in &shown.events {
        // The receiver, or the recording, says where the aircraft is, not the hand.
        let by_hand =
            matches!(event, MapEvent::MoveAircraft(_) | MapEvent::TurnAircraft(_) | MapEvent::DropAircraftEnd);
        if (following || model.mode == Mode::Debrief || model.drills() || model.climbs_out()) && by_hand {
            continue;
        }
        commands.push(match *event {
            MapEvent::MoveAircraft(p) => Command::MoveAircraft(p),
            MapEvent::TurnAircraft(b) => Command::TurnAircraft(b),
            MapEvent::DropAircraftEnd => Command::EndGesture,
            MapEvent::SelectField(chosen) if model.drills() => match chosen {
                Some(field) => Command::Drill(DrillCommand::Choose(field)),
                None => continue,
            },
            MapEvent::SelectField(s) => Command::Select(s),
            MapEvent::HoverField(h) => Command::Hover(h),
        });
    }
    super::merge::on_map::draw(ui, &shown.view, model, theme);
    super::debrief::on_map::draw(ui, &shown.view, model, theme);
    super::drill::on_map::draw(ui, &shown.view, model, theme);
    super::climb_out::on_map(ui, &shown.view, model, theme);
    super::options::on_map(ui, &shown, model, theme, commands);
    if annotating && !routing {
        annotate::on_map::on_map(ui, &shown, model, theme, commands);
    }
}

/// The layers to draw, from the lowest to the highest.
fn shown_layers(model: &Model) -> Vec<ShownLayer> {
    let visible = model.layers.list.iter().filter(|l| l.spec.visible && l.spec.opacity > 0.0);
    let shown = visible.filter_map(|l| {
        let content = match &l.state {
            LayerState::Imagery(image) => LayerContent::Imagery(Arc::clone(image)),
            LayerState::Background(background) => LayerContent::Background(Arc::clone(background)),
            LayerState::Opening | LayerState::Failed(_) => return None,
        };
        Some(ShownLayer { id: l.id, opacity: l.spec.opacity, content })
    });
    shown.collect()
}

fn aircraft_mark(model: &Model) -> AircraftMark {
    let units = model.settings.units;
    let conditions = &model.conditions;
    if let (true, Freshness::Old(age)) = (model.follows(), model.follow.freshness()) {
        let label = vec![format!("{} s old", age.as_secs())];
        let still = Xy::default();
        return AircraftMark {
            position: conditions.position,
            heading: conditions.heading,
            ground_velocity_ms: still,
            label,
        };
    }
    let ground = model.ground_under_aircraft();
    let following = model.follows();
    let height = height_metres(conditions.height);
    let label = match (conditions.height, ground) {
        (HeightInput::AboveGround(_), Some(g)) => vec![
            format!("{} above ground", units.format_height(height)),
            format!("{} above sea", units.format_height(height + g)),
        ],
        (HeightInput::AboveSea(_), Some(g)) => vec![
            format!("{} above ground", units.format_height(height - g)),
            format!("{} above sea", units.format_height(height)),
        ],
        (HeightInput::AboveGround(_), None) => vec![format!("{} above ground", units.format_height(height))],
        (HeightInput::AboveSea(_), None) => vec![format!("{} above sea", units.format_height(height))],
    };
    // In flight one height is read, the other is in the way.
    let label = if following { label.into_iter().take(1).collect() } else { label };
    let ground_velocity_ms = model.assessment.as_ref().map_or(Xy::default(), |a| a.ground_velocity_ms());
    AircraftMark { position: conditions.position, heading: conditions.heading, ground_velocity_ms, label }
}

/// The aircraft of a drill at the moment shown: what a pilot would see, and no more.
fn drilled_aircraft(model: &Model, session: &Session) -> AircraftMark {
    let units = model.settings.units;
    let here = session.shown();
    let ground = session.prepared.rehearsal.area().terrain.height_at(here.position);
    let label = match ground {
        Some(g) => format!("{} above ground", units.format_height((here.height_amsl_m - g).max(0.0))),
        None => format!("{} above sea", units.format_height(here.height_amsl_m)),
    };
    AircraftMark {
        position: here.position,
        heading: Some(here.heading()),
        ground_velocity_ms: session.velocity_ms(),
        label: vec![label],
    }
}

fn readout(model: &Model, p: Xy) -> Readout {
    let units = model.settings.units;
    let mut parts = Vec::new();
    let Some(area) = &model.area else { return Readout::default() };
    match area.terrain.height_at(p) {
        Some(ground) => {
            parts.push(format!("ground {}", units.format_height(ground)));
            if let Some((words, first)) = super::options::words::at_place(model, p) {
                // What matters most stands at the end, where it is always shown.
                parts.extend(first);
                parts.push(words);
            } else if let Some(assessment) = model.assessment.as_ref().filter(|_| model.looks()) {
                match assessment.spare_at(&area.terrain, p) {
                    Some((arrival, spare)) => {
                        parts.push(format!("arrive {} above it", units.format_height_at_least(arrival)));
                        parts.push(if spare < 0.0 {
                            format!("{} too low to join overhead", units.format_height(-spare))
                        } else {
                            format!("{} spare over a circuit", units.format_height(spare))
                        });
                    }
                    None => parts.push("out of gliding reach".into()),
                }
            }
        }
        None => parts.push("no terrain height".into()),
    }
    Readout { parts }
}

fn hover_text(model: &Model, index: usize) -> String {
    let (Some(area), Some(assessment)) = (&model.area, &model.assessment) else { return String::new() };
    let Some(field) = area.fields.get(index) else { return String::new() };
    if model.drills() {
        return field.label().to_owned();
    }
    let Some(ranked) = assessment.ranked.iter().find(|r| r.index == index) else { return field.label().to_owned() };
    let units = model.settings.units;
    let convergence = model.convergence_rad(field.centroid());
    if ranked.verdict == Verdict::Out {
        let why = ranked.reasons.iter().find(|r| r.kind == ReasonKind::Gate);
        return why.map_or_else(
            || format!("{}: out", field.label()),
            |r| format!("{}: {}", field.label(), words(r, units, convergence)),
        );
    }
    let strip = ranked.strip.as_ref().map_or_else(String::new, |s| {
        let heading = Bearing::from_rad(s.heading.rad() + convergence);
        format!(", land {}, {} usable", format_bearing(heading), units.format_length_at_least(s.usable_length_m))
    });
    format!("{}: {}{strip}", field.label(), ranked.verdict.words())
}

/// Rings and lit land for the map, from an assessment.
fn overlay(assessment: &Assessment, rings: &[assess::Ring], units: UnitPrefs) -> ReachOverlay {
    let rings = rings
        .iter()
        .map(|ring| Ring {
            level_m: ring.level_m,
            label: if ring.level_m == 0.0 { "circuit in hand".to_owned() } else { signed_height(units, ring.level_m) },
            lines: ring.lines.clone(),
        })
        .collect();
    let lit = LitMask::from_spare_heights(assessment.reach.frame, &assessment.spare_m);
    ReachOverlay { rings, lit, picture: None }
}
