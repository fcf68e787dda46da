//! Which places of the screen labels have taken, found by squares: there may be thousands of labels.

use egui::{Pos2, Rect, pos2};

/// Side of a square, points: about two numbers of fields.
const SIDE_PT: f32 = 48.0;

/// The places taken so far.
pub(super) struct Room {
    view: Rect,
    columns: usize,
    rows: usize,
    /// Row by row, what reaches into each square. Places outside the view belong to the squares along its edge.
    squares: Vec<Vec<Rect>>,
}

impl Room {
    pub(super) fn new(view: Rect) -> Self {
        let count = |length: f32| (length / SIDE_PT).ceil().clamp(1.0, 1_000.0) as usize;
        let (columns, rows) = (count(view.width()), count(view.height()));
        Self { view, columns, rows, squares: vec![Vec::new(); columns * rows] }
    }

    /// Takes a place, if nothing is there yet.
    pub(super) fn claim(&mut self, rect: Rect) -> bool {
        let free = !self.reached(rect).any(|square| self.squares[square].iter().any(|other| other.intersects(rect)));
        if free {
            self.occupy(rect);
        }
        free
    }

    /// Takes a place whether or not something is there.
    pub(super) fn occupy(&mut self, rect: Rect) {
        for square in self.reached(rect) {
            self.squares[square].push(rect);
        }
    }

    /// The squares that a place reaches into.
    fn reached(&self, rect: Rect) -> impl Iterator<Item = usize> + use<> {
        let at = |p: Pos2| {
            let square = |from: f32, to: f32, count: usize| (((to - from) / SIDE_PT).max(0.0) as usize).min(count - 1);
            (square(self.view.left(), p.x, self.columns), square(self.view.top(), p.y, self.rows))
        };
        let ((left, top), (right, bottom)) = (at(rect.min), at(pos2(rect.right(), rect.bottom())));
        let columns = self.columns;
        (top..=bottom).flat_map(move |row| (left..=right).map(move |column| row * columns + column))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::vec2;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_place_is_given_exactly_when_nothing_taken_meets_it(
            places in prop::collection::vec((-150f32..450.0, -150f32..350.0, 0f32..120.0, 0f32..60.0), 1..60),
        ) {
            let mut room = Room::new(Rect::from_min_size(pos2(20.0, 10.0), vec2(300.0, 200.0)));
            let mut taken: Vec<Rect> = Vec::new();
            for (k, (x, y, width, height)) in places.into_iter().enumerate() {
                let rect = Rect::from_min_size(pos2(x, y), vec2(width, height));
                if k % 7 == 3 {
                    room.occupy(rect);
                    taken.push(rect);
                    continue;
                }
                let free = !taken.iter().any(|other| other.intersects(rect));
                prop_assert_eq!(room.claim(rect), free);
                if free {
                    taken.push(rect);
                }
            }
        }
    }
}
