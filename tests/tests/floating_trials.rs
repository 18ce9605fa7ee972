//! A point that floats is told from one at 0 V and from a module's input of 10 kΩ, on
//! probes and clips with tolerance and noise: no confusion in 10,000 looks.

use std::fmt::Write as _;

use loomproof::bench::{Bench, Settings};
use loomproof::hookup::{Clip, Hookup, Mated, Point};
use loomproof::link::VirtualProbe;
use loomproof::live::observe::{Patience, observe};
use loomproof::plan::model::Side;
use loomproof::plan::read;
use loomproof_core::wire::{LeadId, Place};

/// What hangs on a conductor, and whether it floats then.
const HANGS: [(&str, bool); 3] = [("none", true), ("0.1 ohm", false), ("10 kohm", false)];

const POINTS: u8 = 15;

/// Conductors with each in turn.
fn plan() -> String {
    let mut text = String::from(
        "plan = 1\ntitle = \"Fifteen wires\"\n\
         [connector.X1]\ncavities = 15\nplace = \"bench\"\n\
         [connector.X2]\ncavities = 1\nplace = \"bench\"\n\
         [lead.W1]\ncolour = \"BN\"\nsize = \"0.5 mm2\"\nlength = \"1 m\"\nfrom = \"X2:1\"\nto = \"G1\"\n\
         [ring.G1]\non = \"chassis\"\n",
    );
    for (at, (load, _)) in (1..=POINTS).zip(HANGS.iter().cycle()) {
        let _ = writeln!(
            text,
            "[conductor.K{at}]\nat = \"X1:{at}\"\ncolour = \"VT\"\nload = \"{load}\""
        );
    }
    text
}

#[test]
fn what_floats_is_never_taken_for_what_is_held() {
    let plan = read("fifteen.toml", &plan()).unwrap();
    let job = plan.resolve(&Default::default()).unwrap();
    let clips = (0..POINTS).map(|lead| Clip {
        lead: LeadId(lead),
        point: Point::Cavity {
            connector: "X1".to_owned(),
            cavity: u16::from(lead) + 1,
            side: Side::Wire,
        },
    });
    let hookup = Hookup {
        place: Place::Vehicle,
        clips: clips.collect(),
        mated: Mated::default(),
    };
    let leads: Vec<LeadId> = (0..POINTS).map(LeadId).collect();
    let (mut looks, mut nearest) = (0, (0.0_f64, f64::INFINITY));
    for seed in 1.. {
        let settings = Settings {
            seed,
            leads: 16,
            ..Settings::default()
        };
        let bench = Bench::powered(&job, &hookup, &[], &[], &settings).unwrap();
        let mut link = VirtualProbe::new(bench).session().unwrap();
        let seen = observe(&mut link, &leads, job.supply, Patience::SHORT).unwrap();
        for (one, (load, floats)) in seen.iter().zip(HANGS.iter().cycle()) {
            assert_eq!(one.floats(), *floats, "seed {seed}, {load}: {one:?}");
            let (down, up) = one.pulled.expect("nothing is live");
            let moves = (up - down).0;
            match floats {
                false => nearest.0 = nearest.0.max(moves),
                true => nearest.1 = nearest.1.min(moves),
            }
            looks += 1;
        }
        if looks >= 10_000 {
            break;
        }
    }
    // 10 kΩ and the 22 kΩ before the sense bus, against a pull of 100 kΩ:
    // 3.3 V · 32 / 132 = 0.80 V; the limit is 2.5 V.
    assert!(nearest.0 < 0.9 && nearest.1 > 3.2, "{nearest:?}");
}
