//! The field sheet between the core and what shows it: asked for, worked out, put into words, drawn.
//!
//! The window and the printed page are made from the same [`Made`] by the same functions of this module, so that they
//! cannot show different figures. Nothing here reads a file or a clock.

pub(crate) mod above;
pub mod page;
pub mod picture;
pub mod plan;
pub mod profiles;
pub mod relief;
pub mod rose;
pub mod words;

use crate::assess::{self, AssessError, Rules, WindInput};
use sparefield_data::area::Area;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::fields::hazards::HazardIndex;
use sparefield_geometry::fields::model::{Day, Field};
use sparefield_geometry::fields::rank::RankInput;
use sparefield_geometry::fields::sheet::{FieldSheet, SheetInput, Way};
use sparefield_geometry::fields::study::{FieldStudy, StudyOptions};
use sparefield_geometry::position::{Bearing, Xy};
use std::sync::Arc;

/// What a sheet is asked for.
#[derive(Clone, Debug)]
pub struct Ask {
    /// The area.
    pub area: Arc<Area>,
    /// The field, as an index into the area's fields.
    pub field: usize,
    /// The field beside it, where two are compared.
    pub beside: Option<usize>,
    /// The aircraft.
    pub aircraft: Arc<Aircraft>,
    /// The wind, from true north.
    pub wind: WindInput,
    /// Where the aircraft is: the wind of an area without a home strip belongs there.
    pub position: Xy,
    /// Rules.
    pub rules: Rules,
    /// The day for which surveys are judged.
    pub today: Day,
}

impl PartialEq for Ask {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.area, &other.area)
            && (self.field, self.beside, self.rules, self.today)
                == (other.field, other.beside, other.rules, other.today)
            && self.aircraft == other.aircraft
            && self.wind == other.wind
            && self.position == other.position
    }
}

/// One field's sheet with what turns it into words.
#[derive(Clone, Debug)]
pub struct One {
    /// The field's index.
    pub index: usize,
    /// The field.
    pub field: Field,
    /// Its sheet.
    pub sheet: FieldSheet,
    /// The angle to add to a grid bearing for a true one there, radians.
    pub convergence_rad: f64,
}

impl One {
    /// A grid bearing as one from true north.
    #[must_use]
    pub fn true_bearing(&self, grid: Bearing) -> Bearing {
        Bearing::from_rad(grid.rad() + self.convergence_rad)
    }

    /// Where the sheet's wind comes from, true; `None` in a calm.
    #[must_use]
    pub fn wind_from(&self) -> Option<Bearing> {
        self.sheet.wind.from_bearing().map(|from| self.true_bearing(from))
    }

    /// The way of a strip that was chosen, or the best in this wind.
    #[must_use]
    pub fn way(&self, chosen: Option<(usize, usize)>) -> Option<&Way> {
        chosen
            .and_then(|(strip, end)| {
                let found = self.sheet.strips.iter().find(|s| s.strip_index == strip)?;
                found.ways.get(end)
            })
            .or_else(|| self.sheet.best())
    }
}

/// What came of an [`Ask`].
#[derive(Clone, Debug)]
pub struct Made {
    /// What was asked for.
    pub ask: Ask,
    /// The field, then the one beside it.
    pub sheets: Vec<One>,
}

/// Works out what was asked for.
///
/// # Errors
/// When the aircraft or the wind cannot be used, or a field is not there.
pub fn make(ask: &Ask, hazards: &HazardIndex) -> Result<Made, AssessError> {
    ask.aircraft.validate()?;
    let area = &ask.area;
    let ground = area.terrain.height_at(ask.position).unwrap_or_default();
    let wind = assess::frame_wind(area, &ask.wind, ask.position, ground)?;
    assess::check_wind(&ask.aircraft, &wind, wind.ground_amsl_m)?;
    let options = assess::rank_options(area, ask.rules, ask.today);
    let study_options = StudyOptions::default();
    let one = |index: usize| {
        let field: &Field = area.fields.get(index)?;
        let study = FieldStudy::new(field, hazards, Some(&area.terrain), &ask.aircraft, &study_options);
        let convergence_rad = area.convergence_rad(field.centroid());
        let sheet = FieldSheet::new(&SheetInput {
            field,
            study: &study,
            hazards,
            terrain: Some(&area.terrain),
            options: &study_options,
            rank: RankInput { aircraft: &ask.aircraft, wind: &wind, options: &options, quiet_zones: &area.quiet_zones },
            north: Bearing::from_rad(-convergence_rad),
        });
        Some(One { index, field: field.clone(), sheet, convergence_rad })
    };
    let beside = ask.beside.filter(|b| *b != ask.field);
    let sheets = core::iter::once(ask.field).chain(beside).filter_map(one).collect();
    Ok(Made { ask: ask.clone(), sheets })
}
