//! Land of 20 000 fields for benches.

use sparefield_geometry::fields::model::{BoundaryEdge, Day, EdgeKind, Field};
use sparefield_geometry::position::Xy;
use std::sync::Arc;

pub(crate) const TODAY: Day = Day { days_since_epoch: 20_782 };
const COLUMNS: usize = 200;
const ROWS: usize = 100;

/// A field of a land in which fields lie in pairs that share a side; five sides each.
fn field(number: usize) -> Field {
    let (column, row) = (number % COLUMNS, number / COLUMNS);
    // Every second field lies against the one before; a gap follows the pair.
    let west = 500_000.0 + 230.0 * (column / 2) as f64 + 100.0 * (column % 2) as f64;
    let south = 5_700_000.0 + 320.0 * row as f64;
    let at = |x: f64, y: f64| Xy::new(west + x, south + y);
    let ring = vec![at(0.0, 0.0), at(60.0, -20.0), at(100.0, 0.0), at(100.0, 250.0), at(0.0, 250.0)];
    let mut field = Field::new(format!("field-{number}"), ring);
    field.name = format!("Field {number}");
    // Two in three sides are known.
    for (side, edge) in field.edges.iter_mut().enumerate() {
        if side != 1 && (side != 4 || number % 2 == 1 || number.is_multiple_of(4)) {
            *edge = BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(2.0) };
        }
    }
    field
}

/// All of them.
pub(crate) fn fields() -> Vec<Arc<Field>> {
    (0..COLUMNS * ROWS).map(|number| Arc::new(field(number))).collect()
}
