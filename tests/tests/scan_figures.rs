//! `docs/scan-figures.md` is what scans cost now.

use std::path::Path;

use loomproof_tests::figures::{PLOT, figures, page};
use loomproof_tests::spread::{measured, plot};

#[test]
fn the_page_is_what_is_counted_now() {
    let all = figures().unwrap();
    let leads: Vec<u8> = all.iter().map(|f| f.leads).collect();
    assert_eq!(leads, [16, 64, 128]);
    for f in &all {
        assert!(
            f.clips * 4 >= usize::from(f.leads) * 3,
            "{}: {} clips",
            f.leads,
            f.clips
        );
        assert!(
            f.scan.micros >= f.bound.time,
            "the bound of {} is no bound",
            f.leads
        );
        assert!(f.scan.bytes < f.naive.bytes && f.scan.requests < f.naive.requests);
        // The short self-test costs little.
        assert!(f.self_test.micros < 16e3 * f64::from(f.leads) + 100e3);
    }
    let resistances = measured().unwrap();
    for m in &resistances {
        let (real, bias, spread) = (m.real.value(), m.bias.value(), m.spread.value());
        println!("{real} Ω: bias {bias:.4} Ω, spread {spread:.4} Ω");
        if (0.3..=300e3).contains(&real) {
            // The sources' 0.8 % and the bench's pulls of 1 %, and 75 mΩ at the lower
            // end (S84): the budget of docs/probe-hardware.md.
            assert!(spread < 0.075 + 0.012 * real, "{real} Ω: spread {spread} Ω");
            // The mean of 40 probes has a deviation of its own, 0.13 %: four of them.
            assert!(
                bias.abs() < 0.020 + 0.0053 * real,
                "{real} Ω: bias {bias} Ω"
            );
        }
    }
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs");
    let read = |name: &str| std::fs::read_to_string(docs.join(name)).unwrap();
    let anew = "write the page anew with the example `scan_figures`";
    assert_eq!(read("scan-figures.md"), page(&all, &resistances), "{anew}");
    assert_eq!(read(PLOT), plot(&resistances), "{anew}");
}
