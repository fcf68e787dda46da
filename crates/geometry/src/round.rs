//! A short round through places: from a start to each of them and back.

use crate::position::Xy;

/// A round: the order of visits and how long it is.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Round {
    /// Indices of the places, in the order of visits.
    pub order: Vec<usize>,
    /// From the start through all of them and back to the start, metres.
    pub length_m: f64,
}

/// Most improvements made, in passes over the round: a bound on time, seldom reached.
const MOST_PASSES: usize = 60;

/// A short closed round from `start` through every place: the nearest place next, then crossing legs are undone.
///
/// Time grows with the square of the number of places. Places that are not numbers are left out.
///
/// # Accuracy
/// No shortest round, but none of its legs can be exchanged in pairs to make it shorter; on random places such rounds
/// are about 5 % longer than the shortest (Johnson and McGeoch, "The Traveling Salesman Problem: A Case Study in Local
/// Optimization", 1997, table 1; from memory).
///
/// # Source
/// Nearest neighbour and 2-opt: G. A. Croes, "A method for solving traveling-salesman problems", Operations Research 6
/// (1958) 791.
#[must_use]
pub fn round_through(start: Xy, places: &[Xy]) -> Round {
    let usable = |p: &Xy| p.x.is_finite() && p.y.is_finite();
    if !usable(&start) {
        return Round::default();
    }
    let mut left: Vec<usize> = (0..places.len()).filter(|&i| usable(&places[i])).collect();
    let mut order = Vec::with_capacity(left.len());
    let mut at = start;
    while !left.is_empty() {
        let distance = |i: usize| at.distance(places[i]);
        // The lower index where two are as near, so that the round is always the same.
        let next = (0..left.len())
            .min_by(|&a, &b| distance(left[a]).total_cmp(&distance(left[b])).then(left[a].cmp(&left[b])));
        let Some(next) = next else { break };
        let place = left.swap_remove(next);
        at = places[place];
        order.push(place);
    }
    undo_crossings(start, places, &mut order);
    Round { length_m: length(start, places, &order), order }
}

fn undo_crossings(start: Xy, places: &[Xy], order: &mut [usize]) {
    let n = order.len();
    // The start is stop 0 and stop n + 1.
    let at = |order: &[usize], stop: usize| if stop == 0 || stop > n { start } else { places[order[stop - 1]] };
    for _ in 0..MOST_PASSES {
        let mut better = false;
        for i in 0..n.saturating_sub(1) {
            for j in i + 1..n {
                let (a, b, c, d) = (at(order, i), at(order, i + 1), at(order, j + 1), at(order, j + 2));
                let saved = a.distance(b) + c.distance(d) - a.distance(c) - b.distance(d);
                // Less than a millimetre is rounding, and could be exchanged for ever.
                if saved > 1e-3 {
                    order[i..=j].reverse();
                    better = true;
                }
            }
        }
        if !better {
            break;
        }
    }
}

fn length(start: Xy, places: &[Xy], order: &[usize]) -> f64 {
    let (mut at, mut sum) = (start, 0.0);
    for &i in order {
        sum += at.distance(places[i]);
        at = places[i];
    }
    sum + at.distance(start)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_ring_of_places_is_walked_round() {
        // Corners of a square of side 100 with the start on its south side, given out of order.
        let places = [Xy::new(100.0, 100.0), Xy::new(0.0, 0.0), Xy::new(0.0, 100.0), Xy::new(100.0, 0.0)];
        let round = round_through(Xy::new(50.0, 0.0), &places);
        assert!((round.length_m - 400.0).abs() < 1e-9, "{round:?}");
        assert_eq!(round.order.len(), 4);
        assert_eq!(round_through(Xy::default(), &[]), Round::default());
        let odd = round_through(Xy::default(), &[Xy::new(f64::NAN, 0.0), Xy::new(3.0, 4.0)]);
        assert_eq!((odd.order, odd.length_m), (vec![1], 10.0));
    }

    /// The shortest of all orders, by trying them all.
    fn shortest(start: Xy, places: &[Xy]) -> f64 {
        fn rest(start: Xy, places: &[Xy], taken: &mut Vec<usize>) -> f64 {
            if taken.len() == places.len() {
                return length(start, places, taken);
            }
            let mut best = f64::INFINITY;
            for i in 0..places.len() {
                if !taken.contains(&i) {
                    taken.push(i);
                    best = best.min(rest(start, places, taken));
                    taken.pop();
                }
            }
            best
        }
        rest(start, places, &mut Vec::new())
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn every_place_is_visited_once_and_the_round_is_short(
            places in prop::collection::vec((-5e3..5e3, -5e3..5e3), 0..7),
        ) {
            let places: Vec<Xy> = places.into_iter().map(|(x, y)| Xy::new(x, y)).collect();
            let round = round_through(Xy::default(), &places);
            let mut all = round.order.clone();
            all.sort_unstable();
            prop_assert_eq!(all, (0..places.len()).collect::<Vec<_>>());
            let best = shortest(Xy::default(), &places);
            prop_assert!(round.length_m >= best - 1e-6 && round.length_m <= 1.5 * best + 1e-6, "{} {}", round.length_m, best);
        }
    }
}
