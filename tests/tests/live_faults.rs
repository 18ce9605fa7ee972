//! A live check finds and names what is wrong with the battery on: faults of the
//! wiring and what vehicle and consumers do not do. The truth is the powered bench,
//! which knows nothing of the model that explains it. The example `live_sweep` tries
//! everything at every place (`docs/live-faults.md`); here it is a sample.

use loomproof::live::observe::Patience;
use loomproof::ringout::report::Verdict;
use loomproof_tests::live_sweep::{Named, Site, Tried, by_kind};
use loomproof_tests::schemas::{fits, validator};

#[test]
fn a_healthy_vehicle_passes() {
    for (name, seeds, patience) in [
        ("bakery-van", 6, Patience::SHORT),
        ("socket-13-pin", 1, Patience::FULL),
    ] {
        let site = Site::of(name).unwrap();
        for seed in 0..seeds {
            let report = site.check(&[], &[], seed, patience).unwrap();
            assert_eq!(report.verdict, Verdict::Pass, "{name} {seed}: {report:#?}");
            fits(
                &validator("schemas/live.schema.json"),
                &serde_json::to_value(&report).unwrap(),
            );
        }
    }
}

/// A sample of everything, the odd or the even ones of it.
fn tried(half: usize) -> Vec<Tried> {
    let mut tried = Vec::new();
    for (name, every) in [("bakery-van", 47), ("socket-13-pin", 143)] {
        let site = Site::of(name).unwrap();
        let sample = site.all().into_iter().step_by(every);
        let sample = sample.skip(half).step_by(2);
        tried.extend(sample.map(|wrong| site.tried(&wrong).unwrap()));
    }
    tried
}

#[test]
fn what_shows_is_found_and_named() {
    let other = std::thread::spawn(|| tried(1));
    let mut all = tried(0);
    all.extend(other.join().unwrap());
    for (kind, counts) in by_kind(&all) {
        println!("{kind}: {} of {} show", counts.shows, counts.tried);
    }
    let seen: Vec<&Tried> = all.iter().filter(|one| one.shows).collect();
    let missed: Vec<&&Tried> = seen
        .iter()
        .filter(|one| matches!(one.named, Named::Other | Named::Unexplained))
        .collect();
    println!("{} of {} not named: {missed:#?}", missed.len(), seen.len());
    assert!(seen.len() > 8, "{}", seen.len());
    assert!(missed.len() * 10 <= seen.len(), "{missed:#?}");
}

/// What each needs: the current of a short circuit through the vehicle's own ways, and
/// what blows by it; a lamp that flashes too weakly to count as flashing; a feed that is
/// lower than a battery sags.
#[test]
fn what_draws_much_or_flashes_weakly_is_named() {
    for (name, hard) in [
        (
            "bakery-van",
            [
                "short@W14,with=W6",
                "short@W22,with=W5",
                "voltage@C7,volts=8",
            ],
        ),
        (
            "socket-13-pin",
            ["short@W4,with=W9", "exchanged@X20:3,with=X20:5", "open@W3"],
        ),
    ] {
        let site = Site::of(name).unwrap();
        for wanted in hard {
            let all = site.all().into_iter();
            let wrong = all.into_iter().find(|wrong| wrong.0.to_string() == wanted);
            let tried = site.tried(&wrong.unwrap()).unwrap();
            assert!(matches!(tried.named, Named::Itself), "{tried:#?}");
        }
    }
}
