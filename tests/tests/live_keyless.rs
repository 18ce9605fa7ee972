//! The live check sees by itself that somebody moved a switch.

use std::time::{Duration, Instant};

use loomproof::bench::hal::Shared;
use loomproof::bench::{Bench, Settings};
use loomproof::link::{Link, LinkError, Loopback, Session, VirtualProbe};
use loomproof::live::moved::until_moved;
use loomproof::live::observe::{Patience, observe};
use loomproof_core::wire::{Hello, LeadId, Place, Reply, Request};
use loomproof_tests::campaign::site::{Site, Source};

/// A link to a vehicle in which somebody moves a switch before the request of this
/// number.
struct Moving {
    session: Session<Loopback>,
    bench: Shared,
    requests: usize,
    at: usize,
}

impl Link for Moving {
    fn hello(&self) -> &Hello {
        self.session.hello()
    }

    fn exchange(&mut self, request: &Request) -> Result<Reply, LinkError> {
        self.requests += 1;
        if self.requests == self.at {
            self.bench.set_switch("ignition", "on").unwrap();
        }
        self.session.exchange(request)
    }
}

#[test]
fn a_moved_switch_is_seen_once_the_points_rest() {
    let site = Site {
        source: Source::Fixture("bakery-van"),
        place: Place::Vehicle,
    };
    let site = site.load().unwrap();
    let bench = Bench::powered(&site.job, &site.hookup, &[], &[], &Settings::default()).unwrap();
    let probe = VirtualProbe::new(bench);
    let mut link = Moving {
        bench: probe.bench().clone(),
        session: probe.session().unwrap(),
        requests: 0,
        at: usize::MAX,
    };
    // A few points are enough, one of them behind the ignition.
    let clips = site.hookup.clips.iter();
    let leads: Vec<LeadId> = clips
        .filter(|clip| ["FB:2", "X1:3", "X2:7"].contains(&clip.point.to_string().as_str()))
        .map(|clip| clip.lead)
        .collect();
    assert_eq!(leads.len(), 3);
    let before = observe(&mut link, &leads, site.job.supply, Patience::FULL).unwrap();
    let moves_at = link.requests + 40;
    link.at = moves_at;
    let began = Instant::now();
    assert!(until_moved(&mut link, &leads, &before, site.job.supply).unwrap());
    assert!(link.requests > moves_at, "it did not wait for the switch");
    assert!(
        began.elapsed() >= Duration::from_millis(1_500),
        "the points have to rest first"
    );
    let after = observe(&mut link, &leads, site.job.supply, Patience::FULL).unwrap();
    let rose = before.iter().zip(&after);
    assert!(rose.into_iter().any(|(was, is)| is.on.0 - was.on.0 > 10.0));
}
