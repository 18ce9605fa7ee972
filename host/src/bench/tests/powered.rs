//! The battery on: what stands where, by sums made by hand.

use crate::bench::testing::{
    Mode, Rig, at, conductor, connector, empty_job, fault, hookup, lead, part,
};
use crate::bench::tests::powered_plans::settings;
use crate::bench::{Bench, BenchError, Settings, Upset};
use crate::fault::{Fault, Touches};
use crate::hookup::Hookup;
use crate::plan::model::{Side::Mating, *};
use loomproof_core::units::{Amperes, Ohms, Volts};
use loomproof_core::wire::{LeadId, Place};

/// Battery, feed with a 10 A fuse, and the other parts without spread, Ω.
const BATTERY: f64 = 0.010;
const FEED: f64 = 0.020 + 0.08 / 10.0;
const CRIMP: f64 = 0.002;
const CONTACT: f64 = 0.004;
const BITE: f64 = 0.008;
const BOLT: f64 = 0.003;
/// 1 m of 0.5 mm².
const LEAD: f64 = 0.017_241 / 0.5;
/// From a conductor over a tap and a lead to the mating side of a cavity.
const TAPPED: f64 = BITE + CRIMP + LEAD + CRIMP + CONTACT;

pub(super) fn plain(leads: u8) -> Settings {
    Settings {
        leads,
        ..settings(1, false)
    }
}

pub(super) fn switch(name: &str) -> Switch {
    Switch {
        name: name.into(),
        states: vec!["off".into(), "on".into()],
        between: None,
        closed_in: vec!["on".into()],
        fused: None,
        place: None,
    }
}

pub(super) fn on(name: &str) -> Option<States> {
    Some(States::Is(name.into(), "on".into()))
}

fn tap(name: &str, on: &str) -> Tap {
    Tap {
        name: name.into(),
        on: on.into(),
        place: None,
    }
}

fn ring(name: &str, on: RingOn) -> Ring {
    Ring {
        name: name.into(),
        on,
        place: None,
    }
}

fn load(name: &str, plus: Terminal, minus: Terminal, ohms: f64) -> Consumer {
    Consumer {
        name: name.into(),
        between: (plus, minus),
        draws: Draw::Resistance(Ohms(ohms)),
        volts: None,
        needs: None,
        sort: Sort::Resistor,
        place: None,
    }
}

/// K1 and K2 are fed by switches of their own through 10 A and have 5 Ω to
/// chassis; taps on both lead to X1:1 and X1:2.
pub(super) fn two_feeds() -> Job {
    let feed = |switch: &str| Behaviour {
        plus_when: on(switch),
        fused: Some(Amperes(10.0)),
        draws: Some(Draw::Resistance(Ohms(5.0))),
        ..Behaviour::UNKNOWN
    };
    let mut job = Job {
        connectors: vec![connector("X1", 4, true), connector("FB", 4, false)],
        conductors: vec![
            conductor("K1", "FB", 2, Load::None),
            conductor("K2", "FB", 3, Load::None),
        ],
        leads: vec![
            lead("W1", End::Tap("T1".into()), at("X1", 1)),
            lead("W2", End::Tap("T2".into()), at("X1", 2)),
        ],
        taps: vec![tap("T1", "K1"), tap("T2", "K2")],
        ..empty_job()
    };
    job.electrics.switches = vec![switch("one"), switch("two")];
    job.electrics.behaviours.insert("K1".into(), feed("one"));
    job.electrics.behaviours.insert("K2".into(), feed("two"));
    job
}

pub(super) fn clips() -> Hookup {
    hookup(Place::Vehicle, &[("X1", 1, Mating), ("X1", 2, Mating)])
}

fn bench(job: &Job, faults: &[Fault], upsets: &[Upset]) -> Bench {
    Bench::powered(job, &clips(), faults, upsets, &plain(16)).expect("a bench")
}

fn stands(bench: &Bench, place: &str) -> f64 {
    bench.stands_at(place).expect("a place").value()
}

#[track_caller]
fn close(found: f64, by_hand: f64) {
    assert!(
        (found - by_hand).abs() < 1e-6,
        "{found} V, by hand {by_hand} V"
    );
}

#[test]
fn a_fed_tap_divides_the_battery_as_by_hand() {
    let mut job = two_feeds();
    let fan = load("FAN", Terminal::At(at("X1", 1)), Terminal::Chassis, 10.0);
    job.electrics.loads.push(fan);
    let mut bench = bench(&job, &[], &[]);
    close(stands(&bench, "K1"), 0.0);
    bench.set_switch("one", "on").expect("a switch");
    let branch = TAPPED + 10.0;
    let both = 1.0 / (1.0 / 5.0 + 1.0 / branch);
    let hub = 12.6 * both / (both + BATTERY + FEED);
    close(stands(&bench, "K1"), hub);
    close(stands(&bench, "T1"), hub * (1.0 - BITE / branch));
    close(stands(&bench, "X1:1"), hub * 10.0 / branch);
    close(stands(&bench, "K2"), 0.0);
    // As the probe sees it, to the step of its wide divider.
    let mut rig = Rig::on(bench);
    rig.settle_ns = 20_000_000;
    let (there, nothing) = (rig.look(0), rig.look(1));
    assert!((there - hub * 10.0 / branch).abs() < 0.002, "{there}");
    assert!(nothing.abs() < 0.002, "{nothing}");
    assert!(rig.bench.tripped(), "12 V on a lead");
    rig.bench.set_switch("one", "off").expect("a switch");
    close(stands(&rig.bench, "X1:1"), 0.0);
}

#[test]
fn a_vehicle_of_24_volts_has_twice_the_battery() {
    let mut job = two_feeds();
    job.supply = Volts(24.0);
    let mut bench = bench(&job, &[], &[]);
    bench.set_switch("two", "on").expect("a switch");
    close(stands(&bench, "X1:2"), 25.2 * 5.0 / (5.0 + BATTERY + FEED));
}

#[test]
fn batteries_and_grounds_stray_by_their_seeds() {
    let mut job = two_feeds();
    let grounded = Behaviour {
        chassis_when: Some(States::Always),
        ..Behaviour::UNKNOWN
    };
    job.electrics.behaviours.insert("K2".into(), grounded);
    let mut seen: Vec<(f64, f64)> = (0..30)
        .map(|seed| {
            let settings = Settings {
                leads: 16,
                ..settings(seed, true)
            };
            let mut bench = Bench::powered(&job, &clips(), &[], &[], &settings).expect("a bench");
            bench.set_switch("one", "on").expect("a switch");
            (stands(&bench, "K1"), stands(&bench, "K2"))
        })
        .collect();
    assert!(seen.iter().all(|(plus, _)| (12.2..12.8).contains(plus)));
    assert!(seen.iter().all(|(_, ground)| ground.abs() <= 0.020_001));
    assert!(seen.iter().any(|(_, ground)| *ground < -0.005));
    assert!(seen.iter().any(|(_, ground)| *ground > 0.005));
    seen.sort_by(|a, b| a.0.total_cmp(&b.0));
    assert!(seen[29].0 - seen[0].0 > 0.1);
}

#[test]
fn a_load_between_two_feeds_feeds_the_dead_one_back() {
    let mut job = two_feeds();
    let between = (Terminal::At(at("X1", 1)), Terminal::At(at("X1", 2)));
    job.electrics
        .loads
        .push(load("LAMP", between.0, between.1, 7.0));
    let mut bench = bench(&job, &[], &[]);
    bench.set_switch("two", "on").expect("a switch");
    let back = 2.0 * TAPPED + 7.0 + 5.0;
    let both = 1.0 / (1.0 / 5.0 + 1.0 / back);
    let hub = 12.6 * both / (both + BATTERY + FEED);
    close(stands(&bench, "K2"), hub);
    close(stands(&bench, "K1"), hub * 5.0 / back);
    // A one-way load passes it in its own direction alone.
    job.electrics.loads[0].sort = Sort::OneWay;
    let mut blocked = Bench::powered(&job, &clips(), &[], &[], &plain(16)).expect("a bench");
    blocked.set_switch("two", "on").expect("a switch");
    assert!(stands(&blocked, "K1") < 0.001);
    blocked.set_switch("two", "off").expect("a switch");
    blocked.set_switch("one", "on").expect("a switch");
    let passed = stands(&blocked, "K2");
    // Nearly 1 A through a silicon diode takes about 0.9 V of the 12.6 V.
    let law_free = 12.6 * 5.0 / back;
    assert!(
        (0.6..1.2).contains(&((law_free - passed) * back / 5.0)),
        "{passed}"
    );
}

#[test]
fn a_lead_whose_tap_missed_hangs_free_while_its_conductor_is_fed() {
    let job = two_feeds();
    let missed = [fault::tap_missed("T1")];
    let mut bench = bench(&job, &missed, &[]);
    bench.set_switch("one", "on").expect("a switch");
    assert!(stands(&bench, "K1") > 12.0);
    let mut rig = Rig::on(bench);
    rig.settle_ns = 50_000_000;
    assert!(rig.look(0).abs() < 0.05);
    let (down, up) = (rig.read(0, Mode::Down), rig.read(0, Mode::Up));
    assert!(down < 0.05 && up > 3.2, "{down} {up}: follows both pulls");
    // The other is held by its conductor's 5 ohm, fed or not.
    let (down, up) = (rig.read(1, Mode::Down), rig.read(1, Mode::Up));
    assert!(down < 0.05 && up < 0.8, "{down} {up}: held");
}

#[test]
fn a_short_blows_the_fuse_before_it_and_nothing_else() {
    let job = two_feeds();
    let short = [fault::short("W1", Touches::Chassis)];
    let mut bench = bench(&job, &short, &[]);
    bench.set_switch("two", "on").expect("a switch");
    assert_eq!(bench.fuses_blown().count(), 0, "nothing flows yet");
    bench.set_switch("one", "on").expect("a switch");
    assert_eq!(bench.fuses_blown().collect::<Vec<_>>(), ["K1"]);
    close(stands(&bench, "K1"), 0.0);
    close(stands(&bench, "K2"), 12.6 * 5.0 / (5.0 + BATTERY + FEED));
    // A new one blows again, with the switch on or when it goes on.
    assert!(bench.renew_fuse("K1"));
    assert_eq!(bench.fuses_blown().count(), 1);
    bench.set_switch("one", "off").expect("a switch");
    assert!(bench.renew_fuse("K1") && !bench.renew_fuse("K9"));
    assert_eq!(bench.fuses_blown().count(), 0);
    bench.set_switch("one", "on").expect("a switch");
    assert_eq!(bench.fuses_blown().count(), 1);
}

#[test]
fn twice_the_rating_is_borne_and_a_little_more_is_not() {
    for (ohms, blown) in [(0.62, 0), (0.58, 1)] {
        let mut job = two_feeds();
        let behaviour = job.electrics.behaviours.get_mut("K1").expect("stated");
        behaviour.draws = Some(Draw::Resistance(Ohms(ohms)));
        let mut bench = bench(&job, &[], &[]);
        bench.set_switch("one", "on").expect("a switch");
        // 12.6 V through 0.658 and 0.618 ohm: 19.1 A and 20.4 A through 10 A.
        assert_eq!(bench.fuses_blown().count(), blown, "{ohms}");
    }
}

/// A relay whose coil is at X1:1 and chassis, its contact between battery plus
/// and X1:2 with 10 Ω; switch `start` joins X1:1 to battery plus, and `hold` ohms
/// do so always.
fn relay(hold: f64) -> Job {
    let mut job = Job {
        connectors: vec![connector("X1", 4, true)],
        leads: vec![
            lead("W1", at("X1", 1), part("R1", "86")),
            lead("W2", part("R1", "85"), End::Ring("G1".into())),
            lead("W3", End::Ring("G2".into()), part("R1", "30")),
            lead("W4", part("R1", "87"), at("X1", 2)),
            lead("W5", part("R1", "87a"), at("X1", 3)),
        ],
        rings: vec![ring("G1", RingOn::Chassis), ring("G2", RingOn::BatteryPlus)],
        relays: vec![Relay {
            name: "R1".into(),
            coil: Ohms(85.0),
            changeover: true,
            suppression: Suppression::Diode,
            place: None,
        }],
        ..empty_job()
    };
    job.electrics.switches = vec![Switch {
        between: Some((Terminal::BatteryPlus, Terminal::At(at("X1", 1)))),
        ..switch("start")
    }];
    job.electrics.loads = vec![
        load(
            "HOLD",
            Terminal::BatteryPlus,
            Terminal::At(at("X1", 1)),
            hold,
        ),
        load("FAN", Terminal::At(at("X1", 2)), Terminal::Chassis, 10.0),
        load("LAMP", Terminal::At(at("X1", 3)), Terminal::Chassis, 10.0),
    ];
    job
}

#[test]
fn a_relay_pulls_in_holds_and_lets_go_at_its_own_voltages() {
    // 170 ohm leave 12.6 / 3 = 4.2 V to the coil: held, never pulled in. 900 ohm leave
    // 1.09 V: let go.
    for (hold, holds) in [(170.0, true), (900.0, false)] {
        let mut bench = bench(&relay(hold), &[], &[]);
        assert_eq!(
            bench.pulled_in("R1"),
            Some(false),
            "4.2 V do not pull it in"
        );
        let through = BOLT + CRIMP + LEAD + CRIMP + 0.020 + CRIMP + LEAD + CRIMP + CONTACT;
        let loop_ohms = through + 10.0;
        // The coil's few mA take 0.5 mV off the battery.
        let by_hand = |ohms: f64| 12.6 * ohms / (loop_ohms + BATTERY);
        assert!((stands(&bench, "X1:3") - by_hand(10.0)).abs() < 0.001);
        close(stands(&bench, "X1:2"), 0.0);
        bench.set_switch("start", "on").expect("a switch");
        assert_eq!(bench.pulled_in("R1"), Some(true));
        assert!((stands(&bench, "X1:2") - by_hand(10.0)).abs() < 0.002);
        close(stands(&bench, "X1:3"), 0.0);
        bench.set_switch("start", "off").expect("a switch");
        assert_eq!(bench.pulled_in("R1"), Some(holds), "{hold}");
        assert_eq!(stands(&bench, "X1:2") > 12.0, holds);
    }
}

#[test]
fn a_relay_the_wrong_way_round_shorts_its_feed_through_its_diode() {
    let mut job = relay(900.0);
    job.electrics.switches[0].fused = Some(Amperes(5.0));
    let turned = crate::fault::spell::parse("reversed@R1", &job).expect("a fault");
    let mut bench = bench(&job, &[turned], &[]);
    bench.set_switch("start", "on").expect("a switch");
    assert_eq!(bench.fuses_blown().collect::<Vec<_>>(), ["start"]);
    assert_eq!(bench.pulled_in("R1"), Some(false));
}

#[test]
fn a_relay_that_takes_its_own_feed_away_chatters() {
    let mut job = relay(1e9);
    // The break contact feeds the coil: X1:3 is joined to X1:1.
    job.electrics.switches[0].between =
        Some((Terminal::At(at("X1", 3)), Terminal::At(at("X1", 1))));
    let mut bench = bench(&job, &[], &[]);
    assert_eq!(
        bench.set_switch("start", "on"),
        Err(BenchError::Chatters("R1".into()))
    );
    assert_eq!(bench.trouble(), Some(&BenchError::Chatters("R1".into())));
}

#[test]
fn switches_and_states_that_are_not_there_are_named() {
    let mut bench = bench(&two_feeds(), &[], &[]);
    let error = bench.set_switch("three", "on").expect_err("no switch");
    assert_eq!(
        error.to_string(),
        "there is no switch three here; switches are: one, two"
    );
    let error = bench.set_switch("one", "half").expect_err("no state");
    assert_eq!(
        error.to_string(),
        "switch one has no state half; its states are: off, on"
    );
    let states: Vec<_> = bench.switches().collect();
    assert_eq!(states, [("one", "off"), ("two", "off")]);
    let alone = hookup(Place::Bench, &[("X1", 1, Mating)]);
    let none = Bench::powered(&two_feeds(), &alone, &[], &[], &plain(16));
    assert!(matches!(none.err(), Some(BenchError::Senseless { .. })));
}

#[test]
fn a_conductor_without_a_stated_behaviour_keeps_its_load() {
    let mut job = two_feeds();
    job.electrics.behaviours.remove("K2");
    let ohms = Ohms(2_000.0);
    job.conductors[1].load = Load::Range {
        least: ohms,
        most: ohms,
    };
    let bridge = load(
        "BRIDGE",
        Terminal::At(at("X1", 1)),
        Terminal::At(at("X1", 2)),
        1_000.0,
    );
    job.electrics.loads.push(bridge);
    let mut bench = bench(&job, &[], &[]);
    bench.set_switch("one", "on").expect("a switch");
    let hub = stands(&bench, "K1");
    // A probe lead takes its share through 1 GΩ.
    let by_hand = hub * 2_000.0 / (3_000.0 + 2.0 * TAPPED);
    assert!((stands(&bench, "K2") - by_hand).abs() < 1e-4);
    // The module's input follows in its own time.
    bench.wait(10_000_000);
    let lead = bench.lead_volts(LeadId(1)).expect("a lead").value();
    assert!((lead - by_hand).abs() < 1e-3, "{lead}");
    assert_eq!(bench.lead_volts(LeadId(99)), None);
}
