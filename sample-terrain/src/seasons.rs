//! What is expected to grow on some fields, when animals were looked for, and what people wrote: invented.
//!
//! Made from dice of their own, so that nothing else of the area depends on them.

use crate::features::TODAY;
use crate::noise::{Dice, mix};
use sparefield_geometry::fields::model::{Calendar, Day, Field, Stock, Surface};
use sparefield_geometry::position::Xy;

/// A crop and what it means month by month, January first: G grazed, L long grass, C short crop, T tall crop, S stubble,
/// P ploughed. Rough, from memory; the area is invented.
const CROPS: [(&str, &str); 7] = [
    ("pasture", "GGGGGGGGGGGG"),
    ("hay, then grazed", "GGGGLLGGGGGG"),
    ("winter wheat", "CCCTTTTSPCCC"),
    ("wheat, ground left for spring", "CCCTTTTSSSSS"),
    ("spring barley", "PPCCTTTSSSPP"),
    ("forage maize", "SSSPCCTTTSSS"),
    ("roots", "SSPPCCCCCCCC"),
];

/// Within this distance of home, animals are looked for from the air on most days, metres.
const SEEN_FROM_THE_CIRCUIT_M: f64 = 1_200.0;

const HAZARDS: [&str; 5] = [
    "Ditch along the low side, not seen from the air",
    "Water trough on a concrete base",
    "Electric fence across the middle from April",
    "Old gate posts stand in the gap",
    "Manhole covers along the far hedge",
];
const ACCESS: [&str; 5] = [
    "Gate to the lane, wide enough for a trailer",
    "Track to the farm; ask there for a tractor",
    "Gate is chained; the key is at the farm",
    "Only through the next field",
    "Steep track, not after rain",
];
const PERMISSION: [&str; 4] = [
    "Asked: emergencies are fine, practice is not",
    "Asked: not while stock is in",
    "Not asked yet",
    "Glad to be told afterwards",
];

fn grows(letter: char) -> Option<Surface> {
    match letter {
        'G' => Some(Surface::GrazedGrass),
        'L' => Some(Surface::LongGrass),
        'C' => Some(Surface::ShortCrop),
        'T' => Some(Surface::TallCrop),
        'S' => Some(Surface::Stubble),
        'P' => Some(Surface::Ploughed),
        _ => None,
    }
}

fn calendar(crop: usize) -> Calendar {
    let (name, months) = CROPS[crop];
    let mut calendar = Calendar { year: (crop > 1).then_some(2026), crop: name.to_owned(), ..Calendar::default() };
    for (month, letter) in calendar.months.iter_mut().zip(months.chars()) {
        *month = grows(letter);
    }
    calendar
}

/// Adds to a field what is known about its seasons.
pub(crate) fn add(seed: u64, number: usize, field: &mut Field, home: Xy) {
    let mut dice = Dice::new(seed ^ mix(number as u64), 700);
    let (throw, which, odd) = (dice.unit(), dice.unit(), dice.chance(0.2));
    let near_home = field.centroid().distance(home) < SEEN_FROM_THE_CIRCUIT_M;
    if throw < 0.45
        && let Some(looked) = field.surveyed
    {
        // Most calendars fit what was seen in its month; far from home some fields have changed hands.
        let fits = |crop: &usize| calendar(*crop).months[looked.month_index()] == Some(field.surface);
        let fitting: Vec<usize> = (0..CROPS.len()).filter(fits).collect();
        let choice = if odd && !near_home { (0..CROPS.len()).collect() } else { fitting };
        let at = (which * choice.len() as f64) as usize;
        if let Some(crop) = choice.get(at) {
            field.calendar = calendar(*crop);
        }
    }
    let (seen, days) = (dice.chance(0.3), dice.within(1.0, 20.0) as i32);
    let grass = matches!(field.surface, Surface::GrazedGrass | Surface::LongGrass);
    if grass && field.stock != Stock::Unknown && (seen || near_home) {
        let days = if near_home { days.min(9) } else { days };
        let seen = Some(Day { days_since_epoch: TODAY - days });
        field.stock_seen = seen.filter(|_| field.surveyed < seen);
    }
    let mut say = |share: f64, list: &[&str]| {
        if dice.chance(share) { list[dice.below(list.len())].to_owned() } else { String::new() }
    };
    field.remarks.hazards = say(0.1, &HAZARDS);
    field.remarks.access = say(0.15, &ACCESS);
    field.remarks.permission = say(0.12, &PERMISSION);
}
