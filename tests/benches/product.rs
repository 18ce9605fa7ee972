//! `cargo bench -p loomproof-tests`: the nodal solve beside dense LU and sparse
//! Cholesky, plan reading, the link's decoder, the diagnosis. Ratios with their
//! spread, ngspice among them, are in `docs/speed.md` (example `bench_ratios`).

use std::time::Duration;

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use loomproof::diagnosis::evidence::Evidence;
use loomproof::diagnosis::space::explain;
use loomproof::fault::spell::parse;
use loomproof::plan::read;
use loomproof::ringout::Outcome;
use loomproof_core::wire::frame::{Deframer, MAX_FRAME, encode_reply};
use loomproof_tests::ratios::replies;
use loomproof_tests::ratios::systems::Systems;
use loomproof_tests::ratios::ways::Ways;
use loomproof_tests::skip::top;
use loomproof_tests::speed::subject::Subject;

/// All drive patterns of a first pass.
fn nodal_solve(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("all drives");
    group
        .sample_size(10)
        .measurement_time(Duration::from_secs(3));
    for points in [16, 32, 64, 128] {
        let systems = Systems::drawn(1, points).expect("a drawn harness");
        let mut ways = Ways::new(&systems);
        group.bench_function(BenchmarkId::new("core", points), |b| {
            b.iter(|| ways.core(false).0)
        });
        let ways = Ways::new(&systems);
        group.bench_function(BenchmarkId::new("dense LU", points), |b| {
            b.iter(|| ways.dense(false).0);
        });
        group.bench_function(BenchmarkId::new("sparse Cholesky", points), |b| {
            b.iter(|| ways.sparse().0);
        });
    }
    group.finish();
}

fn plan_reading(criterion: &mut Criterion) {
    let path = top().join("fixtures/plans/bench-64.toml");
    let text = std::fs::read_to_string(path).expect("a fixture");
    criterion.bench_function("read bench-64.toml", |b| {
        b.iter(|| read("bench-64.toml", &text).is_ok());
    });
}

fn link_decoding(criterion: &mut Criterion) {
    let survey = replies::survey();
    let mut out = [0; MAX_FRAME];
    let frame = encode_reply(1, &survey, &mut out).expect("it fits");
    let mut deframer: Deframer<MAX_FRAME> = Deframer::new();
    criterion.bench_function("decode 128 looks", |b| {
        b.iter(|| match deframer.feed(frame) {
            (_, Some(Ok(frame))) => frame.reply().is_ok(),
            _ => false,
        });
    });
}

fn diagnosis(criterion: &mut Criterion) {
    let subject = Subject::bench_64().expect("a fixture");
    let loaded = &subject.loaded;
    let fault = parse("exchanged@X1:3,with=X1:4", &loaded.job).expect("a fault");
    let scanned = loaded.scan(&[fault], &loaded.settings(1)).expect("a scan");
    let (_, Outcome::Complete(taken)) = scanned else {
        panic!("the probe refused");
    };
    let mut group = criterion.benchmark_group("diagnosis");
    group.sample_size(10);
    group.bench_function("two exchanged terminals of 64", |b| {
        b.iter(|| {
            let evidence = Evidence::new(subject.model(), &taken).expect("evidence");
            explain(&evidence, &subject.catalogue).map(|found| found.candidates.len())
        });
    });
    group.finish();
}

criterion_group!(benches, nodal_solve, plan_reading, link_decoding, diagnosis);
criterion_main!(benches);
