//! A wiggle test on the bench, without the command around it.

use std::path::Path;

use loomproof::bench::{Bench, Settings, Upset};
use loomproof::circuit::build;
use loomproof::hookup::{Hookup, propose};
use loomproof::link::VirtualProbe;
use loomproof::plan::Plan;
use loomproof::plan::model::Job;
use loomproof::powered::Powered;
use loomproof::powered::{HIGH, LOW};
use loomproof::wiggle::powered;
use loomproof::wiggle::round::Rounds;
use loomproof::wiggle::watchable::watchable;
use loomproof::wiggle::{Tally, Watch};
use loomproof_core::units::{Micros, Volts};
use loomproof_core::wire::Place;

/// A job of the fixtures with its default answers.
pub fn job(name: &str) -> Job {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/plans");
    let plan = Plan::load(&top.join(format!("{name}.toml"))).unwrap();
    plan.resolve(&Default::default()).unwrap()
}

/// A hook-up of a job, and what can be watched on it.
pub struct Hooked {
    pub job: Job,
    pub place: Place,
    pub hookup: Hookup,
    pub watch: Watch,
    pub live: bool,
}

impl Hooked {
    pub fn dead(job: Job, place: Place, leads: usize) -> Self {
        let hookup = propose(&job, place, leads).unwrap();
        let model = build(&job, &hookup).unwrap();
        let watch = watchable(&job, &model, place);
        Self {
            job,
            place,
            hookup,
            watch,
            live: false,
        }
    }

    pub fn live(job: Job, leads: usize) -> Self {
        let hookup = propose(&job, Place::Vehicle, leads).unwrap();
        let powered = Powered::new(&job, &hookup).unwrap();
        let rest = vec![0; job.electrics.switches.len()];
        let watch = powered::watchable(&job, &powered, &rest).unwrap();
        Self {
            job,
            place: Place::Vehicle,
            hookup,
            watch,
            live: true,
        }
    }

    /// Watches for a while of the probe's time.
    pub fn run(&self, upsets: &[Upset], (seed, leads): (u64, u8), micros: u64) -> Tally {
        let settings = Settings {
            seed,
            leads,
            ..Settings::default()
        };
        let made = if self.live {
            Bench::powered
        } else {
            Bench::upset
        };
        let bench = made(&self.job, &self.hookup, &[], upsets, &settings).unwrap();
        let mut link = VirtualProbe::new(bench).session().unwrap();
        let mut rounds = if self.live {
            let part = |share: f64| Volts(self.job.supply.0 * share);
            Rounds::live(&mut link, part(LOW), part(HIGH))
        } else {
            Rounds::dead(&mut link, self.place).unwrap()
        };
        let mut tally = Tally::new(&self.watch);
        while rounds.now() < micros {
            for (at, group) in self.watch.groups.iter().enumerate() {
                let left = u32::try_from(micros).unwrap_or(u32::MAX);
                let window = rounds.window(at, group, Micros(left)).unwrap();
                tally.window(&self.watch, &window);
            }
        }
        tally
    }
}
