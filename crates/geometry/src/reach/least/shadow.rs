//! Behind which patches of the terrain a bend may not be seen.
//!
//! Round a bend there are directions, and in each the nearest patch that is not known to be clear. A line that leaves for
//! the bend from nearer than that crosses none of them. Directions are counted along the unit diamond, like the table of
//! losses: finely, for lines are long, but kept only where something was noted.

use super::super::descent::diamond;
use crate::position::Xy;

/// Parts of a quadrant, which are told apart, and how many are kept together.
const PARTS_OF_QUADRANT: usize = 1024;
const TOGETHER: usize = 64;
const PARTS: usize = 4 * PARTS_OF_QUADRANT;
const SECTORS: usize = PARTS / TOGETHER;

/// How far rounding may put a direction aside, in parts; more than enough.
const ROUNDING: f64 = 1e-6;

/// Squared distances of the nearest and of the farthest patch; infinity and zero for none.
#[derive(Clone, Copy, Debug)]
struct Between {
    near: f32,
    far: f32,
}

impl Between {
    const NOTHING: Self = Self { near: f32::INFINITY, far: 0.0 };

    fn and(self, other: Self) -> Self {
        Self { near: self.near.min(other.near), far: self.far.max(other.far) }
    }
}

/// Neighbouring directions.
#[derive(Clone, Debug)]
struct Sector {
    /// What lies across all of it.
    across: Between,
    /// What lies in one part or another.
    parts: Option<Box<[Between; TOGETHER]>>,
    /// The nearest of all that.
    nearest: f32,
}

/// From where to where there are patches that are not known to be clear.
#[derive(Clone, Debug)]
pub(super) struct Shadow {
    /// Which of the sectors each is, from 1, counter-clockwise from east; 0 where nothing is noted.
    index: [u8; SECTORS],
    sectors: Vec<Sector>,
}

impl Shadow {
    pub(super) fn new() -> Self {
        Self { index: [0; SECTORS], sectors: Vec::new() }
    }

    fn sector(&self, number: usize) -> Option<&Sector> {
        self.sectors.get(usize::from(self.index[number]).wrapping_sub(1))
    }

    /// Where in the circle a direction is, in parts.
    fn around(d: Xy) -> f64 {
        let (quadrant, t, _) = diamond(d);
        let along = match quadrant {
            0 => t,
            1 => 2.0 - t,
            3 => 2.0 + t,
            _ => 4.0 - t,
        };
        along * PARTS_OF_QUADRANT as f64
    }

    /// What is noted in a direction.
    fn at(&self, d: Xy) -> Between {
        let part = (Self::around(d) as i32 as usize).min(PARTS - 1);
        self.sector(part / TOGETHER).map_or(Between::NOTHING, |sector| {
            sector.parts.as_ref().map_or(sector.across, |parts| sector.across.and(parts[part % TOGETHER]))
        })
    }

    /// The parts that hold all directions to a square: the first and how many. All where the place may be in the square.
    fn parts_of(corners: &[Xy; 4]) -> (usize, usize) {
        let inside = |of: fn(&Xy) -> f64| {
            let (low, high) =
                corners.iter().map(of).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (v.min(l), v.max(h)));
            low < 0.0 && high > 0.0
        };
        if (inside(|d| d.x) && inside(|d| d.y)) || corners.iter().any(|d| !(d.x.is_finite() && d.y.is_finite())) {
            return (0, PARTS);
        }
        let (all, half) = (PARTS as f64, PARTS as f64 / 2.0);
        // A corner at the place itself has no direction.
        let mut given = corners.iter().filter(|d| d.x != 0.0 || d.y != 0.0).map(|d| Self::around(*d));
        let Some(first) = given.next() else { return (0, PARTS) };
        let (mut least, mut most) = (0.0_f64, 0.0_f64);
        for at in given {
            let mut step = at - first;
            if step < -half {
                step += all;
            } else if step >= half {
                step -= all;
            }
            (least, most) = (step.min(least), step.max(most));
        }
        if most - least >= half {
            return (0, PARTS);
        }
        let (low, high) = ((first + least - ROUNDING).floor(), (first + most + ROUNDING).floor());
        let count = ((high - low) as usize + 1).min(PARTS);
        ((low as i64).rem_euclid(PARTS as i64) as usize, count)
    }

    /// Some neighbouring parts, sector by sector: the sector, the first part in it and one after the last.
    fn by_sector((first, count): (usize, usize)) -> impl Iterator<Item = (usize, usize, usize)> {
        let mut done = 0;
        core::iter::from_fn(move || {
            let at = (first + done) % PARTS;
            let from = at % TOGETHER;
            let until = (from + count - done).min(TOGETHER);
            (done < count).then(|| {
                done += until - from;
                (at / TOGETHER, from, until)
            })
        })
    }

    /// Notes a patch that is not known to be clear, by the displacements from the bend to its corners.
    pub(super) fn add(&mut self, corners: &[Xy; 4]) {
        let near = |of: fn(&Xy) -> f64| {
            let (low, high) =
                corners.iter().map(of).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (v.min(l), v.max(h)));
            if low > 0.0 {
                low
            } else if high < 0.0 {
                high
            } else {
                0.0
            }
        };
        let (x, y) = (near(|d| d.x), near(|d| d.y));
        let far = corners.iter().map(|d| d.dot(*d)).fold(0.0, f64::max);
        self.note(corners, x * x + y * y, far);
    }

    /// Notes ground at the bend itself, between two directions in a patch that has the bend in it or on its border.
    pub(super) fn add_near(&mut self, one: Xy, other: Xy, patch_m: f64) {
        self.note(&[one, other, other, one], 0.0, 2.0 * patch_m * patch_m);
    }

    fn note(&mut self, corners: &[Xy; 4], near: f64, far: f64) {
        let noted = Between { near: (near as f32).next_down().max(0.0), far: (far as f32).next_up() };
        for (number, from, until) in Self::by_sector(Self::parts_of(corners)) {
            if self.index[number] == 0 {
                let nothing = Between::NOTHING;
                self.sectors.push(Sector { across: nothing, parts: None, nearest: nothing.near });
                self.index[number] = self.sectors.len() as u8;
            }
            let sector = &mut self.sectors[usize::from(self.index[number]) - 1];
            sector.nearest = sector.nearest.min(noted.near);
            if until - from == TOGETHER {
                sector.across = sector.across.and(noted);
                continue;
            }
            let parts = sector.parts.get_or_insert_with(|| Box::new([Between::NOTHING; TOGETHER]));
            for part in &mut parts[from..until] {
                *part = part.and(noted);
            }
        }
    }

    /// Whether a line that comes from a displacement from the bend crosses no noted patch.
    pub(super) fn is_free(&self, from: Xy) -> bool {
        f64::from(self.at(from).near) >= from.dot(from)
    }

    /// The same for all lines from a square.
    pub(super) fn is_free_from(&self, corners: &[Xy; 4]) -> bool {
        let far = corners.iter().map(|d| d.dot(*d)).fold(0.0, f64::max);
        let is_free = |between: &Between| f64::from(between.near) >= far;
        Self::by_sector(Self::parts_of(corners)).all(|(number, from, until)| {
            self.sector(number).is_none_or(|sector| {
                f64::from(sector.nearest) >= far
                    || is_free(&sector.across)
                        && sector.parts.as_ref().is_none_or(|p| p[from..until].iter().all(is_free))
            })
        })
    }

    /// From how far to how far from the bend a line that comes from a displacement from it may cross noted patches, metres.
    pub(super) fn between_m(&self, from: Xy) -> (f64, f64) {
        let between = self.at(from);
        (f64::from(between.near).sqrt(), f64::from(between.far).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every line that crosses a noted patch is in its shadow, and most others are not.
    #[test]
    fn lines_through_a_noted_patch_are_in_its_shadow() {
        let (mut crossing, mut free, mut others) = (0, 0, 0);
        for (east, north) in
            [(0.0, 0.0), (3.0, 0.0), (-1.0, 0.0), (0.0, -1.0), (-5.0, 2.0), (-0.5, -0.5), (7.0, -9.0), (40.0, 41.0)]
        {
            let patch =
                [(0.0, 1.0), (1.0, 1.0), (1.0, 0.0), (0.0, 0.0)].map(|(x, y)| Xy::new(east + x, north + y) * 25.0);
            let mut shadow = Shadow::new();
            shadow.add(&patch);
            for i in -60..=60 {
                for j in -60..=60 {
                    let from = Xy::new(f64::from(i), f64::from(j)) * 25.0;
                    if i == 0 && j == 0 {
                        continue;
                    }
                    // Where the line is within the patch east and north.
                    let within = |d: f64, low: f64| {
                        if d == 0.0 {
                            return if low <= 0.0 && low + 25.0 >= 0.0 { (0.0, 1.0) } else { (1.0, 0.0) };
                        }
                        let (a, b) = (low / d, (low + 25.0) / d);
                        (a.min(b).max(0.0), a.max(b).min(1.0))
                    };
                    let (x, y) = (within(from.x, east * 25.0), within(from.y, north * 25.0));
                    let crosses = x.0.max(y.0) < x.1.min(y.1) - 1e-9;
                    if crosses {
                        assert!(!shadow.is_free(from), "({east} {north}) ({i} {j})");
                        let (near, far) = shadow.between_m(from);
                        assert!(near <= x.0.max(y.0) * from.norm() + 1e-3);
                        assert!(far >= x.1.min(y.1) * from.norm() - 1e-3);
                        crossing += 1;
                    } else {
                        others += 1;
                        free += usize::from(shadow.is_free(from));
                    }
                    let square =
                        [(0.0, 8.0), (8.0, 8.0), (8.0, 0.0), (0.0, 0.0)].map(|(x, y)| from + Xy::new(x, y) * 25.0);
                    let (low, high) = (square[3], square[1]);
                    let holds = low.x <= 0.0 && high.x >= 0.0 && low.y <= 0.0 && high.y >= 0.0;
                    if shadow.is_free_from(&square) && !holds {
                        assert!(
                            square.iter().all(|d| shadow.is_free(*d)) && shadow.is_free(from + Xy::new(75.0, 75.0))
                        );
                    }
                }
            }
        }
        assert!(crossing > 5_000 && free * 10 > others * 6, "{crossing} {free} {others}");
    }
}
