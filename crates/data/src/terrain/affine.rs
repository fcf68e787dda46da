//! Affine maps from posts (column, row) to the coordinates of a file's reference system.

/// x = a·col + b·row + c, y = d·col + e·row + f; (0, 0) is the centre of the first post.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Affine {
    pub(crate) a: f64,
    pub(crate) b: f64,
    pub(crate) c: f64,
    pub(crate) d: f64,
    pub(crate) e: f64,
    pub(crate) f: f64,
}

/// A post as (column, row), and where it lies as (x, y).
pub(crate) type Tie = ((f64, f64), (f64, f64));

impl Affine {
    /// North-up posts: centre of the first one, spacing eastwards and (positive) southwards.
    pub(crate) fn north_up(x0: f64, y0: f64, dx: f64, dy: f64) -> Self {
        Self { a: dx, b: 0.0, c: x0, d: 0.0, e: -dy, f: y0 }
    }

    pub(crate) fn apply(&self, col: f64, row: f64) -> (f64, f64) {
        (self.a * col + self.b * row + self.c, self.d * col + self.e * row + self.f)
    }

    /// The map back, `None` when the posts lie on a line or a number is not finite.
    pub(crate) fn inverse(&self) -> Option<Self> {
        let det = self.a * self.e - self.b * self.d;
        let size = (self.a.abs() + self.b.abs()) * (self.d.abs() + self.e.abs());
        if !(det.is_finite() && self.c.is_finite() && self.f.is_finite() && det.abs() > size * 1e-9) {
            return None;
        }
        let (a, b, d, e) = (self.e / det, -self.b / det, -self.d / det, self.a / det);
        Some(Self { a, b, c: -(a * self.c + b * self.f), d, e, f: -(d * self.c + e * self.f) })
    }

    /// The map for posts counted from (col, row) as (0, 0) and `stride` posts apart.
    pub(crate) fn resampled(&self, col: f64, row: f64, stride_col: f64, stride_row: f64) -> Self {
        let (c, f) = self.apply(col, row);
        Self { a: self.a * stride_col, b: self.b * stride_row, c, d: self.d * stride_col, e: self.e * stride_row, f }
    }

    /// The affine map that fits pairs of (col, row) and (x, y) best in the sense of least squares, with the greatest
    /// distance left, in units of (x, y). `None` for fewer than three pairs or pairs on a line.
    pub(crate) fn fit(pairs: &[Tie]) -> Option<(Self, f64)> {
        if pairs.len() < 3 {
            return None;
        }
        // Normal equations about the means, so that large coordinates cost no digits.
        let n = pairs.len() as f64;
        let mean = |get: fn(&Tie) -> f64| pairs.iter().map(get).sum::<f64>() / n;
        let (mc, mr) = (mean(|p| p.0.0), mean(|p| p.0.1));
        let (mx, my) = (mean(|p| p.1.0), mean(|p| p.1.1));
        let (mut cc, mut cr, mut rr) = (0.0, 0.0, 0.0);
        let (mut cx, mut rx, mut cy, mut ry) = (0.0, 0.0, 0.0, 0.0);
        for &((col, row), (x, y)) in pairs {
            let (col, row, x, y) = (col - mc, row - mr, x - mx, y - my);
            cc += col * col;
            cr += col * row;
            rr += row * row;
            cx += col * x;
            rx += row * x;
            cy += col * y;
            ry += row * y;
        }
        let det = cc * rr - cr * cr;
        // Also when it is not a number.
        let on_a_line = det.partial_cmp(&(cc * rr * 1e-12)) != Some(std::cmp::Ordering::Greater);
        if on_a_line {
            return None;
        }
        let (a, b) = ((cx * rr - rx * cr) / det, (rx * cc - cx * cr) / det);
        let (d, e) = ((cy * rr - ry * cr) / det, (ry * cc - cy * cr) / det);
        let fitted = Self { a, b, c: mx - a * mc - b * mr, d, e, f: my - d * mc - e * mr };
        fitted.inverse()?;
        let mut worst = 0.0f64;
        for &((col, row), (x, y)) in pairs {
            let (u, v) = fitted.apply(col, row);
            worst = worst.max((u - x).abs()).max((v - y).abs());
        }
        worst.is_finite().then_some((fitted, worst))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inverse_brings_posts_back() {
        let map = Affine { a: 2.0, b: 0.5, c: 100.0, d: 0.25, e: -3.0, f: 900.0 };
        let back = map.inverse().unwrap();
        let (x, y) = map.apply(17.0, 4.0);
        let (col, row) = back.apply(x, y);
        assert!((col - 17.0).abs() < 1e-12 && (row - 4.0).abs() < 1e-12);
        assert!(Affine { a: 1.0, b: 2.0, c: 0.0, d: 2.0, e: 4.0, f: 0.0 }.inverse().is_none());
        assert!(Affine { a: f64::NAN, ..map }.inverse().is_none());
    }

    #[test]
    fn fit_recovers_an_affine_map_and_shows_what_is_left() {
        let map = Affine { a: 2.0, b: 0.5, c: 500_000.0, d: 0.25, e: -3.0, f: 5_000_000.0 };
        let mut pairs: Vec<_> =
            [(0.0, 0.0), (9.0, 0.0), (0.0, 7.0), (9.0, 7.0)].iter().map(|&(c, r)| ((c, r), map.apply(c, r))).collect();
        let (found, left) = Affine::fit(&pairs).unwrap();
        assert!(left < 1e-8 && (found.a - 2.0).abs() < 1e-9 && (found.f - map.f).abs() < 1e-6);
        pairs[3].1.0 += 4.0;
        assert!(Affine::fit(&pairs).unwrap().1 > 0.9);
        assert!(Affine::fit(&pairs[..2]).is_none());
    }
}
