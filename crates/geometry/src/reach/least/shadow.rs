//! Behind which patches of the terrain a bend may not be seen.
//!
//! Round a bend there are directions, and in each the nearest patch that is not known to be clear. A line that leaves for
//! the bend from nearer than that crosses none of them. Directions are counted along the unit diamond, like the table of
//! losses.

use super::super::descent::diamond;
use crate::position::Xy;

/// Parts of a quadrant round a field, whose lines are long, and round other bends.
const PARTS_OF_FIELD: usize = 512;
const PARTS_OF_BEND: usize = 64;

/// From where to where there are patches that are not known to be clear.
#[derive(Clone, Debug)]
pub(super) struct Shadow {
    /// Squared distances of the nearest and of the farthest, by direction from the bend counter-clockwise from east;
    /// infinity and zero for none.
    parts: Box<[(f32, f32)]>,
}

impl Shadow {
    pub(super) fn new(is_field: bool) -> Self {
        let parts = 4 * if is_field { PARTS_OF_FIELD } else { PARTS_OF_BEND };
        Self { parts: vec![(f32::INFINITY, 0.0); parts].into_boxed_slice() }
    }

    /// The part of the circle that holds a direction; the first for none.
    fn part(&self, d: Xy) -> usize {
        let (quadrant, t, _) = diamond(d);
        let along = match quadrant {
            0 => t,
            1 => 2.0 - t,
            3 => 2.0 + t,
            _ => 4.0 - t,
        };
        ((along * (self.parts.len() / 4) as f64) as usize).min(self.parts.len() - 1)
    }

    /// The parts that hold all directions to a square, with one more on either side for rounding: the first and how many.
    /// All where the place may be in the square.
    fn parts_of(&self, corners: &[Xy; 4]) -> (usize, usize) {
        let all = self.parts.len();
        let inside = |of: fn(&Xy) -> f64| {
            let (low, high) =
                corners.iter().map(of).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (v.min(l), v.max(h)));
            low < 0.0 && high > 0.0
        };
        if (inside(|d| d.x) && inside(|d| d.y)) || corners.iter().any(|d| !(d.x.is_finite() && d.y.is_finite())) {
            return (0, all);
        }
        let half = all as isize / 2;
        // A corner at the place itself has no direction.
        let mut given = corners.iter().filter(|d| d.x != 0.0 || d.y != 0.0).map(|d| self.part(*d) as isize);
        let Some(first) = given.next() else { return (0, all) };
        let (mut least, mut most) = (0, 0);
        for part in given {
            let mut step = part - first;
            if step < -half {
                step += 2 * half;
            } else if step >= half {
                step -= 2 * half;
            }
            (least, most) = (step.min(least), step.max(most));
        }
        let count = (most - least + 3) as usize;
        if most - least >= half {
            (0, all)
        } else {
            ((first + least - 1).rem_euclid(2 * half) as usize, count.min(all))
        }
    }

    fn among(&self, (first, count): (usize, usize)) -> impl Iterator<Item = usize> + use<> {
        let all = self.parts.len();
        (first..first + count).map(move |part| if part >= all { part - all } else { part })
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

    /// Notes ground at the bend itself, between two directions on the sides of a patch that has the bend at a corner.
    pub(super) fn add_near(&mut self, one: Xy, other: Xy, patch_m: f64) {
        self.note(&[one, other, other, one], 0.0, 2.0 * patch_m * patch_m);
    }

    fn note(&mut self, corners: &[Xy; 4], near: f64, far: f64) {
        let (near, far) = ((near as f32).next_down().max(0.0), (far as f32).next_up());
        for part in self.among(self.parts_of(corners)) {
            let own = &mut self.parts[part];
            *own = (own.0.min(near), own.1.max(far));
        }
    }

    /// Whether a line that comes from a displacement from the bend crosses no noted patch.
    pub(super) fn is_free(&self, from: Xy) -> bool {
        f64::from(self.parts[self.part(from)].0) >= from.dot(from)
    }

    /// The same for all lines from a square.
    pub(super) fn is_free_from(&self, corners: &[Xy; 4]) -> bool {
        let far = corners.iter().map(|d| d.dot(*d)).fold(0.0, f64::max);
        self.among(self.parts_of(corners)).all(|part| f64::from(self.parts[part].0) >= far)
    }

    /// From how far to how far from the bend a line that comes from a displacement from it may cross noted patches, metres.
    pub(super) fn between_m(&self, from: Xy) -> (f64, f64) {
        let (near, far) = self.parts[self.part(from)];
        (f64::from(near).sqrt(), f64::from(far).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every line that crosses a noted patch is in its shadow, and most others are not.
    #[test]
    fn lines_through_a_noted_patch_are_in_its_shadow() {
        let (mut crossing, mut free, mut others) = (0, 0, 0);
        for is_field in [false, true] {
            for (east, north) in
                [(0.0, 0.0), (3.0, 0.0), (-1.0, 0.0), (0.0, -1.0), (-5.0, 2.0), (-0.5, -0.5), (7.0, -9.0), (40.0, 41.0)]
            {
                let patch =
                    [(0.0, 1.0), (1.0, 1.0), (1.0, 0.0), (0.0, 0.0)].map(|(x, y)| Xy::new(east + x, north + y) * 25.0);
                let mut shadow = Shadow::new(is_field);
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
        }
        assert!(crossing > 5_000 && free * 10 > others * 6, "{crossing} {free} {others}");
    }
}
