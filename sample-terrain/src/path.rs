//! Lines on the ground: smoothing, lengths, distances.

use sparefield_geometry::position::Xy;

/// A smooth curve through all points (Catmull–Rom), `steps` pieces between two of them.
#[must_use]
pub fn spline(points: &[Xy], steps: usize) -> Vec<Xy> {
    let Some(&last) = points.last() else { return Vec::new() };
    let mut out = Vec::new();
    for i in 0..points.len() - 1 {
        let p0 = points[i.saturating_sub(1)];
        let (p1, p2) = (points[i], points[i + 1]);
        let p3 = points[(i + 2).min(points.len() - 1)];
        for k in 0..steps {
            let t = k as f64 / steps as f64;
            let a = p1 * 2.0;
            let b = p2 - p0;
            let c = p0 * 2.0 - p1 * 5.0 + p2 * 4.0 - p3;
            let d = p1 * 3.0 - p0 - p2 * 3.0 + p3;
            out.push((a + b * t + c * (t * t) + d * (t * t * t)) * 0.5);
        }
    }
    out.push(last);
    out
}

/// Length of a line, metres.
#[must_use]
pub fn length(line: &[Xy]) -> f64 {
    line.windows(2).map(|w| w[0].distance(w[1])).sum()
}

/// Points at even distances along a line, the first one and the last one included.
#[must_use]
pub fn resample(line: &[Xy], spacing_m: f64) -> Vec<Xy> {
    let (Some(&first), Some(&last)) = (line.first(), line.last()) else { return Vec::new() };
    let mut out = vec![first];
    let mut due = spacing_m;
    let mut walked = 0.0;
    for w in line.windows(2) {
        let step = w[0].distance(w[1]);
        while step > 0.0 && due <= walked + step {
            out.push(w[0] + (w[1] - w[0]) * ((due - walked) / step));
            due += spacing_m;
        }
        walked += step;
    }
    if out.last().is_some_and(|p| p.distance(last) > spacing_m * 0.3) {
        out.push(last);
    }
    out
}

/// Corner cutting after Chaikin: each corner becomes two points on its sides. Ends of an open line stay.
#[must_use]
pub fn chaikin(line: &[Xy], closed: bool) -> Vec<Xy> {
    let n = line.len();
    if n < 3 {
        return line.to_vec();
    }
    let mut out = Vec::with_capacity(n * 2);
    let sides = if closed { n } else { n - 1 };
    if !closed {
        out.push(line[0]);
    }
    for i in 0..sides {
        let (a, b) = (line[i], line[(i + 1) % n]);
        out.push(a * 0.75 + b * 0.25);
        out.push(a * 0.25 + b * 0.75);
    }
    if !closed {
        out.push(line[n - 1]);
    }
    out
}

/// Unit vector to the left of the line's direction at point `i`.
#[must_use]
pub fn left_normal(line: &[Xy], i: usize) -> Xy {
    let d = line[(i + 1).min(line.len() - 1)] - line[i.saturating_sub(1)];
    let n = d.norm();
    if n > 0.0 { Xy::new(-d.y / n, d.x / n) } else { Xy::new(0.0, 1.0) }
}

/// The point of a side nearest to `p`.
#[must_use]
pub fn nearest_on_side(p: Xy, a: Xy, b: Xy) -> Xy {
    let along = b - a;
    let square = along.dot(along);
    if square > 0.0 { a + along * ((p - a).dot(along) / square).clamp(0.0, 1.0) } else { a }
}

/// Distance from a point to an open line, metres; infinite for an empty line.
#[must_use]
pub fn distance(p: Xy, line: &[Xy]) -> f64 {
    line.windows(2).map(|w| p.distance(nearest_on_side(p, w[0], w[1]))).fold(f64::INFINITY, f64::min)
}

/// Whether a point lies inside a closed ring (even–odd rule).
#[must_use]
pub fn inside(p: Xy, ring: &[Xy]) -> bool {
    let mut odd = false;
    for (i, &a) in ring.iter().enumerate() {
        let b = ring[(i + 1) % ring.len()];
        if (a.y > p.y) != (b.y > p.y) && p.x < (b.x - a.x) * (p.y - a.y) / (b.y - a.y) + a.x {
            odd = !odd;
        }
    }
    odd
}
