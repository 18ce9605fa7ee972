//! `docs/scan-figures.md` is what scans cost now.

use std::path::Path;

use loomproof_tests::figures::{figures, page};

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
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/scan-figures.md");
    let written = std::fs::read_to_string(path).unwrap();
    assert_eq!(
        written,
        page(&all),
        "write the page anew with the example `scan_figures`"
    );
}
