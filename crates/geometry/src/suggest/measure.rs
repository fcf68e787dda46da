//! From a piece of ground to a proposal: outline, strip, slope, what stands there, score.

use super::cover::CoverUse;
use super::edges::side_heights;
use super::mask::{Ground, headings};
use super::outline::trace;
use super::proposal::{Checked, CoverFound, NotChecked, Part, PartKind, Proposal};
use super::regions::Piece;
use super::scene::{CLOSE_POSTS_M, HEADINGS};
use super::standing::Standing;
use crate::fields::criteria::{MAX_DOWNHILL, slope_value};
use crate::fields::model::Surface;
use crate::fields::strip::{GIVEN_FOR_THE_MIDDLE, Scratch, Strip, StripSpace};
use crate::fields::study::{StripGround, fit_ground, may_include_trees};
use crate::math;
use crate::position::{Bearing, Xy};
use std::collections::BTreeMap;

/// Length lost for each metre of what stands before the landing end. Glider field-landing notes give 8 to 10.
const LOST_PER_METRE: f64 = 8.0;
/// How far beyond the ends of a strip is looked for what stands there, metres.
const BEYOND_M: f64 = 60.0;
/// A class of land cover is believed about the surface from this probability on, and on this share of the ground.
const BELIEVED: f64 = 0.5;
const MOSTLY: f64 = 0.8;
/// Half the angle between two headings of the search, radians.
const HALF_STEP: f64 = math::PI / HEADINGS as f64 / 2.0;
/// Share of a length above which a search for it looks, so that just that length is found.
const JUST_BELOW: f64 = 1.0 - 1e-9;

/// The proposal for a piece; `None` when the strip measured in its outline is too short.
pub(super) fn propose(ground: &Ground<'_>, piece: &Piece) -> Option<Proposal> {
    let options = &ground.options;
    let (outline, holes) = trace(&ground.frame, piece)?;
    let space = StripSpace::new(&outline, &holes, &[])?;
    // A side may lie half a cell off what the cell shows, at either end of a strip.
    let rounding = ground.frame.cell_m;
    let (strip, serving) = longest(&space, options.strip_width_m, options.needed_m + rounding)?;
    let usable_m = strip.length_m - rounding;
    if usable_m < options.needed_m {
        return None;
    }
    let room_m = (options.room_m() - rounding).max(options.strip_width_m);
    if !holds(&space, room_m, options.needed_m, strip.heading) {
        return None;
    }
    let under = fit_ground(ground.terrain(), &strip);
    let standing = ground.scene.standing;
    let beyond_ends_m = [standing.and_then(|s| beyond(s, &strip.reversed())), standing.and_then(|s| beyond(s, &strip))];
    let cover = cover_found(ground, piece);
    let seen = piece.seen_share(ground);
    let edges = standing.map(|s| side_heights(&outline, s)).unwrap_or_default();
    let believed = cover.is_some_and(|c| c.used == CoverUse::OpenGrass && c.share >= MOSTLY && c.right >= BELIEVED);
    let (checked, not_checked) = account(ground, piece, under, seen, cover);
    let mut proposal = Proposal {
        outline,
        holes,
        strip,
        usable_m,
        needed_m: options.needed_m,
        ground: under,
        beyond_ends_m,
        score: 0.0,
        parts: Vec::new(),
        cover,
        // Grass that may be long: nobody has looked.
        surface: if believed { Surface::LongGrass } else { Surface::Unknown },
        edges,
        cut: piece.cut,
        checked,
        not_checked,
    };
    proposal.parts = PartKind::ALL
        .into_iter()
        .map(|kind| Part { kind, value: value(kind, &proposal, ground, serving, seen).clamp(0.0, 1.0) })
        .collect();
    let weights: f64 = PartKind::ALL.into_iter().map(PartKind::weight).sum();
    proposal.score = proposal.parts.iter().map(|p| p.value * p.kind.weight()).sum::<f64>() / weights;
    Some(proposal)
}

/// The longest strip found, and how many of the headings looked along take the needed length.
///
/// Looks along every heading of the search and along the long sides, and then around the best of them: a thousandth of
/// the length may be missed, and nothing is found that is not there.
fn longest(space: &StripSpace, width_m: f64, needed_m: f64) -> Option<(Strip, u32)> {
    let mut scratch = Scratch::default();
    let mut best: Option<(f64, Bearing)> = None;
    let mut serving = 0;
    let mut look = |heading: Bearing, best: &mut Option<(f64, Bearing)>| {
        // Shorter ones than the best matter only where they are long enough to serve.
        let floor = best.map_or(0.0, |(longest, _)| longest.min(needed_m * JUST_BELOW));
        let found = space.longer_than(floor, heading, width_m, &mut scratch);
        if let Some(length) = found
            && best.is_none_or(|(longest, _)| length > longest)
        {
            *best = Some((length, heading));
        }
        found.is_some_and(|length| length >= needed_m)
    };
    for heading in headings() {
        serving += u32::from(look(heading, &mut best));
    }
    look(space.longest_side_heading(), &mut best);
    let (length, first) = best?;
    let near = space.near_heading(first, HALF_STEP, width_m, &mut scratch);
    let heading = near.filter(|(_, found)| *found > length).map_or(first, |(heading, _)| heading);
    let middle =
        |heading: Bearing, scratch: &mut Scratch| space.in_the_middle(heading, width_m, GIVEN_FOR_THE_MIDDLE, scratch);
    let strip = middle(heading, &mut scratch).or_else(|| middle(first, &mut scratch))?;
    // Strips have no direction of their own; the half turn from north on is taken.
    let strip = if strip.heading.rad() >= math::PI { strip.reversed() } else { strip };
    Some((strip, serving))
}

/// Whether a strip of a width and length fits in: along the likeliest heading, those of the search, the longest side,
/// or near the likeliest.
fn holds(space: &StripSpace, width_m: f64, length_m: f64, likeliest: Bearing) -> bool {
    let mut scratch = Scratch::default();
    let floor = length_m * JUST_BELOW;
    let mut fits = |heading: Bearing| {
        space.longer_than(floor, heading, width_m, &mut scratch).is_some_and(|length| length >= length_m)
    };
    if fits(likeliest) || headings().any(&mut fits) || fits(space.longest_side_heading()) {
        return true;
    }
    space.near_heading(likeliest, HALF_STEP, width_m, &mut scratch).is_some_and(|(_, found)| found >= length_m)
}

/// Height of what stands beyond the end of a strip, within its width and a little more; `None` where it is not known.
fn beyond(standing: &Standing, strip: &Strip) -> Option<f64> {
    let u = strip.heading.unit();
    let right = Xy::new(u.y, -u.x);
    let step = (standing.frame.cell_m / 2.0).max(0.5);
    let rows = (BEYOND_M / step).ceil() as usize;
    let across = (strip.width_m / step).ceil().max(1.0) as usize;
    let mut highest: Option<f64> = None;
    let mut known = 0;
    for i in 0..=rows {
        for j in 0..=across {
            let (x, y) = (BEYOND_M * i as f64 / rows as f64, strip.width_m * (j as f64 / across as f64 - 0.5));
            if let Some(h) = standing.at(strip.end + u * x + right * y) {
                known += 1;
                // A landing end moved by eight times the height: what stands farther out matters less by an eighth.
                let counts = h - x / LOST_PER_METRE;
                highest = Some(highest.map_or(counts, |top| top.max(counts)));
            }
        }
    }
    // Half of it at least has to be known before anything is said.
    (2 * known >= (rows + 1) * (across + 1)).then_some(highest?.max(0.0))
}

fn cover_found(ground: &Ground<'_>, piece: &Piece) -> Option<CoverFound> {
    let table = &ground.scene.cover?.table;
    let mut counts: BTreeMap<u16, usize> = BTreeMap::new();
    for (row, col) in piece.cells() {
        if let Some((class, _)) = ground.cover_at(row, col) {
            *counts.entry(class).or_default() += 1;
        }
    }
    let total = counts.values().sum::<usize>() as f64;
    let mut uses: BTreeMap<CoverUse, usize> = BTreeMap::new();
    let mut right = 0.0;
    for (&class, &count) in &counts {
        *uses.entry(table.used(class)).or_default() += count;
        // What the map calls trees is open by another witness; the map has no part in that.
        right += if table.used(class).is_open() { table.right(class) * count as f64 } else { 0.0 };
    }
    let (&used, &count) = uses.iter().max_by_key(|(_, count)| **count)?;
    let open = uses.iter().filter(|(used, _)| used.is_open()).map(|(_, count)| *count).sum::<usize>() as f64;
    Some(CoverFound { used, share: count as f64 / total, open: open / total, right: right / total })
}

fn value(kind: PartKind, proposal: &Proposal, ground: &Ground<'_>, serving: u32, seen: f64) -> f64 {
    match kind {
        PartKind::Length => {
            // Landed on from the end with less before it; what is not known costs nothing here and is told apart.
            let lost =
                proposal.beyond_ends_m.iter().map(|h| h.unwrap_or(0.0) * LOST_PER_METRE).fold(f64::INFINITY, f64::min);
            (proposal.usable_m - lost) / proposal.needed_m - 1.0
        }
        PartKind::Headings => f64::from(serving) / f64::from(HEADINGS),
        PartKind::Slope => proposal.ground.map_or(0.0, |g| {
            let from =
                |g: StripGround| slope_value(g.slope, g.slope_error, g.cross_slope, g.cross_error, g.roughness_m);
            from(g).max(from(g.reversed()))
        }),
        PartKind::Cover => proposal.cover.map_or(0.0, |c| c.right),
        PartKind::Standing => seen,
        PartKind::Terrain => {
            let known = proposal.ground.map_or(0.0, |g| 1.0 - 2.0 * g.slope_error / MAX_DOWNHILL).max(0.0);
            if may_include_trees(ground.terrain().accuracy) { known / 2.0 } else { known }
        }
    }
}

/// What was checked and what was not.
fn account(
    ground: &Ground<'_>,
    piece: &Piece,
    under: Option<StripGround>,
    seen: f64,
    cover: Option<CoverFound>,
) -> (Vec<Checked>, Vec<NotChecked>) {
    let mut checked = vec![Checked::Slope, Checked::Roughness];
    let mut not = vec![NotChecked::Surface, NotChecked::WiresAndFences, NotChecked::Animals, NotChecked::Firmness];
    if ground.terrain().frame.cell_m <= CLOSE_POSTS_M {
        checked.push(Checked::Steps);
    } else {
        not.push(NotChecked::Steps);
    }
    if let Some(cover) = cover {
        checked.push(Checked::LandCover);
        if cover.open < MOSTLY {
            not.push(NotChecked::CoverDisagrees);
        }
    } else {
        not.push(NotChecked::LandCover);
        if ground.whole_metres {
            not.push(NotChecked::Water);
        }
    }
    if seen > 0.0 {
        checked.push(Checked::Standing);
    }
    if seen == 0.0 {
        not.push(NotChecked::Standing);
    } else if seen < 1.0 {
        not.push(NotChecked::StandingPartly);
    }
    if may_include_trees(ground.terrain().accuracy) {
        not.push(NotChecked::TreesInTerrain);
    }
    // Within 2 % even when the slope is wrong by two standard errors.
    let certain = under.is_some_and(|g| g.slope.abs() + 2.0 * g.slope_error <= MAX_DOWNHILL);
    if !certain {
        not.push(NotChecked::FineSlope);
    }
    if !ground.scene.barriers.is_empty() {
        checked.push(Checked::Hazards);
    }
    if !ground.scene.fields.is_empty() {
        checked.push(Checked::KnownFields);
    }
    if piece.cut {
        not.push(NotChecked::CutSide);
    }
    not.push(NotChecked::Approach);
    (checked, not)
}
