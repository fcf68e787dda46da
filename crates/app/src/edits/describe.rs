//! Edits of what is known about fields.

use super::outline::named;
use super::{Made, Refused, fields};
use sparefield_data::area::{Area, Change, Edit, Swap};
use sparefield_geometry::fields::model::Field;

/// The same change made to several fields. Fields that it leaves as they are do not count as changed.
///
/// # Errors
/// When a field is no longer there.
pub fn change_fields(area: &Area, ids: &[String], what: &str, change: impl Fn(&mut Field)) -> Made {
    let mut changes = Vec::new();
    for (_, before) in fields(area, ids)? {
        let mut after = before.as_ref().clone();
        change(&mut after);
        if &after != before.as_ref() {
            changes.push(Change::Field(Swap::replace(before, after)));
        }
    }
    Ok(Edit::new(format!("{what} of {}", named(area, ids)), changes))
}

/// Fields taken away.
///
/// # Errors
/// When one of them is no longer there, or holds the home strip.
pub fn delete_fields(area: &Area, ids: &[String]) -> Made {
    let mut changes = Vec::new();
    for (_, of) in fields(area, ids)? {
        if area.home.as_ref().is_some_and(|home| home.field_id == of.id) {
            return Err(Refused::because(format!("{} holds the home strip and cannot be deleted.", of.label())));
        }
        changes.push(Change::Field(Swap::remove(of)));
    }
    Ok(Edit::new(format!("delete {}", named(area, ids)), changes))
}
