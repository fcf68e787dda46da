//! The parts of a sheet, each for one field.

use super::paint;
use crate::command::Command;
use crate::model::{Model, SheetCommand};
use crate::not_looked_at;
use crate::sheet::profiles::{self, ProfileLook, Scales};
use crate::sheet::rose::{self, RoseLook};
use crate::sheet::{Made, One, plan, words};
use crate::theme::{Theme, space};
use egui::{Key, Label, RichText, Sense, Ui, Vec2, WidgetInfo, vec2};
use sparefield_geometry::fields::sheet::Way;
use sparefield_geometry::fields::verdict::ReasonKind;

/// One field of a sheet, with everything that shows it.
pub(super) struct Part<'a> {
    pub(super) made: &'a Made,
    pub(super) one: &'a One,
    pub(super) way: Option<&'a Way>,
    pub(super) model: &'a Model,
    pub(super) theme: &'a Theme,
    pub(super) rim_m: f64,
    pub(super) plan_scale: f32,
    pub(super) scales: Scales,
    /// Whether it is the field that the sheet belongs to, and not the one beside it.
    pub(super) own: bool,
}

impl Part<'_> {
    fn section(&self, ui: &mut Ui, text: &str) {
        ui.add_space(space::LINE);
        let font = self.theme.bold_font(self.theme.sizes.text);
        ui.label(RichText::new(text).font(font));
    }

    fn soft(&self, ui: &mut Ui, text: impl Into<String>) {
        let text = RichText::new(text).size(self.theme.sizes.small).color(self.theme.colours.ink_soft);
        ui.add(Label::new(text).wrap());
    }

    pub(super) fn name(&self, ui: &mut Ui) {
        let font = self.theme.bold_font(self.theme.sizes.heading);
        ui.add(Label::new(RichText::new(self.one.field.label()).font(font)).wrap());
    }

    pub(super) fn sentence(&self, ui: &mut Ui) {
        let units = self.model.settings.units;
        let font = self.theme.bold_font(self.theme.sizes.heading);
        ui.add(Label::new(RichText::new(words::headline(self.one, units)).font(font)).wrap());
        ui.add(Label::new(words::directions(self.one, units)).wrap());
        self.soft(ui, format!("{}. {}", words::conditions(self.made, self.one, units), words::REACH_NOT_COUNTED));
        self.soft(ui, words::about(self.one));
        if !self.one.field.notes.is_empty() {
            self.soft(ui, self.one.field.notes.clone());
        }
    }

    /// The rose: pointing tells a direction's numbers, clicking and arrow keys look at it.
    pub(super) fn rose(&self, ui: &mut Ui, side: f32, commands: &mut Vec<Command>) {
        let units = self.model.settings.units;
        let (from, speed) = self.model.sheet_wind();
        let looked = rose::nearest(from);
        let conditions = &self.model.conditions;
        let look = RoseLook {
            side,
            rim_m: self.rim_m,
            looked: (speed > 0.0).then_some(looked),
            present: (conditions.wind_speed_ms > 0.0).then_some(conditions.wind_from),
            units,
            sizes: &self.theme.sizes,
        };
        let picture = rose::picture(self.one, &look);
        let (rect, response) = ui.allocate_exact_size(picture.size, Sense::click());
        let bar = |i: usize| self.one.sheet.rose.get(i).map_or_else(String::new, |b| words::bar(self.one, b, units));
        response.widget_info(|| {
            let spoken = format!("Rose of {}. {}", self.one.field.label(), bar(looked));
            WidgetInfo::labeled(egui::Role::Slider, true, spoken)
        });
        paint::paint(ui, rect, &picture, self.theme);
        if response.has_focus() {
            let stroke = egui::Stroke::new(1.5, self.theme.colours.accent);
            ui.painter().rect_stroke(rect, 6.0, stroke, egui::StrokeKind::Inside);
            let filter = egui::EventFilter { horizontal_arrows: true, ..egui::EventFilter::default() };
            ui.memory_mut(|m| m.set_focus_lock_filter(response.id, filter));
            let steps = ui.input_mut(|i| {
                let right = i.count_and_consume_key(egui::Modifiers::NONE, Key::ArrowRight) as i32;
                right - i.count_and_consume_key(egui::Modifiers::NONE, Key::ArrowLeft) as i32
            });
            if steps != 0 {
                commands.push(Command::Sheet(SheetCommand::Step(steps)));
            }
        }
        let pointed = response.hover_pos().and_then(|p| rose::direction_at(side, p - rect.min.to_vec2()));
        if response.clicked() {
            response.request_focus();
            if let Some(direction) = pointed {
                commands.push(Command::Sheet(SheetCommand::From(Some(rose::bearing(direction)))));
            }
        }
        if let Some(direction) = pointed {
            response.on_hover_text_at_pointer(bar(direction));
        }
        let text = if speed > 0.0 {
            bar(looked)
        } else {
            format!("No wind: the same in every direction. {}", words::headline(self.one, units))
        };
        self.soft(ui, text);
    }

    pub(super) fn plan(&self, ui: &mut Ui, size: Vec2) {
        let units = self.model.settings.units;
        let look = plan::PlanLook {
            ground: None,
            size,
            scale: self.plan_scale,
            way: self.way,
            hazards: &self.made.ask.area.hazards,
            units,
            sizes: &self.theme.sizes,
        };
        let mut picture = plan::picture(self.one, &look);
        if let Some(from) = self.one.sheet.wind.from_bearing() {
            plan::wind(&mut picture, from, &words::wind(self.one, units));
        }
        paint::show(ui, &picture, self.theme);
    }

    /// The strips, each both ways, to choose which is shown from the side.
    pub(super) fn ways(&self, ui: &mut Ui, commands: &mut Vec<Command>) {
        if self.one.sheet.strips.is_empty() {
            return;
        }
        self.soft(ui, "Strips, each both ways; the best in this wind by the rules of the ranking is shown first. Filled: usable; the line in it: the needed length, from the aiming point on. Broken sides: height assumed.");
        ui.horizontal_wrapped(|ui| {
            for way in self.one.sheet.strips.iter().flat_map(|s| &s.ways) {
                let landing = &way.landing;
                let chosen = self
                    .way
                    .is_some_and(|w| (w.landing.strip_index, w.landing.end) == (landing.strip_index, landing.end));
                let verdict = words::way_verdict(way, self.model.settings.units);
                let text = format!("{}: {verdict}", words::sentence_start(&words::way_name(self.one, way)));
                if ui.radio(chosen, text).clicked() {
                    let picked = Some((landing.strip_index, landing.end));
                    commands.push(Command::Sheet(SheetCommand::Way(picked)));
                }
            }
        });
    }

    pub(super) fn approach(&self, ui: &mut Ui, width: f32) {
        let Some(way) = self.way else { return };
        let units = self.model.settings.units;
        self.section(ui, &format!("Approach, {}", words::way_name(self.one, way)));
        ui.add(Label::new(words::approach(way, units)).wrap());
        let picture = profiles::approach(self.one, way, &self.profile(vec2(width, 270.0)));
        paint::show(ui, &picture, self.theme);
    }

    fn profile(&self, size: Vec2) -> ProfileLook<'_> {
        ProfileLook { size, scales: &self.scales, units: self.model.settings.units, sizes: &self.theme.sizes }
    }

    pub(super) fn things(&self, ui: &mut Ui) {
        let Some(way) = self.way.filter(|w| !w.approach.things.is_empty()) else { return };
        let units = self.model.settings.units;
        let heading = words::THING_HEADINGS.iter().map(|h| ((*h).to_owned(), false)).collect();
        let mut rows: Vec<Vec<(String, bool)>> = vec![heading];
        for (i, thing) in way.approach.things.iter().enumerate() {
            let governs = way.approach.governing == Some(i);
            rows.push(words::thing(thing, units).into_iter().map(|cell| (cell, governs)).collect());
        }
        table(ui, self.theme, &[0.24, 0.16, 0.15, 0.15, 0.13, 0.17], &rows);
    }

    pub(super) fn ground(&self, ui: &mut Ui, width: f32) {
        let Some(way) = self.way else { return };
        self.section(ui, "Ground along the strip");
        let picture = profiles::slope(self.one, way, &self.profile(vec2(width, 300.0)));
        paint::show(ui, &picture, self.theme);
    }

    pub(super) fn figures(&self, ui: &mut Ui) {
        let Some(way) = self.way else { return };
        self.section(ui, "In numbers");
        let figures = words::figures(self.one, way, self.model.settings.units);
        let rows: Vec<Vec<(String, bool)>> =
            figures.into_iter().map(|(name, value)| vec![(name.to_owned(), false), (value, true)]).collect();
        table(ui, self.theme, &[0.6, 0.4], &rows);
    }

    pub(super) fn reasons(&self, ui: &mut Ui) {
        let Some(way) = self.way else { return };
        self.section(ui, "Why");
        ui.label(format!("By itself the field is {}.", words::verdict(way)));
        for (kind, text) in words::reasons(self.one, way, self.model.settings.units) {
            let mark = match kind {
                ReasonKind::Gate => "×",
                ReasonKind::Limit => "–",
                ReasonKind::NotKnown => "?",
                ReasonKind::Note => "·",
                ReasonKind::Good => "+",
            };
            self.item(ui, mark, &text, matches!(kind, ReasonKind::Gate | ReasonKind::Limit), false);
        }
    }

    fn item(&self, ui: &mut Ui, mark: &str, text: &str, caution: bool, bold: bool) {
        ui.horizontal_top(|ui| {
            let colour = if caution { self.theme.colours.caution } else { self.theme.colours.ink };
            let font = self.theme.bold_font(self.theme.sizes.text);
            ui.add_sized([14.0, 18.0], Label::new(RichText::new(mark).font(font.clone()).color(colour)));
            let text = RichText::new(text);
            let text = if bold { text.font(self.theme.bold_font(self.theme.sizes.text)) } else { text };
            ui.add(Label::new(text).wrap());
        });
    }

    /// Everything taken for granted; what decides comes first and stands out.
    pub(super) fn assumptions(&self, ui: &mut Ui) {
        self.section(ui, "What this rests on");
        if self.own {
            self.soft(ui, "Marked !: the best landing in this wind changes with it.");
        }
        for (group, list) in words::assumptions(self.one, self.model.settings.units) {
            ui.label(RichText::new(group).color(self.theme.colours.ink_soft));
            for assumed in list {
                let mark = if assumed.decides { "!" } else { "·" };
                self.item(ui, mark, &assumed.text, assumed.decides, assumed.decides);
                ui.horizontal_top(|ui| {
                    ui.add_space(22.0);
                    self.soft(ui, format!("Source: {}", assumed.source));
                });
            }
        }
    }

    pub(super) fn not_looked_at(&self, ui: &mut Ui) {
        self.section(ui, "Not looked at");
        for text in not_looked_at::BY_RANKING {
            self.soft(ui, text);
        }
    }
}

/// Rows of cells, each wrapped in its share of the width; the first row is the heading.
pub(super) fn table(ui: &mut Ui, theme: &Theme, shares: &[f32], rows: &[Vec<(String, bool)>]) {
    let width = ui.available_width() - ui.spacing().item_spacing.x * shares.len() as f32;
    for row in rows {
        ui.horizontal_top(|ui| {
            for ((text, bold), share) in row.iter().zip(shares) {
                ui.allocate_ui(vec2(width * share, 0.0), |ui| {
                    ui.set_width(width * share);
                    let font = if *bold { theme.bold_font(theme.sizes.small) } else { theme.small_font() };
                    ui.add(Label::new(RichText::new(text).font(font)).wrap());
                });
            }
        });
    }
}
