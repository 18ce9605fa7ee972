//! The ways that `docs/speed.md` times give the same voltages; the whole
//! measurement is the example `bench_ratios`.

use loomproof_tests::ratios::document::{APART, Found, Others, WAYS, measured, others};
use loomproof_tests::ratios::growth::{PLOT, plot};
use loomproof_tests::ratios::systems::Systems;
use loomproof_tests::skip::{require, top};

#[test]
fn all_ways_read_the_same_volts() {
    let Some(ngspice) = require("ngspice") else {
        return;
    };
    let systems = Systems::drawn(1, 16).unwrap();
    assert!(systems.all.len() > 15 && systems.readings() > systems.all.len());
    let timed = measured(&systems, 1, Some(&ngspice)).unwrap();
    println!("{timed:?}");
    assert!(timed.apart < APART, "{:e} V", timed.apart);
    assert!(
        timed
            .slower
            .iter()
            .all(|way| way.0.len() == 1 && way.median() > 0.0)
    );
    // A process of its own is never as fast as a few multiplications.
    assert!(timed.slower[0].median() > 10.0, "{timed:?}");
}

#[test]
fn the_page_tells_of_a_missed_goal() {
    let systems = Systems::drawn(1, 16).unwrap();
    let mut timed = measured(&systems, 1, None).unwrap();
    assert!(timed.slower[0].0.is_empty());
    timed.points = 64;
    for slower in &mut timed.slower {
        slower.0 = vec![60.0];
    }
    let mut found = Found {
        timed: vec![timed],
        others: Others::default(),
        rounds: 1,
    };
    assert_eq!(found.missed(), Vec::<String>::new());
    found.timed[0].slower[0].0 = vec![49.0];
    found.timed[0].slower[2].0 = vec![2.9];
    found.timed[0].slower[5].0 = vec![2.8];
    found.timed[0].apart = f64::NAN;
    assert_eq!(found.missed().len(), 4);
    let page = found.page("this one");
    assert_eq!(page.matches("**Missed:**").count(), 4);
    assert!(WAYS.iter().all(|way| page.contains(way)));
    let others = others(1).unwrap();
    assert!(others.survey_bytes > 500 && others.plan_over_toml.median() > 1.0);
}

#[test]
fn the_plot_shows_what_the_page_says() {
    let docs = top().join("docs");
    let page = std::fs::read_to_string(docs.join("speed.md")).unwrap();
    let drawn = plot(&page).unwrap();
    let file = docs.join(PLOT);
    if std::env::var_os("LOOMPROOF_BLESS").is_some_and(|value| value == "1") {
        std::fs::write(&file, &drawn).unwrap();
    }
    assert_eq!(
        std::fs::read_to_string(&file).unwrap(),
        drawn,
        "run the test with LOOMPROOF_BLESS=1 and look at the plot"
    );
    // Core and six beside it, each at every size.
    assert_eq!(drawn.matches("<polyline").count(), 7);
    let sizes = page.lines().find(|line| line.starts_with("|  | ")).unwrap();
    let sizes = sizes.matches(" points").count();
    assert_eq!(drawn.matches("<circle").count(), 7 * sizes);
    assert!(page.contains(&format!("]({PLOT})")));
    assert!(plot("| core, µs a system | 1.0 |").is_err());
}
