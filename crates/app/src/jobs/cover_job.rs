//! The options map on a thread of its own: a newer question stops the older.

use super::once::Once;
use crate::model::{CoverAsk, CoverLine, CoverMade};
use crate::options_map::options_map;
use crate::studies::Studies;
use sparefield_data::area::Area;
use sparefield_data::quantity::HeightUnit;
use sparefield_geometry::contour::contours;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Heights above the ground whose lines are drawn, feet and metres: what is flown in circuits and across country.
const LINES_FT: [f64; 4] = [1_000.0, 1_500.0, 2_000.0, 3_000.0];
const LINES_M: [f64; 4] = [300.0, 450.0, 600.0, 900.0];
const FOOT_M: f64 = 0.304_8;

type Answer = Result<(CoverMade, Studies), String>;

/// What is being made, and how to stop it.
struct Running {
    ask: CoverAsk,
    unit: HeightUnit,
    stop: Arc<AtomicBool>,
    /// `None` when it was stopped.
    once: Once<Option<Answer>>,
}

/// The options map being made.
#[derive(Default)]
pub struct CoverJob {
    running: Option<Running>,
    /// Studies of the last one: they depend on the land and the aircraft only.
    studies: Option<Studies>,
}

impl CoverJob {
    /// Starts what is asked, unless it is being made already.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn request(
        &mut self,
        ask: &CoverAsk,
        area: &Arc<Area>,
        unit: HeightUnit,
        notify: impl FnOnce() + Send + 'static,
    ) -> std::io::Result<()> {
        if self.running.as_ref().is_some_and(|running| running.ask == *ask && running.unit == unit) {
            return Ok(());
        }
        self.stop();
        let stop = Arc::new(AtomicBool::new(false));
        let (own, area, asked, earlier) = (Arc::clone(&stop), Arc::clone(area), ask.clone(), self.studies.clone());
        let work = move || make(&area, &asked, unit, earlier.as_ref(), &own);
        let once = Once::start("options map", work, notify)?;
        self.running = Some(Running { ask: ask.clone(), unit, stop, once });
        Ok(())
    }

    /// Stops what is being made.
    pub fn stop(&mut self) {
        if let Some(running) = self.running.take() {
            running.stop.store(true, Ordering::Relaxed);
        }
    }

    /// Whether something is being made.
    #[must_use]
    pub fn is_working(&self) -> bool {
        self.running.is_some()
    }

    /// What was made, or why not, once.
    pub fn take_done(&mut self) -> Option<Result<CoverMade, String>> {
        let answer = self.running.as_ref().and_then(|running| running.once.poll())?;
        self.running = None;
        match answer {
            Ok(Some(Ok((made, studies)))) => {
                self.studies = Some(studies);
                Some(Ok(made))
            }
            Ok(Some(Err(why))) => Some(Err(why)),
            Ok(None) => None,
            Err(failed) => Some(Err(format!("The options map: {failed}"))),
        }
    }
}

/// `None` when stopped.
fn make(
    area: &Arc<Area>,
    ask: &CoverAsk,
    unit: HeightUnit,
    earlier: Option<&Studies>,
    stop: &AtomicBool,
) -> Option<Answer> {
    let stopped = || stop.load(Ordering::Relaxed);
    let studies = Studies::in_steps(earlier, area, &ask.conditions, &|_| !stopped())?;
    let made = options_map(area, &studies, &ask.conditions, ask.fields_needed, &|_| true, &|_| {}, &stopped);
    if stopped() {
        return None;
    }
    let map = match made {
        Ok(map) => map,
        Err(why) => return Some(Err(why.to_string())),
    };
    let raster = map.least.raster(ask.fields_needed);
    let (frame, ground) = (map.least.frame, &area.terrain.heights_m);
    let above = |row: usize, col: usize| {
        let cell = row * frame.cols + col;
        // Where no height does, more than any that is drawn.
        let least = if raster[cell].is_nan() && !ground[cell].is_nan() { f32::MAX / 2.0 } else { raster[cell] };
        f64::from(least - ground[cell])
    };
    let heights = match unit {
        HeightUnit::Ft => LINES_FT.map(|ft| ft * FOOT_M),
        HeightUnit::M => LINES_M,
    };
    let mut lines = Vec::new();
    for height_agl_m in heights {
        if stopped() {
            return None;
        }
        lines.push(CoverLine { height_agl_m, lines: contours(&frame, above, height_agl_m) });
    }
    Some(Ok((CoverMade { ask: ask.clone(), map, lines }, studies)))
}
