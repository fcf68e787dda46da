//! Keeps the open area in its file: sends edits to be written as they happen, and tells how that stands.

use crate::jobs::{SaveJob, SaveTo, Saved};
use crate::model::{Keeping, Model, NoticeLevel};
use crate::page_place::plain_name;
use sparefield_data::area_file::{AreaFile, AreaParts, TerrainSource};
use std::path::PathBuf;

/// The hand that keeps the area.
#[derive(Default)]
pub struct Keep {
    job: Option<SaveJob>,
    terrain: TerrainSource,
    /// Where an area without a file gets one at its first edit; `None` where it gets none.
    folder: Option<PathBuf>,
}

impl Keep {
    /// Areas without a file get one in this folder.
    #[must_use]
    pub fn new(folder: Option<PathBuf>) -> Self {
        Self { folder, ..Self::default() }
    }

    /// The user's own folder for areas.
    #[must_use]
    pub fn own_folder() -> Option<PathBuf> {
        directories::ProjectDirs::from("", "", "sparefield").map(|d| d.data_dir().join("areas"))
    }

    /// Takes over the file of an area that was opened; lets go of the one before, once all of it is written.
    pub fn opened(&mut self, model: &mut Model, file: Option<AreaFile>, terrain: TerrainSource, notify: Notify) {
        self.job = None;
        self.terrain = terrain;
        model.keeping = Keeping::default();
        if let Some(file) = file {
            model.keeping.path = Some(file.path().to_owned());
            model.keeping.problem = file.read_only().map(ToString::to_string);
            self.start(model, SaveTo::File(Box::new(file)), notify);
        }
    }

    /// Lets go of the file, once all of it is written.
    pub fn let_go(&mut self, model: &mut Model) {
        self.job = None;
        model.keeping = Keeping::default();
    }

    fn start(&mut self, model: &mut Model, to: SaveTo, notify: Notify) {
        match SaveJob::start(to, notify) {
            Ok(job) => self.job = Some(job),
            Err(e) => model.keeping.problem = Some(format!("The system refused a thread: {e}")),
        }
    }

    /// Sends what was edited, and takes what came of earlier edits. Called once in each frame.
    pub fn follow(&mut self, model: &mut Model, notify: impl FnOnce() -> Notify) {
        if self.job.is_none() && !model.unsaved.is_empty() {
            let (Some(folder), Some(area)) = (&self.folder, &model.area) else { return };
            let path = free_name(folder, &area.title);
            if let Err(e) = std::fs::create_dir_all(folder) {
                log::warn!("{}: the folder for areas could not be made ({e})", folder.display());
            }
            // The parts hold the edits that wait, so those are written with them.
            let parts = AreaParts::of(area, self.terrain.clone());
            model.unsaved.clear();
            model.keeping = Keeping { path: Some(path.clone()), waiting: 1, ..Keeping::default() };
            self.start(model, SaveTo::New(path, Box::new(parts)), notify());
        }
        let Some(job) = &self.job else { return };
        for edit in model.unsaved.drain(..) {
            model.keeping.waiting += 1;
            job.keep(edit);
        }
        for saved in job.take() {
            match saved {
                Saved::Made(path) => {
                    let words = format!("From now on this area is kept in {}", path.display());
                    model.notify(NoticeLevel::Info, words);
                    model.settings.remember(&path);
                    model.keeping.problem = None;
                    model.keeping.waiting = model.keeping.waiting.saturating_sub(1);
                }
                Saved::Written => {
                    model.keeping.problem = None;
                    model.keeping.waiting = model.keeping.waiting.saturating_sub(1);
                }
                Saved::Problem(problem) => model.keeping.problem = Some(problem.to_string()),
                Saved::Copied(path) => {
                    model.notify(NoticeLevel::Info, format!("A copy is saved in {}", path.display()));
                }
                Saved::NotCopied(problem) => model.notify(NoticeLevel::Problem, problem.to_string()),
            }
        }
    }

    /// Tries again what could not be written.
    pub fn try_again(&self) {
        if let Some(job) = &self.job {
            job.try_again();
        }
    }

    /// Where an area without a file would be kept.
    #[must_use]
    pub fn new_name(&self, title: &str) -> PathBuf {
        free_name(self.folder.as_deref().unwrap_or(std::path::Path::new("")), title)
    }

    /// Saves a copy; of an area without a file, makes it one.
    pub fn copy(&mut self, model: &mut Model, to: PathBuf, notify: impl FnOnce() -> Notify) {
        match (&self.job, &model.area) {
            (Some(job), _) => job.copy(to, false),
            (None, Some(area)) => {
                // Only the folder for areas is made; one that was mistyped is refused when the file is written.
                if let Some(folder) = self.folder.as_deref().filter(|folder| to.parent() == Some(folder))
                    && let Err(e) = std::fs::create_dir_all(folder)
                {
                    log::warn!("{}: the folder for areas could not be made ({e})", folder.display());
                }
                let parts = AreaParts::of(area, self.terrain.clone());
                model.unsaved.clear();
                model.keeping = Keeping { path: Some(to.clone()), waiting: 1, ..Keeping::default() };
                self.start(model, SaveTo::New(to, Box::new(parts)), notify());
            }
            (None, None) => {}
        }
    }
}

/// Called when there is something to take.
pub type Notify = Box<dyn Fn() + Send>;

/// A name in a folder that no file has, from an area's title.
fn free_name(folder: &std::path::Path, title: &str) -> PathBuf {
    let plain = plain_name(title);
    let stem = if plain.is_empty() { "Area".to_owned() } else { plain };
    let names = std::iter::once(format!("{stem}.gpkg")).chain((2_u64..).map(|n| format!("{stem} {n}.gpkg")));
    names.map(|name| folder.join(name)).find(|path| !path.exists()).unwrap_or_else(|| folder.join("Area.gpkg"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use sparefield_data::NoProgress;
    use sparefield_data::area::{Area, Change, Edit, Swap};
    use std::sync::Arc;

    fn settle(keep: &mut Keep, model: &mut Model, done: impl Fn(&Model) -> bool) {
        for _ in 0..2_000 {
            keep.follow(model, || Box::new(|| {}));
            if done(model) {
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(5));
        }
        panic!("nothing came of it: {:?}", model.keeping);
    }

    fn rename(model: &Model, to: &str) -> crate::command::Command {
        let old = Arc::new(model.area.as_ref().unwrap().title.clone());
        let edit = Edit::new("rename", vec![Change::Title(Swap::replace(&old, to.to_owned()))]);
        crate::command::Command::Edit(Box::new(edit))
    }

    #[test]
    fn the_first_edit_of_the_sample_area_gives_it_a_file_and_undo_is_kept_too() {
        let folder = tempfile::tempdir().unwrap();
        let mut model = Model::new(Vec::new(), crate::model::Settings::default());
        let mut keep = Keep::new(Some(folder.path().join("areas")));
        model.take_area(Arc::new(Area::sample(&NoProgress).unwrap()));
        keep.opened(&mut model, None, TerrainSource::Sample, Box::new(|| {}));
        assert_eq!(model.keeping.words(), None);
        model.apply(&rename(&model, "Mine"));
        settle(&mut keep, &mut model, |m| m.keeping.waiting == 0);
        let path = model.keeping.path.clone().unwrap();
        assert_eq!(model.keeping.words().unwrap(), "All changes are kept in Mine.gpkg");
        assert_eq!(model.settings.recent, std::slice::from_ref(&path));
        let title = || sparefield_data::area_file::read(&path, &NoProgress).unwrap().value.title;
        assert_eq!(title(), "Mine");
        model.apply(&crate::command::Command::Undo);
        settle(&mut keep, &mut model, |m| m.keeping.waiting == 0);
        assert_eq!(title(), model.area.as_ref().unwrap().title);
        let copy = folder.path().join("copy.gpkg");
        keep.copy(&mut model, copy.clone(), || Box::new(|| {}));
        settle(&mut keep, &mut model, |_| copy.exists());
    }

    #[test]
    fn what_cannot_be_written_waits_in_order_and_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let mut model = Model::new(Vec::new(), crate::model::Settings::default());
        // The folder for areas cannot be made where a file is.
        let blocked = folder.path().join("areas");
        std::fs::write(&blocked, "in the way").unwrap();
        let mut keep = Keep::new(Some(blocked.clone()));
        model.take_area(Arc::new(Area::sample(&NoProgress).unwrap()));
        keep.opened(&mut model, None, TerrainSource::Sample, Box::new(|| {}));
        model.apply(&rename(&model, "One"));
        settle(&mut keep, &mut model, |m| m.keeping.problem.is_some());
        model.apply(&rename(&model, "Two"));
        settle(&mut keep, &mut model, |m| m.keeping.waiting == 2);
        assert!(model.keeping.words().unwrap().starts_with("2 changes are not kept yet."), "{:?}", model.keeping);
        std::fs::remove_file(&blocked).unwrap();
        std::fs::create_dir(&blocked).unwrap();
        keep.try_again();
        settle(&mut keep, &mut model, |m| m.keeping.waiting == 0);
        let path = model.keeping.path.clone().unwrap();
        assert_eq!(sparefield_data::area_file::read(&path, &NoProgress).unwrap().value.title, "Two");
    }
}
