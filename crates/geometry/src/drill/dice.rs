//! Numbers from a seed, the same on every platform.

/// Numbers from a seed.
///
/// # Source
/// SplitMix64: Steele, Lea & Flood, *Fast Splittable Pseudorandom Number Generators*, OOPSLA 2014.
#[derive(Clone, Debug)]
pub(super) struct Dice(u64);

impl Dice {
    /// Dice for one thing of one seed; `stream` tells apart what is drawn for different things.
    pub(super) fn new(seed: u64, stream: u64) -> Self {
        let mut of_seed = Self(seed);
        let first = of_seed.next();
        let mut of_stream = Self(stream ^ 0x6a09_e667_f3bc_c909);
        Self(first ^ of_stream.next().rotate_left(32))
    }
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    /// A number in 0…1, 1 excluded.
    pub(super) fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }
    /// A number between two others.
    pub(super) fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }
    /// A whole number below `count`; 0 for a count of 0.
    pub(super) fn below(&mut self, count: usize) -> usize {
        ((self.unit() * count as f64) as usize).min(count.saturating_sub(1))
    }
    /// A number within ±`most`, small ones likelier than large ones: the difference of two even numbers.
    pub(super) fn about_zero(&mut self, most: f64) -> f64 {
        let (a, b) = (self.unit(), self.unit());
        most * (a - b)
    }
    /// The numbers below `count` in some order (Fisher and Yates's shuffle).
    pub(super) fn order(&mut self, count: usize) -> Vec<usize> {
        let mut order: Vec<usize> = (0..count).collect();
        for i in (1..count).rev() {
            let j = self.below(i + 1);
            order.swap(i, j);
        }
        order
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_generator_is_the_published_one() {
        // First numbers for the seed 1234567, as the reference implementation prints them (Vigna, splitmix64.c).
        let mut dice = Dice(1_234_567);
        let first = [(); 5].map(|()| dice.next());
        let published = [
            6_457_827_717_110_365_317,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
            4_593_380_528_125_082_431,
            16_408_922_859_458_223_821,
        ];
        assert_eq!(first, published);
    }

    #[test]
    fn every_number_comes_once_in_an_order() {
        let mut order = Dice::new(3, 4).order(48);
        assert_ne!(order, (0..48).collect::<Vec<_>>());
        order.sort_unstable();
        assert_eq!(order, (0..48).collect::<Vec<_>>());
    }
}
