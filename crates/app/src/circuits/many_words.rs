//! A circuit flown many times, in plain words.

use super::Around;
use super::many::Many;
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::circuit::{InTheWay, InputShare};

/// How many inputs are named.
const MOST_INPUTS: usize = 3;

/// An input that explains less of the misses is not named.
const LEAST_EXPLAINED: f64 = 0.02;

/// Which share stopped in the strip, in one sentence; rounded down.
#[must_use]
pub fn sentence(many: &Many) -> String {
    sentence_of(many.flown.samples, many.flown.share)
}

/// The same of so many flights and a share.
#[must_use]
pub fn sentence_of(flights: usize, share: f64) -> String {
    let of_100 = (share * 100.0).floor();
    let stopped = if share >= 1.0 {
        "every one stopped in the strip".to_owned()
    } else if share <= 0.0 {
        "none stopped in the strip".to_owned()
    } else if of_100 < 1.0 {
        "fewer than 1 of 100 stopped in the strip".to_owned()
    } else {
        format!("{of_100} of 100 stopped in the strip")
    };
    format!("Of {} flights by a pilot who is not exact, in wind that is not as forecast, {stopped}.", grouped(flights))
}

/// What became of the others, and how many of them, most first.
#[must_use]
pub fn misses(many: &Many, around: &Around) -> Vec<(String, usize)> {
    let r = &many.flown;
    let mut rows = vec![
        ("came down short of the usable strip".to_owned(), many.count(r.short)),
        ("would have stopped beyond its end".to_owned(), many.count(r.long)),
        ("came down beside it".to_owned(), many.count(r.aside)),
    ];
    rows.extend(r.met.iter().map(|met| {
        let what = around.over(met.over);
        let words = match met.over {
            InTheWay::Ground => "met rising ground".to_owned(),
            InTheWay::UnknownGround => "flew over ground of unknown height".to_owned(),
            InTheWay::Hazard(_) => format!("met {what}"),
            InTheWay::QuietZone(_) => format!("flew low over {what}, wherever they came down"),
        };
        (words, met.flights)
    }));
    rows.retain(|r| r.1 > 0);
    rows.sort_by_key(|r| std::cmp::Reverse(r.1));
    rows
}

/// What hurts most, in one sentence.
#[must_use]
pub fn what_hurts(many: &Many) -> String {
    if many.flown.share >= 1.0 {
        return "None missed, so nothing hurts.".to_owned();
    }
    let named: Vec<String> = many
        .flown
        .inputs
        .iter()
        .filter(|i| i.of_misses >= LEAST_EXPLAINED)
        .take(MOST_INPUTS)
        .map(|InputShare { input, of_misses, .. }| format!("{} ({:.0}\u{a0}%)", input.words(), of_misses * 100.0))
        .collect();
    if named.is_empty() {
        return "No doubt explains the misses by itself.".to_owned();
    }
    format!("What hurts most, with the share of the misses that it explains by itself: {}.", named.join(", "))
}

/// Where most come down, in one sentence.
#[must_use]
pub fn spread(many: &Many, units: UnitPrefs) -> String {
    let along = &many.flown.along;
    let place = |metres: f64| {
        let side = if metres < 0.0 { "before" } else { "behind" };
        format!("{} {side}", units.format_length(metres.abs()))
    };
    format!(
        "Nine of ten that come to the ground on final do so from {} to {} the aiming point.",
        place(along.p5_m),
        place(along.p95_m)
    )
}

/// A number with its thousands apart.
#[must_use]
pub fn grouped(number: usize) -> String {
    let digits = number.to_string();
    let first = digits.len() % 3;
    let mut out = digits[..first].to_owned();
    for (i, digit) in digits[first..].chars().enumerate() {
        if i % 3 == 0 && !out.is_empty() {
            out.push('\u{202f}');
        }
        out.push(digit);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_stand_apart() {
        let texts = [0, 12, 999, 1_000, 10_000, 1_234_567].map(grouped);
        assert_eq!(texts, ["0", "12", "999", "1\u{202f}000", "10\u{202f}000", "1\u{202f}234\u{202f}567"]);
    }
}
