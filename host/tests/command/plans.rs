//! Plans that are missing, broken or unsafe, and command lines that are wrong.

use crate::support::loomproof;

const VAN: &str = "fixtures/plans/bakery-van.toml";

fn broken(name: &str) -> String {
    format!("fixtures/broken-plans/{name}.toml")
}

#[test]
fn a_missing_plan() {
    for verb in ["ringout", "hookup"] {
        loomproof(&[verb, "nowhere.toml"]).fails(
            2,
            &[
                "cannot read nowhere.toml",
                "check the spelling and the folder",
            ],
        );
    }
}

#[test]
fn a_folder_is_no_plan() {
    loomproof(&["ringout", "fixtures"])
        .fails(2, &["fixtures is a folder", "give the plan's own file"]);
}

#[test]
fn a_file_that_is_no_text() {
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), [0x70, 0xFF, 0xFE, 0x00]).unwrap();
    let path = file.path().to_str().unwrap();
    let run = loomproof(&["ringout", path]);
    run.fails(2, &[path, "error: ", "help: "]);
}

#[test]
fn two_leads_in_one_cavity() {
    loomproof(&["ringout", &broken("two-in-one-cavity")]).fails(
        2,
        &[
            "lead W2 ends at X1:4, where lead W1 is",
            "two-in-one-cavity.toml:25:8",
            "use a free cavity, a tap or a splice",
        ],
    );
}

#[test]
fn a_lead_that_ends_nowhere() {
    loomproof(&["ringout", &broken("unknown-end")])
        .fails(2, &["unknown-end.toml:", "error: lead W", "help: "]);
}

/// Unknown keys, colours, units, cavities and names: all five in one go.
#[test]
fn five_mistakes_at_once() {
    let run = loomproof(&["ringout", &broken("five-mistakes")]);
    run.fails(
        2,
        &[
            "lead W1: `brown` is not a colour code",
            "help: write `BN`",
            "lead W2: `0.5` has no unit",
            "connector `X1` has no cavity 7",
            "there is no conductor `K7`",
            "`plce` is not a known key",
            "did you mean `place`",
            "five-mistakes.toml:31:1",
        ],
    );
    assert_eq!(run.err.matches("error: ").count(), 5, "{}", run.err);
}

#[test]
fn a_restraint_connector_is_refused() {
    for verb in ["ringout", "hookup"] {
        let run = loomproof(&[verb, &broken("restraint")]);
        run.fails(
            4,
            &[
                "refused: tap T1 bites `K1`, which reaches a restraint connector",
                "refused: lead W3 ends in `XR`",
                "restraint.toml:23:6",
                "such circuits are not touched, tapped or measured",
            ],
        );
    }
}

/// A mistake beside something unsafe: the plan has to be put right first.
#[test]
fn a_mistake_comes_before_a_refusal() {
    let text = std::fs::read_to_string(crate::support::top().join(broken("restraint"))).unwrap();
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), text.replacen("title = ", "titel = ", 1)).unwrap();
    let run = loomproof(&["ringout", file.path().to_str().unwrap()]);
    run.fails(2, &["`titel` is not a known key", "refused: "]);
}

#[test]
fn a_bad_fault_spelling() {
    let tries: &[(&str, &[&str])] = &[
        (
            "blah@X1:3",
            &["\"blah\" is not a kind of fault; kinds are open, high-resistance"],
        ),
        (
            "open",
            &[
                "spell it KIND@PLACE[,key=value], for example open@X1:4",
                "--fault help",
            ],
        ),
        ("open@", &["there is no place after the @"]),
        (
            "wrong-cavity@X1:3",
            &["it needs to=", "wrong-cavity@X1:4,to=X1:3"],
        ),
        ("wrong-cavity@X1:3,to=X1:99", &["X1 has no cavity 99"]),
        (
            "wrong-cavity@X1:3,to=X1:9",
            &["X1:9 is in use", "exchanged@"],
        ),
        (
            "high-resistance@X1:3,ohms=lots",
            &["ohms must be a number", "lots"],
        ),
        ("tap-missed@T99", &["there is no tap T99"]),
        ("short@W2,with=W2", &["a lead cannot touch itself"]),
        (
            "open@X1:3,ohms=4",
            &["\"ohms\" does not belong to this kind"],
        ),
    ];
    for (fault, words) in tries {
        let run = loomproof(&["ringout", VAN, "--fault", fault]);
        run.fails(2, &[&format!("fault \"{fault}\"")]);
        run.speaks(words);
    }
}

#[test]
fn a_fault_on_a_real_probe() {
    loomproof(&[
        "ringout",
        VAN,
        "--probe",
        "/dev/loomproof-nowhere",
        "--fault",
        "open@W1",
    ])
    .fails(
        2,
        &["--fault puts faults on the virtual bench", "leave it out"],
    );
}

#[test]
fn wrong_answers() {
    loomproof(&["ringout", VAN, "--answer", "second-battery=perhaps"]).fails(
        2,
        &[
            "option `second-battery` cannot be answered by `perhaps`",
            "Answer yes or no",
        ],
    );
    loomproof(&["ringout", VAN, "--answer", "second-batery=no"]).fails(
        2,
        &["this plan has no option `second-batery`", "second-battery"],
    );
    loomproof(&["ringout", VAN, "--answer", "no"]).fails(2, &["--answer option=value"]);
    loomproof(&[
        "ringout",
        VAN,
        "--answer",
        "second-battery=no",
        "--answer",
        "second-battery=yes",
    ])
    .fails(2, &["second-battery is answered twice: no and yes"]);
}

#[test]
fn wrong_command_lines() {
    loomproof(&["ringout"]).fails(2, &["<PLAN>", "--help"]);
    loomproof(&["ringo", VAN]).fails(2, &["ringo", "--help"]);
    loomproof(&["ringout", VAN, "--leads", "17"]).fails(2, &["16, 32, 48, 64"]);
    loomproof(&["ringout", VAN, "--where", "garage"]).fails(2, &["garage", "bench", "vehicle"]);
}

#[test]
fn help_says_the_exit_statuses() {
    let run = loomproof(&["--help"]);
    assert_eq!(run.status, 0, "{run:#?}");
    for words in [
        "0 pass, 1 faults found",
        "5 cannot tell",
        "Disconnect the battery",
    ] {
        assert!(run.out.contains(words), "{}", run.out);
    }
}
