//! In what two versions of a field differ.

use super::plan::{Context, Mergeable};
use super::side::{better, counterpart, edge, same_outline};
use super::{Attribute, Kind, Take};
use crate::quantity::{UnitPrefs, format_day};
use sparefield_geometry::fields::model::{BoundaryEdge, Calendar, Day, EdgeKind, Field, Stock, Surface};
use sparefield_geometry::outline::OutlineIndex;
use sparefield_geometry::outline::finding::overlap;
use sparefield_geometry::outline::place::is_place;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// Two fields with different identifiers are one field when they share more than this of the larger one.
const SAME_FIELD_SHARE: f64 = 0.5;
/// Two fields with one identifier are one field when they share more than this of the smaller one.
const SAME_ID_SHARE: f64 = 0.1;

const NEWER: &str = "their survey is newer";
const KNOWN: &str = "only they know it";

impl Mergeable for Field {
    const KIND: Kind = Kind::Field;

    fn pairs(first: &[Arc<Self>], second: &[Arc<Self>], to_ancestor: bool) -> std::collections::BTreeMap<usize, usize> {
        let index = OutlineIndex::new(second.to_vec(), Vec::new());
        let sound = |f: &Self| f.outer.len() >= 3 && f.outer.iter().all(|p| is_place(*p));
        let shares = |a: &Self, b: &Self| {
            if !(sound(a) && sound(b)) {
                return None;
            }
            let (area_m2, _) = overlap(a, b)?;
            let (one, two) = (a.area_m2().abs(), b.area_m2().abs());
            Some((area_m2 / one.min(two), area_m2 / one.max(two)))
        };
        super::pairing::pairs(
            first,
            second,
            // A field keeps its identifier when it is moved; only strangers may have the same by chance.
            |a, b| {
                to_ancestor
                    || a.outer == b.outer
                    || shares(a, b).is_some_and(|(of_smaller, _)| of_smaller > SAME_ID_SHARE)
            },
            |a| {
                let Some((low, high)) = sparefield_geometry::fields::strip::bounds(&a.outer) else { return Vec::new() };
                let near = index.fields_near(low, high).into_iter();
                near.filter_map(|j| Some((j, shares(a, &second[j])?.1)))
                    .filter(|(_, of_larger)| *of_larger > SAME_FIELD_SHARE)
                    .collect()
            },
        )
    }

    fn label(&self) -> String {
        Field::label(self).to_owned()
    }

    fn place(&self) -> Option<Xy> {
        Some(self.centroid())
    }

    fn attributes(mine: &Self, theirs: &Self, context: Context) -> Vec<Attribute> {
        let mut all =
            vec![Attribute::Name, Attribute::Outline, Attribute::Survey, Attribute::Stock, Attribute::Calendar];
        let has_counterpart = |side: &usize| counterpart(mine, *side, theirs, context.tolerance_m).is_some();
        all.extend((0..mine.outer.len()).filter(has_counterpart).map(Attribute::Side));
        all.extend([
            Attribute::HazardRemarks,
            Attribute::Access,
            Attribute::Permission,
            Attribute::Photographs,
            Attribute::Notes,
        ]);
        all.extend(super::plan::columns(&mine.other, &theirs.other).map(Attribute::Column));
        all
    }

    fn same(a: &Self, b: &Self, attribute: &Attribute, mine: &Self, context: Context) -> bool {
        match attribute {
            Attribute::Name => a.name == b.name,
            Attribute::Outline => same_outline(a, b, context.tolerance_m),
            Attribute::Survey => (a.surface, a.surveyed) == (b.surface, b.surveyed),
            Attribute::Stock => (a.stock, a.stock_seen) == (b.stock, b.stock_seen),
            Attribute::Calendar => a.calendar == b.calendar,
            Attribute::Side(side) => side_of(a, *side, mine, context) == side_of(b, *side, mine, context),
            Attribute::HazardRemarks => a.remarks.hazards == b.remarks.hazards,
            Attribute::Access => a.remarks.access == b.remarks.access,
            Attribute::Permission => a.remarks.permission == b.remarks.permission,
            Attribute::Photographs => a.remarks.photographs == b.remarks.photographs,
            Attribute::Notes => a.notes == b.notes,
            Attribute::Column(name) => super::plan::column(&a.other, name) == super::plan::column(&b.other, name),
            _ => true,
        }
    }

    fn words(&self, attribute: &Attribute, mine: &Self, context: Context) -> String {
        let text = |text: &str| if text.is_empty() { "nothing".to_owned() } else { text.to_owned() };
        match attribute {
            Attribute::Whole => {
                format!("{}, {}", outline_words(self), survey_words(self.surface, self.surveyed))
            }
            Attribute::Outline => outline_words(self),
            Attribute::Name => text(&self.name),
            Attribute::Survey => survey_words(self.surface, self.surveyed),
            Attribute::Stock => stock_words(self),
            Attribute::Calendar => calendar_words(&self.calendar),
            Attribute::Side(side) => side_of(self, *side, mine, context)
                .map_or_else(|| "no such side".to_owned(), |e| edge_words(e, context.units)),
            Attribute::HazardRemarks => text(&self.remarks.hazards),
            Attribute::Access => text(&self.remarks.access),
            Attribute::Permission => text(&self.remarks.permission),
            Attribute::Photographs => text(&self.remarks.photographs.join(", ")),
            Attribute::Notes => text(&self.notes),
            Attribute::Column(name) => text(super::plan::column(&self.other, name).unwrap_or_default()),
            _ => String::new(),
        }
    }

    fn theirs_is_better(mine: &Self, theirs: &Self, attribute: &Attribute, context: Context) -> Option<&'static str> {
        let newer = theirs.surveyed > mine.surveyed;
        let fills = |mine: &str, theirs: &str| (mine.is_empty() && !theirs.is_empty()).then_some(KNOWN);
        match attribute {
            // A newer visit that does not say what grows does not replace one that does.
            Attribute::Survey => match (mine.surface, theirs.surface) {
                (Surface::Unknown, Surface::Unknown) => newer.then_some(NEWER),
                (Surface::Unknown, _) => Some(KNOWN),
                (_, Surface::Unknown) => None,
                _ => newer.then_some(NEWER),
            },
            Attribute::Stock => match (mine.stock, theirs.stock) {
                (Stock::Unknown, Stock::Unknown) => None,
                (Stock::Unknown, _) => Some(KNOWN),
                (_, Stock::Unknown) => None,
                _ => (stock_day(theirs) > stock_day(mine)).then_some("they looked for stock later"),
            },
            Attribute::Calendar => {
                if theirs.calendar.is_empty() {
                    None
                } else if mine.calendar.is_empty() {
                    Some(KNOWN)
                } else {
                    (theirs.calendar.year > mine.calendar.year).then_some("their calendar is of a later year")
                }
            }
            Attribute::Side(side) => {
                let own = side_of(mine, *side, mine, context)?;
                let other = side_of(theirs, *side, mine, context)?;
                match better(own, other) {
                    Some(true) => Some(KNOWN),
                    Some(false) => None,
                    None => newer.then_some(NEWER),
                }
            }
            Attribute::Name => fills(&mine.name, &theirs.name),
            Attribute::HazardRemarks => fills(&mine.remarks.hazards, &theirs.remarks.hazards),
            Attribute::Access => fills(&mine.remarks.access, &theirs.remarks.access),
            Attribute::Permission => fills(&mine.remarks.permission, &theirs.remarks.permission),
            Attribute::Notes => fills(&mine.notes, &theirs.notes),
            Attribute::Photographs => {
                let all = mine.remarks.photographs.iter().all(|p| theirs.remarks.photographs.contains(p));
                all.then_some("theirs has all of mine and more")
            }
            Attribute::Column(name) => {
                let of = |f: &Self| super::plan::column(&f.other, name).unwrap_or_default().to_owned();
                fills(&of(mine), &of(theirs))
            }
            _ => None,
        }
    }

    fn merged(mine: &Self, theirs: &Self, take: &dyn Fn(&Attribute) -> Take, context: Context) -> Self {
        let from = |attribute: &Attribute| if take(attribute) == Take::Theirs { theirs } else { mine };
        let mut merged = Self { id: mine.id.clone(), ..from(&Attribute::Outline).clone() };
        for side in 0..mine.outer.len() {
            let Some(to) = counterpart(mine, side, theirs, context.tolerance_m) else { continue };
            let chosen = if take(&Attribute::Side(side)) == Take::Theirs { edge(theirs, to) } else { edge(mine, side) };
            let at = if take(&Attribute::Outline) == Take::Theirs { to } else { side };
            if let Some(edge) = merged.edges.get_mut(at) {
                *edge = chosen;
            }
        }
        merged.name.clone_from(&from(&Attribute::Name).name);
        let survey = from(&Attribute::Survey);
        (merged.surface, merged.surveyed) = (survey.surface, survey.surveyed);
        (merged.stock, merged.stock_seen) = stock(mine, theirs, take(&Attribute::Stock), merged.surveyed);
        merged.calendar.clone_from(&from(&Attribute::Calendar).calendar);
        merged.remarks.hazards.clone_from(&from(&Attribute::HazardRemarks).remarks.hazards);
        merged.remarks.access.clone_from(&from(&Attribute::Access).remarks.access);
        merged.remarks.permission.clone_from(&from(&Attribute::Permission).remarks.permission);
        merged.remarks.photographs.clone_from(&from(&Attribute::Photographs).remarks.photographs);
        merged.notes.clone_from(&from(&Attribute::Notes).notes);
        merged.other = super::plan::merged_columns(&mine.other, &theirs.other, take);
        merged
    }

    fn with_id(self, id: String) -> Self {
        Self { id, ..self }
    }
}

/// The day to which what is said about stock belongs.
fn stock_day(field: &Field) -> Option<Day> {
    field.stock_seen.or(field.surveyed)
}

/// Stock as chosen, with the day it was looked for kept when the survey's day becomes another.
fn stock(mine: &Field, theirs: &Field, take: Take, surveyed: Option<Day>) -> (Stock, Option<Day>) {
    let same = (mine.stock, mine.stock_seen) == (theirs.stock, theirs.stock_seen);
    let from = if take == Take::Theirs { theirs } else { mine };
    let goes_with_survey =
        from.stock_seen.is_none() && (same || from.surveyed == surveyed || from.stock == Stock::Unknown);
    (from.stock, if goes_with_survey { None } else { stock_day(from) })
}

/// What is said about the side of a field that lies where a side of mine lies; `None` where it has no such side.
fn side_of(field: &Field, side: usize, mine: &Field, context: Context) -> Option<BoundaryEdge> {
    if std::ptr::eq(field, mine) {
        return (side < field.outer.len()).then(|| edge(field, side));
    }
    counterpart(mine, side, field, context.tolerance_m).map(|to| edge(field, to))
}

fn outline_words(field: &Field) -> String {
    let holes = match field.holes.len() {
        0 => String::new(),
        1 => ", one hole".to_owned(),
        n => format!(", {n} holes"),
    };
    let c = field.centroid();
    let lengths = (0..field.outer.len()).map(|i| field.outer[i].distance(field.outer[(i + 1) % field.outer.len()]));
    let round = if is_place(c) { format!(", {:.0} m round", lengths.sum::<f64>()) } else { String::new() };
    format!("{:.2} ha, {} corners{holes}{round}", field.area_m2() / 10_000.0, field.outer.len())
}

fn survey_words(surface: Surface, day: Option<Day>) -> String {
    let looked = day.map_or_else(|| "never looked at".to_owned(), |day| format!("looked at {}", format_day(day)));
    match surface {
        Surface::Unknown => format!("not known what grows, {looked}"),
        known => format!("{}, {looked}", known.words()),
    }
}

fn stock_words(field: &Field) -> String {
    let what = match field.stock {
        Stock::None => "no stock seen",
        Stock::Present => "stock present",
        Stock::Unknown => "stock not known",
    };
    let day = stock_day(field).filter(|_| field.stock != Stock::Unknown || field.stock_seen.is_some());
    day.map_or_else(|| what.to_owned(), |day| format!("{what} on {}", format_day(day)))
}

fn calendar_words(calendar: &Calendar) -> String {
    const MONTHS: [&str; 12] = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
    if calendar.is_empty() {
        return "no calendar".to_owned();
    }
    let year = calendar.year.map_or_else(|| "any year".to_owned(), |year| year.to_string());
    let crop = if calendar.crop.is_empty() { String::new() } else { format!(": {}", calendar.crop) };
    let mut parts: Vec<String> = Vec::new();
    let mut month = 0;
    while month < 12 {
        let from = month;
        let Some(surface) = calendar.months[month] else {
            month += 1;
            continue;
        };
        while month < 12 && calendar.months[month] == Some(surface) {
            month += 1;
        }
        let span = if month - from == 1 {
            MONTHS[from].to_owned()
        } else {
            format!("{} to {}", MONTHS[from], MONTHS[month - 1])
        };
        parts.push(format!("{span} {}", surface.words()));
    }
    let months = if parts.is_empty() { String::new() } else { format!("; {}", parts.join(", ")) };
    format!("{year}{crop}{months}")
}

fn edge_words(edge: BoundaryEdge, units: UnitPrefs) -> String {
    match (edge.kind, edge.height_m) {
        (EdgeKind::Unknown, None) => "nobody looked".to_owned(),
        (EdgeKind::Nothing, _) => "nothing".to_owned(),
        (kind, None) => format!("{}, not measured", kind.words()),
        (kind, Some(height)) => format!("{}, {}", kind.words(), units.format_height(height)),
    }
}
