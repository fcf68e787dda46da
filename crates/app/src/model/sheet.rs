//! What the field sheet is looked at with: another wind, another strip, another field beside it.

use super::Model;
use crate::assess::WindInput;
use crate::sheet::{Ask, Made, rose};
use sparefield_data::quantity::ReportedWind;
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::fields::sheet::DIRECTIONS;
use sparefield_geometry::position::Bearing;
use std::path::PathBuf;
use std::sync::Arc;

/// Strongest wind that a sheet is asked for, m/s.
pub const MAX_SHEET_WIND_MS: f64 = 40.0;

/// One thing done with the sheet.
#[derive(Clone, Debug, PartialEq)]
pub enum SheetCommand {
    /// Open the sheet of the chosen field.
    Open,
    /// Close it.
    Close,
    /// Look at a wind from there (true); `None` goes back to the present wind, direction and speed.
    From(Option<Bearing>),
    /// Look at a wind of this speed, m/s.
    Speed(f64),
    /// Look so many directions of the rose further, clockwise.
    Step(i32),
    /// Put another field beside it, or take it away.
    Beside(Option<usize>),
    /// Show this way of a strip: strip and end; `None` for the best.
    Way(Option<(usize, usize)>),
    /// Write the sheet as a page.
    SavePage(PathBuf),
}

/// The open sheet. It is always that of the chosen field.
#[derive(Clone, Debug, Default)]
pub struct SheetState {
    /// The wind's direction looked at, true; `None` for the present one.
    pub wind_from: Option<Bearing>,
    /// The wind's speed looked at, m/s; `None` for the present one.
    pub wind_speed_ms: Option<f64>,
    /// The field beside it.
    pub beside: Option<usize>,
    /// The way shown; `None` for the best.
    pub way: Option<(usize, usize)>,
    /// What was last worked out.
    pub made: Option<Arc<Made>>,
    /// Why nothing could be worked out.
    pub problem: Option<String>,
}

impl SheetState {
    /// Whether another wind than the present one is looked at.
    #[must_use]
    pub fn has_own_wind(&self) -> bool {
        self.wind_from.is_some() || self.wind_speed_ms.is_some()
    }
}

impl Model {
    /// Where the wind that the sheet looks at comes from, true, and its speed.
    #[must_use]
    pub fn sheet_wind(&self) -> (Bearing, f64) {
        let sheet = self.sheet.as_ref();
        let from = sheet.and_then(|s| s.wind_from).unwrap_or(self.conditions.wind_from);
        let speed = sheet.and_then(|s| s.wind_speed_ms).unwrap_or(self.conditions.wind_speed_ms);
        (from, speed)
    }

    /// What has to be worked out for the open sheet; `None` while none is open.
    #[must_use]
    pub fn sheet_ask(&self, today: Day) -> Option<Ask> {
        let (sheet, area, field) = (self.sheet.as_ref()?, self.area.as_ref()?, self.selected?);
        let (from, speed_ms) = self.sheet_wind();
        let reported = ReportedWind { from: Some(from), speed_ms, gust_ms: None };
        let surface = if speed_ms > 0.0 { reported } else { ReportedWind::CALM };
        Some(Ask {
            area: Arc::clone(area),
            field,
            beside: sheet.beside,
            aircraft: Arc::clone(&self.conditions.aircraft),
            wind: WindInput { surface: Some(surface), aloft: Vec::new(), profile: self.conditions.profile.profile() },
            // The wind belongs to the home strip where there is one; the sheet then stays as the aircraft moves.
            position: area.home.as_ref().map_or(self.conditions.position, |h| h.position),
            rules: self.conditions.rules,
            today,
        })
    }

    pub(super) fn apply_sheet(&mut self, command: &SheetCommand) {
        let (from, _) = self.sheet_wind();
        if *command == SheetCommand::Open {
            if self.selected.is_some() && self.sheet.is_none() {
                self.sheet = Some(SheetState::default());
            }
            return;
        }
        let Some(sheet) = &mut self.sheet else { return };
        match command {
            SheetCommand::Close => self.sheet = None,
            SheetCommand::From(wind) => {
                sheet.wind_from = *wind;
                if wind.is_none() {
                    sheet.wind_speed_ms = None;
                }
                sheet.way = None;
            }
            SheetCommand::Speed(speed) => sheet.wind_speed_ms = Some(speed.clamp(0.0, MAX_SHEET_WIND_MS)),
            SheetCommand::Step(steps) => {
                let all = DIRECTIONS as i32;
                let direction = (rose::nearest(from) as i32 + steps).rem_euclid(all);
                sheet.wind_from = Some(rose::bearing(direction as usize));
                sheet.way = None;
            }
            SheetCommand::Beside(beside) => sheet.beside = *beside,
            SheetCommand::Way(way) => sheet.way = *way,
            // Writing a file is the app's.
            SheetCommand::Open | SheetCommand::SavePage(_) => {}
        }
    }

    /// The sheet follows the choice of a field, and closes without one.
    pub(super) fn sheet_follows_choice(&mut self) {
        if let Some(sheet) = &mut self.sheet {
            sheet.way = None;
            if self.selected.is_none() || sheet.beside == self.selected {
                sheet.beside = None;
            }
        }
        if self.selected.is_none() {
            self.sheet = None;
        }
    }
}
