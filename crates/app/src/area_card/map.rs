//! The card's maps: the whole area with its fields numbered, and where no field is in reach from a height.

use super::{AreaCard, Row};
use crate::sheet::above::{Placing, extent};
use crate::sheet::picture::{Ink, Picture, text_width};
use crate::sheet::plan;
use crate::sheet::relief::Ground;
use crate::theme::{Palette, Scheme, Theme, mix};
use crate::views::map::cut_to;
use crate::views::map::relief::{ContourLabel, ContourSteps, Pyramid, TileKey};
use egui::{Align2, Pos2, Rect, Vec2, pos2, vec2};
use sparefield_data::area::LaneKind;
use sparefield_data::quantity::{HeightUnit, UnitPrefs, WindWords};
use sparefield_geometry::fields::model::Field;
use sparefield_geometry::fields::verdict::Verdict;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// Dots of the ground for each point of a map.
const DOTS: f32 = 1.6;
/// Room round the outermost field, points.
const ROOM: f32 = 18.0;
/// How strongly places that are not covered are coloured, and the stripes over them.
const BARE: f32 = 0.38;
const STRIPE: f32 = 0.72;
/// Dots from one stripe to the next, and how many of them it is wide.
const STRIPES: i64 = 9;
const STRIPE_WIDE: i64 = 2;

/// Fields lie together when their extents are no farther apart than this, metres.
const TOGETHER_M: f64 = 250.0;
/// Fewest fields that are worth a map of their own.
const FEWEST: usize = 3;

/// What every map of one card shares.
pub(super) struct Maps<'a> {
    card: &'a AreaCard,
    units: UnitPrefs,
    theme: Theme,
    pyramid: Pyramid,
}

/// Least heights as they lie in the terrain's cells.
struct Bare<'a> {
    least_amsl_m: &'a [f32],
    height_agl_m: f64,
}

impl<'a> Maps<'a> {
    pub(super) fn new(card: &'a AreaCard, units: UnitPrefs, palette: &Palette) -> Self {
        let pyramid = Pyramid::new(Arc::clone(&card.area().terrain));
        Self { card, units, theme: Theme::new(palette, Scheme::Day), pyramid }
    }

    /// A map this wide of some places, as high as they ask within bounds.
    fn around(places: &[Xy], width: f32) -> Option<Placing> {
        let (low, high) = extent(places.iter().copied())?;
        let shape = ((high.y - low.y) / (high.x - low.x).max(1.0)) as f32;
        let size = vec2(width, ((width - 2.0 * ROOM) * shape.clamp(0.4, 1.06) + 2.0 * ROOM).round());
        Placing::around(places.iter().copied(), size, ROOM)
    }

    /// The map of the whole area.
    fn placing(&self, width: f32) -> Option<Placing> {
        let area = self.card.area();
        let outlines = area.fields.iter().flat_map(|f| f.outer.iter().copied());
        let ends = area.home.iter().flat_map(|h| h.ends.iter().map(|e| e.threshold));
        let mut shown: Vec<Xy> = outlines.chain(ends).collect();
        if shown.is_empty() {
            let (low, high) = area.terrain.frame.bounds();
            shown = vec![low, high];
        }
        Self::around(&shown, width)
    }

    /// The whole area, fields numbered.
    pub(super) fn whole(&self, width: f32) -> Picture {
        let words = "The area from above with its fields numbered, north upwards";
        let Some(placing) = self.placing(width) else { return Picture::new(vec2(width, width), words) };
        let mut p = self.numbered(&placing, words);
        let wind = &self.card.options.wind;
        if let Some(from) = wind.surface.from_bearing() {
            let area = self.card.area();
            let place = area.home.as_ref().map_or_else(|| area.centre(), |home| home.position);
            let speed = self.units.format_speed(wind.surface.speed_ms());
            let words = format!("{}/{speed}", sparefield_data::quantity::format_bearing(area.to_true(from, place)));
            plan::wind(&mut p, from, &words);
        } else {
            p.text(
                pos2(10.0, 10.0),
                Align2::LEFT_TOP,
                self.units.format_wind(wind.surface, WindWords::Short),
                Ink::Ink,
            );
        }
        p
    }

    /// Fields that lie together from nearer, group by group from north to south; none where all lie together.
    pub(super) fn close_ups(&self, width: f32) -> Vec<Picture> {
        let groups = groups(&self.card.rows.iter().map(|row| self.card.field(row)).collect::<Vec<_>>());
        if groups.len() < 2 {
            return Vec::new();
        }
        let picture = |group: &Vec<usize>| {
            let rows = group.iter().map(|&i| &self.card.rows[i]);
            let outlines: Vec<Xy> = rows.flat_map(|row| self.card.field(row).outer.iter().copied()).collect();
            let placing = Self::around(&outlines, width)?;
            Some(self.numbered(&placing, "Fields from nearer with their numbers, north upwards"))
        };
        groups.iter().filter(|group| group.len() >= FEWEST).filter_map(picture).collect()
    }

    fn numbered(&self, placing: &Placing, words: &str) -> Picture {
        let mut p = Picture::new(placing.size, words);
        let labels = self.ground(&mut p, placing, true, None);
        self.land(&mut p, placing);
        self.strips(&mut p, placing);
        let mut taken = corners(placing.size);
        self.home(&mut p, placing, &mut taken);
        self.numbers(&mut p, placing, &mut taken);
        self.heights(&mut p, placing, &labels, &mut taken);
        self.furniture(&mut p, placing);
        p
    }

    /// Where no field is in reach from a height, and the share of the map with known ground from which one is.
    pub(super) fn covered(&self, width: f32, height_agl_m: f64) -> (Picture, Option<f64>) {
        let words = format!("Where no field is in reach from {}", self.units.format_height(height_agl_m));
        let mut p = Picture::new(vec2(width, width), words);
        let Some(placing) = self.placing(width) else { return (p, None) };
        p.size = placing.size;
        let least = self.card.options.least.raster(1);
        let bare = Bare { least_amsl_m: &least, height_agl_m };
        self.ground(&mut p, &placing, false, Some(&bare));
        for row in &self.card.rows {
            let points: Vec<Pos2> = self.card.field(row).outer.iter().map(|q| placing.at(*q)).collect();
            let out = row.judged.verdict == Verdict::Out;
            p.outline(&points, if out { Ink::Soft } else { Ink::Roomy }, if out { 0.5 } else { 1.3 });
        }
        self.runway(&mut p, &placing, 2.5);
        self.furniture(&mut p, &placing);
        (p, self.share(&placing, &bare))
    }

    fn share(&self, placing: &Placing, bare: &Bare<'_>) -> Option<f64> {
        let terrain = &self.card.area().terrain;
        let (low, high) = placing.corners();
        let (mut known, mut covered) = (0usize, 0usize);
        for row in 0..terrain.frame.rows {
            for col in 0..terrain.frame.cols {
                let at = terrain.frame.centre(row, col);
                if at.x >= low.x && at.x <= high.x && at.y >= low.y && at.y <= high.y {
                    let is_bare = self.is_bare(bare, at);
                    known += usize::from(is_bare.is_some());
                    covered += usize::from(is_bare == Some(false));
                }
            }
        }
        (known > 0).then(|| covered as f64 / known as f64)
    }

    /// Whether no field is in reach from above a place; `None` where the ground is not known.
    fn is_bare(&self, bare: &Bare<'_>, at: Xy) -> Option<bool> {
        let terrain = &self.card.area().terrain;
        let (row, col) = terrain.frame.cell_of(at)?;
        let cell = row * terrain.frame.cols + col;
        let ground = f64::from(terrain.heights_m[cell]);
        let covered = f64::from(bare.least_amsl_m[cell]) <= ground + bare.height_agl_m;
        ground.is_finite().then_some(!covered)
    }

    /// Light and shade, as on the map of the window, in dots of the same size as a level of tiles has.
    fn ground(&self, p: &mut Picture, placing: &Placing, contours: bool, bare: Option<&Bare<'_>>) -> Vec<ContourLabel> {
        let colours = &self.theme.colours;
        let dot_m = TileKey::metres_per_pixel(Ground::level(placing, DOTS));
        let steps = ContourSteps::for_zoom(dot_m, self.pyramid.steepness(), self.units.height == HeightUnit::Ft);
        let ground = Ground::of(&self.pyramid, &self.theme, placing, DOTS, (steps, contours), colours.outside);
        let Some(mut ground) = ground else { return Vec::new() };
        if let Some(bare) = bare {
            for i in 0..ground.dots.len() {
                let ((x, y), at) = ground.place(i);
                if self.is_bare(bare, at) == Some(true) {
                    let stripe = (x + y).rem_euclid(STRIPES) < STRIPE_WIDE;
                    ground.dots[i] = mix(ground.dots[i], colours.caution, if stripe { STRIPE } else { BARE });
                }
            }
        }
        p.marks.push(ground.mark(placing, |c| [c.r(), c.g(), c.b()]));
        ground.labels
    }

    /// Lanes, rivers, quiet zones, hazards and the outlines of fields.
    fn land(&self, p: &mut Picture, placing: &Placing) {
        let area = self.card.area();
        let within = Rect::from_min_size(Pos2::ZERO, placing.size);
        for lane in area.lanes.iter() {
            let (ink, width) = if lane.kind == LaneKind::River { (Ink::Water, 1.6) } else { (Ink::Line, 1.4) };
            for pair in lane.line.windows(2) {
                if let Some((a, b)) = cut_to(placing.at(pair[0]), placing.at(pair[1]), within) {
                    p.line([a, b], ink, width);
                }
            }
        }
        for zone in area.quiet_zones.iter() {
            for (i, q) in zone.outer.iter().enumerate() {
                let next = zone.outer[(i + 1) % zone.outer.len()];
                if let Some((a, b)) = cut_to(placing.at(*q), placing.at(next), within) {
                    p.dashed([a, b], Ink::Quiet, 1.4, (3.0, 2.5));
                }
            }
        }
        for row in self.in_sight(placing) {
            let points: Vec<Pos2> = self.card.field(row).outer.iter().map(|q| placing.at(*q)).collect();
            match row.judged.verdict {
                Verdict::Roomy => p.outline(&points, Ink::Roomy, 2.2),
                Verdict::Workable => p.outline(&points, Ink::Workable, 1.6),
                Verdict::LastResort => {
                    let closed: Vec<Pos2> = points.iter().chain(points.first()).copied().collect();
                    p.dashed(closed, Ink::LastResort, 1.5, (5.0, 3.0));
                }
                Verdict::Out => p.outline(&points, Ink::Out, 0.7),
            }
        }
        plan::hazards(p, &area.hazards, &|q| placing.at(q), placing.corners());
    }

    /// The strip of today in each field that would take the aircraft, an arrowhead at its far end.
    fn strips(&self, p: &mut Picture, placing: &Placing) {
        for row in self.in_sight(placing).filter(|r| r.judged.verdict != Verdict::Out) {
            if let Some(strip) = &row.judged.strip {
                let (from, to) = (placing.at(strip.start), placing.at(strip.end));
                p.line([from, to], Ink::Accent, 1.0);
                p.arrowhead(to, to - from, 5.5, Ink::Accent);
            }
        }
    }

    /// Fields that lie on a map as a whole.
    fn in_sight(&self, placing: &Placing) -> impl Iterator<Item = &Row> {
        let within = Rect::from_min_size(Pos2::ZERO, placing.size);
        let placing = *placing;
        let whole = move |row: &&Row| self.card.field(row).outer.iter().all(|q| within.contains(placing.at(*q)));
        self.card.rows.iter().filter(whole)
    }

    fn runway(&self, p: &mut Picture, placing: &Placing, width: f32) {
        let Some(home) = &self.card.area().home else { return };
        if let [a, b, ..] = &home.ends[..] {
            let within = Rect::from_min_size(Pos2::ZERO, placing.size);
            if let Some((a, b)) = cut_to(placing.at(a.threshold), placing.at(b.threshold), within) {
                p.line([a, b], Ink::Ink, width);
            }
        }
    }

    fn home(&self, p: &mut Picture, placing: &Placing, taken: &mut Vec<Rect>) {
        self.runway(p, placing, 4.0);
        let Some(home) = &self.card.area().home else { return };
        let at = placing.at(home.position) + vec2(0.0, 15.0);
        let half = text_width(&home.name, self.theme.sizes.small) / 2.0 + 2.0;
        let room = Rect::from_min_size(Pos2::ZERO, placing.size).shrink2(vec2(half, 10.0));
        if !room.is_positive() || !room.contains(at) {
            return;
        }
        p.bold(at, Align2::CENTER_CENTER, &home.name, Ink::Ink);
        taken.push(Rect::from_center_size(at, vec2(text_width(&home.name, self.theme.sizes.small), 14.0)));
    }

    /// Every number, on its field or beside it with a line to it.
    fn numbers(&self, p: &mut Picture, placing: &Placing, taken: &mut Vec<Rect>) {
        // Fields that would take the aircraft have the better places.
        let mut order: Vec<_> = self.in_sight(placing).collect();
        order.sort_by_key(|row| (row.judged.verdict, row.number));
        let room = Rect::from_min_size(Pos2::ZERO, placing.size).shrink(1.0);
        let wanted: Vec<(Pos2, Vec2)> = order
            .iter()
            .map(|row| {
                let wide = text_width(&row.number.to_string(), self.theme.sizes.small) + 4.0;
                (placing.at(self.card.field(row).centroid()), vec2(wide, 12.0))
            })
            .collect();
        let placed = place_apart(&wanted, room, taken);
        // Nothing is left out without a word.
        let without = placed.iter().filter(|rect| rect.is_none()).count();
        if without > 0 {
            let words = format!("no room for {without} of {} numbers here", placed.len());
            p.text(room.right_bottom(), Align2::RIGHT_BOTTOM, words, Ink::Caution);
        }
        // Every line first, so that none crosses a number.
        for ((middle, _), rect) in wanted.iter().zip(&placed) {
            let Some(at) = rect.map(|r| r.center()) else { continue };
            if (at - *middle).length() > 16.0 {
                p.line([*middle, at], Ink::Soft, 0.7);
            }
        }
        for (row, rect) in order.into_iter().zip(placed) {
            let Some(rect) = rect else { continue };
            let (at, text) = (rect.center(), row.number.to_string());
            if row.judged.verdict == Verdict::Out {
                p.text(at, Align2::CENTER_CENTER, text, Ink::Soft);
            } else {
                p.bold(at, Align2::CENTER_CENTER, text, Ink::Ink);
            }
        }
    }

    /// Heights of contours where there is room left.
    fn heights(&self, p: &mut Picture, placing: &Placing, labels: &[ContourLabel], taken: &mut Vec<Rect>) {
        let room = Rect::from_min_size(Pos2::ZERO, placing.size).shrink(4.0);
        for label in labels {
            let text = self.units.format_height(label.height_m);
            let size = vec2(text_width(&text, self.theme.sizes.small), 13.0);
            let rect = Rect::from_center_size(placing.at(label.at), size);
            // Far apart: they are the least of what the map says.
            let apart = rect.expand2(vec2(30.0, 20.0));
            if room.contains_rect(rect) && !taken.iter().any(|t| t.intersects(apart)) {
                p.text(rect.center(), Align2::CENTER_CENTER, text, Ink::Ground);
                taken.push(rect);
            }
        }
    }

    fn furniture(&self, p: &mut Picture, placing: &Placing) {
        let size = placing.size;
        let frame = [pos2(0.0, 0.0), pos2(size.x, 0.0), pos2(size.x, size.y), pos2(0.0, size.y)];
        p.outline(&frame, Ink::Soft, 1.0);
        plan::north(p, size);
        plan::scale_bar(p, size, placing.scale, self.units);
    }
}

/// Fields that lie together, each a list of indices; the group of the first field comes first.
fn groups(fields: &[&Field]) -> Vec<Vec<usize>> {
    let boxes: Vec<Option<(Xy, Xy)>> = fields.iter().map(|f| extent(f.outer.iter().copied())).collect();
    let together = |a: usize, b: usize| match (boxes[a], boxes[b]) {
        (Some((low, high)), Some((other_low, other_high))) => {
            let apart = |low: f64, other_high: f64| low - other_high > TOGETHER_M;
            !(apart(low.x, other_high.x)
                || apart(other_low.x, high.x)
                || apart(low.y, other_high.y)
                || apart(other_low.y, high.y))
        }
        _ => false,
    };
    let mut left: Vec<usize> = (0..fields.len()).collect();
    let mut out = Vec::new();
    while !left.is_empty() {
        let mut group = vec![left.remove(0)];
        let mut next = 0;
        while next < group.len() {
            let (joins, rest) = left.iter().partition(|&&i| together(group[next], i));
            group.extend::<Vec<usize>>(joins);
            left = rest;
            next += 1;
        }
        out.push(group);
    }
    out
}

/// What the scale, the arrow to the north and the wind take.
fn corners(size: Vec2) -> Vec<Rect> {
    vec![
        Rect::from_min_size(pos2(0.0, size.y - 24.0), vec2(170.0, 24.0)),
        Rect::from_min_size(pos2(size.x - 34.0, 0.0), vec2(34.0, 44.0)),
        Rect::from_min_size(Pos2::ZERO, vec2(140.0, 44.0)),
    ]
}

/// Boxes of sizes as near to their places as there is room, none over another or over what is taken; what was placed is
/// taken from then on. `None` where there is no room at all.
fn place_apart(wanted: &[(Pos2, Vec2)], room: Rect, taken: &mut Vec<Rect>) -> Vec<Option<Rect>> {
    /// Rings farther out, points, and places on each.
    const FAR: [f32; 12] = [48.0, 58.0, 68.0, 80.0, 94.0, 110.0, 128.0, 150.0, 176.0, 206.0, 240.0, 280.0];
    const WAYS: u8 = 32;
    let mut place = |(middle, size): &(Pos2, Vec2)| {
        let far = FAR.iter().flat_map(|far| {
            (0..WAYS).map(move |way| {
                *middle + Vec2::angled(f32::from(way) / f32::from(WAYS) * core::f32::consts::TAU) * *far
            })
        });
        let mut places = around(*middle).into_iter().chain(far).map(|at| Rect::from_center_size(at, *size));
        let free = places.find(|r| room.contains_rect(*r) && !taken.iter().any(|t| t.intersects(*r)))?;
        taken.push(free);
        Some(free)
    };
    wanted.iter().map(&mut place).collect()
}

/// A place and places round it, the nearest first.
fn around(middle: Pos2) -> Vec<Pos2> {
    const DIAGONAL: f32 = core::f32::consts::FRAC_1_SQRT_2;
    let ways = [
        vec2(1.0, 0.0),
        vec2(-1.0, 0.0),
        vec2(0.0, 1.0),
        vec2(0.0, -1.0),
        vec2(DIAGONAL, DIAGONAL),
        vec2(-DIAGONAL, DIAGONAL),
        vec2(DIAGONAL, -DIAGONAL),
        vec2(-DIAGONAL, -DIAGONAL),
    ];
    let rings = [8.0, 14.0, 20.0, 28.0, 38.0];
    let mut out = vec![middle];
    out.extend(rings.iter().flat_map(|far: &f32| ways.map(|way| middle + way * *far)));
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Whether two boxes lie over one another by more than rounding.
    fn overlap(a: &Rect, b: &Rect) -> bool {
        a.shrink(0.01).intersects(b.shrink(0.01))
    }

    #[test]
    fn a_hundred_numbers_at_one_place_stand_apart_and_all_have_room() {
        let room = Rect::from_min_size(Pos2::ZERO, vec2(700.0, 500.0));
        let wanted = vec![(pos2(350.0, 250.0), vec2(22.0, 12.0)); 100];
        let mut taken = Vec::new();
        let placed = place_apart(&wanted, room, &mut taken);
        assert!(placed.iter().all(Option::is_some));
        // The first has the best place.
        assert_eq!(placed[0].unwrap().center(), pos2(350.0, 250.0));
    }

    proptest! {
        #[test]
        fn no_two_numbers_overlap_and_none_leaves_the_map(
            at in prop::collection::vec((0.0f32..400.0, 0.0f32..300.0, 6.0f32..30.0), 1..150)
        ) {
            let room = Rect::from_min_size(Pos2::ZERO, vec2(400.0, 300.0));
            let wanted: Vec<(Pos2, Vec2)> = at.iter().map(|(x, y, wide)| (pos2(*x, *y), vec2(*wide, 12.0))).collect();
            let corner = Rect::from_min_size(Pos2::ZERO, vec2(140.0, 44.0));
            let mut taken = vec![corner];
            let placed: Vec<Rect> = place_apart(&wanted, room, &mut taken).into_iter().flatten().collect();
            prop_assert!(!placed.is_empty());
            for (i, a) in placed.iter().enumerate() {
                prop_assert!(room.contains_rect(*a) && !overlap(a, &corner));
                prop_assert!(placed[..i].iter().all(|b| !overlap(a, b)));
            }
        }
    }
}
