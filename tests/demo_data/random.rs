//! A small seeded source of scatter, so that the demo's files come out the same on every machine.

/// SplitMix64 (Steele, Lea, Flood 2014), started from a word: each draw depends on what it is for and on nothing else.
pub(crate) struct Scatter {
    state: u64,
}

impl Scatter {
    /// The scatter of one named thing: a session, an assembly, a pull, a channel.
    pub(crate) fn of(what: &str) -> Self {
        // FNV-1a turns the name into a start value.
        let name = format!("{} {what}", super::truth::SEED);
        let state = name.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
        });
        let mut scatter = Self { state };
        // Names that differ in one letter start close together; one step parts them.
        scatter.next();
        scatter
    }

    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut word = self.state;
        word = (word ^ (word >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        word = (word ^ (word >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        word ^ (word >> 31)
    }

    /// A number of the even distribution from 0, left out, to 1.
    pub(crate) fn even(&mut self) -> f64 {
        // 53 bits fill the digits of a double; half a step keeps zero, whose logarithm there is none, away.
        let bits = (self.next() >> 11) as f64;
        (bits + 0.5) / 9_007_199_254_740_992.0
    }

    /// A number of the normal distribution about 0 with this standard deviation (Box and Muller 1958).
    pub(crate) fn normal(&mut self, deviation: f64) -> f64 {
        let (first, second) = (self.even(), self.even());
        let radius = (-2.0 * libm::log(first)).sqrt();
        deviation * radius * libm::cos(2.0 * std::f64::consts::PI * second)
    }
}
