//! Invented names. They are made of common words and stand for no real place or person.

use crate::noise::Dice;

/// The home strip.
pub const HOME: &str = "Harrowmead";
/// The village.
pub const VILLAGE: &str = "Ollenstow";
/// The river.
pub const RIVER: &str = "River Ollen";
/// Farms; the second is a stable yard.
pub const FARMS: [&str; 7] = [
    "Larkhanger Farm",
    "Fernhollow Stables",
    "Ollenside Farm",
    "Sallowmead Farm",
    "Gorsecombe Farm",
    "Hightable Farm",
    "Strips End Farm",
];

/// Remarks on fields.
pub const NOTES: [&str; 14] = [
    "Gate in the north corner",
    "Ridge and furrow, faint",
    "Wet patch at the low end after rain",
    "Rises towards the far hedge",
    "Strip-grazed behind an electric fence",
    "Looked at from the lane only",
    "Trough near the middle of one side",
    "Firm after frost",
    "Bales may still be out",
    "Mole hills",
    "Tramlines run along the longer side",
    "Good gate for a trailer",
    "Drain along one side",
    "Permission not asked",
];

const FIRST: [&str; 44] = [
    "Long",
    "Upper",
    "Lower",
    "Great",
    "Little",
    "Far",
    "Near",
    "Barn",
    "Mill",
    "Well",
    "Chalk",
    "Clay",
    "Rushy",
    "Thorn",
    "Ash",
    "Oak",
    "Elder",
    "Fern",
    "Gorse",
    "Lark",
    "Crow",
    "Rook",
    "Hare",
    "Fox",
    "Badger",
    "Shepherds",
    "Millers",
    "Coopers",
    "Carters",
    "Kiln",
    "Lime",
    "Quarry",
    "Stony",
    "Sandy",
    "Cold",
    "Sunny",
    "Hazel",
    "Willow",
    "Broad",
    "Crooked",
    "Three Corner",
    "Middle",
    "Plum",
    "Pond",
];
const SECOND: [&str; 16] = [
    "Meadow",
    "Close",
    "Piece",
    "Ground",
    "Leaze",
    "Ten",
    "Twelve Acre",
    "Croft",
    "Bottom",
    "Bank",
    "Furlong",
    "Field",
    "Paddock",
    "Pasture",
    "Ham",
    "Acre",
];

/// As many different field names as asked for.
#[must_use]
pub fn fields(seed: u64, count: usize) -> Vec<String> {
    let mut all: Vec<String> =
        FIRST.iter().flat_map(|first| SECOND.iter().map(move |second| format!("{first} {second}"))).collect();
    Dice::new(seed, 800).shuffle(&mut all);
    let mut names: Vec<String> = all.into_iter().take(count).collect();
    while names.len() < count {
        names.push(format!("Field {}", names.len() + 1));
    }
    names
}
