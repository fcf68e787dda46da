//! Edits of the outlines of fields, and of what stands on their sides.

use super::{Made, Refused, changed, field, fields};
use sparefield_data::area::{Area, Change, Edit, Home, Swap};
use sparefield_geometry::fields::model::{BoundaryEdge, Field};
use sparefield_geometry::outline::pick::holds;
use sparefield_geometry::outline::place::{ends_of, ring_of};
use sparefield_geometry::outline::shared::{SHARED_M, match_corners, move_shared_corner};
use sparefield_geometry::outline::{CornerRef, RingRef, SideRef, corner, cut, hole, join, paint};
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// Corners this near to each other, metres, were meant to be one: drawing snaps to exactly the same place, so this only
/// takes up rounding in files.
pub const SAME_CORNER_M: f64 = 0.05;

/// A new field from the corners drawn. Neighbours get corners where its boundary meets theirs.
///
/// # Errors
/// When the outline crosses itself or encloses nothing.
pub fn draw(area: &Area, corners: &[Xy]) -> Made {
    let (outer, edges) = corner::closed(corners, &[])?;
    let drawn = Field { edges, ..Field::new(area.free_id("field"), outer) };
    let words = "draw a field";
    let mut fields: Vec<Arc<Field>> = area.fields.to_vec();
    let place = fields.len();
    fields.push(Arc::new(drawn));
    // Where the new boundary runs along an old one, what stands there is known already.
    let mut matched = match_corners(&fields, place, SAME_CORNER_M);
    let own = match matched.iter().position(|(i, _)| *i == place) {
        Some(at) => matched.remove(at).1,
        None => fields[place].as_ref().clone(),
    };
    let mut changes = changed(&area.fields, matched);
    changes.push(Change::Field(Swap::add(with_known_edges(area, own))));
    Ok(Edit::new(words, changes))
}

/// A field that takes over what its neighbours say about boundaries that run along its own.
fn with_known_edges(area: &Area, drawn: Field) -> Field {
    let mut fields: Vec<Arc<Field>> = area.fields.to_vec();
    let place = fields.len();
    fields.push(Arc::new(drawn));
    let shared = sparefield_geometry::outline::shared::SharedSides::around(&fields, place, SAME_CORNER_M);
    let mut drawn = fields[place].as_ref().clone();
    for side in 0..drawn.edges.len() {
        // A neighbour's boundary along nearly all of the side speaks for it; along a part of it, for nothing.
        let whole = shared.of(place, side).find(|n| n.own.1 - n.own.0 > 0.95);
        if let Some(known) = whole.and_then(|n| fields[n.field].edges.get(n.side)) {
            drawn.edges[side] = *known;
        }
    }
    drawn
}

/// One corner moved; with `together`, corners of neighbours at the same place go with it.
///
/// # Errors
/// When an outline would cross itself.
pub fn move_corner(area: &Area, id: &str, which: CornerRef, to: Xy, together: bool) -> Made {
    let (index, of) = field(area, id)?;
    let new = if together {
        move_shared_corner(&area.fields, index, which, to, SAME_CORNER_M)?
    } else {
        vec![(index, corner::move_corner(of, which, to)?)]
    };
    Ok(Edit::new(format!("move a corner of {}", of.label()), changed(&area.fields, new)))
}

/// A new corner on a side; with `together`, neighbours with the same side get it, too.
///
/// # Errors
/// When the outline would cross itself.
pub fn insert_corner(area: &Area, id: &str, side: SideRef, at: Xy, together: bool) -> Made {
    let (index, of) = field(area, id)?;
    let words = format!("insert a corner into {}", of.label());
    let Some((a, b)) = ends_of(of, side) else { return Err(super::gone("side")) };
    let mut new = vec![(index, corner::insert_corner(of, side, at)?)];
    if together {
        for (other, theirs) in area.fields.iter().enumerate().filter(|(i, _)| *i != index) {
            let same = (0..theirs.outer.len()).find(|&i| {
                let (c, d) = (theirs.outer[i], theirs.outer[(i + 1) % theirs.outer.len()]);
                c.distance(b) <= SAME_CORNER_M && d.distance(a) <= SAME_CORNER_M
            });
            if let Some(i) = same {
                new.push((other, corner::insert_corner(theirs, SideRef::outer(i), at)?));
            }
        }
    }
    Ok(Edit::new(words, changed(&area.fields, new)))
}

/// A corner taken away. Of two different things on its sides the taller, or the unknown one, is kept.
///
/// # Errors
/// When fewer than three corners would be left, or the outline would cross itself.
pub fn delete_corner(area: &Area, id: &str, which: CornerRef) -> Made {
    let (index, of) = field(area, id)?;
    let new = corner::delete_corner(of, which)?;
    Ok(Edit::new(format!("delete a corner of {}", of.label()), changed(&area.fields, vec![(index, new)])))
}

/// Whole fields moved.
///
/// # Errors
/// When a field is no longer there or would lie nowhere on Earth.
pub fn move_fields(area: &Area, ids: &[String], by: Xy) -> Made {
    let mut new = Vec::new();
    for (index, of) in fields(area, ids)? {
        new.push((index, corner::move_outline(of, by)?));
    }
    Ok(Edit::new(format!("move {}", named(area, ids)), changed(&area.fields, new)))
}

/// A field cut in two along a line. The part with the larger area keeps the identifier, name and surveys of the whole;
/// the other is named after it.
///
/// # Errors
/// When the line does not run from side to side once.
pub fn cut_field(area: &Area, id: &str, line: &[Xy]) -> Made {
    let (_, of) = field(area, id)?;
    let other_id = area.free_id("field");
    let [left, right] = cut::cut(of, line, BoundaryEdge::UNKNOWN, [of.id.clone(), other_id.clone()])?;
    let (mut kept, mut part) = if left.area_m2() >= right.area_m2() { (left, right) } else { (right, left) };
    kept.id.clone_from(&of.id);
    part.id = other_id;
    if !of.name.is_empty() {
        part.name = format!("{}, part", of.name);
    }
    // The home strip stays in the field round its runway.
    let home = area.home.as_ref().filter(|home| home.field_id == of.id && holds(&part, home.position));
    let home = home.map(|home| home_in(home, &part.id));
    let mut changes = vec![Change::Field(Swap::replace(of, kept)), Change::Field(Swap::add(part))];
    changes.extend(home);
    Ok(Edit::new(format!("cut {}", of.label()), changes))
}

/// Fields joined into the first of them.
///
/// # Errors
/// When they are fewer than two or do not lie beside each other.
pub fn join_fields(area: &Area, ids: &[String]) -> Made {
    let [first, rest @ ..] = ids else { return Err(Refused::because("Choose the fields to join first.")) };
    if rest.is_empty() {
        return Err(Refused::because("Joining takes at least two fields: hold Shift and choose another one."));
    }
    let (_, base) = field(area, first)?;
    let mut joined = base.as_ref().clone();
    let mut left: Vec<&Arc<Field>> = fields(area, rest)?.into_iter().map(|(_, field)| field).collect();
    let mut changes: Vec<Change> = left.iter().map(|f| Change::Field(Swap::remove(f))).collect();
    // Fields chosen in any order: those beside what is joined already come first.
    while !left.is_empty() {
        let mut why = None;
        let mut taken = None;
        for (i, next) in left.iter().enumerate() {
            match join::join(&joined, next, SHARED_M) {
                Ok(both) => {
                    joined = both;
                    taken = Some(i);
                    break;
                }
                Err(e) => why = Some(e),
            }
        }
        match (taken, why) {
            (Some(i), _) => {
                left.remove(i);
            }
            (None, Some(why)) => return Err(why.into()),
            (None, None) => break,
        }
    }
    changes.push(Change::Field(Swap::replace(base, joined)));
    if let Some(home) = area.home.as_ref().filter(|home| rest.contains(&home.field_id)) {
        changes.push(home_in(home, &base.id));
    }
    Ok(Edit::new(format!("join {} fields", ids.len()), changes))
}

/// The home strip moved to another field's identifier, its runway staying where it is.
fn home_in(home: &Home, field_id: &str) -> Change {
    Change::Home(Swap::replace(&Arc::new(home.clone()), Home { field_id: field_id.to_owned(), ..home.clone() }))
}

/// A hole drawn inside a field.
///
/// # Errors
/// When it crosses itself, the outline or another hole, or lies outside.
pub fn add_hole(area: &Area, id: &str, corners: &[Xy]) -> Made {
    let (index, of) = field(area, id)?;
    let new = hole::add_hole(of, corners)?;
    Ok(Edit::new(format!("make a hole in {}", of.label()), changed(&area.fields, vec![(index, new)])))
}

/// A hole filled.
///
/// # Errors
/// When there is no such hole.
pub fn delete_hole(area: &Area, id: &str, which: usize) -> Made {
    let (index, of) = field(area, id)?;
    let new = hole::delete_hole(of, which)?;
    Ok(Edit::new(format!("fill a hole in {}", of.label()), changed(&area.fields, vec![(index, new)])))
}

/// What stands on sides of a field said anew, for every field that shares them.
///
/// # Errors
/// When there is no such side.
pub fn paint_sides(area: &Area, id: &str, sides: &[usize], edge: BoundaryEdge) -> Made {
    let (index, of) = field(area, id)?;
    let new = paint::paint(&area.fields, index, sides, edge, SHARED_M)?;
    let words = match sides {
        [_] => format!("say what stands on a side of {}", of.label()),
        _ => format!("say what stands on {} sides of {}", sides.len(), of.label()),
    };
    Ok(Edit::new(words, changed(&area.fields, new)))
}

/// Whether a corner is one, and where.
#[must_use]
pub fn corner_at(of: &Field, which: CornerRef) -> Option<Xy> {
    ring_of(of, which.ring)?.get(which.corner).copied()
}

/// The next corner (or with `back` the one before) round a field, through its holes as well.
#[must_use]
pub fn next_corner(of: &Field, now: Option<CornerRef>, back: bool) -> Option<CornerRef> {
    let rings = std::iter::once(RingRef::Outer).chain((0..of.holes.len()).map(RingRef::Hole));
    let all: Vec<CornerRef> = rings
        .flat_map(|ring| {
            let corners = ring_of(of, ring).map_or(0, <[Xy]>::len);
            (0..corners).map(move |corner| CornerRef { ring, corner })
        })
        .collect();
    let last = all.len().checked_sub(1)?;
    let at = now.and_then(|now| all.iter().position(|c| *c == now));
    let next = match (at, back) {
        (None, false) => 0,
        (None, true) => last,
        (Some(i), false) => (i + 1) % all.len(),
        (Some(i), true) => i.checked_sub(1).unwrap_or(last),
    };
    Some(all[next])
}

/// The name of one field, or how many.
pub(super) fn named(area: &Area, ids: &[String]) -> String {
    match ids {
        [one] => field(area, one).map_or_else(|_| one.clone(), |(_, f)| f.label().to_owned()),
        many => format!("{} fields", many.len()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sparefield_data::error::NoProgress;

    #[test]
    fn the_home_strip_stays_in_the_field_round_its_runway() {
        let area = Area::sample(&NoProgress).unwrap();
        let home = area.home.clone().unwrap();
        let (_, whole) = field(&area, &home.field_id).unwrap();
        // Cuts across the whole box round the field, each farther along: some leave the runway in the smaller part.
        let (min, max) = whole.outer.iter().fold((whole.outer[0], whole.outer[0]), |(low, high), p| {
            (Xy::new(low.x.min(p.x), low.y.min(p.y)), Xy::new(high.x.max(p.x), high.y.max(p.y)))
        });
        let (mut cuts, mut moved) = (0, 0);
        for step in 1..20 {
            let share = f64::from(step) / 20.0;
            let (x, y) = (min.x + (max.x - min.x) * share, min.y + (max.y - min.y) * share);
            let upright = [Xy::new(x, min.y - 50.0), Xy::new(x, max.y + 50.0)];
            let level = [Xy::new(min.x - 50.0, y), Xy::new(max.x + 50.0, y)];
            for line in [upright, level] {
                let Ok(cut) = cut_field(&area, &home.field_id, &line) else { continue };
                let mut after = area.clone();
                after.apply(&cut).unwrap();
                let now = after.home.clone().unwrap();
                let (_, its) = field(&after, &now.field_id).unwrap();
                assert!(holds(its, home.position), "cut {share}: the runway lies in {}", its.label());
                cuts += 1;
                moved += usize::from(now.field_id != home.field_id);
                // Joined into the part without the runway, the strip goes along; undone, everything is as it was.
                let new = cut.changes.iter().find_map(|change| match change {
                    Change::Field(Swap { before: None, after: Some(new) }) => Some(new.id.clone()),
                    _ => None,
                });
                let without = if now.field_id == home.field_id { new.unwrap() } else { home.field_id.clone() };
                let Ok(joined) = join_fields(&after, &[without.clone(), now.field_id.clone()]) else { continue };
                let mut whole_again = after.clone();
                whole_again.apply(&joined).unwrap();
                assert_eq!(whole_again.home.as_ref().map(|h| &h.field_id), Some(&without));
                whole_again.take_back(&joined).unwrap();
                whole_again.take_back(&cut).unwrap();
                assert_eq!(whole_again.home, area.home);
            }
        }
        assert!(cuts > 10 && moved > 0, "{cuts} cuts, {moved} of them moved the strip");
    }
}
