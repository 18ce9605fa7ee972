//! Two runs beside each other: what rose, and which joints that points to.

use std::collections::{BTreeMap, BTreeSet};

use loomproof_core::judge::LIMIT;
use loomproof_core::units::Ohms;
use schemars::JsonSchema;
use serde::Serialize;

use super::paths::{MicroOhms, Path};
use super::record::{Record, Test};
use super::reported::Reported;
use super::store::Stored;
use crate::diagnosis::words::ohms_text;
use crate::ringout::report::ReadingReport;

/// The most joints that a rise is put down to; beyond that the two runs are of
/// different wirings rather than of one that aged.
const MOST_JOINTS: usize = 6;

/// Two runs beside each other.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Comparison {
    /// The earlier run.
    pub earlier: Side,
    /// The later run.
    pub later: Side,
    /// What was done both times: `ringout`, `live`, `wiggle`, `comeback` or
    /// `drain`.
    pub test: String,
    /// What differs but the wiring: plan, answers, place, probe, firmware.
    pub differs: Vec<String>,
    /// Faults that were found then and are not any more.
    pub gone: Vec<String>,
    /// Faults that are found now and were not then.
    pub new: Vec<String>,
    /// Functions of live checks whose verdict is another now.
    pub functions: Vec<FunctionChange>,
    /// Every path that both runs measured.
    pub paths: Vec<PathDrift>,
    /// What the rises suggest.
    pub suggests: Vec<Suggestion>,
    /// Rises that no joint explains.
    pub unexplained: Vec<String>,
    /// Other readings that moved beyond what noise does.
    pub readings: Vec<ReadingDrift>,
}

/// One of the two runs.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Side {
    /// Its number in the store.
    pub number: i64,
    /// SHA-256 of the record.
    pub digest: String,
    /// When it was taken: RFC 3339, UTC.
    pub taken: String,
    /// `bench` or `vehicle`.
    pub place: String,
    /// The verdict.
    pub verdict: String,
}

/// A function of two live checks.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct FunctionChange {
    /// Its name.
    pub name: String,
    /// Then: `works`, `fails` or `not tested`.
    pub then: String,
    /// Now.
    pub now: String,
}

/// A path at both runs.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PathDrift {
    /// The path.
    pub path: String,
    /// Then, microohms; null where nothing came through.
    pub then_uohm: Option<MicroOhms>,
    /// Now.
    pub now_uohm: Option<MicroOhms>,
    /// One standard deviation of the difference.
    pub sigma_uohm: MicroOhms,
    /// `same`, `rose`, `fell`, `lost` or `found`.
    pub change: String,
}

/// A joint, or several that these readings cannot tell apart.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Suggestion {
    /// The joints, as spelled behind `high-resistance@`.
    pub joints: Vec<String>,
    /// How much it rose, microohms; null where the connection is lost.
    pub rise_uohm: Option<MicroOhms>,
    /// One standard deviation, microohms.
    pub sigma_uohm: MicroOhms,
    /// In words.
    pub say: String,
}

/// A reading at both runs.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ReadingDrift {
    /// What it was taken for.
    pub purpose: String,
    /// Where it was read.
    pub point: String,
    /// Then, microvolts.
    pub then_uv: Option<i64>,
    /// Now.
    pub now_uv: Option<i64>,
    /// The verdict on it now.
    pub verdict: String,
}

/// Puts two runs beside each other, the earlier first.
#[must_use]
pub fn compare(a: &Stored, b: &Stored) -> Comparison {
    let (earlier, later) = if a.sealed.record.taken <= b.sealed.record.taken {
        (a, b)
    } else {
        (b, a)
    };
    let (then, now) = (&earlier.sealed.record, &later.sealed.record);
    let pairs = pairs(&then.paths, &now.paths);
    let (suggests, unexplained) = suggest(&pairs);
    let names = |record: &Record| -> BTreeSet<String> {
        let named = record.found.iter();
        named
            .map(|found| format!("{}@{}", found.kind, found.place))
            .collect()
    };
    let (before, after) = (names(then), names(now));
    Comparison {
        earlier: side(earlier),
        later: side(later),
        test: now.test.word().to_owned(),
        differs: differs(then, now),
        gone: before.difference(&after).cloned().collect(),
        new: after.difference(&before).cloned().collect(),
        functions: functions(then, now),
        paths: pairs.iter().map(Pair::drift).collect(),
        suggests,
        unexplained,
        readings: readings(then, now),
    }
}

/// Whether two runs can be put beside each other: what one test reads another does not.
///
/// # Errors
/// A sentence that says why not.
pub fn comparable(a: &Stored, b: &Stored) -> Result<(), String> {
    let (one, other) = (a.sealed.record.test, b.sealed.record.test);
    if one == other {
        return Ok(());
    }
    Err(format!(
        "record {} is {} and record {} is {}: they read different things, so only two of the same \
         test can be compared",
        a.number,
        one.say(),
        b.number,
        other.say()
    ))
}

/// Functions of live checks whose verdict changed.
fn functions(then: &Record, now: &Record) -> Vec<FunctionChange> {
    let (Ok(Reported::Live(before)), Ok(Reported::Live(after))) = (then.reported(), now.reported())
    else {
        return Vec::new();
    };
    let changed = after.functions.iter().filter_map(|now| {
        let then = before.functions.iter().find(|then| then.name == now.name)?;
        (then.verdict != now.verdict).then(|| FunctionChange {
            name: now.name.clone(),
            then: then.verdict.clone(),
            now: now.verdict.clone(),
        })
    });
    changed.collect()
}

fn side(stored: &Stored) -> Side {
    let record = &stored.sealed.record;
    Side {
        number: stored.number,
        digest: stored.sealed.digest.to_string(),
        taken: record.taken.clone(),
        place: record.place.clone(),
        verdict: record.verdict.word().to_owned(),
    }
}

fn differs(then: &Record, now: &Record) -> Vec<String> {
    let mut said = Vec::new();
    if then.title != now.title {
        said.push(format!(
            "they are of different plans: \"{}\" and \"{}\"",
            then.title, now.title
        ));
    } else if then.plan_digest != now.plan_digest {
        said.push("the plan was changed in between; paths are compared by their ends".to_owned());
    }
    if then.answers != now.answers {
        said.push("the answers to the plan's options differ".to_owned());
    }
    if then.place != now.place {
        said.push(format!(
            "one was taken in the {}, the other in the {}: paths that end elsewhere are not \
             compared",
            then.place, now.place
        ));
    }
    if let (Some(before), Some(after)) = (&then.probe, &now.probe) {
        if before.serial != after.serial {
            said.push(format!(
                "different probes: {} and {}",
                before.serial, after.serial
            ));
        }
        if before.build != after.build {
            said.push(format!(
                "different firmware: {} and {}",
                before.build, after.build
            ));
        }
    }
    match now.test {
        Test::Ringout => {}
        Test::Live => said.push(
            "a live check keeps no resistances: only functions and causes are put beside each \
             other"
                .to_owned(),
        ),
        Test::Wiggle | Test::Comeback | Test::Drain | Test::Own | Test::Power => {
            said.push(format!(
                "{} keeps no resistances: only what was found is put beside each other",
                now.test.say()
            ))
        }
    }
    if then.broken_off || now.broken_off {
        said.push("one of them was broken off before its end".to_owned());
    }
    let subjects = (then.subject.key(), now.subject.key());
    if let (Some(a), Some(b)) = subjects
        && a != b
    {
        said.push(format!("different harnesses or vehicles: {a} and {b}"));
    }
    if then.simulated != now.simulated {
        said.push("one was measured, the other simulated".to_owned());
    }
    said
}

/// A path at both runs.
struct Pair<'r> {
    then: &'r Path,
    now: &'r Path,
}

fn pairs<'r>(then: &'r [Path], now: &'r [Path]) -> Vec<Pair<'r>> {
    let named: BTreeMap<String, &Path> = then.iter().map(|path| (path.name(), path)).collect();
    now.iter()
        .filter_map(|now| {
            let then = named.get(&now.name())?;
            Some(Pair { then, now })
        })
        .collect()
}

impl Pair<'_> {
    fn sigma(&self) -> f64 {
        self.then.sigma.ohms().0.hypot(self.now.sigma.ohms().0)
    }

    /// The rise in ohms, where both are numbers.
    fn rise(&self) -> Option<f64> {
        Some(self.now.ohms?.ohms().0 - self.then.ohms?.ohms().0)
    }

    fn change(&self) -> &'static str {
        match (self.then.ohms, self.now.ohms, self.rise()) {
            (Some(_), None, _) => "lost",
            (None, Some(_), _) => "found",
            (_, _, Some(rise)) if rise > LIMIT * self.sigma() => "rose",
            (_, _, Some(rise)) if rise < -LIMIT * self.sigma() => "fell",
            _ => "same",
        }
    }

    fn drift(&self) -> PathDrift {
        PathDrift {
            path: self.now.name(),
            then_uohm: self.then.ohms,
            now_uohm: self.now.ohms,
            sigma_uohm: MicroOhms::of(Ohms(self.sigma())),
            change: self.change().to_owned(),
        }
    }
}

/// Which joints explain the rises: one after the other the one that takes most
/// of what is left, each with those that the same paths go through.
fn suggest(pairs: &[Pair<'_>]) -> (Vec<Suggestion>, Vec<String>) {
    let mut suggests = Vec::new();
    // What a joint carries: indexes of the paths through it, at both runs.
    let mut through: BTreeMap<&str, BTreeSet<usize>> = BTreeMap::new();
    for (at, pair) in pairs.iter().enumerate() {
        for joint in &pair.now.through {
            if pair.then.through.contains(joint) {
                through.entry(joint).or_default().insert(at);
            }
        }
    }
    let mut alike: BTreeMap<&BTreeSet<usize>, Vec<&str>> = BTreeMap::new();
    for (joint, paths) in &through {
        alike.entry(paths).or_default().push(joint);
    }
    let lost: BTreeSet<usize> = (0..pairs.len())
        .filter(|at| pairs.get(*at).is_some_and(|pair| pair.change() == "lost"))
        .collect();
    let mut left = lost.clone();
    while !left.is_empty() {
        let best = alike
            .iter()
            .filter(|(paths, _)| paths.is_subset(&lost))
            .max_by_key(|(paths, _)| paths.intersection(&left).count())
            .filter(|(paths, _)| !paths.is_disjoint(&left));
        let Some((paths, joints)) = best else { break };
        suggests.push(suggestion(joints, None, 0.0));
        left = left.difference(paths).copied().collect();
    }
    let mut rest: BTreeMap<usize, (f64, f64)> = pairs
        .iter()
        .enumerate()
        .filter_map(|(at, pair)| Some((at, (pair.rise()?, pair.sigma()))))
        .collect();
    let off = |rest: &BTreeMap<usize, (f64, f64)>| -> BTreeSet<usize> {
        let beyond = rest
            .iter()
            .filter(|(_, (rise, sigma))| *rise > LIMIT * sigma);
        beyond.map(|(at, _)| *at).collect()
    };
    while suggests.len() < MOST_JOINTS && !off(&rest).is_empty() {
        // The joint whose rise takes most of what is left, by least squares: a
        // path through it that did not rise speaks against it.
        let best = alike
            .iter()
            .filter_map(|(paths, joints)| {
                let (rise, sigma) = mean(paths.iter().filter_map(|at| rest.get(at)))?;
                (rise > LIMIT * sigma).then_some((paths, joints, rise, sigma))
            })
            .max_by(|a, b| (a.2 / a.3).total_cmp(&(b.2 / b.3)));
        let Some((paths, joints, rise, sigma)) = best else {
            break;
        };
        suggests.push(suggestion(joints, Some(rise), sigma));
        for at in *paths {
            if let Some((left, _)) = rest.get_mut(at) {
                *left -= rise;
            }
        }
    }
    let unexplained = off(&rest)
        .into_iter()
        .chain(left)
        .filter_map(|at| Some(pairs.get(at)?.now.name()))
        .collect();
    (suggests, unexplained)
}

/// Weighted mean and its standard deviation.
fn mean<'v>(values: impl Iterator<Item = &'v (f64, f64)>) -> Option<(f64, f64)> {
    let (mut weight, mut sum) = (0.0, 0.0);
    for (value, sigma) in values {
        let w = 1.0 / (sigma * sigma).max(1e-12);
        weight += w;
        sum += w * value;
    }
    (weight > 0.0).then(|| (sum / weight, weight.sqrt().recip()))
}

fn suggestion(joints: &[&str], rise: Option<f64>, sigma: f64) -> Suggestion {
    let named = joints.join(", ");
    let what = match rise {
        None => "The connection is lost".to_owned(),
        Some(rise) => format!(
            "About {} (± {}) more than then",
            ohms_text(rise),
            ohms_text(2.0 * sigma)
        ),
    };
    let say = match joints {
        [_] => format!(
            "{what} at {named}: look for a loose or dirty contact, a bad crimp or water there."
        ),
        _ => format!(
            "{what} at one of {named}, which these readings cannot tell apart: look for a loose or \
             dirty contact, a bad crimp or water there, one after the other."
        ),
    };
    Suggestion {
        joints: joints.iter().map(|joint| (*joint).to_owned()).collect(),
        rise_uohm: rise.map(|rise| MicroOhms::of(Ohms(rise))),
        sigma_uohm: MicroOhms::of(Ohms(sigma)),
        say,
    }
}

type Key<'r> = (&'r str, &'r [String], &'r [String], usize, &'r str, &'r str);

/// Readings of the first pass that moved beyond what noise does, and are out of
/// their band now.
fn readings(then: &Record, now: &Record) -> Vec<ReadingDrift> {
    let (Ok(then), Ok(now)) = (then.ringout(), now.ringout()) else {
        return Vec::new();
    };
    fn key(reading: &ReadingReport) -> Key<'_> {
        (
            &reading.purpose,
            &reading.high,
            &reading.low,
            reading.low_count,
            &reading.point,
            &reading.mode,
        )
    }
    let before: BTreeMap<Key<'_>, &ReadingReport> = then
        .readings
        .iter()
        .map(|reading| (key(reading), reading))
        .collect();
    now.readings
        .iter()
        .filter(|reading| reading.verdict != "within" && reading.purpose != "continuity")
        .filter_map(|reading| {
            let old = before.get(&key(reading))?;
            let moved = match (old.measured_uv, reading.measured_uv) {
                (Some(a), Some(b)) => {
                    #[allow(clippy::cast_precision_loss, reason = "a few million")]
                    let (change, sigma) = (
                        (b - a).abs() as f64,
                        (old.sigma_uv as f64).hypot(reading.sigma_uv as f64),
                    );
                    change > LIMIT * sigma
                }
                (a, b) => a != b,
            };
            moved.then(|| ReadingDrift {
                purpose: reading.purpose.clone(),
                point: reading.point.clone(),
                then_uv: old.measured_uv,
                now_uv: reading.measured_uv,
                verdict: reading.verdict.clone(),
            })
        })
        .collect()
}
