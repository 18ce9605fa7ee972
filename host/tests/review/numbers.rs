//! Rules that compare a computed number with a stated one, against sums done
//! by hand.

use loomproof::review::Level;

use crate::support::{around, lead, number, only, reviewed, says};

/// A relay that switches a load of some amperes; its coil hangs on an output
/// of the vehicle. `relay` adds to the relay, `load` to the load.
fn relay(relay: &str, load: &str, output: &str) -> String {
    around(
        &(format!(
            "[pin.C1]\nat = \"X1:1\"\nplus_when = \"key\"\n{output}\n\
             [pin.C2]\nat = \"X1:2\"\nplus_when = \"always\"\nfused = \"15 A\"\n\
             [relay.R1]\ncoil = \"85 ohm\"\n{relay}\n[load.L1]\nbetween = [\"X2:1\", \"X2:2\"]\n{load}\n\
             [ring.G2]\non = \"chassis\"\n"
        ) + &lead("W1", "X1:1", "R1:86", "0.75 mm2", "1 m")
            + &lead("W2", "R1:85", "G1", "0.75 mm2", "1 m")
            + &lead("W3", "X1:2", "R1:30", "2.5 mm2", "1 m")
            + &lead("W4", "R1:87", "X2:1", "2.5 mm2", "1 m")
            + &lead("W5", "X2:2", "G2", "2.5 mm2", "1 m")),
    )
}

const DIODE: &str = "suppression = \"diode\"\ncontact = \"30 A\"";

#[test]
fn a_coil_without_suppression() {
    assert!(!says(
        &reviewed(&relay(DIODE, "draws = \"8 A\"", "fused = \"5 A\"")),
        "coil-unsuppressed"
    ));
    let review = reviewed(&relay(
        "contact = \"30 A\"",
        "draws = \"8 A\"",
        "most = \"0.5 A\"",
    ));
    let finding = only(&review, "coil-unsuppressed");
    assert_eq!(
        (finding.level, finding.place.as_str()),
        (Level::Wrong, "R1")
    );
    assert!(
        finding.fix.contains("C1 may not stand the spike"),
        "{}",
        finding.fix
    );
    let resistor = "suppression = \"470 ohm\"\ncontact = \"30 A\"";
    assert!(!says(
        &reviewed(&relay(resistor, "draws = \"8 A\"", "fused = \"5 A\"")),
        "coil-unsuppressed"
    ));
}

/// 12 V on 85 Ω with a few metres of lead: 0.141 A.
#[test]
fn an_output_is_asked_for_more_than_is_stated() {
    let review = reviewed(&relay(DIODE, "draws = \"8 A\"", "most = \"100 mA\""));
    let finding = only(&review, "output-load");
    let expected = 12.0 / 85.0;
    assert!(
        (number(finding, "current") / expected - 1.0).abs() < 2e-3,
        "{finding:?}"
    );
    assert_eq!(finding.state["key"], "on");
    assert!(!says(
        &reviewed(&relay(DIODE, "draws = \"8 A\"", "most = \"150 mA\"")),
        "output-load"
    ));
}

/// An output that switches to chassis is loaded by what it sinks.
#[test]
fn an_output_that_sinks() {
    let text = |most: &str| {
        around(
            &(format!(
                "[pin.C1]\nat = \"X1:1\"\nchassis_when = \"key\"\nmost = \"{most}\"\n\
                 [pin.C2]\nat = \"X1:2\"\nplus_when = \"always\"\nfused = \"5 A\"\n\
                 [load.L1]\nbetween = [\"X2:1\", \"X2:2\"]\ndraws = \"24 ohm\"\n"
            ) + &lead("W1", "X1:2", "X2:1", "1 mm2", "1 m")
                + &lead("W2", "X2:2", "X1:1", "1 mm2", "1 m")),
        )
        .replace("[ring.G1]\non = \"chassis\"\n", "")
    };
    let review = reviewed(&text("400 mA"));
    assert!((number(only(&review, "output-load"), "current") / 0.5 - 1.0).abs() < 5e-3);
    assert!(!says(&reviewed(&text("600 mA")), "output-load"));
}

#[test]
fn contacts_and_fuses_against_the_load() {
    let review = reviewed(&relay(
        "suppression = \"diode\"\ncontact = \"6 A\"",
        "draws = \"8 A\"",
        "fused = \"5 A\"",
    ));
    let finding = only(&review, "contact-load");
    assert!(
        (number(finding, "current") - 8.0).abs() < 1e-3,
        "a stated current is held: {finding:?}"
    );
    // 21 W of lamp: 1.75 A hot, ten times that cold; 15 A stands it for a moment.
    let lamp = "draws = \"63 W\"\nsort = \"lamp\"";
    let review = reviewed(&relay(DIODE, lamp, "fused = \"5 A\""));
    let inrush = only(&review, "contact-inrush");
    assert_eq!(inrush.level, Level::Note);
    assert!(
        (40.0..52.5).contains(&number(inrush, "inrush")),
        "{inrush:?}"
    );
    let review = reviewed(&relay(
        "suppression = \"diode\"",
        "draws = \"8 A\"",
        "fused = \"5 A\"",
    ));
    assert!(says(&review, "contact-not-stated"));
    let review = reviewed(&relay(DIODE, "draws = \"13 A\"", "fused = \"5 A\""));
    assert_eq!(only(&review, "fuse-load").level, Level::Note);
    let review = reviewed(&relay(DIODE, "draws = \"16 A\"", "fused = \"5 A\""));
    assert_eq!(only(&review, "fuse-load").level, Level::Wrong);
}

#[test]
fn coils_for_another_voltage_reversed_or_half_fed() {
    let rated = |more: &str| {
        relay(
            &format!("{DIODE}\n{more}"),
            "draws = \"8 A\"",
            "fused = \"5 A\"",
        )
    };
    let review = reviewed(&rated("volts = \"24 V\""));
    assert!(says(&review, "coil-volts") && says(&review, "coil-half-fed"));
    assert!(!says(&reviewed(&rated("volts = \"12 V\"")), "coil-volts"));
    // A warm coil: 11 V at 20 °C is 12.3 V at 50 °C, more than there is.
    let warm = rated("operates = \"11 V\"").replace("\"20 degC\"", "\"50 degC\"");
    let finding = reviewed(&warm);
    let pulls_in = number(only(&finding, "coil-half-fed"), "pulls in");
    assert!(
        (pulls_in / (11.0 * 1.1179) - 1.0).abs() < 1e-4,
        "{pulls_in}"
    );
    assert!(!says(
        &reviewed(&rated("operates = \"11 V\"")),
        "coil-half-fed"
    ));
    let swapped = rated("")
        .replace("to = \"R1:86\"", "to = \"R1:zz\"")
        .replace("from = \"R1:85\"", "from = \"R1:86\"")
        .replace("R1:zz", "R1:85");
    let review = reviewed(&swapped);
    assert!(says(&review, "coil-reversed"), "{:#?}", review.findings);
    assert!(!says(&reviewed(&rated("")), "coil-reversed"));
}

/// Ten metres of 1 mm² and back carry 5 A: 2·10·0.017241·5 = 1.72 V.
#[test]
fn a_long_thin_lead_drops_too_much() {
    let text = |size: &str, more: &str| {
        around(
            &(format!(
                "[pin.C1]\nat = \"X1:1\"\nplus_when = \"key\"\nfused = \"7.5 A\"\n\
                 [load.L1]\nbetween = [\"X2:1\", \"X2:2\"]\ndraws = \"5 A\"\n{more}"
            ) + &lead("W1", "X1:1", "X2:1", size, "10 m")
                + &lead("W2", "X2:2", "G1", size, "10 m")),
        )
    };
    let review = reviewed(&text("1 mm2", ""));
    let finding = only(&review, "voltage-drop");
    let drop = number(finding, "drop in metal");
    // Joints: four crimps at 2 mΩ, three contacts at 4, a bolt at 3, a source at 1.
    let by_hand = 5.0 * (20.0 * 0.017_241 + 4.0 * 0.002 + 3.0 * 0.004 + 0.003 + 0.001);
    assert!(
        (drop / by_hand - 1.0).abs() < 5e-3,
        "{drop} and by hand {by_hand}"
    );
    assert!(!says(&reviewed(&text("6 mm2", "")), "voltage-drop"));
    let review = reviewed(&text("1 mm2", "needs = \"10.5 V\"\n"));
    let finding = only(&review, "load-volts");
    assert!(
        (number(finding, "voltage") - (12.0 - by_hand)).abs() < 0.02,
        "{finding:?}"
    );
    assert!(!says(
        &reviewed(&text("1 mm2", "needs = \"10 V\"\n")),
        "load-volts"
    ));
    assert!(
        !says(
            &reviewed(&text("1 mm2", "needs = \"10 V\"\n")),
            "voltage-drop"
        ),
        "what is stated counts"
    );
}

#[test]
fn leads_without_a_fuse_and_fuses_not_stated() {
    let text = |ring: &str, length: &str| {
        around(
            &(format!(
                "[ring.G2]\non = \"battery plus\"\n{ring}[load.L1]\nbetween = [\"X2:1\", \"X2:2\"]\ndraws = \"5 A\"\n"
            ) + &lead("W1", "G2", "X2:1", "2.5 mm2", length)
                + &lead("W2", "X2:2", "G1", "2.5 mm2", "1 m")),
        )
    };
    assert_eq!(
        only(&reviewed(&text("", "2 m")), "lead-unfused").level,
        Level::Wrong
    );
    assert_eq!(
        only(&reviewed(&text("", "0.2 m")), "lead-unfused").level,
        Level::Note
    );
    assert!(!says(
        &reviewed(&text("fused = \"15 A\"\n", "2 m")),
        "lead-unfused"
    ));
    assert_eq!(
        only(&reviewed(&text("fused = \"30 A\"\n", "2 m")), "wire-fuse").level,
        Level::Wrong
    );
    let review = reviewed(&relay(DIODE, "draws = \"8 A\"", ""));
    assert_eq!(only(&review, "fuse-not-stated").place, "C1");
}

#[test]
fn a_lead_that_carries_too_much() {
    let text = relay(DIODE, "draws = \"12 A\"", "fused = \"5 A\"").replace(
        "[lead.W5]\ncolour = \"BN\"\nsize = \"2.5 mm2\"",
        "[lead.W5]\ncolour = \"BN\"\nsize = \"0.5 mm2\"",
    );
    let review = reviewed(&text);
    let finding = only(&review, "wire-current");
    assert_eq!(finding.place, "W5", "no fuse protects a ground lead");
    assert!((number(finding, "current") - 12.0).abs() < 1e-3);
    assert!(
        finding.fix.contains("1.5 mm2") || finding.fix.contains("1 mm2"),
        "{}",
        finding.fix
    );
}
