//! `card`: the area on a few sheets, for the wall and the map case.

use super::args::CardArgs;
use super::session::{open_area, unusable};
use super::{CliError, inputs, print};
use crate::area_card::{area_card, heights_of, page};
use crate::assess::{AssessError, Conditions, HeightInput, StateInput};
use crate::options_map::NoOptions;
use crate::theme::Palette;
use sparefield_geometry::fields::verdict::Verdict;
use sparefield_geometry::position::Xy;
use sparefield_geometry::reach::ReachError;
use sparefield_geometry::reach::least::LeastError;
use std::sync::Arc;

/// Runs the subcommand.
///
/// # Errors
/// For bad input, or when the pages or standard output cannot be written.
pub(super) fn run(args: &CardArgs) -> Result<(), CliError> {
    let Some(path) = &args.page.out else {
        return Err(CliError::BadInput("--out is missing: name the card to write, such as --out card.pdf".into()));
    };
    let heights = heights_of(&args.heights).map_err(|e| CliError::BadInput(format!("--heights: {e}")))?;
    let land = inputs::area(&args.area, None)?;
    let conditions = Conditions {
        aircraft: inputs::aircraft(&args.conditions)?.value,
        wind: inputs::wind(&args.conditions)?,
        // The card knows no one place.
        state: StateInput { position: Xy::default(), height: HeightInput::AboveGround(0.0), heading: None },
        rules: inputs::rules(&args.conditions)?,
        today: inputs::day(&args.conditions)?,
    };
    let area = Arc::new(open_area(&land).map_err(|e| unusable(&e))?);
    let units = inputs::units_of(&args.heights, &args.conditions);
    let bar = super::progress::Bar::new("working out the card");
    let report = |share: f32| sparefield_data::Progress::report(&bar, f64::from(share));
    let card = area_card(&area, &conditions, &heights, units.height, &report, &|| false).map_err(|e| match e {
        NoOptions::Assess(AssessError::Reach(ReachError::Cancelled)) | NoOptions::Least(LeastError::Stopped) => {
            CliError::Failure(e.to_string())
        }
        _ => CliError::BadInput(e.to_string()),
    })?;
    let palette = Palette::built_in().map_err(|e| CliError::Failure(e.to_string()))?;
    args.page.save(path, &page(&card, units, &palette, args.page.format()), &palette)?;
    let usable = card.rows.iter().filter(|r| r.judged.verdict != Verdict::Out).count();
    print(&format!(
        "{}: {} fields, {usable} of them would take {}. The card is in {}.\n",
        area.title,
        card.rows.len(),
        conditions.aircraft.name,
        path.display()
    ))
}
