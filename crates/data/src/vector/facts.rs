//! What is known about a field beside its outline and its sides, as named columns and back.
//!
//! One pair of functions for every format: [`text_columns`] for formats whose columns are text (tables of Shapefiles,
//! KML, GeoPackage), [`value_columns`] for those with structure (GeoJSON); both are read back by [`take_facts`], which
//! the readers use, and by [`from_text_columns`].
//!
//! | column | text | structure |
//! |---|---|---|
//! | `name`, `notes`, `hazard_remarks`, `access`, `permission` | as written | the same |
//! | `surface`, `stock` | by name | the same |
//! | `surveyed`, `stock_seen` | `2026-11-25` | the same |
//! | `calendar` | `Jan-Mar stubble; May tall crop; year 2026; crop winter wheat` | `{"year", "crop", "months": [12 names or null]}` |
//! | `photographs` | `north.jpg; gate.jpg` | `["north.jpg", "gate.jpg"]` |

use super::columns::{self, shortened};
use super::record::{Columns, Notes, text_of};
use crate::error::Warning;
use crate::quantity::{format_day, month_by_name, parse_day};
use serde_json::{Value, json};
use sparefield_geometry::fields::model::{Calendar, Day, Field, MONTHS, Stock, Surface};

/// The columns, in the order in which they are written.
pub const FACT_COLUMNS: [&str; 11] = [
    "name",
    "surface",
    "stock",
    "surveyed",
    "stock_seen",
    "calendar",
    "hazard_remarks",
    "access",
    "permission",
    "photographs",
    "notes",
];

/// Longest column name in the table of a Shapefile; longer ones are cut there, and read when cut.
const SHORT_NAME: usize = 10;

/// The facts of a field as text columns, in the order of [`FACT_COLUMNS`]; what is not known is left out.
///
/// The identifier, the sides and the columns of other programs ([`Field::other`]) are not among them.
#[must_use]
pub fn text_columns(field: &Field) -> Vec<(&'static str, String)> {
    columns_of(field, calendar_text, photographs_text)
}

/// The facts of a field as values with structure, in the order of [`FACT_COLUMNS`]; what is not known is left out.
#[must_use]
pub fn value_columns(field: &Field) -> Vec<(&'static str, Value)> {
    columns_of(field, calendar_value, |list| json!(list))
}

/// The way back from [`text_columns`]: a field without identifier, outline and sides that holds every fact, what was
/// not understood or belongs to other programs in [`Field::other`], and what there is to tell. `label` names the
/// record in the warnings.
#[must_use]
pub fn from_text_columns(columns: Vec<(String, String)>, label: &str) -> (Field, Vec<Warning>) {
    let entries = columns.into_iter().map(|(key, text)| (key, Value::String(text))).collect();
    let (mut columns, mut notes) = (Columns::new(entries), Notes::default());
    let facts = take_facts(&mut columns, label, &mut notes);
    (Field { other: columns.rest(), ..facts }, notes.into_warnings())
}

fn columns_of<T: From<String>>(
    field: &Field,
    calendar: impl Fn(&Calendar) -> T,
    photographs: impl Fn(&[String]) -> T,
) -> Vec<(&'static str, T)> {
    let text = |text: &str| (!text.is_empty()).then(|| T::from(text.to_owned()));
    let day = |day: Option<Day>| day.map(|d| T::from(format_day(d)));
    let values = [
        text(&field.name),
        (field.surface != Surface::Unknown).then(|| T::from(field.surface.words().to_owned())),
        (field.stock != Stock::Unknown).then(|| T::from(field.stock.words().to_owned())),
        day(field.surveyed),
        day(field.stock_seen),
        (field.calendar != Calendar::default()).then(|| calendar(&field.calendar)),
        text(&field.remarks.hazards),
        text(&field.remarks.access),
        text(&field.remarks.permission),
        (!field.remarks.photographs.is_empty()).then(|| photographs(&field.remarks.photographs)),
        text(&field.notes),
    ];
    FACT_COLUMNS.into_iter().zip(values).filter_map(|(name, value)| Some((name, value?))).collect()
}

/// Takes the facts out of a record's columns: a field without identifier, outline and sides. What is not understood is
/// told, counts as unknown, and is put back among the columns.
pub(crate) fn take_facts(columns: &mut Columns, label: &str, notes: &mut Notes) -> Field {
    let mut facts = Field { name: text(columns, "name"), notes: text(columns, "notes"), ..Field::default() };
    facts.surface = understood(columns, "surface", notes, label, "surfaces not understood", |value| {
        let text = text_of(value);
        Surface::from_words(&text).ok_or_else(|| format!("“{}” is no surface; it counts as unknown", shortened(&text)))
    })
    .unwrap_or(Surface::Unknown);
    facts.stock = understood(columns, "stock", notes, label, "stock not understood", |value| {
        columns::stock(value)
            .ok_or_else(|| format!("“{}” says neither none nor present; stock is unknown", shortened(&text_of(value))))
    })
    .unwrap_or(Stock::Unknown);
    let day = |value: &Value| parse_day(&text_of(value));
    facts.surveyed = understood(columns, "surveyed", notes, label, "survey dates not understood", |value| {
        day(value).map_err(|e| format!("{e}; the day of survey is unknown"))
    });
    facts.stock_seen = understood(columns, "stock_seen", notes, label, "days of stock not understood", |value| {
        day(value).map_err(|e| format!("{e}; the day on which stock was looked for is unknown"))
    });
    facts.calendar = understood(columns, "calendar", notes, label, "calendars not understood", |value| {
        calendar(value).map_err(|e| format!("{e}; its calendar is unknown"))
    })
    .unwrap_or_default();
    facts.remarks.hazards = text(columns, "hazard_remarks");
    facts.remarks.access = text(columns, "access");
    facts.remarks.permission = text(columns, "permission");
    facts.remarks.photographs = take(columns, "photographs").map(|(_, value)| photographs(&value)).unwrap_or_default();
    facts
}

/// A column by its name, or by its name cut as in the table of a Shapefile.
fn take(columns: &mut Columns, name: &str) -> Option<(String, Value)> {
    columns.take(name).or_else(|| name.get(..SHORT_NAME).and_then(|short| columns.take(short)))
}

fn text(columns: &mut Columns, name: &str) -> String {
    take(columns, name).map(|(_, value)| text_of(&value)).unwrap_or_default()
}

fn understood<T>(
    columns: &mut Columns,
    name: &str,
    notes: &mut Notes,
    label: &str,
    kind: &'static str,
    meaning: impl Fn(&Value) -> Result<T, String>,
) -> Option<T> {
    let (key, value) = take(columns, name)?;
    match meaning(&value) {
        Ok(fact) => Some(fact),
        Err(problem) => {
            notes.add(kind, label, problem);
            columns.put_back(key, value);
            None
        }
    }
}

fn calendar_value(calendar: &Calendar) -> Value {
    let months: Vec<Option<&str>> = calendar.months.iter().map(|m| m.map(Surface::words)).collect();
    json!({"year": calendar.year, "crop": calendar.crop, "months": months})
}

/// A calendar in one line: months of one surface together, then the year, then the crop to the end of the line.
fn calendar_text(calendar: &Calendar) -> String {
    let mut parts = Vec::new();
    let mut from = 0;
    for run in calendar.months.chunk_by(|a, b| a == b) {
        let to = from + run.len() - 1;
        if let Some(surface) = run[0] {
            let last = if to > from { format!("-{}", short_month(to)) } else { String::new() };
            parts.push(format!("{}{last} {}", short_month(from), surface.words()));
        }
        from = to + 1;
    }
    parts.extend(calendar.year.map(|year| format!("year {year}")));
    if !calendar.crop.is_empty() {
        parts.push(format!("crop {}", calendar.crop));
    }
    parts.join("; ")
}

fn short_month(index: usize) -> &'static str {
    &MONTHS[index][..3]
}

/// A calendar from an object, from the same as text, or from [`calendar_text`].
fn calendar(value: &Value) -> Result<Calendar, String> {
    match value {
        Value::Object(map) => calendar_from_object(map),
        Value::String(text) => match serde_json::from_str(text) {
            Ok(Value::Object(map)) => calendar_from_object(&map),
            _ => calendar_from_text(text),
        },
        other => Err(format!("“{}” is no calendar", shortened(&other.to_string()))),
    }
}

fn calendar_from_object(map: &serde_json::Map<String, Value>) -> Result<Calendar, String> {
    let get = |name: &str| map.iter().find(|(k, _)| k.trim().eq_ignore_ascii_case(name)).map(|(_, v)| v);
    let year = get("year").filter(|v| !v.is_null()).map(|v| year(&text_of(v))).transpose()?;
    let crop = get("crop").map(text_of).unwrap_or_default();
    let mut calendar = Calendar { year, crop, ..Calendar::default() };
    if let Some(months) = get("months").filter(|v| !v.is_null()) {
        let list = months.as_array().filter(|list| list.len() == 12);
        let list = list.ok_or("its months are not a list of twelve")?;
        for (month, value) in calendar.months.iter_mut().zip(list) {
            *month = expected(&text_of(value))?;
        }
    }
    Ok(calendar)
}

fn calendar_from_text(text: &str) -> Result<Calendar, String> {
    let mut calendar = Calendar::default();
    let mut rest = text.trim();
    while !rest.is_empty() {
        if let Some(crop) = rest.strip_prefix("crop ") {
            // The crop comes last and may hold anything.
            crop.trim().clone_into(&mut calendar.crop);
            break;
        }
        let (part, behind) = rest.split_once(';').unwrap_or((rest, ""));
        let part = part.trim();
        rest = behind.trim_start();
        if part.is_empty() {
            continue;
        }
        let bad = || format!("“{}” is no month with what grows then", shortened(part));
        let (when, what) = part.split_once(' ').ok_or_else(bad)?;
        if when.eq_ignore_ascii_case("year") {
            calendar.year = Some(year(what)?);
            continue;
        }
        let (first, last) = when.split_once(['-', '–']).unwrap_or((when, when));
        let month = |name: &str| month_by_name(name.trim()).map(|m| m - 1).ok_or_else(bad);
        let (first, last) = (month(first)?, month(last)?);
        let surface = expected(what)?;
        // A range may run over the turn of the year.
        for step in 0..=(last + 12 - first) % 12 {
            calendar.months[(first + step) % 12] = surface;
        }
    }
    Ok(calendar)
}

fn year(text: &str) -> Result<i32, String> {
    let year = text.trim().parse().ok().filter(|y| (1..=9_999).contains(y));
    year.ok_or_else(|| format!("“{}” is no year", shortened(text)))
}

/// What grows in a month; `None` where nobody knows.
fn expected(text: &str) -> Result<Option<Surface>, String> {
    if text.trim().is_empty() {
        return Ok(None);
    }
    let surface = Surface::from_words(text).ok_or_else(|| format!("“{}” is no surface", shortened(text)))?;
    Ok((surface != Surface::Unknown).then_some(surface))
}

/// Paths between semicolons; a list of texts as in GeoJSON where a path holds one itself.
fn photographs_text(list: &[String]) -> String {
    let plain = list.iter().all(|p| !p.contains(';') && !p.trim().is_empty() && p.trim() == p);
    if plain && !list[0].starts_with('[') { list.join("; ") } else { json!(list).to_string() }
}

fn photographs(value: &Value) -> Vec<String> {
    let unpacked: Option<Vec<Value>> = value.as_str().and_then(|text| serde_json::from_str(text).ok());
    let paths: Vec<String> = match value.as_array().or(unpacked.as_ref()) {
        Some(list) => list.iter().map(text_of).collect(),
        None => text_of(value).split(';').map(|p| p.trim().to_owned()).collect(),
    };
    paths.into_iter().filter(|p| !p.is_empty()).collect()
}

/// The heights of a line's poles as text: `9; ?; 14.5`, metres.
#[must_use]
pub fn pole_heights_text(heights_m: &[Option<f64>]) -> String {
    let list: Vec<String> = heights_m.iter().map(|h| h.map_or("?".to_owned(), |h| h.to_string())).collect();
    list.join("; ")
}

/// The heights of a line's poles from a list of numbers, or from the text of [`pole_heights_text`].
///
/// # Errors
/// A sentence, when a height is none.
pub(crate) fn pole_heights(value: &Value) -> Result<Vec<Option<f64>>, String> {
    let unpacked: Option<Vec<Value>> = value.as_str().and_then(|text| serde_json::from_str(text).ok());
    let list: Vec<Value> = match value.as_array().or(unpacked.as_ref()) {
        Some(list) => list.clone(),
        None => text_of(value).split(';').map(|part| Value::String(part.trim().to_owned())).collect(),
    };
    list.iter()
        .map(|item| match item {
            Value::Null => Ok(None),
            Value::String(text) if matches!(text.as_str(), "" | "?" | "unknown") => Ok(None),
            other => columns::height_m(other, crate::quantity::HeightUnit::M).map(Some),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn told(columns: &[(&str, &str)]) -> (Field, String) {
        let columns = columns.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect();
        let (field, warnings) = from_text_columns(columns, "record 1");
        (field, warnings.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))
    }

    #[test]
    fn a_calendar_in_one_line_reads_as_people_write_it() {
        let mut calendar = Calendar { year: Some(2026), crop: "winter wheat; undersown".into(), ..Calendar::default() };
        calendar.months[..3].fill(Some(Surface::ShortCrop));
        calendar.months[5] = Some(Surface::TallCrop);
        let text = "Jan-Mar short crop; Jun tall crop; year 2026; crop winter wheat; undersown";
        assert_eq!(calendar_text(&calendar), text);
        assert_eq!(told(&[("calendar", text)]), (Field { calendar, ..Field::default() }, String::new()));
        let (field, _) = told(&[("CALENDAR", "november – february STUBBLE")]);
        assert!(field.calendar.is_empty(), "a dash with spaces is no range and is refused");
        let (field, _) = told(&[("CALENDAR", "november–february Stubble; mar unknown")]);
        let stubble = Some(Surface::Stubble);
        assert_eq!(field.calendar.months[9..], [None, stubble, stubble]);
        assert_eq!(field.calendar.months[..3], [stubble, stubble, None]);
    }

    #[test]
    fn what_is_not_understood_is_told_kept_and_unknown() {
        for (column, text, part) in [
            ("calendar", "Jan moon dust", "“moon dust” is no surface"),
            ("calendar", "sometime stubble", "“sometime stubble” is no month"),
            ("calendar", "{\"months\": [null]}", "not a list of twelve"),
            ("calendar", "year many", "“many” is no year"),
            ("calendar", "stubble", "“stubble” is no month"),
            ("stock_seen", "yesterday", "is not a date"),
            ("surveyed", "03/04/2026", "which figure is the month"),
        ] {
            let (field, words) = told(&[(column, text)]);
            assert!(words.contains(part), "{words}");
            assert_eq!(field, Field { other: vec![(column.into(), text.into())], ..Field::default() });
        }
    }

    #[test]
    fn names_cut_to_ten_letters_are_read() {
        let (field, words) = told(&[("hazard_rem", "deep ditch"), ("PHOTOGRAPH", "a.jpg; b.jpg"), ("mine", "kept")]);
        assert_eq!(words, "");
        assert_eq!(field.remarks.hazards, "deep ditch");
        assert_eq!(field.remarks.photographs, ["a.jpg", "b.jpg"]);
        assert_eq!(field.other, [("mine".to_owned(), "kept".to_owned())]);
    }

    #[test]
    fn pole_heights_are_read_as_written() {
        let heights = [Some(9.0), None, Some(14.5)];
        assert_eq!(pole_heights_text(&heights), "9; ?; 14.5");
        for value in [json!("9; ?; 14.5"), json!([9, null, 14.5]), json!("[9, null, 14.5]"), json!("9 m;;14.5 m")] {
            assert_eq!(pole_heights(&value).unwrap(), heights, "{value}");
        }
        assert!(pole_heights(&json!("tall")).is_err() && pole_heights(&json!([-4])).is_err());
    }

    fn words() -> impl Strategy<Value = String> {
        "[a-z;\\[\"é, ]{0,12}".prop_map(|t| t.trim().to_owned())
    }

    prop_compose! {
        fn any_facts()(
            texts in prop::array::uniform5(words()),
            crop in words(),
            surface in prop::sample::select(Surface::ALL.to_vec()),
            stock in prop::sample::select(Stock::ALL.to_vec()),
            days in prop::array::uniform2(prop::option::of(-700_000..2_900_000_i32)),
            year in prop::option::of(1..=9_999_i32),
            months in prop::array::uniform12(prop::option::of(prop::sample::select(Surface::ALL[..7].to_vec()))),
            photographs in prop::collection::vec(words().prop_filter("a path", |p| !p.is_empty()), 0..4),
        ) -> Field {
            let [name, notes, hazards, access, permission] = texts;
            let mut field = Field { name, notes, surface, stock, ..Field::default() };
            [field.surveyed, field.stock_seen] = days.map(|d| d.map(|days_since_epoch| Day { days_since_epoch }));
            field.calendar = Calendar { year, crop, months };
            field.remarks = sparefield_geometry::fields::model::Remarks { hazards, access, permission, photographs };
            field
        }
    }

    proptest! {
        #[test]
        fn every_fact_comes_back_from_text_and_from_values(field in any_facts()) {
            let text = text_columns(&field).into_iter().map(|(k, v)| (k.to_owned(), v)).collect();
            prop_assert_eq!(from_text_columns(text, "record 1"), (field.clone(), vec![]));
            let values = value_columns(&field).into_iter().map(|(k, v)| (k.to_owned(), v)).collect();
            let (mut columns, mut notes) = (Columns::new(values), Notes::default());
            prop_assert_eq!(take_facts(&mut columns, "record 1", &mut notes), field);
            prop_assert_eq!(notes.into_warnings(), vec![]);
        }

        #[test]
        fn no_text_makes_it_panic(text in "\\PC{0,40}", name in prop::sample::select(FACT_COLUMNS.to_vec())) {
            let _field = from_text_columns(vec![(name.to_owned(), text)], "record 1");
        }
    }
}
