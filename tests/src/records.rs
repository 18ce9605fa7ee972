//! Records for tests: two real ring-outs of the smallest plan on the virtual
//! bench, and any number of others made from them.

use jiff::Timestamp;
use loomproof::fault::Fault;
use loomproof::fault::spell::parse;
use loomproof::records::paths::{MicroOhms, paths};
use loomproof::records::record::{Found, Record, Sealed, Subject, taken_text};
use loomproof::ringout::report::Verdict;
use loomproof::ringout::{Outcome, Round};
use loomproof_core::wire::Place;

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
