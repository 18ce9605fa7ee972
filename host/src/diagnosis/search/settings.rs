//! How a search is carried out, and when it has had enough.

/// How a search is carried out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// The most hypotheses in one set.
    pub most: usize,
    /// Gain in log likelihood below which one more hypothesis explains nothing.
    pub least_gain: f64,
    /// Sets whose weight is this much behind the best are not kept.
    pub negligible: f64,
    /// The most pairs that are scored; beyond that pairs are not proved.
    pub patience: u64,
    /// The most work that goes into scoring pairs ([`super::Space::work`]); beyond that pairs are
    /// not proved. Work and not time, so that an answer is the same on any machine.
    pub effort: u64,
    /// The most work that goes into sets of more than two before others are begun.
    pub larger_effort: u64,
    /// How many of the best sets of one size are grown to the next.
    pub beam: usize,
    /// From how many single ones sets are grown anew where the best set leaves something
    /// to explain, not counting those that explain as much; a quarter of [`Self::effort`]
    /// at most goes into it.
    pub beginnings: usize,
    /// Whether pairs are looked for although the best single one explains
    /// everything; without, the best single is all that is proved then.
    pub pairs: bool,
    /// Whether larger sets are looked for although a smaller one explains
    /// everything.
    pub go_on: bool,
}

/// The most hypotheses that are looked for at once.
pub const MAX_FAULTS: usize = 4;

/// See [`Settings::effort`]: about ten seconds of a processor. The demonstration van takes
/// 12 million at most, a short on its bench 49 million; a harness of 64 points in a
/// vehicle can take 700 million.
const EFFORT: u64 = 100_000_000;

impl Default for Settings {
    fn default() -> Self {
        Self {
            most: MAX_FAULTS,
            // e³: the readings would have to be 20 times likelier.
            least_gain: 3.0,
            // 1e-9 of the best.
            negligible: 20.7,
            patience: 500_000,
            effort: EFFORT,
            larger_effort: 4 * EFFORT,
            beam: 8,
            beginnings: 8,
            pairs: true,
            go_on: false,
        }
    }
}
