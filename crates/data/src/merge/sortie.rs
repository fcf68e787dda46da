//! In what two versions of a recorded flight differ. The same recording of the same bytes is the same sortie, whatever
//! each calls it.

use super::plan::{Context, Mergeable};
use super::{Attribute, Kind, Take};
use crate::sortie::{ExerciseMark, GivenVector, GivenWind, Sortie};
use sparefield_geometry::air::WindVector;
use sparefield_geometry::position::{Bearing, Xy};
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

/// By what a recording is known.
pub(super) fn recording(sortie: &Sortie) -> (&str, u32) {
    (&sortie.original.key, sortie.recording)
}

impl Mergeable for Sortie {
    const KIND: Kind = Kind::Sortie;
    /// A flight is recorded once: no choice takes one of mine away.
    const MINE_STAYS: bool = true;

    fn pairs(first: &[Arc<Self>], second: &[Arc<Self>], _to_ancestor: bool) -> BTreeMap<usize, usize> {
        let mut same: HashMap<(&str, u32), Vec<usize>> = HashMap::new();
        for (j, sortie) in second.iter().enumerate().filter(|(_, s)| !s.original.key.is_empty()) {
            same.entry(recording(sortie)).or_default().push(j);
        }
        super::pairing::pairs(
            first,
            second,
            |a, b| !a.original.key.is_empty() && recording(a) == recording(b),
            |a| same.get(&recording(a)).into_iter().flatten().map(|j| (*j, 0.0)).collect(),
        )
    }

    fn label(&self) -> String {
        let when = self.started.map(|t| t.strftime("%Y-%m-%d %H:%M").to_string());
        let parts: Vec<&str> =
            when.as_deref().into_iter().chain([self.name.as_str()]).filter(|p| !p.is_empty()).collect();
        if parts.is_empty() { self.id.clone() } else { parts.join(" ") }
    }

    fn place(&self) -> Option<Xy> {
        None
    }

    fn attributes(_mine: &Self, _theirs: &Self, _context: Context) -> Vec<Attribute> {
        vec![
            Attribute::Name,
            Attribute::Pilot,
            Attribute::Aircraft,
            Attribute::Notes,
            Attribute::Heights,
            Attribute::Wind,
            Attribute::Corrections,
            Attribute::Columns,
        ]
    }

    fn same(a: &Self, b: &Self, attribute: &Attribute, _mine: &Self, _: Context) -> bool {
        match attribute {
            Attribute::Name => a.name == b.name,
            Attribute::Pilot => a.pilot == b.pilot,
            Attribute::Aircraft => a.aircraft == b.aircraft,
            Attribute::Notes => a.note == b.note,
            Attribute::Heights => (a.heights, a.heights_by_user) == (b.heights, b.heights_by_user),
            Attribute::Wind => a.wind == b.wind,
            Attribute::Corrections => a.marks == b.marks,
            Attribute::Columns => a.columns == b.columns,
            _ => true,
        }
    }

    fn words(&self, attribute: &Attribute, _mine: &Self, context: Context) -> String {
        let or = |text: &str, nothing: &str| if text.is_empty() { nothing.to_owned() } else { text.to_owned() };
        match attribute {
            Attribute::Whole => {
                let fixes = match self.fixes {
                    1 => "1 fix".to_owned(),
                    n => format!("{n} fixes"),
                };
                let mut parts = vec![or(&self.original.file_name, "a recording"), fixes];
                parts.extend([&self.pilot, &self.aircraft].into_iter().filter(|p| !p.is_empty()).cloned());
                if !self.marks.is_empty() {
                    parts.push(corrections(&self.marks));
                }
                parts.join(", ")
            }
            Attribute::Name => or(&self.name, "nothing"),
            Attribute::Pilot => or(&self.pilot, "nobody named"),
            Attribute::Aircraft => or(&self.aircraft, "none named"),
            Attribute::Notes => or(&self.note, "nothing"),
            Attribute::Heights => {
                let by = if self.heights_by_user { ", chosen" } else { ", as decided" };
                format!("{}{by}", self.heights.words())
            }
            Attribute::Wind => self.wind.as_ref().map_or_else(|| "from the turns".to_owned(), |w| wind(w, context)),
            Attribute::Corrections => corrections(&self.marks),
            Attribute::Columns => {
                if self.columns.is_some() {
                    "as the user says".to_owned()
                } else {
                    "as found".to_owned()
                }
            }
            _ => String::new(),
        }
    }

    fn theirs_is_better(mine: &Self, theirs: &Self, attribute: &Attribute, _: Context) -> Option<&'static str> {
        let fills = match attribute {
            Attribute::Name => mine.name.is_empty(),
            Attribute::Pilot => mine.pilot.is_empty(),
            Attribute::Aircraft => mine.aircraft.is_empty(),
            Attribute::Notes => mine.note.is_empty(),
            Attribute::Heights => theirs.heights_by_user && !mine.heights_by_user,
            Attribute::Wind => mine.wind.is_none(),
            Attribute::Corrections => mine.marks.is_empty(),
            Attribute::Columns => mine.columns.is_none(),
            _ => false,
        };
        fills.then_some("only they said it")
    }

    fn merged(mine: &Self, theirs: &Self, take: &dyn Fn(&Attribute) -> Take, _: Context) -> Self {
        let from = |attribute: &Attribute| if take(attribute) == Take::Theirs { theirs } else { mine };
        let heights = from(&Attribute::Heights);
        Self {
            name: from(&Attribute::Name).name.clone(),
            pilot: from(&Attribute::Pilot).pilot.clone(),
            aircraft: from(&Attribute::Aircraft).aircraft.clone(),
            note: from(&Attribute::Notes).note.clone(),
            heights: heights.heights,
            heights_by_user: heights.heights_by_user,
            wind: from(&Attribute::Wind).wind.clone(),
            marks: from(&Attribute::Corrections).marks.clone(),
            columns: from(&Attribute::Columns).columns.clone(),
            ..mine.clone()
        }
    }

    fn with_id(self, id: String) -> Self {
        Self { id, ..self }
    }
}

/// What was corrected: how many exercises, and when the first begins, so that two lists of one length can be told apart.
fn corrections(marks: &[ExerciseMark]) -> String {
    let clock = |s: f64| format!("{}:{:02}", (s / 60.0) as i64, (s % 60.0) as i64);
    let gone = marks.iter().filter(|m| m.deleted).count();
    let own: Vec<&ExerciseMark> = marks.iter().filter(|m| !m.deleted).collect();
    let mut parts = Vec::new();
    if let Some(first) = own.first() {
        let count = if own.len() == 1 { "1 exercise".to_owned() } else { format!("{} exercises", own.len()) };
        parts.push(format!("{count} by hand, the first from {} to {}", clock(first.start_s), clock(first.end_s)));
    }
    if gone > 0 {
        parts.push(format!("{gone} taken away"));
    }
    if parts.is_empty() { "none corrected".to_owned() } else { parts.join(", ") }
}

fn wind(given: &GivenWind, context: Context) -> String {
    use crate::quantity::WindWords;
    let say = |v: &GivenVector| {
        let vector = WindVector::coming_from(Bearing::from_rad(v.from_true_rad), v.speed_ms);
        context.units.format_wind(vector, WindWords::Short)
    };
    let low = given.surface.iter().map(|v| format!("{} at the surface", say(v)));
    let aloft = given.aloft.iter().map(|(h, v)| format!("{} at {}", say(v), context.units.format_height(*h)));
    low.chain(aloft).collect::<Vec<_>>().join(", ")
}
