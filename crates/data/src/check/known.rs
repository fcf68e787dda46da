//! What is known about fields, and how old it is.

use super::{CheckOptions, Finding, FindingKind, Severity, Subject, field_words};
use crate::area::Area;
use crate::quantity::format_day;
use sparefield_geometry::fields::model::{EdgeKind, Field};

/// Photographs named by an address are not looked for.
const ADDRESSES: [&str; 2] = ["http://", "https://"];

pub(super) fn look(area: &Area, options: &CheckOptions, found: &mut Vec<Finding>) {
    for field in area.fields.iter() {
        surveys(field, options, found);
        sides(field, found);
        calendar(field, options, found);
        photographs(field, options, found);
    }
}

fn about(field: &Field, kind: FindingKind, severity: Severity, sentence: String, remedy: &str) -> Finding {
    Finding::about(kind, severity, Subject::Field(field.id.clone()), field.centroid(), sentence, remedy)
}

fn surveys(field: &Field, options: &CheckOptions, found: &mut Vec<Finding>) {
    let name = field_words(field);
    for (day, what) in [(field.surveyed, "looked at"), (field.stock_seen, "looked at for stock")] {
        if let Some(day) = day.filter(|day| *day > options.today) {
            let sentence = format!("{name} is said to have been {what} on {}, in the future", format_day(day));
            let remedy = "correct the day; until then it counts as fresh";
            found.push(about(field, FindingKind::FutureDay, Severity::Wrong, sentence, remedy));
        }
    }
    match field.surveyed {
        None => {
            let sentence = format!("nobody has looked at {name} yet");
            let remedy = "walk along it or fly over it, and say what grows there";
            found.push(about(field, FindingKind::NoSurvey, Severity::Incomplete, sentence, remedy));
        }
        Some(day) => {
            let age = options.today.days_since_epoch.saturating_sub(day.days_since_epoch);
            if age > options.old_after_days {
                let sentence = format!("{name} was last looked at on {}, {age} days ago", format_day(day));
                let remedy = "look at it again: what grows there has changed since";
                found.push(about(field, FindingKind::OldSurvey, Severity::Doubtful, sentence, remedy));
            }
        }
    }
}

fn sides(field: &Field, found: &mut Vec<Finding>) {
    let unknown = field.edges.iter().filter(|e| e.kind == EdgeKind::Unknown).count();
    if unknown == 0 {
        return;
    }
    let name = field_words(field);
    let sentence = match (unknown, field.edges.len()) {
        (1, _) => format!("nobody has looked at one side of {name}"),
        (n, all) if n == all => format!("nobody has looked at the sides of {name}"),
        (n, all) => format!("nobody has looked at {n} of the {all} sides of {name}"),
    };
    let remedy = "say what stands there and how high";
    found.push(about(field, FindingKind::UnknownSides, Severity::Incomplete, sentence, remedy));
}

fn calendar(field: &Field, options: &CheckOptions, found: &mut Vec<Finding>) {
    let this_year = options.today.civil().0;
    if let Some(year) = field.calendar.year.filter(|y| *y < this_year && !field.calendar.is_empty()) {
        let sentence =
            format!("the calendar of {} is for {year} and says nothing about {this_year}", field_words(field));
        let remedy = "ask what is grown this year";
        found.push(about(field, FindingKind::PastCalendar, Severity::Incomplete, sentence, remedy));
    }
}

fn photographs(field: &Field, options: &CheckOptions, found: &mut Vec<Finding>) {
    let Some(folder) = &options.photographs else { return };
    for photograph in &field.remarks.photographs {
        let is_address = ADDRESSES.iter().any(|start| photograph.to_lowercase().starts_with(start));
        if is_address || folder.join(photograph).is_file() {
            continue;
        }
        let sentence = format!("the photograph {photograph} of {} is not there", field_words(field));
        let remedy = "put the file back, or take the photograph off the field";
        found.push(about(field, FindingKind::NoPhotograph, Severity::Doubtful, sentence, remedy));
    }
}
