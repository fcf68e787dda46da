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

use super::model::{Field, Hazard, HazardKind, HazardShape, ring_area};
use crate::math;
use crate::position::{Bearing, Xy};
use geo::algorithm::orient::{Direction, Orient};
use geo::{BooleanOps, unary_union};

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

/// A side in the frame of a heading: along = x, left = y.
#[derive(Clone, Copy, Debug)]
struct Turned {
    low: f64,
    high: f64,
    x_low: f64,
    x_high: f64,
    /// Change of x for each metre of y; zero when the side is level.
    run: f64,
    /// Change of the winding number of the outline on passing from left to right.
    outline: i32,
    /// The same for what stands inside.
    inside: i32,
}

impl Turned {
    /// Stretch of x that the side takes up between two heights.
    fn stretch(&self, y1: f64, y2: f64) -> (f64, f64) {
        let (left, right) =
            if self.x_low < self.x_high { (self.x_low, self.x_high) } else { (self.x_high, self.x_low) };
        if self.run == 0.0 {
            return (left, right);
        }
        let a = self.x_low + self.run * (y1 - self.low).max(0.0);
        let b = if y2 < self.high { self.x_low + self.run * (y2 - self.low) } else { self.x_high };
        let (a, b) = if a < b { (a, b) } else { (b, a) };
        (a.clamp(left, right), b.clamp(left, right))
    }
}

/// A stretch of x that a side blocks.
#[derive(Clone, Copy, Debug)]
struct Blocked {
    from: f64,
    to: f64,
    outline: i32,
    inside: i32,
}

/// A free gap of a slab.
#[derive(Clone, Copy, Debug)]
struct Gap {
    y: f64,
    from: f64,
    to: f64,
}

impl Gap {
    fn length(&self) -> f64 {
        self.to - self.from
    }
}

/// Working memory of a search, so that nothing is allocated once it has grown.
#[derive(Debug, Default)]
pub struct Scratch {
    sides: Vec<Turned>,
    vertices: Vec<f64>,
    events: Vec<f64>,
    seen: Vec<bool>,
    blocked: Vec<Blocked>,
    stack: Vec<(usize, usize, f64)>,
    left: Vec<(f64, f64)>,
    right: Vec<(f64, f64)>,
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
        let offset = if found > length(0.0, scratch) { offset } else { 0.0 };
        self.longest(half_turn(Bearing::from_rad(heading.rad() + offset)), width_m, scratch)
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

impl Scratch {
    /// The middle one of strips that are equally long: between parallel sides a strip can slide without growing or
    /// shrinking, and which of them a search meets first is left to rounding.
    fn middle_of_equals(&mut self, gap: Gap, width: f64, give: f64, grain: f64) -> Gap {
        let tolerance = give * gap.length() + 16.0 * grain;
        let shortest = gap.length() - tolerance;
        let at = |y: f64, drift: f64, s: &mut Self| {
            let found = s.longest_gap(y, y + width, 4.0 * grain, shortest)?;
            // Not another gap of the same length elsewhere in the slab; askew to the sides it moves along as it slides.
            let moved = drift * (y - gap.y);
            (found.from < gap.to + moved && found.to > gap.from + moved).then_some(found)
        };
        // A step off the best place tells whether there is anything to slide along at all, and which way.
        let drift = |way: f64, s: &mut Self| {
            at(gap.y + way * SLIDE_M, 0.0, s).map(|g| (g.from + g.to - gap.from - gap.to) / (2.0 * way * SLIDE_M))
        };
        let drifts = [drift(-1.0, self), drift(1.0, self)];
        if drifts == [None, None] {
            return gap;
        }
        let events = core::mem::take(&mut self.events);
        let mut ends = [gap.y, gap.y];
        for (end, way) in [(0, -1.0), (1, 1.0)] {
            let Some(drift) = drifts[end] else { continue };
            let ahead = |y: f64| way * (y - gap.y) > SLIDE_M;
            let below = events.iter().rev().filter(|_| way < 0.0);
            let above = events.iter().filter(|_| way > 0.0);
            let (mut good, mut bad) = (gap.y + way * SLIDE_M, None);
            for &y in below.chain(above).filter(|y| ahead(**y)) {
                if at(y, drift, self).is_none() {
                    bad = Some(y);
                    break;
                }
                good = y;
            }
            // Between events the gap's length is concave, so the equal ones are one stretch.
            if let Some(mut bad) = bad {
                while (bad - good).abs() > SLIDE_M * 0.1 {
                    let middle = f64::midpoint(good, bad);
                    if at(middle, drift, self).is_some() {
                        good = middle;
                    } else {
                        bad = middle;
                    }
                }
            }
            ends[end] = good;
        }
        let [low, high] = ends;
        self.events = events;
        let middle = f64::midpoint(low, high);
        let drift = drifts[usize::from(middle > gap.y)].unwrap_or(0.0);
        at(middle, drift, self).unwrap_or(gap)
    }

    /// Heights of the lower side at which a vertex touches the slab, without repeats.
    fn merge_events(&mut self, width: f64, first: f64, last: f64, grain: f64) {
        self.events.clear();
        self.events.push(first);
        let vertices = &self.vertices;
        let (mut i, mut j) = (0, 0);
        while i < vertices.len() || j < vertices.len() {
            let a = vertices.get(i).copied().unwrap_or(f64::INFINITY);
            let b = vertices.get(j).map_or(f64::INFINITY, |v| v - width);
            let y = if a <= b {
                i += 1;
                a
            } else {
                j += 1;
                b
            };
            if y >= last - grain {
                break;
            }
            if self.events.last().is_some_and(|&e| y > e + grain) {
                self.events.push(y);
            }
        }
        if self.events.last().is_some_and(|&e| last > e) {
            self.events.push(last);
        }
    }

    /// A length that no strip between two events exceeds; found cheaply, and only as low as `floor` matters.
    fn bound(&mut self, i: usize, j: usize, width: f64, grain: f64, floor: f64) -> f64 {
        let (low, high) = (self.events[j], self.events[i] + width);
        if high - low <= 16.0 * grain {
            return f64::INFINITY;
        }
        self.longest_gap(low, high, 4.0 * grain, floor).map_or(0.0, |g| g.length())
    }

    /// The longest gap longer than `floor` of the open slab between two heights.
    fn longest_gap(&mut self, y1: f64, y2: f64, grain: f64, floor: f64) -> Option<Gap> {
        self.block(y1, y2, grain);
        let mut best: Option<Gap> = None;
        let mut length = floor;
        let (mut reach, mut outline, mut inside) = (f64::NEG_INFINITY, 0, 0);
        for b in &self.blocked {
            if outline == 1 && inside == 0 && b.from - reach > length {
                length = b.from - reach;
                best = Some(Gap { y: y1, from: reach, to: b.from });
            }
            reach = reach.max(b.to);
            outline += b.outline;
            inside += b.inside;
        }
        best
    }

    /// Collects what the open slab between two heights meets, from left to right.
    fn block(&mut self, y1: f64, y2: f64, grain: f64) {
        self.blocked.clear();
        let middle = (y1 + y2) / 2.0;
        for side in &self.sides {
            if side.high > y1 + grain && side.low < y2 - grain {
                let (from, to) = side.stretch(y1, y2);
                let crosses = side.low <= middle && middle < side.high;
                let (outline, inside) = if crosses { (side.outline, side.inside) } else { (0, 0) };
                self.blocked.push(Blocked { from, to, outline, inside });
            }
        }
        if self.blocked.len() > 24 {
            self.blocked.sort_unstable_by(|a, b| a.from.total_cmp(&b.from));
        } else {
            for i in 1..self.blocked.len() {
                let item = self.blocked[i];
                let mut j = i;
                while j > 0 && self.blocked[j - 1].from > item.from {
                    self.blocked[j] = self.blocked[j - 1];
                    j -= 1;
                }
                self.blocked[j] = item;
            }
        }
    }

    /// Looks for a longer gap strictly between two neighbouring events; true when one was found.
    fn between_events(&mut self, a: f64, b: f64, width: f64, grain: f64, best: &mut Gap) -> bool {
        // Where, along x, a longer gap can lie at all.
        let (mut west, mut east) = (f64::INFINITY, f64::NEG_INFINITY);
        if a + width - b > 16.0 * grain {
            self.block(b, a + width, 4.0 * grain);
            let (mut reach, mut outline, mut inside) = (f64::NEG_INFINITY, 0, 0);
            for k in &self.blocked {
                if outline == 1 && inside == 0 && k.from - reach > best.length() {
                    west = west.min(reach);
                    east = east.max(k.from);
                }
                reach = reach.max(k.to);
                outline += k.outline;
                inside += k.inside;
            }
        } else {
            (west, east) = (f64::NEG_INFINITY, f64::INFINITY);
        }
        self.left.clear();
        self.right.clear();
        let shortest = best.length();
        for side in &self.sides {
            if side.high > a + grain && side.low < b + width - grain {
                let (l1, r1) = side.stretch(a, a + width);
                let (l2, r2) = side.stretch(b, b + width);
                // A gap begins where something ends, and ends where something begins.
                if r1.max(r2) >= west - grain && r1.min(r2) <= east - shortest {
                    self.left.push((r1, r2));
                }
                if l1.min(l2) <= east + grain && l1.max(l2) >= west + shortest {
                    self.right.push((l1, l2));
                }
            }
        }
        let mut found = false;
        for list in [core::mem::take(&mut self.left), core::mem::take(&mut self.right)] {
            for (i, p) in list.iter().enumerate() {
                for q in &list[..i] {
                    let (d1, d2) = (p.0 - q.0, p.1 - q.1);
                    if (d1 > 0.0) == (d2 > 0.0) || d1 == d2 {
                        continue;
                    }
                    let y = a + (b - a) * (d1 / (d1 - d2));
                    if let Some(gap) = self.longest_gap(y, y + width, 4.0 * grain, best.length()) {
                        *best = gap;
                        found = true;
                    }
                }
            }
        }
        found
    }
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

/// Room taken around a hazard that stands inside a field, metres. From memory: crown, walls, stays or sway.
#[must_use]
pub fn room_around_m(kind: HazardKind) -> f64 {
    match kind {
        HazardKind::Wires | HazardKind::Mast | HazardKind::Wood => 3.0,
        HazardKind::LoneTree | HazardKind::Other => 5.0,
        HazardKind::Building => 8.0,
        HazardKind::Water => 0.0,
    }
}

/// The rings that hazards block inside a field, for [`StripSpace::new`].
///
/// Blocking rings run clockwise; clearings inside an area run anticlockwise. A point becomes an octagon, every stretch
/// of a line and every side of an area a rectangle, each with the room of [`room_around_m`]; they overlap, and may.
/// Hazards that do not come near the field are left out.
#[must_use]
pub fn field_obstacles(field: &Field, hazards: &[&Hazard]) -> Vec<Vec<Xy>> {
    let Some((low, high)) = bounds(&field.outer) else { return Vec::new() };
    let near = |ring: &[Xy]| {
        bounds(ring).is_some_and(|(l, h)| l.x <= high.x && h.x >= low.x && l.y <= high.y && h.y >= low.y)
            && may_touch(ring, &field.outer)
    };
    let mut rings = Vec::new();
    for hazard in hazards {
        let room = room_around_m(hazard.kind);
        // The outline of an area already shows its extent.
        let area_room = room.min(3.0);
        match &hazard.shape {
            HazardShape::Point(p) => push_near(&mut rings, octagon(*p, room), near),
            HazardShape::Line(line) => {
                for pair in line.windows(2) {
                    push_near(&mut rings, around_segment(pair[0], pair[1], room), near);
                }
            }
            HazardShape::Area { outer, holes } => {
                push_near(&mut rings, running(outer, false), near);
                for hole in holes.iter().filter(|h| h.iter().all(|p| inside_ring(outer, *p))) {
                    push_near(&mut rings, running(hole, true), near);
                }
                if area_room > 0.0 {
                    for ring in core::iter::once(outer).chain(holes) {
                        for (i, &p) in ring.iter().enumerate() {
                            push_near(&mut rings, around_segment(p, ring[(i + 1) % ring.len()], area_room), near);
                        }
                    }
                }
            }
        }
    }
    rings
}

/// Whether two rings may share a place: an edge meets an edge, or one holds a vertex of the other.
///
/// A ring that is not finite could be anywhere. Woods beside a field have hundreds of sides near it, and every ring
/// kept costs time for each heading looked at.
fn may_touch(a: &[Xy], b: &[Xy]) -> bool {
    let side = |p: Xy, q: Xy, r: Xy| (q - p).cross(r - p);
    let meet = |p: Xy, q: Xy, r: Xy, s: Xy| {
        p.x.min(q.x) <= r.x.max(s.x)
            && p.x.max(q.x) >= r.x.min(s.x)
            && p.y.min(q.y) <= r.y.max(s.y)
            && p.y.max(q.y) >= r.y.min(s.y)
            && side(p, q, r) * side(p, q, s) <= 0.0
            && side(r, s, p) * side(r, s, q) <= 0.0
    };
    let edges = |ring: &[Xy], i: usize| (ring[i], ring[(i + 1) % ring.len()]);
    if a.iter().chain(b).any(|p| !(p.x.is_finite() && p.y.is_finite())) {
        return true;
    }
    a.iter().any(|&p| inside_ring(b, p))
        || b.iter().any(|&p| inside_ring(a, p))
        || (0..a.len()).any(|i| {
            let (p, q) = edges(a, i);
            (0..b.len()).any(|j| {
                let (r, s) = edges(b, j);
                meet(p, q, r, s)
            })
        })
}

fn push_near(rings: &mut Vec<Vec<Xy>>, ring: Vec<Xy>, near: impl Fn(&[Xy]) -> bool) {
    if ring.len() >= 3 && near(&ring) {
        rings.push(ring);
    }
}

/// The ring, turned to run anticlockwise or clockwise.
fn running(ring: &[Xy], anticlockwise: bool) -> Vec<Xy> {
    let mut ring = ring.to_vec();
    if (ring_area(&ring) > 0.0) != anticlockwise {
        ring.reverse();
    }
    ring
}

/// A clockwise octagon that contains the circle of the radius.
fn octagon(centre: Xy, radius: f64) -> Vec<Xy> {
    let r = radius.max(0.1) / math::cos(math::PI / 8.0);
    (0..8).map(|i| centre + Bearing::from_rad(f64::from(i) * math::PI / 4.0).unit() * r).collect()
}

/// A clockwise rectangle that contains everything within the radius of a segment.
fn around_segment(a: Xy, b: Xy, radius: f64) -> Vec<Xy> {
    let Some(along) = (b - a).bearing() else { return octagon(a, radius) };
    let u = along.unit() * radius.max(0.1);
    let right = Xy::new(u.y, -u.x);
    vec![a - u - right, b + u - right, b + u + right, a - u + right]
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
