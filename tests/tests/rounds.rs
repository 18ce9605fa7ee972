//! A probe with fewer leads than there are points: the rounds are few, and
//! bring everything together that one round with leads enough would.

use std::collections::BTreeMap;

use loomproof::bench::{Bench, Settings};
use loomproof::circuit::{Model, build};
use loomproof::diagnosis::coverage::{Covered, coverage_of_rounds};
use loomproof::fault::{Fault, catalogue};
use loomproof::hookup::rounds::rounds;
use loomproof::hookup::{Hookup, Within};
use loomproof::link::{Link, VirtualProbe};
use loomproof::plan::model::Job;
use loomproof::ringout::report::{Report, Verdict};
use loomproof::ringout::verdict::{Scanned, report_scanned};
use loomproof::ringout::{Outcome, Round, Rung, run};
use loomproof_core::wire::Hello;
use loomproof_tests::campaign::site::{FIXTURES, Site};

/// Leads of the probes that are asked for.
const LEADS: [usize; 3] = [8, 16, 32];

/// Rounds may be so many times what cannot be beaten.
const OVER: f64 = 1.15;

struct InRounds {
    job: Job,
    hookups: Vec<Hookup>,
    models: Vec<Model>,
    covered: Vec<Covered>,
    least: usize,
}

impl InRounds {
    fn of(site: Site, leads: usize) -> Self {
        let job = site.load().unwrap().job;
        let planned = rounds(&job, site.place, leads, &Within::Everything).unwrap();
        let models: Vec<Model> = planned
            .hookups
            .iter()
            .map(|hookup| build(&job, hookup).unwrap())
            .collect();
        let refs: Vec<&Model> = models.iter().collect();
        let listed = catalogue::of_rounds(&job, &planned.hookups);
        Self {
            covered: coverage_of_rounds(&refs, &listed).unwrap(),
            hookups: planned.hookups,
            least: planned.least,
            models,
            job,
        }
    }

    /// Rings all rounds out with these faults; a mistake with a clip in the first
    /// round that has the clip.
    fn ring_out(&self, faults: &[Fault], seed: u64) -> Report {
        let mut rungs: Vec<Rung> = Vec::new();
        let mut hello: Option<Hello> = None;
        let mut slipped = false;
        for (hookup, model) in self.hookups.iter().zip(&self.models) {
            let settings = Settings {
                seed,
                leads: hookup.clips.len().div_ceil(16) as u8 * 16,
                ..Settings::default()
            };
            let operators = faults.iter().any(Fault::is_operators);
            let bench = match Bench::new(&self.job, hookup, faults, &settings) {
                Ok(bench) if !(operators && slipped) => {
                    slipped = true;
                    bench
                }
                _ if operators => Bench::new(&self.job, hookup, &[], &settings).unwrap(),
                other => other.unwrap(),
            };
            let mut link = VirtualProbe::new(bench).session().unwrap();
            let outcome = run::run(&mut link, model, hookup.place, &mut |_| {}).unwrap();
            let Outcome::Complete(taken) = outcome else {
                panic!("{outcome:?}");
            };
            hello = Some(link.hello().clone());
            rungs.push(Rung {
                hookup: hookup.clone(),
                model: model.clone(),
                taken,
                clips: Vec::new(),
                set_anew: false,
            });
        }
        let judged: Vec<Round<'_>> = rungs.iter().map(Rung::round).collect();
        let scan = Scanned {
            rounds: &judged,
            stop: None,
            covered: &self.covered,
            again: &[],
        };
        report_scanned(&self.job, &scan, &hello.unwrap()).unwrap()
    }
}

fn wiring(covered: &[Covered]) -> BTreeMap<String, bool> {
    covered
        .iter()
        .filter(|one| !one.fault.is_operators())
        .map(|one| (one.fault.to_string(), one.covered))
        .collect()
}

#[test]
fn rounds_are_hardly_more_than_cannot_be_beaten() {
    for site in FIXTURES {
        let job = site.load().unwrap().job;
        for leads in LEADS {
            let found = rounds(&job, site.place, leads, &Within::Everything).unwrap();
            let (rounds, least) = (found.hookups.len(), found.least);
            println!(
                "{} with {leads} leads: {rounds} rounds, at least {least}",
                site.name()
            );
            assert!(
                rounds as f64 <= OVER * least as f64,
                "{} with {leads} leads: {rounds} rounds, {least} would be the least",
                site.name()
            );
        }
    }
}

#[test]
fn what_one_round_shows_of_the_wiring_several_show_as_well() {
    for site in FIXTURES {
        let one = InRounds::of(
            *site,
            loomproof::hookup::needed(&site.load().unwrap().job, site.place).len(),
        );
        assert_eq!(one.hookups.len(), 1);
        let whole = wiring(&one.covered);
        for leads in LEADS {
            let several = InRounds::of(*site, leads);
            let parts = wiring(&several.covered);
            let lost: Vec<&String> = whole
                .iter()
                .filter(|(fault, covered)| **covered && parts.get(*fault) != Some(&true))
                .map(|(fault, _)| fault)
                .collect();
            println!(
                "{} with {leads} leads, {} rounds (least {}): {} of {} faults of the wiring seen",
                site.name(),
                several.hookups.len(),
                several.least,
                parts.values().filter(|covered| **covered).count(),
                parts.len()
            );
            assert!(
                lost.is_empty(),
                "{} with {leads} leads: {lost:?}",
                site.name()
            );
        }
    }
}

#[test]
fn healthy_harnesses_pass_and_faults_are_named_over_all_rounds() {
    for site in FIXTURES {
        for leads in LEADS {
            let all = InRounds::of(*site, leads);
            if all.hookups.len() == 1 {
                continue;
            }
            for seed in 1..=4 {
                let report = all.ring_out(&[], seed);
                assert_eq!(report.verdict, Verdict::Pass, "{} seed {seed}", site.name());
            }
            let seen: Vec<&Covered> = all
                .covered
                .iter()
                .filter(|one| one.covered && one.fault.kind() != "live")
                .collect();
            let (mut tried, mut named) = (0, 0);
            for (at, one) in seen.iter().enumerate().step_by(seen.len().div_ceil(7)) {
                let report = all.ring_out(std::slice::from_ref(&one.fault), 100 + at as u64);
                assert_eq!(
                    report.verdict,
                    Verdict::Faults,
                    "{} with {leads} leads: {}",
                    site.name(),
                    one.fault
                );
                let spelled = one.fault.to_string();
                let same =
                    |said: &str| said.split(",ohms=").next() == spelled.split(",ohms=").next();
                let best = report.groups.first().unwrap();
                let holds = best
                    .sets
                    .iter()
                    .any(|set| set.len() == 1 && same(&set[0].fault));
                tried += 1;
                named += usize::from(holds);
                assert!(
                    holds,
                    "{} with {leads} leads: {spelled}: {:?}",
                    site.name(),
                    best.sets
                        .iter()
                        .map(|set| set.iter().map(|f| &f.fault).collect::<Vec<_>>())
                        .collect::<Vec<_>>()
                );
            }
            println!(
                "{} with {leads} leads: {named} of {tried} faults named",
                site.name()
            );
        }
    }
}
