//! The longest straight run of a given width that fits into a field, for one heading and over all headings.
//!
//! # Method
//! With the heading turned to +x, a rectangle of width W whose lower side lies at height y fits where no side of the
//! field meets the open slab between y and y + W. Between two consecutive *events* (heights y at which a vertex touches
//! the lower or the upper side of the slab) the ends of every blocked stretch move linearly with y, so the length of a
//! gap is concave there: its maximum lies at an event or where two blocked ends swap. Events are searched by halving;
//! a range of events is dropped when even the slab common to all its strips has no gap longer than the best so far.
//!
//! Over headings, a rectangle (L, W) at most δ away from a heading contains, at that heading, one of length
//! L·cos δ − W·sin δ and width W·cos δ − L·sin δ (elementary geometry: the inscribed rectangle of a turned one). A
//! range of headings whose middle cannot hold that rectangle cannot hold anything longer, and is dropped.
//!
//! Sides that only touch the slab do not block it. What stands inside the field is held apart from its outline, so
//! obstacles may overlap each other and the boundary.
//!
//! # Accuracy
//! One heading: exact but for rounding, about 1e-9 of the field's extent. All headings: see [`BEST_TOLERANCE`].

mod obstacles;
mod sweep;

pub use obstacles::{field_obstacles, room_around_m};
pub use sweep::Scratch;

use super::model::ring_area;
use crate::math;
use crate::position::{Bearing, Xy};
use geo::algorithm::orient::{Direction, Orient};
use geo::{BooleanOps, unary_union};
use sweep::{Gap, Turned};

/// The best heading's length is at least the true best divided by one plus this.
pub const BEST_TOLERANCE: f64 = 5e-4;

/// Step of the heading scan, degrees.
pub const SCAN_STEP_DEG: f64 = 5.0;

/// A run shorter than this many widths is not looked for when headings are searched.
const SHORTEST_IN_WIDTHS: f64 = 1.0;

/// Share of its length by which a strip may be shorter and still count as equally long.
const EQUAL: f64 = 1e-7;

/// Share of the longest strip's length given up for standing in the middle. Common practice, no source.
pub const GIVEN_FOR_THE_MIDDLE: f64 = 0.01;

/// A strip that cannot slide this far without getting shorter is the only one of its length, metres.
const SLIDE_M: f64 = 0.01;

/// Halvings of a scan step after which a range of headings is given up; 0.001°.
const MAX_HALVINGS: u32 = 12;

/// A straight landing run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strip {
    /// Direction from start to end.
    pub heading: Bearing,
    /// Start, on the centre line.
    pub start: Xy,
    /// End, on the centre line.
    pub end: Xy,
    /// Width, metres.
    pub width_m: f64,
    /// Length, metres.
    pub length_m: f64,
}

impl Strip {
    /// The same run landed on from the other end.
    #[must_use]
    pub fn reversed(self) -> Self {
        Self { heading: self.heading.reversed(), start: self.end, end: self.start, ..self }
    }
}

/// A side of the outline or of something inside it.
#[derive(Clone, Copy, Debug)]
struct Side {
    from: Xy,
    to: Xy,
    /// Whether it belongs to the outer ring.
    outer: bool,
}

/// An outline with what stands inside it, ready to be searched for strips.
#[derive(Clone, Debug)]
pub struct StripSpace {
    /// The outer ring as it was given, for the headings of its sides.
    outer: Vec<Xy>,
    sides: Vec<Side>,
    centre: Xy,
    /// Below this many metres two places are one.
    grain_m: f64,
}

impl StripSpace {
    /// A space from an outer ring, its holes, and obstacle rings (see [`field_obstacles`]).
    ///
    /// Rings are open. The outer ring and the holes may run either way; an obstacle ring blocks when it runs clockwise,
    /// and an anticlockwise ring inside such a one is a clearing in it. `None` when the outer ring has fewer than three
    /// vertices, no area, or a coordinate that is not finite; a hole or obstacle that is not finite is treated the
    /// same way, as it could be anywhere.
    #[must_use]
    pub fn new(outer: &[Xy], holes: &[Vec<Xy>], obstacles: &[Vec<Xy>]) -> Option<Self> {
        let finite = |ring: &[Xy]| ring.iter().all(|p| p.x.is_finite() && p.y.is_finite());
        if outer.len() < 3 || !finite(outer) || !holes.iter().chain(obstacles).all(|r| finite(r)) {
            return None;
        }
        let area = ring_area(outer);
        if !area.is_finite() || area.abs() <= 0.0 {
            return None;
        }
        let (mut low, mut high) = (outer[0], outer[0]);
        for p in outer {
            low = Xy::new(low.x.min(p.x), low.y.min(p.y));
            high = Xy::new(high.x.max(p.x), high.y.max(p.y));
        }
        let centre = (low + high) * 0.5;
        let extent = low.distance(high);
        let mut sides = Vec::with_capacity(outer.len());
        let mut add = |ring: &[Xy], forwards: bool, outer: bool| {
            for (i, &p) in ring.iter().enumerate() {
                let (p, q) = (p - centre, ring[(i + 1) % ring.len()] - centre);
                let (from, to) = if forwards { (p, q) } else { (q, p) };
                if from != to {
                    sides.push(Side { from, to, outer });
                }
            }
        };
        // Far obstacles cannot block and only cost time.
        let near = |ring: &[Xy]| {
            ring.iter().any(|p| p.x >= low.x)
                && ring.iter().any(|p| p.x <= high.x)
                && ring.iter().any(|p| p.y >= low.y)
                && ring.iter().any(|p| p.y <= high.y)
        };
        let obstacles: Vec<&[Xy]> = obstacles.iter().map(Vec::as_slice).filter(|r| near(r)).collect();
        if obstacles.is_empty() {
            add(outer, area > 0.0, true);
            for hole in holes {
                add(hole, ring_area(hole) < 0.0, false);
            }
        } else {
            // Obstacles overlap one another in many small pieces; what is left of the field has far fewer sides.
            for part in &what_is_left(outer, holes, &obstacles, centre) {
                let exterior = open_ring(part.exterior(), centre);
                add(&exterior, ring_area(&exterior) > 0.0, true);
                for hole in part.interiors() {
                    let hole = open_ring(hole, centre);
                    add(&hole, ring_area(&hole) < 0.0, false);
                }
            }
        }
        Some(Self { outer: outer.to_vec(), sides, centre, grain_m: 1e-10 * (1.0 + extent) })
    }

    /// Directions of the sides of the outer ring, as headings in [0, π).
    #[must_use]
    pub fn side_headings(&self) -> Vec<Bearing> {
        self.outer_sides().filter_map(Xy::bearing).map(half_turn).collect()
    }

    /// Direction of the longest side of the outer ring, in [0, π).
    #[must_use]
    pub fn longest_side_heading(&self) -> Bearing {
        let mut best = (0.0, Bearing::NORTH);
        for along in self.outer_sides() {
            if along.norm() > best.0 * (1.0 + 1e-9)
                && let Some(bearing) = along.bearing()
            {
                best = (along.norm(), half_turn(bearing));
            }
        }
        best.1
    }

    fn outer_sides(&self) -> impl Iterator<Item = Xy> + '_ {
        let next = self.outer.iter().cycle().skip(1);
        self.outer.iter().zip(next).map(|(&p, &q)| q - p)
    }

    /// The longest rectangle of a width along a heading, centred in the free band beside it.
    ///
    /// `None` when none fits, or the width is not a positive number.
    #[must_use]
    pub fn longest(&self, heading: Bearing, width_m: f64, scratch: &mut Scratch) -> Option<Strip> {
        self.in_the_middle(heading, width_m, EQUAL, scratch)
    }

    /// A rectangle along a heading that stands in the middle of all that are at most the share `give` shorter than the
    /// longest: a pilot lands down the middle of a field rather than along its hedge for half a metre more.
    ///
    /// `None` when none fits, or a number is not usable.
    #[must_use]
    pub fn in_the_middle(&self, heading: Bearing, width_m: f64, give: f64, scratch: &mut Scratch) -> Option<Strip> {
        if !(width_m > 0.0 && width_m.is_finite() && heading.rad().is_finite()) {
            return None;
        }
        self.turn(heading, scratch);
        let gap = self.search(width_m, 0.0, scratch)?;
        let gap = scratch.middle_of_equals(gap, width_m, give.max(EQUAL), self.grain_m);
        Some(self.centred(gap, heading, width_m, scratch))
    }

    /// Length in metres of the longest rectangle of a width along a heading, when it is longer than `floor_m`.
    ///
    /// Quicker than [`Self::longest`], the more so the higher the floor: it does not look for the middle of the free
    /// band. `None` when nothing is longer, or a number is not usable.
    #[must_use]
    pub fn longer_than(&self, floor_m: f64, heading: Bearing, width_m: f64, scratch: &mut Scratch) -> Option<f64> {
        let usable = width_m > 0.0 && width_m.is_finite() && heading.rad().is_finite() && floor_m.is_finite();
        if !usable {
            return None;
        }
        self.turn(heading, scratch);
        self.search(width_m, floor_m.max(0.0), scratch).map(|gap| gap.length())
    }

    /// The longest rectangle of a width over all headings, to [`BEST_TOLERANCE`].
    ///
    /// Runs shorter than the width are only found along a side or on the scan.
    #[must_use]
    pub fn best(&self, width_m: f64, scratch: &mut Scratch) -> Option<Strip> {
        if !(width_m > 0.0 && width_m.is_finite()) {
            return None;
        }
        let mut best: Option<(f64, Bearing, Gap)> = None;
        let look = |heading: Bearing, best: &mut Option<(f64, Bearing, Gap)>, scratch: &mut Scratch| {
            self.turn(heading, scratch);
            let floor = best.as_ref().map_or(0.0, |b| b.0);
            if let Some(gap) = self.search(width_m, floor, scratch) {
                *best = Some((gap.length(), heading, gap));
            }
        };
        let origin = self.longest_side_heading();
        look(origin, &mut best, scratch);
        for heading in self.side_headings() {
            look(heading, &mut best, scratch);
        }
        let half_step = (SCAN_STEP_DEG / 2.0).to_radians();
        let count = (180.0 / SCAN_STEP_DEG).round() as u32;
        let mut ranges: Vec<(f64, f64, u32)> = Vec::with_capacity(64);
        for i in (0..count).rev() {
            let middle = origin.rad() + f64::from(i) * 2.0 * half_step;
            look(half_turn(Bearing::from_rad(middle)), &mut best, scratch);
            ranges.push((middle, half_step, 0));
        }
        while let Some((middle, half, halvings)) = ranges.pop() {
            let target = best.as_ref().map_or(0.0, |b| b.0 * (1.0 + BEST_TOLERANCE)).max(SHORTEST_IN_WIDTHS * width_m);
            if halvings >= MAX_HALVINGS || !self.may_hold(middle, half, width_m, target, scratch) {
                continue;
            }
            for side in [-0.5, 0.5] {
                let centre = middle + side * half;
                look(half_turn(Bearing::from_rad(centre)), &mut best, scratch);
                ranges.push((centre, half / 2.0, halvings + 1));
            }
        }
        let (_, heading, _) = best?;
        self.longest(heading, width_m, scratch)
    }

    /// The longest rectangle near a heading from which the length falls off to both sides, by golden section.
    ///
    /// Exact where the length has one peak within `half` radians of the heading; otherwise some peak, and never shorter
    /// than at the heading itself.
    #[must_use]
    pub fn near(&self, heading: Bearing, half: f64, width_m: f64, scratch: &mut Scratch) -> Option<Strip> {
        let (heading, _) = self.near_heading(heading, half, width_m, scratch)?;
        self.longest(heading, width_m, scratch)
    }

    /// The heading that [`Self::near`] finds, in [0, π), and the length along it in metres.
    #[must_use]
    pub fn near_heading(
        &self,
        heading: Bearing,
        half: f64,
        width_m: f64,
        scratch: &mut Scratch,
    ) -> Option<(Bearing, f64)> {
        const GOLDEN: f64 = 0.618_033_988_749_895;
        /// Narrows ± 5° to ± 0.02°.
        const STEPS: u32 = 12;
        if !(width_m > 0.0 && width_m.is_finite() && half.is_finite()) {
            return None;
        }
        let length = |offset: f64, scratch: &mut Scratch| {
            self.turn(Bearing::from_rad(heading.rad() + offset), scratch);
            self.search(width_m, 0.0, scratch).map_or(0.0, |g| g.length())
        };
        let (mut low, mut high) = (-half, half);
        let (mut a, mut b) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
        let (mut at_a, mut at_b) = (length(a, scratch), length(b, scratch));
        for _ in 0..STEPS {
            if at_a >= at_b {
                (high, b, at_b) = (b, a, at_a);
                a = high - GOLDEN * (high - low);
                at_a = length(a, scratch);
            } else {
                (low, a, at_a) = (a, b, at_b);
                b = low + GOLDEN * (high - low);
                at_b = length(b, scratch);
            }
        }
        let (offset, found) = if at_a >= at_b { (a, at_a) } else { (b, at_b) };
        let unturned = length(0.0, scratch);
        let (offset, found) = if found > unturned { (offset, found) } else { (0.0, unturned) };
        (found > 0.0).then(|| (half_turn(Bearing::from_rad(heading.rad() + offset)), found))
    }

    /// Whether some heading within `half` of `middle` might hold a rectangle as long as `length`.
    fn may_hold(&self, middle: f64, half: f64, width: f64, length: f64, scratch: &mut Scratch) -> bool {
        let (sin, cos) = math::sin_cos(half);
        let (inner_length, inner_width) = (length * cos - width * sin, width * cos - length * sin);
        if inner_width <= 1e-3 * width || inner_length <= 0.0 {
            return true;
        }
        self.turn(Bearing::from_rad(middle), scratch);
        self.search(inner_width, inner_length * (1.0 - 1e-12), scratch).is_some()
    }

    fn turn(&self, heading: Bearing, scratch: &mut Scratch) {
        let u = heading.unit();
        scratch.sides.clear();
        scratch.vertices.clear();
        for side in &self.sides {
            let (ax, ay) = (side.from.dot(u), u.cross(side.from));
            let (bx, by) = (side.to.dot(u), u.cross(side.to));
            scratch.vertices.push(ay);
            // Passing a side that runs upwards from left to right leaves what lies to its left.
            let step = if by > ay { -1 } else { 1 };
            let (low, high, x_low, x_high) = if by > ay { (ay, by, ax, bx) } else { (by, ay, bx, ax) };
            let run = if high - low > self.grain_m { (x_high - x_low) / (high - low) } else { 0.0 };
            let (outline, inside) = if side.outer { (step, 0) } else { (0, step) };
            scratch.sides.push(Turned { low, high, x_low, x_high, run, outline, inside });
        }
        scratch.vertices.sort_unstable_by(f64::total_cmp);
    }

    /// The longest gap over all heights that is longer than `floor`; the sides must have been turned.
    fn search(&self, width: f64, floor: f64, s: &mut Scratch) -> Option<Gap> {
        let grain = self.grain_m;
        let (mut bottom, mut top) = (f64::INFINITY, f64::NEG_INFINITY);
        for side in s.sides.iter().filter(|side| side.outline != 0) {
            bottom = bottom.min(side.low);
            top = top.max(side.high);
        }
        if top - bottom < width - 2.0 * grain || width <= 16.0 * grain {
            return None;
        }
        let last = (top - width).max(bottom);
        s.merge_events(width, bottom, last, grain);
        s.seen.clear();
        s.seen.resize(s.events.len(), false);

        let mut best = Gap { y: 0.0, from: 0.0, to: floor };
        let mut found = false;
        let mut stack = core::mem::take(&mut s.stack);
        stack.clear();
        stack.push((0, s.events.len() - 1, f64::INFINITY));
        // The most promising range first: once its bound is not above the best, none is.
        while let Some(top) = (0..stack.len()).max_by(|&a, &b| stack[a].2.total_cmp(&stack[b].2)) {
            let (i, j, bound) = stack.swap_remove(top);
            if bound <= best.length() {
                break;
            }
            if j <= i + 1 {
                for k in i..=j {
                    if !core::mem::replace(&mut s.seen[k], true) {
                        let y = s.events[k];
                        if let Some(gap) = s.longest_gap(y, y + width, 4.0 * grain, best.length()) {
                            best = gap;
                            found = true;
                        }
                    }
                }
                if j > i && bound > best.length() + grain {
                    found |= s.between_events(s.events[i], s.events[j], width, grain, &mut best);
                }
                continue;
            }
            let mid = usize::midpoint(i, j);
            for (from, to) in [(i, mid), (mid, j)] {
                let bound = s.bound(from, to, width, grain, best.length());
                if bound > best.length() {
                    stack.push((from, to, bound));
                }
            }
        }
        s.stack = stack;
        found.then_some(best)
    }

    /// The rectangle of a gap, moved to the middle of the free band it can slide in.
    fn centred(&self, gap: Gap, heading: Bearing, width: f64, s: &Scratch) -> Strip {
        let slack = 8.0 * self.grain_m;
        let (from, to) = (gap.from + slack, gap.to - slack);
        let (mut floor, mut ceiling) = (f64::NEG_INFINITY, f64::INFINITY);
        for side in &s.sides {
            let (a, b) = (Xy::new(side.x_low, side.low), Xy::new(side.x_high, side.high));
            let (a, b) = if a.x <= b.x { (a, b) } else { (b, a) };
            if b.x <= from || a.x >= to {
                continue;
            }
            let at =
                |x: f64| if b.x > a.x { a.y + (b.y - a.y) * ((x - a.x) / (b.x - a.x)).clamp(0.0, 1.0) } else { a.y };
            let (y1, y2) = if b.x > a.x { (at(a.x.max(from)), at(b.x.min(to))) } else { (a.y, b.y) };
            let (low, high) = (y1.min(y2), y1.max(y2));
            if low + high > 2.0 * gap.y + width {
                ceiling = ceiling.min(low);
            } else {
                floor = floor.max(high);
            }
        }
        let free = ceiling - floor;
        let y = if free.is_finite() && free > width { floor + (free - width) / 2.0 } else { gap.y };
        let u = heading.unit();
        let left = Xy::new(-u.y, u.x);
        let place = |x: f64| self.centre + u * x + left * (y + width / 2.0);
        Strip { heading, start: place(gap.from), end: place(gap.to), width_m: width, length_m: gap.length() }
    }
}

/// What is left of a field without its holes and obstacles, relative to `centre`.
///
/// Clockwise rings block; an anticlockwise one is a clearing in the ring before it. The union works on a grid some
/// 1e-9 of the field's extent wide, far below what anybody knows of an obstacle.
fn what_is_left(outer: &[Xy], holes: &[Vec<Xy>], obstacles: &[&[Xy]], centre: Xy) -> geo::MultiPolygon<f64> {
    let line = |ring: &[Xy]| -> geo::LineString<f64> {
        ring.iter().map(|&p| ((p - centre).x, (p - centre).y)).collect::<Vec<_>>().into()
    };
    let field = geo::Polygon::new(line(outer), holes.iter().map(|h| line(h)).collect());
    let mut blocks: Vec<(geo::LineString<f64>, Vec<geo::LineString<f64>>)> = Vec::new();
    for ring in obstacles {
        match blocks.last_mut() {
            Some((_, clearings)) if ring_area(ring) > 0.0 => clearings.push(line(ring)),
            _ => blocks.push((line(ring), Vec::new())),
        }
    }
    let blocks: Vec<geo::Polygon<f64>> = blocks
        .into_iter()
        .map(|(ring, clearings)| geo::Polygon::new(ring, clearings).orient(Direction::Default))
        .collect();
    field.difference(&unary_union(&blocks))
}

fn open_ring(ring: &geo::LineString<f64>, centre: Xy) -> Vec<Xy> {
    let points = ring.0.len().saturating_sub(1);
    ring.0.iter().take(points).map(|c| Xy::new(c.x, c.y) + centre).collect()
}

/// The same line as a heading in [0, π).
fn half_turn(bearing: Bearing) -> Bearing {
    if bearing.rad() >= math::PI { bearing.reversed() } else { bearing }
}

/// Takes the margin off a rectangle found with it: the strip proper.
///
/// A strip of width W that keeps `margin_m` off everything is looked for as a rectangle of width W + 2·margin, of
/// whose length 2·margin is then given up. That keeps the margin at corners too, a little more than needed.
#[must_use]
pub fn without_margin(outer: Strip, margin_m: f64) -> Option<Strip> {
    let length_m = outer.length_m - 2.0 * margin_m;
    if length_m.is_nan() || length_m <= 0.0 {
        return None;
    }
    let u = outer.heading.unit();
    Some(Strip {
        heading: outer.heading,
        start: outer.start + u * margin_m,
        end: outer.end - u * margin_m,
        width_m: outer.width_m - 2.0 * margin_m,
        length_m,
    })
}

/// The least and greatest coordinates of a ring; `None` when it has no vertices.
#[must_use]
pub fn bounds(ring: &[Xy]) -> Option<(Xy, Xy)> {
    let first = *ring.first()?;
    Some(
        ring.iter().fold((first, first), |(l, h), p| {
            (Xy::new(l.x.min(p.x), l.y.min(p.y)), Xy::new(h.x.max(p.x), h.y.max(p.y)))
        }),
    )
}

/// Whether a point lies inside a ring (even–odd).
#[must_use]
pub fn inside_ring(ring: &[Xy], p: Xy) -> bool {
    let mut inside = false;
    for (i, &a) in ring.iter().enumerate() {
        let b = ring[(i + 1) % ring.len()];
        if (a.y > p.y) != (b.y > p.y) && p.x < a.x + (b.x - a.x) * (p.y - a.y) / (b.y - a.y) {
            inside = !inside;
        }
    }
    inside
}

#[cfg(test)]
#[path = "strip_tests.rs"]
mod tests;
