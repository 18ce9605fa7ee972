//! Records for tests: two real ring-outs of the smallest plan on the virtual
//! bench, and any number of others made from them; one of each other test of the van.

use std::collections::BTreeSet;

use jiff::Timestamp;
use loomproof::bench::{Bench, Settings, upset};
use loomproof::circuit::build;
use loomproof::comeback::report::Came;
use loomproof::comeback::{How, Inquiry, Position, Symptom};
use loomproof::fault::spell::parse;
use loomproof::fault::{Fault, catalogue};
use loomproof::hookup::Hookup;
use loomproof::link::{Link as _, VirtualProbe};
use loomproof::live::observe::{Patience, observe};
use loomproof::live::report::Checked;
use loomproof::live::{Observed, steps};
use loomproof::plan::model::Job;
use loomproof::powered::Powered;
use loomproof::records::paths::{MicroOhms, paths};
use loomproof::records::record::{Found, Record, Sealed, Subject, taken_text};
use loomproof::ringout::report::Verdict;
use loomproof::ringout::{Outcome, Round};
use loomproof::wiggle::Tally;
use loomproof::wiggle::report::Wiggled;
use loomproof::wiggle::round::Rounds;
use loomproof::wiggle::watchable::watchable;
use loomproof::{comeback, live, wiggle};
use loomproof_core::units::{Micros, Volts};
use loomproof_core::wire::{LeadId, Place};

use crate::campaign::site::{Site, Source};

/// What records are made from.
#[derive(Debug, Clone)]
pub struct Maker {
    pass: Record,
    faults: Record,
}

impl Maker {
    /// Rings out the smallest plan, healthy and with a fault.
    ///
    /// # Panics
    /// When that does not work.
    #[must_use]
    pub fn new() -> Self {
        let pass = ring_out("smallest", &[], 1);
        let faults = ring_out("smallest", &["exchanged@X1:4,with=X1:5"], 1);
        assert_eq!(pass.verdict, Verdict::Pass);
        assert_eq!(faults.verdict, Verdict::Faults);
        assert!(!pass.paths.is_empty());
        Self { pass, faults }
    }

    /// The record of a number: one run an hour, three or four of a harness,
    /// every seventh with a fault, every harness's first path creeping.
    ///
    /// # Panics
    /// When it cannot be written.
    #[must_use]
    pub fn record(&self, number: u32) -> Sealed {
        let faulty = number.is_multiple_of(7);
        let mut record = if faulty { &self.faults } else { &self.pass }.clone();
        record.run = format!("{number:016x}");
        let at = 1_700_000_000 + i64::from(number) * 3600;
        record.taken = taken_text(Timestamp::from_second(at).expect("a time"));
        record.simulated = false;
        record.title = format!("Plan {}", number % 5);
        // Of a harness every thousandth run, so that its runs lie apart.
        let unit = number % 30_000;
        record.subject = Subject {
            who: Some(["Ann", "Bo", "Cy"][number as usize % 3].to_owned()),
            vehicle: number.is_multiple_of(2).then(|| format!("V{unit}")),
            unit: Some(format!("U{unit}")),
            batch: Some(format!("B{}", unit / 100)),
        };
        if faulty {
            record.found = vec![Found {
                kind: "open".to_owned(),
                place: format!("X1:{}", number % 11),
                permille: 1000,
            }];
        } else if let Some(path) = record.paths.first_mut() {
            let grown = i64::from(number / 30_000) * 500_000 + i64::from(unit);
            path.ohms = path.ohms.map(|ohms| MicroOhms(ohms.0 + grown));
        }
        Sealed::new(record).expect("a record")
    }
}

impl Default for Maker {
    fn default() -> Self {
        Self::new()
    }
}

/// A real ring-out on the virtual bench, in the vehicle, as a record.
///
/// # Panics
/// When that does not work.
#[must_use]
pub fn ring_out(plan: &'static str, faults: &[&str], seed: u64) -> Record {
    let site = Site {
        source: Source::Fixture(plan),
        place: Place::Vehicle,
    };
    let site = site.load().expect("a plan");
    let faults: Vec<Fault> = faults
        .iter()
        .map(|fault| parse(fault, &site.job).expect("a fault"))
        .collect();
    let (hello, outcome) = site
        .scan(&faults, &site.settings(seed))
        .expect("a finished scan");
    let Outcome::Complete(taken) = &outcome else {
        panic!("{plan}: refused");
    };
    let report = site.report(&hello, &outcome).expect("a report");
    let all: Vec<Fault> = site.covered.iter().map(|one| one.fault.clone()).collect();
    let round = Round {
        hookup: &site.hookup,
        model: &site.model,
        taken,
    };
    let paths = paths(&[round], &all).expect("paths");
    Record::new(&report, None, paths, Subject::default()).expect("a record")
}

/// The bakery van with these clips.
fn van() -> (Job, Hookup) {
    let site = Site {
        source: Source::Fixture("bakery-van"),
        place: Place::Vehicle,
    };
    let site = site.load().expect("a plan");
    (site.job, site.hookup)
}

/// The record of a live check of the van: so many steps of it, with these faults.
///
/// # Panics
/// When that does not work.
#[must_use]
pub fn live(faults: &[&str], taken: usize) -> Record {
    let (job, hookup) = van();
    let faults: Vec<Fault> = faults
        .iter()
        .map(|fault| parse(fault, &job).expect("a fault"))
        .collect();
    let bench = Bench::powered(&job, &hookup, &faults, &[], &Settings::default());
    let probe = VirtualProbe::new(bench.expect("a bench"));
    let bench = probe.bench().clone();
    let mut link = probe.session().expect("a session");
    let leads: Vec<LeadId> = hookup.clips.iter().map(|clip| clip.lead).collect();
    let steps = steps(&job);
    let seen: Vec<Vec<Observed>> = steps
        .iter()
        .take(taken)
        .map(|step| {
            for (switch, state) in &step.moves {
                let switch = &job.electrics.switches[*switch];
                let state = &switch.states[usize::from(*state)];
                bench.set_switch(&switch.name, state).expect("at rest");
            }
            observe(&mut link, &leads, job.supply, Patience::SHORT).expect("an observation")
        })
        .collect();
    let report = live::report::report(Checked {
        job: &job,
        powered: &Powered::new(&job, &hookup).expect("a circuit"),
        steps: &steps,
        seen: &seen,
        faults: catalogue::all(&job, &hookup),
        hello: link.hello(),
    });
    Record::of(&report.expect("a report"), Subject::default()).expect("a record")
}

/// The record of a wiggle test of the van, two tenths of a second long, a joint opening.
///
/// # Panics
/// When that does not work.
#[must_use]
pub fn wiggle(upset: &str) -> Record {
    let (job, hookup) = van();
    let watch = watchable(
        &job,
        &build(&job, &hookup).expect("a model"),
        Place::Vehicle,
    );
    let upsets = [upset::parse(upset, &job).expect("an upset")];
    let bench = Bench::upset(&job, &hookup, &[], &upsets, &Settings::default());
    let mut link = VirtualProbe::new(bench.expect("a bench"))
        .session()
        .expect("a session");
    let hello = link.hello().clone();
    let mut tally = Tally::new(&watch);
    let mut rounds = Rounds::dead(&mut link, Place::Vehicle).expect("armed");
    while rounds.now() < 200_000 {
        for (at, group) in watch.groups.iter().enumerate() {
            let window = rounds.window(at, group, Micros(50_000)).expect("a window");
            tally.window(&watch, &window);
        }
    }
    let report = wiggle::report::report(Wiggled {
        job: &job,
        place: "vehicle",
        live: false,
        hello: &hello,
        watch: &watch,
        tally: &tally,
        certain: None,
        pulled: Vec::new(),
        refusal: None,
        broken_off: None,
    });
    Record::of(&report, Subject::default()).expect("a record")
}

/// The record of a comeback of the van in which nothing was asked yet.
///
/// # Panics
/// When that does not work.
#[must_use]
pub fn comeback() -> Record {
    let (job, _) = van();
    let mut inquiry = Inquiry::new(&job, Volts(12.6)).expect("an inquiry");
    let symptoms = [Symptom {
        function: 0,
        how: How::Fails,
    }];
    inquiry.suspect(&symptoms, false).expect("suspects");
    let belief = inquiry.belief(&[]).expect("a belief");
    let report = comeback::report::report(&Came {
        inquiry: &inquiry,
        belief: &belief,
        symptoms: &symptoms,
        answers: &[],
        barred: &BTreeSet::new(),
        position: &Position::default(),
        open: &BTreeSet::new(),
        battery_volts: 12.6,
        passed: false,
        simulated: false,
        probe: None,
        broken_off: true,
        repaired: &[],
        sound: &[],
    });
    Record::of(&report, Subject::default()).expect("a record")
}
