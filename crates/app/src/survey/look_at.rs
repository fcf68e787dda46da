//! What is unknown, assumed or old about one field, as things to look at on the next round.

use super::filter::sides_unknown;
use sparefield_data::area::Area;
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::fields::hazards::HazardIndex;
use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind, Field, HazardKind, Stock, Surface};
use sparefield_geometry::fields::study::AssumedHeights;
use sparefield_geometry::fields::survey::{SurfaceSource, SurveyStanding, TRUSTED_FROM};
use sparefield_geometry::position::Xy;

/// How far beside a field wires and masts are still looked at, metres: within it they stand under a final approach
/// (about 300 ft up at a glide of 1 in 6). Common practice, no source.
const BESIDE_M: f64 = 500.0;

/// One thing to look at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LookAt {
    /// What to look at, in a word or two.
    pub what: &'static str,
    /// Why: what is known so far.
    pub why: String,
}

/// What to look at on a field today; empty when everything about it is known and fresh.
#[must_use]
pub fn look_at(field: &Field, standing: &SurveyStanding, hazards: &HazardIndex, units: UnitPrefs) -> Vec<LookAt> {
    let mut list = Vec::new();
    let mut add = |what, why: String| list.push(LookAt { what, why });
    if let Some(why) = surface(standing) {
        add("Surface", why);
    }
    if let Some(why) = stock(standing) {
        add("Animals", why);
    }
    match sides_unknown(field) {
        0 => {}
        n => add(
            "Sides",
            format!(
                "nobody looked at {}: what stands there, and how high",
                numbered(field, n, |e| *e == BoundaryEdge::UNKNOWN)
            ),
        ),
    }
    let no_height = |e: &BoundaryEdge| e.height_m.is_none() && !matches!(e.kind, EdgeKind::Nothing | EdgeKind::Unknown);
    match field.edges.iter().filter(|e| no_height(e)).count() {
        0 => {}
        n => {
            let kinds = kinds(field, no_height, units);
            add("Heights", format!("not measured on {}: {kinds}", numbered(field, n, no_height)));
        }
    }
    let (wires, others) = assumed_beside(field, hazards);
    if wires > 0 {
        let lines = if wires == 1 { "a line of wires".to_owned() } else { format!("{wires} lines of wires") };
        let taken = units.format_height(HazardKind::Wires.assumed_height_m());
        add("Wires", format!("{lines} near it without measured poles: {taken} is taken"));
    }
    if others > 0 {
        let things = if others == 1 { "one thing".to_owned() } else { format!("{others} things") };
        add("Near it", format!("{things} in the way whose height nobody measured (masts, trees, buildings, woods)"));
    }
    list
}

/// What a survey is still worth and what counts today, in one sentence.
#[must_use]
pub fn standing_words(s: &SurveyStanding) -> String {
    let counts = match s.surface.source {
        SurfaceSource::Unknown => "What grows there counts as unknown".to_owned(),
        SurfaceSource::Expected => {
            format!("The calendar says {} in {}: that counts, with care", s.surface.surface.words(), s.month_words())
        }
        SurfaceSource::Seen => format!("Counts today as {}", s.seen.words()),
    };
    let trust = match s.age_days {
        None => "nobody noted when it was looked at".to_owned(),
        Some(0) => "looked at today".to_owned(),
        Some(age) => {
            let left = (s.confidence * 100.0).floor();
            format!("looked at {} ago, trusted to {left:.0} %", days(age))
        }
    };
    format!("{counts}; {trust}.")
}

fn surface(s: &SurveyStanding) -> Option<String> {
    let expected = match s.expected {
        None => String::new(),
        Some(same) if same == s.seen => format!("; the calendar says the same in {}", s.month_words()),
        Some(other) => format!("; the calendar says {} in {}", other.words(), s.month_words()),
    };
    match (s.seen, s.age_days) {
        (Surface::Unknown, _) => Some(format!("nobody said what grows there{expected}")),
        (seen, None) => Some(format!("{}, but nobody noted when{expected}", seen.words())),
        (seen, Some(age)) if s.is_doubtful() => Some(format!("{} {} ago{expected}", seen.words(), days(age))),
        _ => None,
    }
}

fn stock(s: &SurveyStanding) -> Option<String> {
    match (s.stock, s.stock_age_days) {
        (Stock::Unknown, _) => Some("nobody said whether animals are there".to_owned()),
        (Stock::Present, Some(age)) => Some(format!("there {} ago: still?", days(age))),
        (Stock::Present, None) => Some("there once: still?".to_owned()),
        (Stock::None, None) => Some("none, but nobody noted when".to_owned()),
        (Stock::None, Some(age)) if s.stock_confidence < TRUSTED_FROM => Some(format!("none {} ago", days(age))),
        (Stock::None, Some(_)) => None,
    }
}

fn days(age: i32) -> String {
    if age == 1 { "1 day".to_owned() } else { format!("{age} days") }
}

/// The sides of a kind, by the numbers that the field's form gives them.
fn numbered(field: &Field, count: usize, wanted: impl Fn(&BoundaryEdge) -> bool) -> String {
    const NAMED: usize = 6;
    if count == field.edges.len() {
        return "any side".to_owned();
    }
    let numbers: Vec<String> = field
        .edges
        .iter()
        .enumerate()
        .filter(|(_, e)| wanted(e))
        .map(|(i, _)| (i + 1).to_string())
        .take(NAMED)
        .collect();
    let more = if count > NAMED { format!(" and {} more", count - NAMED) } else { String::new() };
    format!("{} {}{more}", if count == 1 { "side" } else { "sides" }, numbers.join(", "))
}

/// What stands on those sides, each kind once with the height that is taken for it.
fn kinds(field: &Field, wanted: impl Fn(&BoundaryEdge) -> bool, units: UnitPrefs) -> String {
    let mut seen: Vec<EdgeKind> = Vec::new();
    for edge in field.edges.iter().filter(|e| wanted(e)) {
        if !seen.contains(&edge.kind) {
            seen.push(edge.kind);
        }
    }
    let taken = |kind: EdgeKind| {
        let (height, _) = AssumedHeights::default().height_m(BoundaryEdge { kind, height_m: None });
        format!("{} ({} is taken)", kind.words(), units.format_height(height))
    };
    seen.into_iter().map(taken).collect::<Vec<_>>().join(", ")
}

/// Wires, and other things, near a field whose height is assumed.
fn assumed_beside(field: &Field, hazards: &HazardIndex) -> (usize, usize) {
    let bounds = field.outer.iter().fold(None, |b: Option<(Xy, Xy)>, p| {
        let (low, high) = b.unwrap_or((*p, *p));
        Some((Xy::new(low.x.min(p.x), low.y.min(p.y)), Xy::new(high.x.max(p.x), high.y.max(p.y))))
    });
    let Some((low, high)) = bounds else { return (0, 0) };
    let margin = Xy::new(BESIDE_M, BESIDE_M);
    let near = hazards.near(low - margin, high + margin);
    let assumed = near.into_iter().filter(|h| h.kind != HazardKind::Water && h.height_or_assumed().1);
    assumed.fold((0, 0), |(w, o), h| if h.kind == HazardKind::Wires { (w + 1, o) } else { (w, o + 1) })
}

/// An index of an area's hazards, for [`look_at`].
#[must_use]
pub fn hazards_of(area: &Area) -> HazardIndex {
    HazardIndex::new(area.hazards.as_ref().clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use sparefield_geometry::fields::model::{Day, Hazard, HazardShape};

    const TODAY: Day = Day { days_since_epoch: 20_782 };

    fn told(field: &Field, hazards: Vec<Hazard>) -> Vec<String> {
        let standing = SurveyStanding::of(field, Some(TODAY));
        let list = look_at(field, &standing, &HazardIndex::new(hazards), UnitPrefs::default());
        list.into_iter().map(|l| format!("{}: {}", l.what, l.why)).collect()
    }

    fn square() -> Vec<Xy> {
        [(0.0, 0.0), (200.0, 0.0), (200.0, 200.0), (0.0, 200.0)].map(|(x, y)| Xy::new(x, y)).into()
    }

    #[test]
    fn a_field_that_is_known_and_fresh_asks_for_nothing() {
        let mut field = Field::new("a", square());
        field.edges = vec![BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(2.0) }; 4];
        (field.surface, field.stock, field.surveyed) = (Surface::Stubble, Stock::None, Some(TODAY));
        assert_eq!(told(&field, vec![]), Vec::<String>::new());
    }

    #[test]
    fn everything_unknown_old_or_assumed_is_asked_for() {
        let mut field = Field::new("a", square());
        assert_eq!(
            told(&field, vec![]),
            [
                "Surface: nobody said what grows there",
                "Animals: nobody said whether animals are there",
                "Sides: nobody looked at any side: what stands there, and how high"
            ]
        );
        field.edges[0] = BoundaryEdge { kind: EdgeKind::TreeLine, height_m: None };
        field.edges[1] = BoundaryEdge { kind: EdgeKind::Nothing, height_m: None };
        (field.surface, field.stock) = (Surface::GrazedGrass, Stock::None);
        field.surveyed = Some(Day { days_since_epoch: TODAY.days_since_epoch - 100 });
        field.calendar.months[10] = Some(Surface::Ploughed);
        let wires =
            Hazard::new("w", HazardKind::Wires, HazardShape::Line(vec![Xy::new(0.0, -50.0), Xy::new(9.0, -50.0)]));
        let far = Hazard::new("m", HazardKind::Mast, HazardShape::Point(Xy::new(5_000.0, 0.0)));
        let list = told(&field, vec![wires, far]);
        assert_eq!(list[0], "Surface: grazed grass 100 days ago; the calendar says ploughed in November");
        assert_eq!(list[1], "Animals: none 100 days ago");
        assert!(list[2].contains("sides 3, 4"), "{list:?}");
        assert!(list[3].contains("side 1: tree line"), "{list:?}");
        assert!(list[4].starts_with("Wires: a line of wires near it") && list.len() == 5, "{list:?}");
    }
}
