//! The search along one heading: gaps of the slab as it is swept over the field. See the method in the parent module.

use super::SLIDE_M;

/// A side in the frame of a heading: along = x, left = y.
#[derive(Clone, Copy, Debug)]
pub(super) struct Turned {
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) x_low: f64,
    pub(super) x_high: f64,
    /// Change of x for each metre of y; zero when the side is level.
    pub(super) run: f64,
    /// Change of the winding number of the outline on passing from left to right.
    pub(super) outline: i32,
    /// The same for what stands inside.
    pub(super) inside: i32,
}

impl Turned {
    /// Stretch of x that the side takes up between two heights.
    pub(super) fn stretch(&self, y1: f64, y2: f64) -> (f64, f64) {
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
pub(super) struct Blocked {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) outline: i32,
    pub(super) inside: i32,
}

/// A free gap of a slab.
#[derive(Clone, Copy, Debug)]
pub(super) struct Gap {
    pub(super) y: f64,
    pub(super) from: f64,
    pub(super) to: f64,
}

impl Gap {
    pub(super) fn length(&self) -> f64 {
        self.to - self.from
    }
}

/// Working memory of a search, so that nothing is allocated once it has grown.
#[derive(Debug, Default)]
pub struct Scratch {
    pub(super) sides: Vec<Turned>,
    pub(super) vertices: Vec<f64>,
    pub(super) events: Vec<f64>,
    pub(super) seen: Vec<bool>,
    pub(super) blocked: Vec<Blocked>,
    pub(super) stack: Vec<(usize, usize, f64)>,
    pub(super) left: Vec<(f64, f64)>,
    pub(super) right: Vec<(f64, f64)>,
}

impl Scratch {
    /// The middle one of strips that are equally long: between parallel sides a strip can slide without growing or
    /// shrinking, and which of them a search meets first is left to rounding.
    pub(super) fn middle_of_equals(&mut self, gap: Gap, width: f64, give: f64, grain: f64) -> Gap {
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
    pub(super) fn merge_events(&mut self, width: f64, first: f64, last: f64, grain: f64) {
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
    pub(super) fn bound(&mut self, i: usize, j: usize, width: f64, grain: f64, floor: f64) -> f64 {
        let (low, high) = (self.events[j], self.events[i] + width);
        if high - low <= 16.0 * grain {
            return f64::INFINITY;
        }
        self.longest_gap(low, high, 4.0 * grain, floor).map_or(0.0, |g| g.length())
    }

    /// The longest gap longer than `floor` of the open slab between two heights.
    pub(super) fn longest_gap(&mut self, y1: f64, y2: f64, grain: f64, floor: f64) -> Option<Gap> {
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
    pub(super) fn block(&mut self, y1: f64, y2: f64, grain: f64) {
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
    pub(super) fn between_events(&mut self, a: f64, b: f64, width: f64, grain: f64, best: &mut Gap) -> bool {
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
