//! One firmware, one bench, several ways to it: the same answers.

use loomproof::bench::{Bench, Settings};
use loomproof::fault::Fault;
use loomproof::link::{Link, VirtualProbe};
use loomproof_core::wire::frame::encode_hello_request;
use loomproof_core::wire::{PROTOCOL, Reading, Refusal, Reply};
use loomproof_tests::jobs;

fn bench(seed: u64, faults: &[Fault]) -> Bench {
    let settings = Settings {
        seed,
        leads: 16,
        ..Settings::default()
    };
    Bench::new(&jobs::two_wires(), &jobs::clips(), faults, &settings).unwrap()
}

fn run(link: &mut dyn Link) -> Vec<Reply> {
    jobs::script()
        .iter()
        .map(|request| link.exchange(request).unwrap())
        .collect()
}

fn in_process(seed: u64, faults: &[Fault]) -> Vec<Reply> {
    run(&mut VirtualProbe::new(bench(seed, faults)).session().unwrap())
}

#[test]
fn the_virtual_probe_answers_in_process() {
    let mut session = VirtualProbe::new(bench(1, &[])).session().unwrap();
    assert_eq!(session.hello().protocol, PROTOCOL);
    assert_eq!(session.hello().leads, 16, "found at start");
    assert_eq!(session.hello().board.as_str(), "virtual");
    let replies = run(&mut session);
    assert!(matches!(&replies[0], Reply::Survey { looks, .. } if looks.len() == 16));
    assert_eq!(replies[1], Reply::Armed);
    for reply in &replies[2..5] {
        assert!(
            matches!(reply, Reply::Readings { readings, .. } if readings.len() == 5),
            "{reply:?}"
        );
    }
    assert_eq!(replies[5], Reply::Refused(Refusal::TooManySources));
    assert_eq!(replies[6], Reply::Released);
    assert_eq!(replies[7], Reply::Refused(Refusal::NotArmed));
    assert_eq!(
        session
            .transport()
            .probe()
            .bench()
            .0
            .borrow()
            .counters()
            .early_reads,
        0
    );
}

/// The same seed gives the same bytes, another seed or a fault gives others:
/// the comparisons below compare something.
#[test]
fn seed_and_faults_decide() {
    assert_eq!(in_process(7, &[]), in_process(7, &[]));
    assert_ne!(in_process(7, &[]), in_process(8, &[]));
    let (good, bad) = (in_process(7, &[]), in_process(7, &[jobs::corroded_tap()]));
    let volts = |replies: &[Reply]| match &replies[2] {
        Reply::Readings { readings, .. } => match readings[0] {
            Reading::Volts(volts) => volts.volts().value(),
            other => panic!("{other:?}"),
        },
        other => panic!("{other:?}"),
    };
    // P1 high, P3 low, through W1 and the tap: 3.3 V over 725 Ω, the wiring,
    // and S = 725 Ω with K1's load, 2 kΩ to 20 kΩ, beside it (532 to 700 Ω).
    // R more ohms raise P1 by 3.3 V · R · 725/(725 + S)²: 15 Ω by 17 to 23 mV.
    let more = volts(&bad) - volts(&good);
    assert!((0.0165..0.0235).contains(&more), "{more} V");
}

/// A probe that is slow to start is greeted more than once. That moves its
/// clock, and nothing else.
#[test]
fn one_hello_more_changes_no_reading() {
    let mut probe = VirtualProbe::new(bench(5, &[]));
    let mut out = [0; 32];
    let hello = encode_hello_request(1, &mut out).unwrap();
    let mut answers = 0;
    probe.receive(hello, &mut |_| answers += 1);
    assert_eq!(answers, 1);
    let replies = run(&mut probe.session().unwrap());
    let here = in_process(5, &[]);
    assert_ne!(replies, here, "the clock is in the replies");
    assert_eq!(jobs::from_first_step(replies), jobs::from_first_step(here));
}

#[cfg(unix)]
mod by_port {
    use super::*;
    use loomproof::link::connect;
    use loomproof::link::pty::Pty;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicBool, Ordering};

    /// Serves a virtual probe on a pseudo-terminal while `with` runs.
    fn served<T>(seed: u64, faults: Vec<Fault>, with: impl FnOnce(&str) -> T) -> T {
        let pty = Pty::open().unwrap();
        let path = pty.path().to_str().unwrap().to_string();
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            let mut probe = VirtualProbe::new(bench(seed, &faults));
            pty.serve(&mut probe, &stopped).unwrap();
        });
        let outcome = with(&path);
        stop.store(true, Ordering::Relaxed);
        thread.join().unwrap();
        outcome
    }

    #[test]
    fn a_serial_port_gives_the_same_bytes() {
        for (seed, faults) in [(1, vec![]), (2, vec![jobs::corroded_tap()])] {
            let replies = served(
                seed,
                faults.clone(),
                |path| run(&mut connect(path).unwrap()),
            );
            let here = in_process(seed, &faults);
            assert_eq!(jobs::from_first_step(replies), jobs::from_first_step(here));
        }
    }

    /// A peer that leaves without letting go, and another that comes after it.
    #[test]
    fn the_next_peer_starts_afresh() {
        served(3, vec![], |path| {
            let mut first = connect(path).unwrap();
            for request in &jobs::script()[..3] {
                first.exchange(request).unwrap();
            }
            drop(first);
            let mut second = connect(path).unwrap();
            assert_eq!(second.hello().leads, 16);
            let step = &jobs::script()[2];
            let reply = second.exchange(step).unwrap();
            assert_eq!(
                reply,
                Reply::Refused(Refusal::NotArmed),
                "the first peer's leave is over"
            );
            assert!(matches!(run(&mut second)[2], Reply::Readings { .. }));
        });
    }
}
