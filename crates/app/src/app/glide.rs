//! What the window does about glide curves that flights tell: reads every sortie in one aircraft for them, and keeps an
//! aircraft with a curve that the pilot takes over.

use super::App;
use crate::command::Command;
use crate::debrief::flight_of;
use crate::debrief::given::wind_input;
use crate::debrief::glide::{CAUTIONS, GlideTold, best};
use crate::hangar;
use crate::jobs::Once;
use crate::model::{GlideKey, NoticeLevel};
use egui::Context;
use sparefield_data::area::Area;
use sparefield_data::quantity::format_day;
use sparefield_data::sortie::Sortie;
use sparefield_geometry::aircraft::Aircraft;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

/// Sorties being read for the glide curve that they tell together.
struct Reading {
    key: GlideKey,
    job: Once<Option<GlideTold>>,
    stop: Arc<AtomicBool>,
    /// How many are done.
    done: Arc<AtomicU32>,
}

/// Work on glide curves.
#[derive(Default)]
pub(super) struct Telling {
    reading: Option<Reading>,
    /// An aircraft being kept: itself, and why it could not be.
    keeping: Option<Once<(Arc<Aircraft>, Option<String>)>>,
}

impl Telling {
    /// Stops reading.
    pub(super) fn stop(&self) {
        if let Some(reading) = &self.reading {
            reading.stop.store(true, Ordering::Relaxed);
        }
    }
}

impl App {
    /// Reads every sortie in the open one's aircraft, on a thread of its own.
    pub(super) fn tell_glide_of_all(&mut self, ctx: &Context) {
        let telling = &self.debriefing.glide;
        let (Some(key), Some(area), None) = (self.model.glide_key(), self.model.area.clone(), &telling.reading) else {
            return;
        };
        let (stop, done) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU32::new(0)));
        let file = self.model.keeping.path.clone();
        let (wanted, stopped, told, repaint) = (key.clone(), Arc::clone(&stop), Arc::clone(&done), ctx.clone());
        let work = move || {
            let mut all = GlideTold::default();
            for sortie in &wanted.sorties {
                if stopped.load(Ordering::Relaxed) {
                    return None;
                }
                add(&mut all, sortie, &area, &wanted.aircraft, file.as_deref());
                told.fetch_add(1, Ordering::Relaxed);
                repaint.request_repaint();
            }
            Some(all.settle())
        };
        let repaint = ctx.clone();
        match Once::start("glide curve", work, move || repaint.request_repaint()) {
            Ok(job) => self.debriefing.glide.reading = Some(Reading { key, job, stop, done }),
            Err(e) => self.model.notify(NoticeLevel::Problem, format!("The system refuses a thread ({e}).")),
        }
    }

    /// Takes what was read and what was kept.
    pub(super) fn take_glide(&mut self) {
        let telling = &mut self.debriefing.glide;
        let reading = telling.reading.as_ref();
        self.model.debrief.glide_reading =
            reading.map(|r| (r.done.load(Ordering::Relaxed) as usize, r.key.sorties.len()));
        if let Some(answer) = reading.and_then(|r| r.job.poll())
            && let Some(Reading { key, .. }) = telling.reading.take()
        {
            self.model.debrief.glide_reading = None;
            match answer {
                Ok(Some(told)) => {
                    self.model.debrief.glide_of_all = Some((key, Arc::new(told)));
                    self.model.debrief.glide_together = true;
                }
                Ok(None) => {}
                Err(why) => self.model.notify(NoticeLevel::Problem, format!("Telling the glide curve: {why}")),
            }
        }
        self.model.debrief.adopting = telling.keeping.is_some();
        let Some(answer) = telling.keeping.as_ref().and_then(Once::poll) else { return };
        telling.keeping = None;
        self.model.debrief.adopting = false;
        match answer {
            Ok((aircraft, problem)) => {
                let name = aircraft.name.clone();
                self.commands.push(Command::AddAircraft(aircraft));
                if let Some(why) = problem {
                    let text = format!("“{name}” is used until the window is closed, but could not be kept: {why}.");
                    self.model.notify(NoticeLevel::Problem, text);
                } else {
                    let text = format!(
                        "“{name}” is used from now on. Undo, or choose another aircraft, to go back; none was changed."
                    );
                    self.model.notify(NoticeLevel::Info, text);
                }
            }
            Err(why) => self.model.notify(NoticeLevel::Problem, format!("Keeping the aircraft: {why}")),
        }
    }

    /// Makes a new aircraft with the curve that is looked at, keeps it, and uses it.
    pub(super) fn adopt_glide(&mut self, ctx: &Context) {
        let Some(told) = self.model.glide_shown() else { return };
        let Some(fit) = told.fit.filter(|_| self.debriefing.glide.keeping.is_none()) else { return };
        let (day, in_use) = (format_day(self.model.today), &self.model.conditions.aircraft);
        let name = hangar::fitted_name(&in_use.name, &day, &self.model.hangar);
        let aircraft = match fit.adopted(in_use, name) {
            Ok(aircraft) => Arc::new(aircraft),
            Err(why) => return self.model.notify(NoticeLevel::Problem, format!("Not taken over: {why}.")),
        };
        let mut remarks = vec![
            format!("Made on {day} from “{}”: its glide curve is as recorded flights tell it.", in_use.name),
            format!("{} Best glide {}.", told.from_words(), best(&fit, self.model.settings.units)),
        ];
        remarks.extend(CAUTIONS.map(str::to_owned));
        let folder = self.own_aircraft.clone();
        let work = move || {
            let kept = folder.map(|folder| hangar::keep(&folder, &aircraft, &remarks));
            (aircraft, kept.and_then(Result::err).map(|e| e.to_string()))
        };
        let repaint = ctx.clone();
        match Once::start("keep aircraft", work, move || repaint.request_repaint()) {
            Ok(job) => self.debriefing.glide.keeping = Some(job),
            Err(e) => self.model.notify(NoticeLevel::Problem, format!("The system refuses a thread ({e}).")),
        }
    }
}

/// Adds what one sortie tells.
fn add(all: &mut GlideTold, sortie: &Sortie, area: &Arc<Area>, aircraft: &Arc<Aircraft>, file: Option<&Path>) {
    let flight = sortie.read(file).ok().and_then(|loaded| {
        let track = loaded.value.in_frame(&area.frame, &sortie.heights).ok()?;
        flight_of(area, aircraft, sortie.wind.as_ref().map(wind_input).as_ref(), &track).ok()
    });
    if let Some(flight) = flight {
        all.add(&flight);
    } else {
        all.sorties += 1;
        all.unread += 1;
    }
}
