//! Nulling takes the clips' resistance away to within 20 mΩ, lead by lead; the probe
//! keeps it when it is switched off, whenever that happens.

use std::collections::BTreeMap;
use std::path::Path;

use loomproof::bench::{Bare, Bench, Defect, Settings, VirtualFlash};
use loomproof::circuit::build;
use loomproof::hookup::propose;
use loomproof::link::{Link, VirtualProbe};
use loomproof::plan::Plan;
use loomproof::probe::nulls::{Clips, apply, keep, kept, measure};
use loomproof::ringout::{Outcome, run, verdict};
use loomproof_core::circuit::Part;
use loomproof_core::instrument::{CLIP_SPREAD, NULLED_SPREAD};
use loomproof_core::units::Ohms;
use loomproof_core::wire::{ClipOhms, LeadId, MAX_LEADS, Nulls, Place};
use loomproof_firmware::memory::{Clips as Stored, Flash, Memory};

fn probe(clips: Bare, flash: &VirtualFlash, settings: &Settings) -> impl Link + use<> {
    let bench = Bench::bare(clips, settings).unwrap();
    VirtualProbe::with_flash(bench, flash.clone())
        .session()
        .unwrap()
}

fn settings(seed: u64, leads: u8) -> Settings {
    Settings {
        seed,
        leads,
        ..Settings::default()
    }
}

#[test]
fn every_lead_is_nulled_to_within_twenty_milliohms() {
    let mut worst = 0.0_f64;
    let mut squares = 0.0;
    let mut count = 0;
    for (leads, seeds) in [(16, 6), (64, 12), (128, 4)] {
        for seed in 0..seeds {
            let settings = settings(seed, leads);
            let flash = VirtualFlash::default();
            let mut link = probe(Bare::OnBar, &flash, &settings);
            let clips = measure(&mut link).unwrap();
            keep(&mut link, &clips).unwrap();
            // Switched off and on.
            drop(link);
            let mut link = probe(Bare::OnBar, &flash, &settings);
            let real = Bench::bare(Bare::OnBar, &settings).unwrap();
            for (lead, clip) in (0..leads).map(LeadId).zip(kept(&mut link).unwrap()) {
                let clip = clip
                    .unwrap_or_else(|| panic!("{lead} is not nulled"))
                    .value();
                let left = clip - real.clip_ohms(lead).unwrap().value();
                assert!(left.abs() < 0.020, "seed {seed}: {lead} is off by {left} Ω");
                worst = worst.max(left.abs());
                squares += left * left;
                count += 1;
            }
        }
    }
    let deviation = (squares / f64::from(count)).sqrt();
    println!("{count} clips: worst {worst:.4} Ω, deviation {deviation:.4} Ω");
    assert!(deviation < 0.004, "{deviation} Ω, NULLED_SPREAD takes 4 mΩ");
}

#[test]
fn a_lead_that_is_not_on_the_bar_is_said() {
    let flash = VirtualFlash::default();
    let clips = measure(&mut probe(Bare::Free, &flash, &settings(1, 16))).unwrap();
    assert_eq!(clips, vec![None; 16]);
    for defect in ["sense-open@P5", "disconnect-open@P5"] {
        let settings = Settings {
            defects: vec![Defect::parse(defect).unwrap()],
            ..settings(1, 16)
        };
        let clips = measure(&mut probe(Bare::OnBar, &flash, &settings)).unwrap();
        let missing = clips.iter().filter(|clip| clip.is_none()).count();
        if defect.starts_with("sense") {
            assert!(missing == 1 && clips[4].is_none(), "{clips:?}");
        } else {
            // Not driven it looks like no resistance; the self-test names it.
            assert!(clips[4].is_none_or(|ohms| ohms.value() < 0.01), "{clips:?}");
        }
    }
}

#[test]
fn the_record_survives_whenever_the_power_fails() {
    let numbered = |from: u16| {
        let mut clips = Stored::default();
        for first in (0..MAX_LEADS as u8).step_by(32) {
            clips.take(&Nulls {
                first: LeadId(first),
                clips: (0..32)
                    .map(|n| ClipOhms(from + u16::from(first) + n))
                    .collect(),
            });
        }
        clips
    };
    let (first, second, third) = (numbered(1_000), numbered(2_000), numbered(3_000));
    let mut news = 0;
    for cut in 0..5_000 {
        let flash = VirtualFlash::default();
        let mut memory = Flash::new(flash.clone(), 0);
        assert_eq!(memory.load(), None);
        memory.store(&first).unwrap();
        memory.store(&second).unwrap();
        flash.power_fails_after(Some(cut));
        let kept = memory.store(&third);
        flash.power_fails_after(None);
        let found = Flash::new(flash.clone(), 0).load();
        if kept.is_ok() {
            assert_eq!(found, Some(third), "cut after {cut} bytes");
            news += 1;
        } else {
            assert!(
                [Some(second), Some(third)].contains(&found),
                "cut after {cut} bytes"
            );
        }
        // And it can be kept again.
        let mut memory = Flash::new(flash, 0);
        memory.store(&third).unwrap();
        assert_eq!(memory.load(), Some(third));
    }
    assert!(news > 10, "the cuts never came too late");
}

#[test]
fn readings_are_judged_by_the_nulled_clips() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/plans/bakery-van.toml");
    let job = Plan::load(&path)
        .unwrap()
        .resolve(&BTreeMap::new())
        .unwrap();
    let hookup = propose(&job, Place::Vehicle, 64).unwrap();
    let estimate = |clips: &Clips, lead: LeadId| {
        let mut model = build(&job, &hookup).unwrap();
        apply(&mut model, clips);
        let id = model.circuit.clip_of(lead).unwrap();
        match model.circuit.elements()[usize::from(id.0)].part {
            Part::Wire { ohms, spread } => (ohms, spread),
            other => panic!("{other:?}"),
        }
    };
    let mut clips = vec![None; 64];
    clips[3] = Some(Ohms(0.173));
    assert_eq!(estimate(&clips, LeadId(3)), (Ohms(0.173), NULLED_SPREAD));
    assert_eq!(estimate(&clips, LeadId(4)).1, CLIP_SPREAD);
    // Healthy harnesses still pass, clips nulled on a bar before.
    for seed in 0..8 {
        let settings = settings(seed, 64);
        let flash = VirtualFlash::default();
        let mut link = probe(Bare::OnBar, &flash, &settings);
        let clips = measure(&mut link).unwrap();
        keep(&mut link, &clips).unwrap();
        let bench = Bench::new(&job, &hookup, &[], &settings).unwrap();
        let mut link = VirtualProbe::with_flash(bench, flash).session().unwrap();
        let mut model = build(&job, &hookup).unwrap();
        apply(&mut model, &kept(&mut link).unwrap());
        let outcome = run::run(&mut link, &model, hookup.place, &mut |_| {}).unwrap();
        assert!(matches!(outcome, Outcome::Complete(_)));
        let hello = link.hello().clone();
        let report = verdict::report(&job, &hookup, &model, &hello, &outcome).unwrap();
        assert_eq!(
            report.verdict,
            loomproof::ringout::report::Verdict::Pass,
            "seed {seed}"
        );
    }
}
