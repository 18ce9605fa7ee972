//! The mistakes of the one who kneels there, and a vehicle that wakes up: each is
//! recognised and said in words of its own; none is a pass.

use loomproof::bench::{Bare, Bench, Charge, Settings};
use loomproof::circuit::build_for_another;
use loomproof::fault::Fault;
use loomproof::fault::spell::parse;
use loomproof::hookup::{Clip, Hookup, propose};
use loomproof::link::{Link, LinkError, Loopback, Session, VirtualProbe};
use loomproof::plan::Plan;
use loomproof::ringout::other_answers::doubt_answers;
use loomproof::ringout::report::{Report, Verdict};
use loomproof::ringout::run::Progress;
use loomproof::ringout::text::{Detail, render};
use loomproof::ringout::{Outcome, Round, run};
use loomproof_core::units::{Farads, Ohms, Volts};
use loomproof_core::wire::{Hello, Place, Refusal, Reply, Request};
use loomproof_tests::campaign::site::{Loaded, Site, Source};
use loomproof_tests::skip::top;

fn site(plan: &'static str, place: Place) -> Loaded {
    let source = Source::Fixture(plan);
    Site { source, place }.load().unwrap()
}

fn faults(site: &Loaded, spellings: &[&str]) -> Vec<Fault> {
    let fault = |text: &&str| parse(text, &site.job).unwrap();
    spellings.iter().map(fault).collect()
}

/// Rings out by one plan and hook-up what is really on the bench.
fn rung_out(site: &Loaded, bench: Bench) -> Report {
    let mut link = VirtualProbe::new(bench).session().unwrap();
    let outcome = run::run(&mut link, &site.model, site.site.place, &mut |_| {}).unwrap();
    site.report(link.hello(), &outcome).unwrap()
}

/// The same, with another answer to a question of the plan thought of.
fn doubted(plan: &Plan, site: &Loaded, bench: Bench) -> Report {
    let mut link = VirtualProbe::new(bench).session().unwrap();
    let outcome = run::run(&mut link, &site.model, site.site.place, &mut |_| {}).unwrap();
    let mut report = site.report(link.hello(), &outcome).unwrap();
    let Outcome::Complete(taken) = &outcome else {
        panic!("{outcome:?}");
    };
    let round = Round {
        hookup: &site.hookup,
        model: &site.model,
        taken,
    };
    doubt_answers(plan, &site.job, &[round], &mut report);
    report
}

fn said(report: &Report) -> String {
    render(report, Detail::Plain)
        .replace('\n', " ")
        .replace("  ", " ")
}

#[track_caller]
fn says(report: &Report, words: &[&str]) {
    let text = said(report);
    for word in words {
        assert!(text.contains(word), "{word:?} is not in:\n{text}");
    }
}

#[test]
fn a_harness_that_is_not_connected_is_one_finding() {
    for plan in ["smallest", "socket-13-pin"] {
        let site = site(plan, Place::Vehicle);
        let bench = Bench::bare(Bare::Free, &site.settings(1)).unwrap();
        let report = rung_out(&site, bench);
        assert_eq!(report.verdict, Verdict::Faults);
        let first = report.first.as_ref().expect("something about the whole");
        assert!(first.say.starts_with("Nothing is connected"), "{first:?}");
        says(&report, &["Nothing is connected", "its plugs are in"]);
        // Said before any wire is doubted.
        let text = said(&report);
        let wire = text.find("No connection where").unwrap_or(text.len());
        assert!(text.find("Nothing is connected").unwrap() < wire, "{text}");
    }
}

#[test]
fn a_single_open_wire_is_not_called_unconnected() {
    let site = site("socket-13-pin", Place::Vehicle);
    let open = faults(&site, &["tap-missed@T4"]);
    let bench = Bench::new(&site.job, &site.hookup, &open, &site.settings(1)).unwrap();
    let report = rung_out(&site, bench);
    assert_eq!(report.verdict, Verdict::Faults);
    assert_eq!(report.first, None);
}

/// Every clip on the point of the next one, or of the one before.
fn one_off(hookup: &Hookup, by: usize) -> Hookup {
    let clips = &hookup.clips;
    let clip = |(at, clip): (usize, &Clip)| Clip {
        lead: clip.lead,
        point: clips[(at + by) % clips.len()].point.clone(),
    };
    Hookup {
        place: hookup.place,
        clips: clips.iter().enumerate().map(clip).collect(),
        mated: hookup.mated.clone(),
    }
}

#[test]
fn all_clips_one_off_are_one_finding() {
    let site = site("socket-13-pin", Place::Vehicle);
    for (by, way) in [(1, "after"), (site.hookup.clips.len() - 1, "before")] {
        let really = one_off(&site.hookup, by);
        let bench = Bench::new(&site.job, &really, &[], &site.settings(1)).unwrap();
        let report = rung_out(&site, bench);
        assert_eq!(report.verdict, Verdict::Faults);
        says(
            &report,
            &[
                "The clips sit one off, all of them",
                way,
                "Leave the wires as they are",
            ],
        );
        assert!(report.groups.len() <= 5, "{}", report.groups.len());
    }
}

#[test]
fn another_harness_than_the_plan_says_does_not_pass() {
    let plan = site("socket-13-pin", Place::Vehicle);
    let other = site("bakery-van", Place::Vehicle);
    let settings = Settings {
        leads: plan.probe_leads,
        ..other.settings(1)
    };
    let bench = Bench::new(&other.job, &other.hookup, &[], &settings).unwrap();
    let report = rung_out(&plan, bench);
    assert_eq!(report.verdict, Verdict::Faults);
    assert!(report.lost || report.first.is_some(), "{}", said(&report));
    if report.first.is_none() {
        says(
            &report,
            &["is this the plan of this harness?", "Are the answers"],
        );
    }
}

/// The vehicle is another than was answered: said, before several wires are blamed.
#[test]
fn a_wrong_answer_is_thought_of() {
    let plan = Plan::load(&top().join("fixtures/plans/bakery-van.toml")).unwrap();
    let answered = |option: &str, answer: &str| {
        let answers = [(option.to_owned(), answer.to_owned())];
        plan.resolve(&answers.into_iter().collect()).unwrap()
    };
    let (mut told, mut loose) = (0, 0);
    for option in plan.options() {
        for (given, really) in [(0, 1), (1, 0)] {
            let (given, really) = (&option.choices[given], &option.choices[really]);
            let site = Site {
                source: Source::Fixture("bakery-van"),
                place: Place::Vehicle,
            };
            let job = answered(&option.name, given);
            let hookup = propose(&job, Place::Vehicle, 64).unwrap();
            let site = Loaded::new(site, job, 64, hookup).unwrap();
            let other = answered(&option.name, really);
            // A clip for a point that is not there hangs on nothing.
            let (_, without) = build_for_another(&other, &site.hookup).unwrap();
            let mut really_on = site.hookup.clone();
            really_on
                .clips
                .retain(|clip| !without.contains(&clip.point));
            let bench = Bench::new(&other, &really_on, &[], &site.settings(1)).unwrap();
            let report = doubted(&plan, &site, bench);
            assert_eq!(report.verdict, Verdict::Faults, "{} {given}", option.name);
            let (if_it_is, again) = (
                format!("if the answer is \"{really}\" and not \"{given}\""),
                format!("`--answer {}={really}`", option.name),
            );
            says(&report, &[&if_it_is, &option.ask, &again]);
            for point in &without {
                says(&report, &["There is no", &point.to_string()]);
            }
            told += 1;
            loose += without.len();
        }
    }
    assert_eq!(told, 4);
    assert!(
        loose > 0,
        "without the second battery its points are missing"
    );
}

/// One wire that only the given answer has, and is open, reads as if it were not there:
/// the wire is spoken of and no answer doubted.
#[test]
fn an_open_wire_is_no_reason_to_doubt_an_answer() {
    let plan = Plan::load(&top().join("fixtures/plans/bakery-van.toml")).unwrap();
    let answered = |answer: &str| {
        let answers = [("second-battery".to_owned(), answer.to_owned())];
        plan.resolve(&answers.into_iter().collect()).unwrap()
    };
    let (job, other) = (answered("yes"), answered("no"));
    let hookup = propose(&job, Place::Vehicle, 64).unwrap();
    let source = Source::Fixture("bakery-van");
    let place = Place::Vehicle;
    let site = Loaded::new(Site { source, place }, job, 64, hookup).unwrap();
    let (_, without) = build_for_another(&other, &site.hookup).unwrap();
    assert!(!without.is_empty());
    for point in without {
        let open = faults(&site, &[&format!("open@{}", point.end())]);
        let bench = Bench::new(&site.job, &site.hookup, &open, &site.settings(1)).unwrap();
        let report = doubted(&plan, &site, bench);
        assert_eq!(report.verdict, Verdict::Faults, "{point}");
        assert!(report.first.is_none(), "{point}: {}", said(&report));
    }
}

#[test]
fn probe_leads_that_touch_are_thought_of_first() {
    let site = site("smallest", Place::Vehicle);
    let touching = faults(&site, &["short@W1,with=W2"]);
    let bench = Bench::new(&site.job, &site.hookup, &touching, &site.settings(1)).unwrap();
    let report = rung_out(&site, bench);
    assert_eq!(report.verdict, Verdict::Faults);
    says(&report, &["no two probe leads touch"]);
}

#[test]
fn a_battery_that_was_left_on_is_said() {
    let site = site("smallest", Place::Vehicle);
    let on = faults(&site, &["live@X1:4,volts=12"]);
    let bench = Bench::new(&site.job, &site.hookup, &on, &site.settings(1)).unwrap();
    let report = rung_out(&site, bench);
    assert_eq!(report.verdict, Verdict::Refused);
    says(&report, &["is live", "Disconnect the battery"]);
}

/// Something in the vehicle is switched on before the n-th request.
struct Switching {
    link: Session<Loopback>,
    left: usize,
}

impl Link for Switching {
    fn hello(&self) -> &Hello {
        self.link.hello()
    }

    fn exchange(&mut self, request: &Request) -> Result<Reply, LinkError> {
        if self.left == 0 {
            let bench = self.link.transport().probe().bench();
            bench.0.borrow_mut().switch_live(true);
        }
        self.left = self.left.wrapping_sub(1);
        let reply = self.link.exchange(request);
        let bench = self.link.transport().probe().bench();
        assert_eq!(bench.0.borrow().driven().count(), 0, "after {request:?}");
        reply
    }
}

/// Ignition, or a plugged module that wakes up, in the middle of the test.
#[test]
fn what_comes_alive_in_mid_test_is_never_a_pass() {
    for plan in ["smallest", "socket-13-pin"] {
        let site = site(plan, Place::Vehicle);
        let steps = site.first.len();
        let (at, lead) = (site.hookup.clips[0].point.end(), site.hookup.clips[0].lead);
        for volts in ["12", "5", "-0.45"] {
            let fault = faults(&site, &[&format!("live@{at},volts={volts}")]);
            for n in 1..=steps {
                let mut bench =
                    Bench::new(&site.job, &site.hookup, &fault, &site.settings(1)).unwrap();
                bench.switch_live(false);
                let link = VirtualProbe::new(bench).session().unwrap();
                let mut link = Switching { link, left: n };
                let place = site.site.place;
                let outcome = run::run(&mut link, &site.model, place, &mut |_| {}).unwrap();
                let report = site.report(link.hello(), &outcome).unwrap();
                let when = format!("{plan}, {volts} V before request {n}");
                let Outcome::Refused(stop) = outcome else {
                    // Too little for the comparators, and on a lead that had all its
                    // readings before.
                    let touched = site.first[n - 1..].iter().any(|planned| {
                        let step = &planned.step;
                        step.high.contains(lead)
                            || step.low.contains(lead)
                            || step.senses.iter().any(|sense| sense.lead == lead)
                    });
                    let small = volts == "-0.45" && !touched;
                    assert!(small || report.verdict != Verdict::Pass, "{when}");
                    continue;
                };
                assert!(
                    matches!(
                        stop.refusal,
                        Refusal::Live(..) | Refusal::Moves(..) | Refusal::Tripped
                    ),
                    "{when}: {stop:?}"
                );
                assert_eq!(report.verdict, Verdict::Refused, "{when}");
                says(&report, &["Nothing is driven", "battery"]);
            }
        }
    }
}

/// Nothing is driven while its clip has more than the limit on it.
struct Watched(Session<Loopback>);

impl Link for Watched {
    fn hello(&self) -> &Hello {
        self.0.hello()
    }

    fn exchange(&mut self, request: &Request) -> Result<Reply, LinkError> {
        let reply = self.0.exchange(request);
        let bench = self.0.transport().probe().bench();
        assert_eq!(bench.0.borrow().driven().count(), 0, "after {request:?}");
        reply
    }
}

/// What is left on a module's capacitors when the battery has gone: waited out, however
/// large it is, unless something keeps it up. No vehicle at rest is refused for ever.
#[test]
fn charge_left_on_a_module_is_waited_out() {
    let site = site("smallest", Place::Vehicle);
    let charge = |volts, farads, through, bleed| Charge {
        at: "K1".to_owned(),
        volts: Volts(volts),
        farads: Farads(farads),
        through: Ohms(through),
        bleed: Ohms(bleed),
    };
    // What a capacitor of the vehicle keeps from settling is undecided, not a pass.
    for (name, charge, verdict, seconds) in [
        ("small", charge(12.0, 10e-6, 100.0, 100e3), Verdict::Pass, 3),
        (
            "large",
            charge(12.0, 1e-3, 10.0, 20e3),
            Verdict::Undecided,
            120,
        ),
        (
            "behind a load",
            charge(12.0, 100e-6, 1e3, 47e3),
            Verdict::Undecided,
            60,
        ),
        ("below", charge(-0.45, 47e-6, 100.0, 47e3), Verdict::Pass, 6),
    ] {
        let settings = site.settings(1);
        let bench = Bench::charged(&site.job, &site.hookup, &[], &[charge], &settings).unwrap();
        let mut link = Watched(VirtualProbe::new(bench).session().unwrap());
        let mut falling = Vec::new();
        let mut told = |progress| {
            if let Progress::Charge(_, mv) = progress {
                falling.push(mv);
            }
        };
        let outcome = run::run(&mut link, &site.model, site.site.place, &mut told).unwrap();
        let report = site.report(link.hello(), &outcome).unwrap();
        assert_eq!(report.verdict, verdict, "{name}: {}", said(&report));
        let bench = link.0.transport().probe().bench();
        let bench = bench.0.borrow();
        assert_eq!(bench.trouble(), None, "{name}");
        let taken = bench.now_ns() / 1_000_000_000;
        assert!(taken < seconds, "{name}: {taken} s");
        if verdict == Verdict::Undecided {
            says(&report, &["prove nothing", "T1"]);
            assert!(
                falling.windows(2).any(|pair| pair[1] < pair[0]),
                "{name}: {falling:?}"
            );
        }
    }
}

/// The same words as ever for what is held: a source is waited for a second, no longer.
#[test]
fn what_is_held_is_not_waited_for() {
    let site = site("smallest", Place::Vehicle);
    for volts in ["12", "3", "-0.45"] {
        let live = faults(&site, &[&format!("live@X1:4,volts={volts}")]);
        let bench = Bench::new(&site.job, &site.hookup, &live, &site.settings(1)).unwrap();
        let mut link = Watched(VirtualProbe::new(bench).session().unwrap());
        let mut told = |progress| assert!(matches!(progress, Progress::Looking), "{progress:?}");
        let outcome = run::run(&mut link, &site.model, site.site.place, &mut told).unwrap();
        assert!(matches!(outcome, Outcome::Refused(_)), "{volts} V");
        let bench = link.0.transport().probe().bench();
        let ms = bench.0.borrow().now_ns() / 1_000_000;
        assert!(ms < 2_000, "{volts} V: {ms} ms");
    }
}
