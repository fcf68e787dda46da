//! Positions of a whole grid in another system, exact on a coarse net and interpolated between.
//!
//! A projection is smooth: between exact points a kilometre apart, bilinear interpolation errs by centimetres. The
//! error is measured at the middle of every mesh and of its sides before it is trusted.

use sparefield_geometry::grid::GridFrame;
use sparefield_geometry::position::Xy;

/// Greatest error of the approximation, in posts of the source.
const TOLERANCE: f64 = 0.02;
/// Meshes tried, in posts of the grid; the last resort is exact.
const MESHES: [usize; 4] = [64, 32, 16, 8];

/// Positions of the posts of a grid, in (column, row) of a source.
pub(crate) struct Lattice {
    rows: usize,
    cols: usize,
    mesh: usize,
    /// Exact positions at the corners of the meshes, row-major; `NaN` where there is none.
    nodes: Vec<(f64, f64)>,
    across: usize,
}

impl Lattice {
    /// Computes positions with `exact`, which gives `None` where a position has no image.
    pub(crate) fn new(grid: &GridFrame, exact: impl Fn(Xy) -> Option<(f64, f64)>) -> Self {
        let at = |row: f64, col: f64| {
            let p = Xy::new(grid.origin.x + col * grid.cell_m, grid.origin.y - row * grid.cell_m);
            exact(p).unwrap_or((f64::NAN, f64::NAN))
        };
        for mesh in MESHES {
            let lattice = Self::with_mesh(grid, mesh, &at);
            if lattice.good_enough(&at) {
                return lattice;
            }
        }
        Self::with_mesh(grid, 1, &at)
    }

    fn with_mesh(grid: &GridFrame, mesh: usize, at: &impl Fn(f64, f64) -> (f64, f64)) -> Self {
        let across = (grid.cols - 1).div_ceil(mesh) + 1;
        let down = (grid.rows - 1).div_ceil(mesh) + 1;
        let mut nodes = Vec::with_capacity(across * down);
        for row in 0..down {
            for col in 0..across {
                nodes.push(at((row * mesh) as f64, (col * mesh) as f64));
            }
        }
        Self { rows: grid.rows, cols: grid.cols, mesh, nodes, across }
    }

    fn good_enough(&self, at: &impl Fn(f64, f64) -> (f64, f64)) -> bool {
        let down = self.nodes.len() / self.across;
        let half = 0.5 * self.mesh as f64;
        let near = |row: f64, col: f64| {
            let (c, r) = at(row, col);
            let (ac, ar) = self.position(row, col);
            // A position without image on either side is not near.
            (c - ac).abs() <= TOLERANCE && (r - ar).abs() <= TOLERANCE
        };
        (0..down.saturating_sub(1).max(1)).all(|row| {
            (0..self.across.saturating_sub(1).max(1)).all(|col| {
                let (r, c) = ((row * self.mesh) as f64, (col * self.mesh) as f64);
                let (mid_r, mid_c) = (if down > 1 { r + half } else { r }, if self.across > 1 { c + half } else { c });
                near(mid_r, mid_c) && near(r, mid_c) && near(mid_r, c)
            })
        })
    }

    fn position(&self, row: f64, col: f64) -> (f64, f64) {
        let down = self.nodes.len() / self.across;
        let (r, c) = (row / self.mesh as f64, col / self.mesh as f64);
        let r0 = (r.floor() as usize).min(down.saturating_sub(2));
        let c0 = (c.floor() as usize).min(self.across.saturating_sub(2));
        let (fr, fc) = (r - r0 as f64, c - c0 as f64);
        let node =
            |dr: usize, dc: usize| self.nodes[(r0 + dr).min(down - 1) * self.across + (c0 + dc).min(self.across - 1)];
        // A node without weight may have no image.
        let mix = |a: (f64, f64), b: (f64, f64), f: f64| {
            if f == 0.0 {
                a
            } else if f == 1.0 {
                b
            } else {
                (a.0 + (b.0 - a.0) * f, a.1 + (b.1 - a.1) * f)
            }
        };
        let upper = mix(node(0, 0), node(0, 1), fc);
        if fr == 0.0 { upper } else { mix(upper, mix(node(1, 0), node(1, 1), fc), fr) }
    }

    /// Positions of the posts of a row, from west to east; `NaN` where there is none.
    pub(crate) fn row(&self, row: usize) -> impl Iterator<Item = (f64, f64)> {
        (0..self.cols).map(move |col| self.position(row as f64, col as f64))
    }

    /// Lowest and highest column and row among the positions: (column, row, column, row).
    pub(crate) fn bounds(&self) -> Option<(f64, f64, f64, f64)> {
        let mut found: Option<(f64, f64, f64, f64)> = None;
        // Nodes enclose the posts between them, as the interpolation is linear along each side.
        for &(c, r) in self.nodes.iter().filter(|(c, r)| c.is_finite() && r.is_finite()) {
            found = Some(found.map_or((c, r, c, r), |b| (b.0.min(c), b.1.min(r), b.2.max(c), b.3.max(r))));
        }
        found.filter(|_| self.rows > 0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(cols: usize, rows: usize) -> GridFrame {
        GridFrame { origin: Xy::new(1000.0, 9000.0), cell_m: 10.0, cols, rows }
    }

    #[test]
    fn curved_maps_are_followed_to_the_tolerance() {
        for (cols, rows) in [(1, 1), (1, 50), (70, 1), (200, 130), (65, 65)] {
            let grid = grid(cols, rows);
            for curvature in [0.0, 1e-6, 1e-4, 1e-2] {
                let exact =
                    |p: Xy| (p.x * 0.1 + curvature * p.x * p.x * 0.01, -p.y * 0.1 + curvature * p.y * p.x * 0.01);
                let lattice = Lattice::new(&grid, |p| Some(exact(p)));
                for row in 0..rows {
                    for (col, found) in lattice.row(row).enumerate() {
                        let want = exact(grid.centre(row, col));
                        assert!((found.0 - want.0).abs() <= TOLERANCE * 1.01, "{curvature} {found:?} {want:?}");
                        assert!((found.1 - want.1).abs() <= TOLERANCE * 1.01);
                    }
                }
            }
        }
    }

    #[test]
    fn places_without_image_stay_without() {
        let grid = grid(100, 40);
        let lattice = Lattice::new(&grid, |p| (p.x < 1505.0).then_some((p.x, p.y)));
        for (col, (x, _)) in lattice.row(7).enumerate() {
            assert_eq!(x.is_nan(), col > 50, "{col}");
        }
        assert!(Lattice::new(&grid, |_| None).bounds().is_none());
    }
}
