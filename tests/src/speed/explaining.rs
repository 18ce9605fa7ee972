//! How long it takes to explain the readings of a faulty harness.

use std::time::Duration;

use loomproof::diagnosis::evidence::Evidence;
use loomproof::diagnosis::search::{Proof, Settings, search};
use loomproof::diagnosis::space::{Catalogue, explain};
use loomproof::fault::Fault;
use loomproof::fault::spell::parse;
use loomproof::ringout::Outcome;

use super::subject::Subject;
use super::{median, timed};

/// What is injected into bench-64: sets that were chosen by kind, before they
/// were timed, and one that is known to be hard.
pub const INJECTED: &[&[&str]] = &[
    &["exchanged@X1:3,with=X1:4"],
    &["open@W7"],
    &["high-resistance@X2:3,ohms=2"],
    &["short@W27,with=W38"],
    &["open@W12", "high-resistance@W20,ohms=2"],
    &["exchanged@X3:5,with=X3:6", "short@W2,with=W9"],
];

/// Times of one injected set, each the median of some repetitions.
#[derive(Debug, Clone)]
pub struct Explaining {
    /// What was injected.
    pub faults: String,
    /// Single hypotheses.
    pub hypotheses: usize,
    /// Readings and differences judged.
    pub judged: usize,
    /// Seconds from readings to all single faults scored.
    pub singles: f64,
    /// Seconds from readings to the best of all singles and pairs.
    pub pairs: f64,
    /// Seconds from readings to all explanations of up to four faults with
    /// their ohms.
    pub whole: f64,
    /// What was proved with the pairs.
    pub proof: Proof,
}

/// Rings the set out on a bench with everything that strays, and times its
/// explanation; `None` where these faults do not show in any reading.
///
/// # Errors
/// What cannot be spelled, put on the bench or computed.
pub fn explaining(
    subject: &Subject,
    faults: &[Fault],
    rounds: usize,
) -> Result<Option<Explaining>, String> {
    let loaded = &subject.loaded;
    let (_, outcome) = loaded.scan(faults, &loaded.settings(1))?;
    let Outcome::Complete(taken) = outcome else {
        return Err("the probe refused".to_owned());
    };
    if Evidence::new(subject.model(), &taken)?.off().is_empty() {
        return Ok(None);
    }
    let spelled: Vec<String> = faults.iter().map(ToString::to_string).collect();
    let mut out = Explaining {
        faults: spelled.join(" + "),
        hypotheses: 0,
        judged: 0,
        singles: 0.0,
        pairs: 0.0,
        whole: 0.0,
        proof: Proof::default(),
    };
    let mut times: [Vec<f64>; 3] = Default::default();
    for _ in 0..rounds {
        for (most, times) in [1, 2].into_iter().zip(&mut times) {
            let (found, took) = timed(|| {
                let evidence = Evidence::new(subject.model(), &taken)?;
                let space = Catalogue::new(&evidence, &subject.catalogue);
                let settings = Settings {
                    most,
                    ..Settings::default()
                };
                let found = search(&space, &settings)?;
                Ok::<_, String>((found, evidence.judged().len()))
            });
            let (found, judged) = found?;
            out.hypotheses = found.singles.len();
            out.judged = judged;
            out.proof = found.proof;
            times.push(took.as_secs_f64());
        }
        let (explained, took) = timed(|| {
            let evidence = Evidence::new(subject.model(), &taken)?;
            explain(&evidence, &subject.catalogue).map(|explained| explained.candidates.len())
        });
        if explained? == 0 {
            return Err(format!("{}: nothing explains it", out.faults));
        }
        times[2].push(took.as_secs_f64());
    }
    [out.singles, out.pairs, out.whole] = times.map(|times| median(&times));
    Ok(Some(out))
}

/// [`INJECTED`] on bench-64.
///
/// # Errors
/// See [`explaining`]; an answer that is not proved best among all pairs.
pub fn injected(
    subject: &Subject,
    sets: &[&[&str]],
    rounds: usize,
) -> Result<Vec<Explaining>, String> {
    let mut all = Vec::new();
    for set in sets {
        let spelled = set
            .iter()
            .map(|fault| parse(fault, &subject.loaded.job).map_err(|error| error.to_string()));
        let faults = spelled.collect::<Result<Vec<_>, _>>()?;
        let found = explaining(subject, &faults, rounds)?;
        let found = found.ok_or_else(|| format!("{set:?} does not show"))?;
        if found.proof.size != 2 {
            return Err(format!("{}: pairs are not proved", found.faults));
        }
        all.push(found);
    }
    Ok(all)
}

/// Median and worst of something, in seconds.
#[must_use]
pub fn summary(all: &[Explaining], of: impl Fn(&Explaining) -> f64) -> (Duration, Duration) {
    let values: Vec<f64> = all.iter().map(of).collect();
    let worst = values.iter().copied().fold(0.0, f64::max);
    (
        Duration::from_secs_f64(median(&values)),
        Duration::from_secs_f64(worst),
    )
}
