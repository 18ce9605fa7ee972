//! How often an indicator may flash: SAE J945, through NHTSA interpretation
//! letters 01931ztv and GF006498 (nhtsa.gov, *read*), and UN R53 6.3.8.1, quoted
//! (*read*).
//!
//! The first letter counts every cycle's own rate and averages three: its flasher
//! does 120 cycles a minute and is refused at 136.8. J945 has 90 to 120 for
//! flashers of a fixed load; which kind a vehicle has is not in a plan, so that
//! the wider range is what is held.

use loomproof::live::Rhythm;
use loomproof::live::rhythm::{Edges, allowed};
use loomproof::plan::electrics::Signal;

use super::check::{Check, Limit, Ours, Status, Value};

const FIRST: &str = "SAE J945, as NHTSA interpretation letter 01931ztv applies it";
const SECOND: &str = "SAE J945, as NHTSA interpretation letter GF006498 applies it";
const R53: &str = "UN R53 6.3.8.1, quoted: 90 ± 30 a minute";

/// What the live check makes of a pattern, milliseconds on and off in turn, that
/// repeats for a while: cycles a minute.
fn rate(pattern: &[u64]) -> f64 {
    let mut edges = Edges::default();
    let mut at = 0;
    for (number, ms) in pattern.repeat(6).iter().enumerate() {
        let on = number % 2 == 0;
        edges.window(at, ms * 1000, (on, on), (0, 0));
        at += ms * 1000;
    }
    match edges.rhythm() {
        Some(Rhythm::Flashing { per_minute, .. }) if edges.enough() => per_minute,
        _ => f64::NAN,
    }
}

/// The verdict on it.
fn verdict(pattern: &[u64]) -> Value {
    if allowed(rate(pattern)) { "within" } else { "not within" }.into()
}

/// Where the live check's opinion changes between two rates.
fn edge(allowed_at: f64, refused_at: f64) -> f64 {
    let (mut good, mut bad) = (allowed_at, refused_at);
    if !allowed(good) || allowed(bad) {
        return f64::NAN;
    }
    for _ in 0..60 {
        let middle = f64::midpoint(good, bad);
        *(if allowed(middle) { &mut good } else { &mut bad }) = middle;
    }
    good
}

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let mut checks = Vec::new();
    let mut add = |what: &str, source, status, theirs: Value, limit, ours: Ours, test| {
        checks.push(Check {
            what: what.to_owned(),
            source,
            status,
            theirs,
            limit,
            ours,
            test,
        });
    };
    const UNEVEN: [u64; 6] = [160, 200, 160, 200, 160, 620];
    const SLOWER: [u64; 6] = [200, 250, 200, 250, 200, 850];
    let exact = Limit::Off(1e-9);
    let (read, ran) = (Status::Read, Status::Ran);
    let test = "limits";
    let ours: Ours = Box::new(|| edge(90.0, 10.0).into());
    add("fewest flashes a minute", FIRST, read, 60.0.into(), exact, ours, test);
    let ours: Ours = Box::new(|| edge(90.0, 600.0).into());
    add("most flashes a minute", FIRST, read, 120.0.into(), exact, ours, test);
    let test = "patterns";
    let what = "on and off for 160, 200, 160, 200, 160, 620 ms: flashes a minute";
    let ours: Ours = Box::new(|| rate(&UNEVEN).into());
    add(what, FIRST, read, 136.8.into(), Limit::Off(0.05), ours, test);
    let ours: Ours = Box::new(|| verdict(&UNEVEN));
    add("the same, the verdict", FIRST, read, "not within".into(), Limit::Same, ours, test);
    let what = "on and off for 200, 250, 200, 250, 200, 850 ms: flashes a minute";
    let ours: Ours = Box::new(|| rate(&SLOWER).into());
    add(what, SECOND, ran, 107.9.into(), Limit::Off(0.05), ours, test);
    let ours: Ours = Box::new(|| verdict(&SLOWER));
    add("the same, the verdict", SECOND, read, "within".into(), Limit::Same, ours, test);
    let test = "limits";
    let what = "flashes a minute of a plan that states none";
    let ours: Ours = Box::new(|| Signal::FLASHES.0.into());
    add(what, R53, read, 90.0.into(), exact, ours, test);
    let what = "flashes a minute, from there to the fewest";
    let ours: Ours = Box::new(|| (Signal::FLASHES.0 - edge(90.0, 10.0)).into());
    add(what, R53, read, 30.0.into(), exact, ours, test);
    let what = "flashes a minute, from there to the most";
    let ours: Ours = Box::new(|| (edge(90.0, 600.0) - Signal::FLASHES.0).into());
    add(what, R53, read, 30.0.into(), exact, ours, test);
    checks
}

crate::checked!(limits, patterns);
