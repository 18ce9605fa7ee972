use loomproof::diagnosis::evidence::Evidence;
use loomproof::diagnosis::groups::group;
use loomproof::diagnosis::space::explain;
use loomproof::fault::spell::parse;
use loomproof::ringout::Outcome;
use loomproof_core::wire::Place;
use loomproof_tests::campaign::Site;
use std::time::Instant;
fn main() {
    let mut args = std::env::args().skip(1);
    let plan: &'static str = Box::leak(args.next().unwrap().into_boxed_str());
    let place = if args.next().unwrap() == "bench" {
        Place::Bench
    } else {
        Place::Vehicle
    };
    let site = Site { plan, place };
    let t = Instant::now();
    let loaded = site.load().unwrap();
    println!("load (coverage) {:?}", t.elapsed());
    let faults: Vec<_> = args.map(|f| parse(&f, &loaded.job).unwrap()).collect();
    let t = Instant::now();
    let (_, outcome) = loaded.scan(&faults, 1).unwrap();
    println!("scan {:?}", t.elapsed());
    let Outcome::Complete(taken) = outcome else {
        panic!("refused")
    };
    let t = Instant::now();
    let evidence = Evidence::new(&loaded.model, &taken).unwrap();
    println!(
        "evidence {:?}: {} quantities, {} off",
        t.elapsed(),
        evidence.judged().len(),
        evidence.off().len()
    );
    let catalogue: Vec<_> = loaded.faults.iter().map(|(f, _)| f.clone()).collect();
    let t = Instant::now();
    let explained = explain(&evidence, &catalogue).unwrap();
    println!("explain {:?} {:?}", t.elapsed(), explained.outcome.proof);
    let groups = group(&evidence, explained.candidates);
    for g in groups.iter().take(4) {
        println!("p={:.4} {}", g.probability, g.explains_all());
        for s in g.sets.iter().take(6) {
            println!(
                "   {:.1} {} {:?}",
                s.weight,
                s.faults
                    .iter()
                    .map(|f| f.to_string())
                    .collect::<Vec<_>>()
                    .join(" + "),
                s.estimates
            );
        }
    }
}
