//! One landing in one wind: which strip, which way, and how it is judged.

use super::super::rank::{Judged, Place};
use super::super::reasons;
use super::super::verdict::{Quantity, Reason, ReasonKind, StripVerdict, Verdict};

/// A strip landed on from one end in one wind, judged without regard to the height the aircraft arrives with.
#[derive(Clone, Debug, PartialEq)]
pub struct Landing {
    /// Which strip of the study.
    pub strip_index: usize,
    /// Which of its ends: 0 lands along its heading, 1 against it.
    pub end: usize,
    /// The verdict with all the height in hand that could be wanted.
    pub verdict: Verdict,
    /// The numbers.
    pub strip: StripVerdict,
    /// Every reason, gates first.
    pub reasons: Vec<Reason>,
}

impl Landing {
    pub(super) fn new(place: &Place<'_>, judged: &Judged<'_>) -> Self {
        let strip_index = place.study.strips.iter().position(|s| core::ptr::eq(s, judged.study)).unwrap_or_default();
        Self {
            strip_index,
            end: usize::from(core::ptr::eq(judged.end, &raw const judged.study.ends[1])),
            verdict: judged.verdict,
            strip: reasons::strip_verdict(place, judged),
            reasons: reasons::about(place, judged),
        }
    }

    /// Usable length less needed length, metres; negative where it falls short.
    #[must_use]
    pub fn in_hand_m(&self) -> f64 {
        self.strip.usable_length_m - self.strip.needed_length_m
    }

    /// Why it does not serve.
    pub fn gates(&self) -> impl Iterator<Item = &Reason> {
        self.reasons.iter().filter(|r| r.kind == ReasonKind::Gate)
    }

    /// Whether it passes every check of the field itself.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.gates().next().is_none()
    }

    /// The landing in one sentence: usable and needed length and slope, or why it does not serve.
    #[must_use]
    pub fn headline(&self) -> Reason {
        let strip = &self.strip;
        if let Some(gate) = self.gates().next() {
            let template = format!("out in this wind: {}", gate.template);
            return Reason { kind: ReasonKind::Gate, template, quantities: gate.quantities.clone() };
        }
        let slope = reasons::slope_words(strip.slope);
        let template = format!("{{0}} usable landing {{1}}, {{2}} needed, {{3}} in hand{slope}");
        let quantities = vec![
            Quantity::LengthAtLeast(strip.usable_length_m),
            Quantity::Direction(strip.heading),
            Quantity::LengthAtMost(strip.needed_length_m),
            Quantity::LengthAtLeast(self.in_hand_m()),
        ];
        Reason { kind: ReasonKind::Note, template, quantities }
    }
}
