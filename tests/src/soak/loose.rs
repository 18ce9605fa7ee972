//! Joints that let go at known times.

use std::time::Duration;

use loomproof::bench::Upset;
use loomproof::wiggle::Watch;

/// The joints' dropouts: how long, and from one to the next, µs.
const DROPOUTS: [(u64, u64); 3] = [(120, 97_000_000), (300, 149_000_000), (5_000, 241_000_000)];

/// They come so many times as often where window follows window.
pub(super) const OFTENER: u64 = 8;

/// A dropout that lies as far within a window must be seen, and at this time at most
/// after it began (docs/wiggle.md: 100 µs is certain), µs.
pub(super) const CERTAIN: u64 = 100;

/// A joint that lets go.
pub(super) struct Loose {
    pub(super) spot: usize,
    pub(super) group: usize,
    pub(super) long: u64,
    pub(super) every: u64,
}

impl Loose {
    /// Without spread a bench's first dropout is half-way.
    pub(super) fn first_from(&self, now: u64) -> u64 {
        let half = self.every / 2;
        half + now.saturating_sub(half).div_ceil(self.every) * self.every
    }
}

/// Joints that can be told apart, as many as there are of the dropouts or of the plan,
/// and what they do.
pub(super) fn joints(watch: &Watch, oftener: u64) -> Result<(Vec<Loose>, Vec<Upset>), String> {
    let mut loose = Vec::new();
    let mut upsets = Vec::new();
    for (group, of) in watch.groups.iter().enumerate() {
        for sign in &of.signs {
            let known = loose.iter().any(|it: &Loose| it.spot == sign.spot);
            let Some((long, every)) = DROPOUTS.get(loose.len()).filter(|_| !known) else {
                continue;
            };
            let joint = watch.spots.get(sign.spot).and_then(|it| it.joints.first());
            upsets.push(Upset::Intermittent {
                joint: joint.ok_or("a spot without a joint")?.clone(),
                gap: Duration::from_micros(*long),
                every: Duration::from_micros(every / oftener),
                ohms: None,
            });
            loose.push(Loose {
                spot: sign.spot,
                group,
                long: *long,
                every: every / oftener,
            });
        }
    }
    Ok((loose, upsets))
}

/// The dropouts within a window that must be counted, and how many more its ends cut.
pub(super) fn happened(it: &Loose, began: u64, ends: u64) -> (Vec<u64>, u64) {
    let (mut within, mut cut) = (Vec::new(), 0);
    let mut at = it.first_from(began.saturating_sub(it.long));
    while at < ends {
        if at >= began + CERTAIN && at + it.long + CERTAIN <= ends {
            within.push(at);
        } else {
            cut += 1;
        }
        at += it.every;
    }
    (within, cut)
}
