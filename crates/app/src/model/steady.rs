//! Which field stands on top while following: the best, but not one second this and the next second that.

use std::time::{Duration, Instant};

/// A field on top gives way once it has not been the best for so long without a break. Common practice, no source: two
/// or three positions of a receiver, so that no single one decides.
const HOLD: Duration = Duration::from_secs(3);

/// The field on top, and since when another is better.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Steady {
    top: Option<String>,
    behind_since: Option<Instant>,
}

impl Steady {
    /// The identifier of the field on top.
    #[must_use]
    pub fn top(&self) -> Option<&str> {
        self.top.as_deref()
    }

    /// Takes a ranking, best first, of the fields that may be chosen.
    ///
    /// The field on top stays while it may be chosen at all, until it has not been the best for three seconds without a break.
    /// One that may not be chosen any more gives way at once.
    pub fn take(&mut self, now: Instant, ranked: &[&str]) {
        let best = ranked.first().copied();
        let still = self.top.as_deref().filter(|top| ranked.contains(top));
        let gives_way = match still {
            None => true,
            Some(top) if Some(top) == best => {
                self.behind_since = None;
                false
            }
            Some(_) => {
                let since = *self.behind_since.get_or_insert(now);
                now.saturating_duration_since(since) >= HOLD
            }
        };
        if gives_way {
            self.behind_since = None;
            self.top = best.map(str::to_owned);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn after(began: Instant, seconds: f64) -> Instant {
        began + Duration::from_secs_f64(seconds)
    }

    #[test]
    fn noise_does_not_change_the_field_and_a_better_one_takes_over_after_the_hold() {
        let (began, mut steady) = (Instant::now(), Steady::default());
        for second in 0..60 {
            let ranked = if second % 3 == 0 { ["a", "b"] } else { ["b", "a"] };
            steady.take(after(began, f64::from(second)), &ranked);
            assert_eq!(steady.top(), Some("a"), "at {second} s");
        }
        steady.take(after(began, 60.0), &["a", "b"]);
        for (seconds, top) in [(61.0, "a"), (62.0, "a"), (63.9, "a"), (64.0, "b"), (65.0, "b")] {
            steady.take(after(began, seconds), &["b", "a"]);
            assert_eq!(steady.top(), Some(top), "at {seconds} s");
        }
    }

    #[test]
    fn a_field_that_is_out_gives_way_at_once_and_nothing_is_on_top_of_nothing() {
        let (began, mut steady) = (Instant::now(), Steady::default());
        steady.take(began, &["a", "b"]);
        steady.take(after(began, 0.1), &["c", "b"]);
        assert_eq!(steady.top(), Some("c"));
        steady.take(after(began, 0.2), &[]);
        assert_eq!(steady.top(), None);
    }

    proptest! {
        #[test]
        fn what_is_on_top_may_be_chosen_and_never_changes_twice_within_the_hold(
            steps in proptest::collection::vec((0.1..2.0_f64, 0..4_usize), 1..60),
        ) {
            let names = ["a", "b", "c", "d"];
            let (began, mut steady) = (Instant::now(), Steady::default());
            let (mut at, mut changed): (f64, Option<f64>) = (0.0, None);
            for (step, first) in steps {
                at += step;
                let ranked: Vec<&str> = names[first..].iter().chain(&names[..first]).copied().collect();
                let before = steady.top().map(str::to_owned);
                steady.take(after(began, at), &ranked);
                let now = steady.top().unwrap();
                prop_assert!(ranked.contains(&now));
                if before.is_some_and(|b| b != now) {
                    prop_assert!(changed.is_none_or(|c| at - c >= HOLD.as_secs_f64() - 1e-6));
                    prop_assert_eq!(now, ranked[0]);
                    changed = Some(at);
                }
            }
        }
    }
}
