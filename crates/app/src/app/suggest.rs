//! What the window does for suggested fields: starts and stops searches, and takes what they found.

use super::App;
use crate::edits::proposals;
use crate::jobs::{MeasureJob, MeasureOutcome, SuggestJob, SuggestOutcome};
use crate::model::{AnnotateCommand, NoticeLevel, Sources, SuggestCommand, Thing};
use crate::pick::PickFor;
use crate::suggest::SuggestRequest;
use crate::views::map::View;
use sparefield_geometry::fields::needed::SafetyFactor;
use sparefield_geometry::position::Xy;
use sparefield_geometry::suggest::Options;

/// A search or a measurement under way, and the land it belongs to.
#[derive(Default)]
pub(super) struct Searching {
    search: Option<(u64, SuggestJob)>,
    measure: Option<(u64, MeasureJob)>,
}

impl App {
    /// Does what was asked about suggestions.
    pub(super) fn suggest_command(&mut self, ctx: &egui::Context, command: &SuggestCommand) {
        let Some(area) = self.model.area.clone() else { return };
        match command {
            SuggestCommand::Show(shown) => {
                self.model.suggesting.shown = *shown;
                // What the map shows no longer is not chosen, either.
                let seen = |thing: &&Thing| *shown || !matches!(thing, Thing::Proposal(_));
                let left = self.model.annotating.chosen.iter().filter(seen).cloned().collect();
                self.model.annotate(&AnnotateCommand::Choose(left));
            }
            SuggestCommand::Set(sources) => self.model.suggesting.sources = sources.clone(),
            SuggestCommand::Search => {
                let request = self.suggest_request();
                let wake = ctx.clone();
                match SuggestJob::start((*area).clone(), request, move || wake.request_repaint()) {
                    Ok(job) => self.searching.search = Some((self.model.area_revision, job)),
                    Err(e) => self.model.notify(NoticeLevel::Problem, format!("The system refused a thread: {e}")),
                }
            }
            SuggestCommand::Measure => {
                let request = self.suggest_request();
                let wake = ctx.clone();
                match MeasureJob::start((*area).clone(), request, move || wake.request_repaint()) {
                    Ok(job) => self.searching.measure = Some((self.model.area_revision, job)),
                    Err(e) => self.model.notify(NoticeLevel::Problem, format!("The system refused a thread: {e}")),
                }
            }
            SuggestCommand::ChooseFile(source) => self.pick(ctx, PickFor::Source(*source)),
            SuggestCommand::Stop => {
                if let Some((_, job)) = &self.searching.search {
                    job.stop();
                }
                if let Some((_, job)) = &self.searching.measure {
                    job.stop();
                }
            }
            SuggestCommand::Accept(ids) => {
                let made = proposals::accept(&area, ids);
                self.model.annotate(&AnnotateCommand::Do(Box::new(made)));
            }
            SuggestCommand::Refuse(ids) => {
                let made = proposals::refuse(&area, ids, true);
                self.model.annotate(&AnnotateCommand::Do(Box::new(made)));
            }
            SuggestCommand::Reconsider => {
                let ids: Vec<String> =
                    area.proposals.iter().filter(|p| p.refused).map(|p| p.field.id.clone()).collect();
                let made = proposals::refuse(&area, &ids, false);
                self.model.annotate(&AnnotateCommand::Do(Box::new(made)));
            }
        }
    }

    fn suggest_request(&self) -> SuggestRequest {
        let sources = &self.model.suggesting.sources;
        let options = Options::of(&self.model.conditions.aircraft, SafetyFactor::default());
        SuggestRequest {
            window: sources.only_shown.then(|| self.map_view().map(|view| corners(&view))).flatten(),
            land_cover: Sources::path(&sources.land_cover),
            classes: Sources::path(&sources.classes),
            surface_model: Sources::path(&sources.surface_model).into_iter().collect(),
            ..SuggestRequest::new(options)
        }
    }

    /// Takes what was found or measured.
    pub(super) fn follow_suggestions(&mut self) {
        self.model.suggesting.running = None;
        let now = self.model.area_revision;
        self.searching.search = self.searching.search.take().filter(|(of, _)| *of == now);
        self.searching.measure = self.searching.measure.take().filter(|(of, _)| *of == now);
        if let Some((of, job)) = self.searching.search.take() {
            match job.poll() {
                SuggestOutcome::Running(share) => {
                    self.model.suggesting.running = Some(share);
                    self.searching.search = Some((of, job));
                }
                SuggestOutcome::Found(found) => {
                    let Some(area) = self.model.area.clone() else { return };
                    let edit = proposals::take_over(&area, &found);
                    self.model.suggesting.said = said(&found.provenance, &found.warnings);
                    self.model.suggesting.said.extend(found.left_out());
                    self.model.annotate(&AnnotateCommand::Do(Box::new(Ok(edit))));
                }
                SuggestOutcome::Failed(why) => self.model.notify(NoticeLevel::Problem, sentence(&why)),
                SuggestOutcome::Stopped => self.model.notify(NoticeLevel::Info, "The search was stopped."),
            }
        }
        if let Some((of, job)) = self.searching.measure.take() {
            match job.poll() {
                MeasureOutcome::Running(share) => {
                    self.model.suggesting.running = Some(share);
                    self.searching.measure = Some((of, job));
                }
                MeasureOutcome::Found(measured) => {
                    let Some(area) = self.model.area.clone() else { return };
                    let edit = proposals::take_heights(&area, &measured.sides);
                    self.model.suggesting.said = said(&measured.provenance, &measured.warnings);
                    if edit.changes.is_empty() {
                        let words = "Nothing was measured: no side is unknown where the surface model has heights.";
                        self.model.notify(NoticeLevel::Info, words);
                    }
                    self.model.annotate(&AnnotateCommand::Do(Box::new(Ok(edit))));
                }
                MeasureOutcome::Failed(why) => self.model.notify(NoticeLevel::Problem, sentence(&why)),
                MeasureOutcome::Stopped => self.model.notify(NoticeLevel::Info, "Measuring was stopped."),
            }
        }
    }
}

/// South-west and north-east corner of what a view shows.
fn corners(view: &View) -> (Xy, Xy) {
    let (a, b) = (view.to_world(view.rect.left_bottom()), view.to_world(view.rect.right_top()));
    (Xy::new(a.x.min(b.x), a.y.min(b.y)), Xy::new(a.x.max(b.x), a.y.max(b.y)))
}

fn said(provenance: &[String], warnings: &[sparefield_data::Warning]) -> Vec<String> {
    let warnings = warnings.iter().map(std::string::ToString::to_string);
    provenance.iter().cloned().chain(warnings).map(|line| sentence(&line)).collect()
}

/// With a capital letter and a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map_or_else(String::new, |c| c.to_uppercase().collect());
    format!("{first}{}.", letters.as_str().trim_end_matches('.'))
}
