//! What no answer has looked at, said wherever answers stand: a list of reasons looks complete. Which sentences stand under
//! an options map, a climb-out and a list of judged fields is said here, too, for the window, the command line, printed
//! pages and exported documents alike.

use crate::assess::STANDING_CAUTIONS;
use crate::climb_out;
use crate::options_map::OptionsMap;
use sparefield_data::area::Area;

/// No ranking of fields.
pub const BY_RANKING: [&str; 4] = [
    "Wires, fences, ditches and animals that nobody entered.",
    "How well the circuit is flown. For the best fields it is flown by simulation, over the ground and the hazards that somebody entered; farther down the list its height is an estimate for joining from overhead, and nothing round it was looked at.",
    "What stands beyond the far end, should you run on.",
    "Gusts and sinking air.",
];

/// No circuit that is flown once.
pub const BY_CIRCUIT: &str = "One flight, flown exactly, in the wind as given. Not looked at: gusts, sinking air, \
                              wires nobody drew, and how well it is flown.";

/// No circuit that is flown many times.
pub const BY_FLIGHTS: &str = "Not counted: sinking air, wires and trees nobody drew, a wind that turns along the way, a pilot who \
                              changes his mind, slips or weaves on final, and what happens after touchdown. How far pilots \
                              and forecasts are off is assumed, so the share compares circuits; it is no chance of arriving.";

/// No climb-out.
pub const BY_CLIMB_OUT: &str = "Fields are those that would take the aircraft in this wind, each with the circuit \
flown by simulation after the reaction. The climb is straight and steady. Nothing is said about traffic, about how the \
engine fails, or about a pilot who is startled for longer.";

/// No options map.
pub const BY_OPTIONS_MAP: &str = "The aircraft is taken to glide already, on its way to the field: allow for the moment \
of surprise and the first turn. Circuits are estimates for joining from overhead, and nothing round them was looked at.";

/// Every sentence that stands under an options map and in its documents.
#[must_use]
pub fn options_map_cautions(map: &OptionsMap) -> Vec<String> {
    let own = [BY_OPTIONS_MAP.to_owned(), BY_RANKING[0].to_owned()];
    own.into_iter().chain(of_area(&map.area)).collect()
}

/// Every sentence that stands under a climb-out and in its documents.
#[must_use]
pub fn climb_out_cautions(answer: &climb_out::Answer) -> Vec<String> {
    let left_out =
        (answer.left_out > 0).then(|| format!("{} fields farther from the runway were not flown to.", answer.left_out));
    std::iter::once(BY_CLIMB_OUT.to_owned()).chain(left_out).chain(of_area(&answer.area)).collect()
}

/// No fan stops at the home strip.
pub const BY_FAN_STOPS: &str = "One flight from each place, flown exactly, after the reaction, in the wind as given. A \
                                circuit that works in the middle of a band may not work at its edges. Not looked at: \
                                gusts, sinking air, traffic, wires nobody drew, and how well it is flown.";

/// Every sentence that stands under fan stops at the home strip.
#[must_use]
pub fn fan_stop_cautions(area: &Area) -> Vec<String> {
    std::iter::once(BY_FAN_STOPS.to_owned()).chain(of_area(area)).collect()
}

/// Every sentence that stands in a document of judged fields.
#[must_use]
pub fn ranking_cautions(area: &Area) -> Vec<String> {
    BY_RANKING.iter().map(|what| format!("Not looked at: {what}")).chain(of_area(area)).collect()
}

/// What is always to be said, whether the area is invented, and what its data lack.
fn of_area(area: &Area) -> impl Iterator<Item = String> {
    let standing = STANDING_CAUTIONS.iter().map(|&c| c.to_owned());
    let invented = area.is_sample.then(|| "The sample area is invented and shows no real place.".to_owned());
    standing.chain(invented).chain(area.warnings.iter().map(|w| format!("Data: {w}.")))
}
