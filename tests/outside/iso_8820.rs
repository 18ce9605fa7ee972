//! What a blade fuse bears and when it blows: ISO 8820-3, as a mini ISO relay
//! datasheet cites it (*read*): 1.35 times its rating for half an hour, 2 times
//! for 5 s, 3.5 times for 0.5 s, 6 times for 0.1 s.

use loomproof::bench::{Bench, Settings};
use loomproof::hookup::propose;
use loomproof::review::Level;
use loomproof_core::wire::Place;

use super::check::{Check, Limit, Ours, Status, Value};
use super::ours::{job, lead, plan, reviewed};

const DATASHEET: &str = "ISO 8820-3, as a mini ISO relay datasheet cites it";

/// Rating of the fuse that is asked about, A.
const RATING: f64 = 10.0;

/// A feed that is always on, a fuse, and something behind it.
fn fed(behind: &str) -> String {
    format!(
        "plan = 1\ntitle = \"t\"\n[connector.X1]\ncavities = 2\n[connector.X2]\ncavities = 2\nwith = \"harness\"\n\
         [pin.C1]\nat = \"X1:1\"\nplus_when = \"always\"\nfused = \"200 A\"\n\
         [fuse.F1]\nrating = \"{RATING} A\"\n{}{behind}",
        lead("W1", "X1:1", "F1:1", "35 mm2", "0.1 m"),
    )
}

/// A load outside the harness.
fn load(draws: &str) -> String {
    let load = format!("[load.L1]\nbetween = [\"X2:1\", \"chassis\"]\ndraws = \"{draws}\"\n");
    fed(&format!("{}{load}", lead("W2", "F1:2", "X2:1", "35 mm2", "1 m")))
}

/// The bench with so many ohms behind the fuse, nothing of it off its nominal value.
fn bench(ohms: f64) -> Bench {
    let job = job(&plan(&load(&format!("{ohms:.9} ohm"))));
    let hookup = propose(&job, Place::Vehicle, 64).expect("a hook-up");
    let settings = Settings {
        spread: false,
        noise: false,
        ..Settings::default()
    };
    Bench::powered(&job, &hookup, &[], &[], &settings).expect("a bench")
}

/// What the fuse of the bench does when it carries this multiple of its rating.
/// Battery and wiring are one source behind one resistance, found at two loads.
fn under(multiple: f64) -> Value {
    let carried = |ohms: f64| {
        let volts = bench(ohms).stands_at("X2:1").map_or(f64::NAN, |at| at.0);
        (volts, volts / ohms)
    };
    let ((light, little), (heavy, more)) = (carried(100.0), carried(2.0));
    let inside = (light - heavy) / (more - little);
    let ohms = (light + inside * little) / (multiple * RATING) - inside;
    let bench = bench(ohms);
    let blown: Vec<&str> = bench.fuses_blown().collect();
    match blown.as_slice() {
        [] => {
            let amperes = bench.stands_at("X2:1").map_or(f64::NAN, |at| at.0 / ohms);
            // Only what was asked for is an answer.
            if (amperes / RATING / multiple - 1.0).abs() < 1e-3 {
                "bears it".into()
            } else {
                format!("carries {amperes} A").into()
            }
        }
        ["F1"] => "blows".into(),
        others => format!("{others:?} blow").into(),
    }
}

/// Between something that the review lets pass and something that it does not:
/// where its opinion changes.
fn edge(mut good: f64, mut bad: f64, found: impl Fn(f64) -> bool) -> f64 {
    if found(good) || !found(bad) {
        return f64::NAN;
    }
    for _ in 0..30 {
        let middle = f64::midpoint(good, bad);
        *(if found(middle) { &mut bad } else { &mut good }) = middle;
    }
    good
}

/// The most that the review lets the fuse carry for good, in its rating.
fn lasting() -> f64 {
    let wrong = |amperes: f64| {
        let review = reviewed(&load(&format!("{amperes:.9} A")));
        let mut found = review.findings.iter();
        found.any(|it| it.rule == "fuse-load" && it.place == "F1" && it.level == Level::Wrong)
    };
    edge(1.0, 30.0, wrong) / RATING
}

/// The most that cold filaments may draw for a moment, in the fuse's rating, and
/// at how many times that of the hot ones.
fn inrush() -> f64 {
    let lamp = |watts: f64| {
        let text = format!(
            "[ring.G1]\non = \"chassis\"\n[lamp.P1]\npower = \"{watts:.6} W\"\nvolts = \"12 V\"\n{}{}",
            lead("W2", "F1:2", "P1:1", "35 mm2", "0.1 m"),
            lead("W3", "P1:2", "G1", "35 mm2", "0.1 m"),
        );
        let review = reviewed(&fed(&text));
        let mut found = review.findings.into_iter();
        found.find(|it| it.rule == "fuse-inrush")
    };
    let most = edge(1.0, 200.0, |watts| lamp(watts).is_some());
    let finding = lamp(most * (1.0 + 1e-6));
    let values = finding.map(|it| it.values).unwrap_or_default();
    let value = values.iter().find(|it| it.name == "inrush");
    value.map_or(f64::NAN, |it| it.value) / RATING
}

/// Its checks.
#[must_use]
pub fn checks() -> Vec<Check> {
    let check = |what: &str, theirs: Value, limit, ours: Ours, test| Check {
        what: what.to_owned(),
        source: DATASHEET,
        status: Status::Read,
        theirs,
        limit,
        ours,
        test,
    };
    let mut checks = Vec::new();
    for (multiple, seconds, theirs) in [
        (1.35, "1800", "bears it"),
        (2.01, "5", "blows"),
        (3.5, "0.5", "blows"),
        (6.0, "0.1", "blows"),
    ] {
        let what = format!("a fuse of the virtual bench at {multiple} times its rating, within {seconds} s");
        let ours: Ours = Box::new(move || under(multiple));
        checks.push(check(&what, theirs.into(), Limit::Same, ours, "on_the_bench"));
    }
    checks.push(check(
        "the most that a fuse may carry for good in the review, in its rating; theirs for half an hour",
        1.35.into(),
        Limit::AtMost(0.7),
        Box::new(|| lasting().into()),
        "in_the_review",
    ));
    checks.push(check(
        "the most that cold filaments may draw in the review, in the fuse's rating; theirs for 0.1 s",
        6.0.into(),
        Limit::Off(0.001),
        Box::new(|| inrush().into()),
        "in_the_review",
    ));
    checks
}

crate::checked!(on_the_bench, in_the_review);
