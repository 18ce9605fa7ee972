//! Everything that can be wrong with the battery on, one thing after the other, put
//! into the powered bench and checked by the product's own live check.
//!
//! The bench knows nothing of the model that explains what is seen.

use std::collections::BTreeMap;

use loomproof::bench::{Bench, Settings, Upset, upset};
use loomproof::fault::{Fault, catalogue};
use loomproof::hookup::Hookup;
use loomproof::link::{Link as _, VirtualProbe};
use loomproof::live::observe::{Patience, observe};
use loomproof::live::report::{Checked, Report, report};
use loomproof::live::{Step, steps};
use loomproof::plan::model::Job;
use loomproof::powered::{Cause, Powered};
use loomproof_core::wire::{LeadId, Place};

use crate::campaign::site;

/// The bench's seed of every check.
const SEED: u64 = 7;

/// Two faults are told apart where a point differs by more than this in some step, V:
/// ten steps of the wide divider's converter and its noise, and what tolerances of
/// parts move a loaded point.
const APART: f64 = 0.15;

/// A fixture in the vehicle, hooked up.
pub struct Site {
    /// The plan's name.
    pub name: &'static str,
    /// Resolved by its defaults.
    pub job: Job,
    hookup: Hookup,
    powered: Powered,
    steps: Vec<Step>,
}

/// One thing that is wrong.
#[derive(Debug, Clone)]
pub struct Wrong(pub Cause);

/// What became of it.
#[derive(Debug, Clone)]
pub struct Tried {
    /// The fixture.
    pub site: &'static str,
    /// Its kind.
    pub kind: &'static str,
    /// As it is spelled.
    pub spelled: String,
    /// Something was off in the voltages or rhythms.
    pub shows: bool,
    /// How it was named.
    pub named: Named,
    /// How many sets the best group holds.
    pub group: usize,
    /// What was said.
    pub said: String,
}

/// How something wrong was named.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Named {
    /// In the best group by kind and place.
    Itself,
    /// The best group holds one that shows the same everywhere, by the bench.
    Alike,
    /// The best group says something else.
    Other,
    /// Off, but no cause was found; said to be undecided.
    Unexplained,
    /// The bench has no state of rest to play: a relay chatters.
    Chatters,
}

impl Site {
    /// A fixture by its name.
    ///
    /// # Errors
    /// What cannot be loaded or computed.
    pub fn of(name: &'static str) -> Result<Self, String> {
        let site = site::Site {
            source: site::Source::Fixture(name),
            place: Place::Vehicle,
        };
        let loaded = site.load()?;
        let (job, hookup) = (loaded.job, loaded.hookup);
        let powered = Powered::new(&job, &hookup).map_err(|error| format!("{error:?}"))?;
        let steps = steps(&job);
        Ok(Self {
            name,
            job,
            hookup,
            powered,
            steps,
        })
    }

    /// Goes through all switches on a powered bench and reports.
    ///
    /// # Errors
    /// What the bench, the probe or the report says.
    pub fn check(
        &self,
        faults: &[Fault],
        upsets: &[Upset],
        seed: u64,
        patience: Patience,
    ) -> Result<Report, String> {
        let settings = Settings {
            seed,
            ..Settings::default()
        };
        let bench = Bench::powered(&self.job, &self.hookup, faults, upsets, &settings)
            .map_err(|error| error.to_string())?;
        let probe = VirtualProbe::new(bench);
        let bench = probe.bench().clone();
        let mut link = probe.session().map_err(|error| error.to_string())?;
        let leads: Vec<LeadId> = self.hookup.clips.iter().map(|clip| clip.lead).collect();
        let mut seen = Vec::new();
        for step in &self.steps {
            for (switch, state) in &step.moves {
                let switch = &self.job.electrics.switches[*switch];
                let state = &switch.states[usize::from(*state)];
                bench
                    .set_switch(&switch.name, state)
                    .map_err(|error| error.to_string())?;
            }
            let observed = observe(&mut link, &leads, self.job.supply, patience);
            seen.push(observed.map_err(|error| error.to_string())?);
        }
        report(Checked {
            job: &self.job,
            powered: &self.powered,
            steps: &self.steps,
            seen: &seen,
            faults: catalogue::all(&self.job, &self.hookup),
            hello: &link.hello().clone(),
        })
    }

    /// Everything that the catalogue and the bench know for this job but for the
    /// operator's own mistakes, what only a dead test can mean by `live`, and joints
    /// that open now and then (`wiggle` is there for these).
    #[must_use]
    pub fn all(&self) -> Vec<Wrong> {
        let faults = catalogue::all(&self.job, &self.hookup).into_iter();
        let faults = faults.filter(|fault| !fault.is_operators() && fault.kind() != "live");
        let upsets = upset::all(&self.job).into_iter();
        let upsets = upsets.filter(|it| !matches!(it, Upset::Intermittent { .. }));
        let faults = faults.map(Cause::Wiring);
        faults.chain(upsets.map(Cause::Upset)).map(Wrong).collect()
    }

    /// Long enough for what flashes in this job, or may flash too fast.
    fn patience(&self, cause: &Cause) -> Patience {
        let flashes = self.name == "socket-13-pin";
        match cause {
            Cause::Upset(Upset::WrongFlash(..) | Upset::WrongDim(..)) => Patience::FULL,
            _ if flashes => Patience::FULL,
            _ => Patience::SHORT,
        }
    }

    /// Puts it in, checks, and says how it was named.
    ///
    /// # Errors
    /// As [`Self::check`].
    pub fn tried(&self, wrong: &Wrong) -> Result<Tried, String> {
        let cause = &wrong.0;
        let patience = self.patience(cause);
        let (faults, upsets) = Cause::sorted(std::slice::from_ref(cause));
        let report = match self.check(&faults, &upsets, SEED, patience) {
            Err(trouble) if trouble.contains("chatters") => {
                return Ok(Tried {
                    site: self.name,
                    kind: cause.kind(),
                    spelled: cause.to_string(),
                    shows: false,
                    named: Named::Chatters,
                    group: 0,
                    said: trouble,
                });
            }
            report => report?,
        };
        let rhythm = report.rhythms.iter().find(|it| !it.good);
        let off = off(&report);
        let of_rhythm = matches!(
            cause,
            Cause::Upset(Upset::WrongFlash(..) | Upset::WrongDim(..))
        );
        let best = report.groups.first();
        let sets = best.map_or(&[][..], |group| &group.sets);
        let itself = sets.iter().any(|set| {
            set.len() == 1 && set[0].kind == cause.kind() && set[0].place == cause.place()
        });
        let named = if itself || (of_rhythm && rhythm.is_some()) {
            Named::Itself
        } else if sets.is_empty() {
            Named::Unexplained
        } else if self.alike(sets.iter().take(4), &report, patience)? {
            Named::Alike
        } else {
            Named::Other
        };
        let spelled = |set: &Vec<loomproof::ringout::report::FaultReport>| {
            let set: Vec<&str> = set.iter().map(|one| one.fault.as_str()).collect();
            set.join(" + ")
        };
        let said: Vec<String> = sets.iter().take(3).map(spelled).collect();
        Ok(Tried {
            site: self.name,
            kind: cause.kind(),
            spelled: cause.to_string(),
            shows: off || rhythm.is_some(),
            named,
            group: sets.len(),
            said: said.join(" or "),
        })
    }

    /// Whether one of these sets shows the same on the bench.
    fn alike<'s>(
        &self,
        sets: impl Iterator<Item = &'s Vec<loomproof::ringout::report::FaultReport>>,
        seen: &Report,
        patience: Patience,
    ) -> Result<bool, String> {
        for set in sets {
            let spelled: Vec<String> = set.iter().map(|one| one.fault.clone()).collect();
            let causes = Cause::parse_all(&spelled, &self.job)?;
            let (faults, upsets) = Cause::sorted(&causes);
            match self.check(&faults, &upsets, SEED, patience) {
                Ok(other) if same(seen, &other) => return Ok(true),
                Err(trouble) if !trouble.contains("chatters") => return Err(trouble),
                _ => {}
            }
        }
        Ok(false)
    }
}

/// Whether some point is off.
#[must_use]
pub fn off(report: &Report) -> bool {
    let mut points = report.steps.iter().flat_map(|step| &step.points);
    points.any(|point| point.verdict == "off")
}

/// Whether all points show the same in all steps.
fn same(a: &Report, b: &Report) -> bool {
    let points = |report: &Report| -> Vec<(f64, f64, bool)> {
        let points = report.steps.iter().flat_map(|step| step.points.iter());
        points
            .map(|it| (it.volts, it.low_volts.unwrap_or(it.volts), it.floating))
            .collect()
    };
    let (a, b) = (points(a), points(b));
    a.len() == b.len()
        && a.iter()
            .zip(&b)
            .all(|(a, b)| a.2 == b.2 && (a.0 - b.0).abs() <= APART && (a.1 - b.1).abs() <= APART)
}

/// Counts of one kind.
#[derive(Debug, Clone, Copy, Default)]
pub struct Counts {
    /// Tried.
    pub tried: usize,
    /// Off in some voltage or rhythm.
    pub shows: usize,
    /// Of these, in the best group, by itself or one alike.
    pub named: usize,
    /// Of these, one alike.
    pub alike: usize,
    /// Of these, the best group has more than one set.
    pub larger: usize,
    /// The largest best group.
    pub largest: usize,
}

/// Counts by kind.
#[must_use]
pub fn by_kind(all: &[Tried]) -> BTreeMap<&'static str, Counts> {
    let mut kinds: BTreeMap<&'static str, Counts> = BTreeMap::new();
    for one in all {
        let counts = kinds.entry(one.kind).or_default();
        counts.tried += 1;
        if one.shows {
            counts.shows += 1;
            let named = matches!(one.named, Named::Itself | Named::Alike);
            counts.named += usize::from(named);
            counts.alike += usize::from(one.named == Named::Alike);
            counts.larger += usize::from(one.group > 1);
            counts.largest = counts.largest.max(one.group);
        }
    }
    kinds
}
