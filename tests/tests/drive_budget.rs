//! All drive of the probe together stays within 5 mA in the vehicle and 20 mA on the
//! bench, in every pattern of every scan, whatever is wrong with the harness.

use std::collections::BTreeMap;

use loomproof::bench::{Bare, Bench, Settings};
use loomproof::circuit::build;
use loomproof::fault::catalogue;
use loomproof::hookup::propose;
use loomproof::link::{Loopback, Session, VirtualProbe};
use loomproof::plan::read;
use loomproof::probe::nulls::measure;
use loomproof::probe::self_test::{full, short};
use loomproof::ringout::run;
use loomproof_core::units::Amperes;
use loomproof_core::wire::{LeadId, Place};
use loomproof_tests::generator::{Form, Recipe};
use proptest::prelude::*;

/// The limits of the design (docs/probe-hardware.md, S2 and S3).
const fn limit(place: Place) -> Amperes {
    match place {
        Place::Vehicle => Amperes(5e-3),
        Place::Bench => Amperes(20e-3),
    }
}

fn most(link: &Session<Loopback>) -> Amperes {
    link.transport().probe().bench().0.borrow().most_drive()
}

fn link(bench: Bench) -> Session<Loopback> {
    VirtualProbe::new(bench).session().unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn a_ring_out_keeps_to_the_budget(
        seed in 0_u64..10_000,
        points in 8_u16..40,
        fitted in any::<bool>(),
        in_vehicle in any::<bool>(),
        fault in any::<prop::sample::Index>(),
    ) {
        let form = if fitted { Form::Vehicle } else { Form::Bench };
        let place = if fitted && in_vehicle { Place::Vehicle } else { Place::Bench };
        let recipe = Recipe { seed, points, form };
        let plan = read(&recipe.name(), &recipe.text()).unwrap();
        let job = plan.resolve(&BTreeMap::new()).unwrap();
        let Ok(hookup) = propose(&job, place, 64) else { return Ok(()) };
        let model = build(&job, &hookup).unwrap();
        let all = catalogue::all(&job, &hookup);
        let fault = fault.get(&all).clone();
        let settings = Settings { seed, ..Settings::default() };
        let Ok(bench) = Bench::new(&job, &hookup, std::slice::from_ref(&fault), &settings) else {
            return Ok(());
        };
        let mut link = link(bench);
        let leads: Vec<LeadId> = hookup.clips.iter().map(|clip| clip.lead).collect();
        short(&mut link, &leads, place).unwrap();
        prop_assert!(most(&link).0 <= limit(Place::Vehicle).0, "self-test: {}", most(&link));
        let _ = run::run(&mut link, &model, place, &mut |_| {}).unwrap();
        prop_assert!(most(&link).0 <= limit(place).0, "{fault} {place:?}: {}", most(&link));
    }
}

#[test]
fn the_probe_by_itself_keeps_to_the_budget_of_a_vehicle() {
    for seed in 0..4 {
        let settings = Settings {
            seed,
            ..Settings::default()
        };
        let mut free = link(Bench::bare(Bare::Free, &settings).unwrap());
        full(&mut free).unwrap();
        let mut bar = link(Bench::bare(Bare::OnBar, &settings).unwrap());
        measure(&mut bar).unwrap();
        for current in [most(&free), most(&bar)] {
            assert!(current.0 <= limit(Place::Vehicle).0, "{current}");
        }
        // A short to the bar draws what one source can give, so something was measured.
        assert!(most(&bar).0 > 4.3e-3, "{}", most(&bar));
    }
}
