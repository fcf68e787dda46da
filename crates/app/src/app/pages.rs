//! Pages written without a dialogue (the field sheet, the check round): made and written one after another on a thread of
//! their own.

use super::App;
use crate::jobs::Once;
use crate::model::NoticeLevel;
use crate::print::{Document, Format, Written, save};
use egui::Context;
use std::collections::VecDeque;
use std::path::{Path, PathBuf};

type Outcome = Result<Written, String>;

/// Pages being written, the first of them now: two to the same file come out in the order in which they were asked for.
#[derive(Default)]
pub(super) struct Pages(VecDeque<Page>);

struct Page {
    of: PageOf,
    path: PathBuf,
    stage: Stage,
}

enum Stage {
    Waits(Box<dyn FnOnce() -> Outcome + Send>),
    Written(Once<Outcome>),
}

/// What is on a page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum PageOf {
    /// One field, or two.
    Sheet,
    /// A check round.
    Round,
}

impl PageOf {
    fn words(self) -> &'static str {
        match self {
            Self::Sheet => "field sheet",
            Self::Round => "check round",
        }
    }
}

impl App {
    /// Has a page made and written; what came of it is said when it is done.
    pub(super) fn write_page(&mut self, of: PageOf, path: &Path, page: impl FnOnce() -> Document + Send + 'static) {
        let (to, palette) = (path.to_owned(), self.palette.clone());
        let work = move || save(&to, &page(), Format::A4, &palette).map_err(|e| e.to_string());
        self.pages.0.push_back(Page { of, path: path.to_owned(), stage: Stage::Waits(Box::new(work)) });
    }

    /// Takes what is written, and begins the next.
    pub(super) fn follow_pages(&mut self, ctx: &Context) {
        while let Some(Page { of, path, stage }) = self.pages.0.pop_front() {
            let outcome = match stage {
                Stage::Waits(work) => {
                    let wake = ctx.clone();
                    match Once::start(of.words(), work, move || wake.request_repaint()) {
                        Ok(answer) => {
                            self.pages.0.push_front(Page { of, path, stage: Stage::Written(answer) });
                            return;
                        }
                        Err(e) => Err(format!("the system refuses a thread ({e})")),
                    }
                }
                Stage::Written(answer) => match answer.poll() {
                    Some(Ok(outcome)) => outcome,
                    Some(Err(failed)) => Err(failed.to_string()),
                    None => {
                        self.pages.0.push_front(Page { of, path, stage: Stage::Written(answer) });
                        return;
                    }
                },
            };
            let what = of.words();
            match outcome {
                Ok(written) => {
                    self.model.notify(NoticeLevel::Info, format!("The {what} was written to {}.", written.words()));
                    if of == PageOf::Round {
                        self.model.survey.round_file = Some(path);
                    }
                }
                Err(why) => self.model.notify(NoticeLevel::Problem, format!("The {what} was not written: {why}.")),
            }
        }
    }
}
