//! The sheet and report in headless Chromium: every fixture, as a job and with a
//! report, in every language, on a phone, on a desk and on paper.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

use loomproof::fault::spell::parse;
use loomproof::hookup::propose;
use loomproof::plan::Plan;
use loomproof::plan::model::Job;
use loomproof::records::record::Subject;
use loomproof::ringout::report::{Report, Verdict};
use loomproof::sheet::kit::Kit;
use loomproof::sheet::label::{Size, label};
use loomproof::sheet::language::{Language, SHIPPED};
use loomproof::sheet::photo::{Photo, strip};
use loomproof::sheet::{Input, Paper, Reported, kit_list, sheet};
use loomproof_core::wire::Place;
use loomproof_tests::campaign::site::{Site, Source};
use loomproof_tests::skip::{require, require_file, top};
use serde_json::Value;

const INSTALL: &str = "run `npm ci --prefix tests/browser`";

/// What a run of the browser saw, file by file.
fn look(folder: &Path, files: &[PathBuf]) -> Option<Vec<Value>> {
    let chromium = require("chromium")?;
    let node = require("node")?;
    require_file("tests/browser/node_modules/axe-core/package.json", INSTALL)?;
    require_file(
        "tests/browser/node_modules/puppeteer-core/package.json",
        INSTALL,
    )?;
    let output = Command::new(node)
        .arg(top().join("tests/browser/check.mjs"))
        .arg(chromium)
        .arg(folder)
        .args(files)
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let seen: Vec<Value> = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(seen.len(), files.len());
    Some(seen)
}

fn subject() -> Subject {
    Subject {
        who: Some("A. Fitter".to_owned()),
        vehicle: Some("V-0815".to_owned()),
        unit: Some("U-4711".to_owned()),
        batch: None,
    }
}

/// A plan's sheet, with a report where there is one.
fn page(plan: &Plan, report: Option<Report>, language: &str, paper: Paper) -> String {
    let defaults: BTreeMap<String, String> = plan
        .options()
        .iter()
        .filter_map(|option| Some((option.name.clone(), option.default.clone()?)))
        .collect();
    let answers = report
        .as_ref()
        .map_or(defaults, |report| report.answers.clone());
    let job = plan.resolve(&answers).unwrap();
    page_of(plan, &job, report, language, paper)
}

fn page_of(plan: &Plan, job: &Job, report: Option<Report>, language: &str, paper: Paper) -> String {
    made_of(plan, job, report, language, paper, sheet)
}

/// What is made of all that a sheet is made of.
fn made_of(
    plan: &Plan,
    job: &Job,
    report: Option<Report>,
    language: &str,
    paper: Paper,
    make: impl Fn(&Input<'_>, &Language) -> String,
) -> String {
    let keep_off: Vec<String> = plan.keep_off().map(str::to_owned).collect();
    let hookup = propose(job, Place::Vehicle, 64).map_err(|error| error.to_string());
    let hookups = hookup.map(|hookup| vec![hookup]);
    let reported = report.map(|report| Reported {
        report,
        taken: Some("2026-11-25 18:00 +00:00".to_owned()),
        record: Some(("ab".repeat(32), "cd".repeat(32))),
    });
    let language = Language::shipped(language).unwrap();
    let kit = Kit::of(plan, job, &language);
    let arrival = [
        "Left dip beam flickers".to_owned(),
        "<b>scratch</b>".to_owned(),
    ];
    // One with its finding, where there is one, one elsewhere.
    let photos: Vec<Photo> = [
        ("1", None),
        (job.connectors[0].name.as_str(), Some("half out")),
    ]
    .into_iter()
    .map(|(at, say)| Photo {
        at: at.to_owned(),
        say: say.map(str::to_owned),
        kind: "image/png",
        bytes: strip(&PIXEL).unwrap().1,
    })
    .collect();
    make(
        &Input {
            job,
            place: Place::Vehicle,
            keep_off: &keep_off,
            hookups: hookups.as_deref().map_err(Clone::clone),
            reported: reported.as_ref(),
            subject: &subject(),
            written: "2026-11-25 18:30 +00:00",
            paper,
            kit: &kit,
            arrival: &arrival,
            photos: if reported.is_some() { &photos } else { &[] },
        },
        &language,
    )
}

/// A PNG of one white pixel.
const PIXEL: [u8; 67] = [
    137, 80, 78, 71, 13, 10, 26, 10, 0, 0, 0, 13, 73, 72, 68, 82, 0, 0, 0, 1, 0, 0, 0, 1, 8, 0, 0,
    0, 0, 58, 126, 155, 85, 0, 0, 0, 10, 73, 68, 65, 84, 120, 156, 99, 248, 15, 0, 1, 1, 1, 0, 177,
    56, 246, 20, 0, 0, 0, 0, 73, 69, 78, 68, 174, 66, 96, 130,
];

fn plan(name: &str) -> Plan {
    Plan::load(&top().join(format!("fixtures/plans/{name}.toml"))).unwrap_or_else(|error| {
        panic!("{}", error.render(false));
    })
}

/// The fixtures, by name.
fn fixtures() -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(top().join("fixtures/plans"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "toml"))
        .map(|path| path.file_stem().unwrap().to_str().unwrap().to_owned())
        .collect();
    names.sort();
    names
}

fn ring_out(name: &'static str, faults: &[&str]) -> Report {
    let site = Site {
        source: Source::Fixture(name),
        place: Place::Vehicle,
    };
    let site = site.load().unwrap();
    let faults: Vec<_> = faults
        .iter()
        .map(|fault| parse(fault, &site.job).unwrap())
        .collect();
    site.ring_out(&faults, 5).unwrap()
}

#[test]
fn every_sheet_stands_on_a_phone_on_a_desk_and_on_paper() {
    let folder = tempfile::tempdir().unwrap();
    let mut files = Vec::new();
    let mut letters = BTreeSet::new();
    let mut write = |name: String, html: String| {
        let file = folder.path().join(format!("{name}.html"));
        std::fs::write(&file, html).unwrap();
        files.push(file);
    };
    for name in fixtures() {
        // Every fixture in English; other languages are longer or shorter alike.
        let languages = if name == "bakery-van" { 2 } else { 1 };
        for (code, _) in SHIPPED.into_iter().take(languages) {
            write(
                format!("{name}-{code}"),
                page(&plan(&name), None, code, Paper::A4),
            );
        }
    }
    for (name, faults) in [
        ("smallest", vec![]),
        ("smallest", vec!["exchanged@X1:4,with=X1:5"]),
        ("bakery-van", vec!["mirrored@X10", "tap-missed@T5"]),
        ("bakery-van", vec!["live@X1:3,volts=12"]),
        ("bench-64", vec!["exchanged@X1:4,with=X1:7"]),
        ("socket-13-pin", vec!["open@X20:7"]),
    ] {
        let report = ring_out(name, &faults);
        assert_eq!(report.verdict == Verdict::Pass, faults.is_empty());
        for (code, paper) in [("en", Paper::Letter), ("de", Paper::A4)] {
            let file = format!("{name}-{}-{code}-report", report.verdict.word());
            if paper == Paper::Letter {
                letters.insert(file.clone());
            }
            write(file, page(&plan(name), Some(report.clone()), code, paper));
        }
    }
    let Some(seen) = look(folder.path(), &files) else {
        return;
    };
    let mut drawings = 0;
    for one in &seen {
        let name = one["file"].as_str().unwrap();
        let none = |key: &str| assert_eq!(one[key], serde_json::json!([]), "{name}: {key}");
        for key in [
            "violations",
            "asked",
            "said",
            "handlers",
            "unsaid",
            "broken",
        ] {
            none(key);
        }
        assert!(
            one["checked"].as_u64().unwrap() > 15,
            "{name}: {}",
            one["checked"]
        );
        for width in ["360", "1100"] {
            let overflow = &one["overflow"][width];
            assert_eq!(overflow["page"], 0, "{name} at {width}: {overflow}");
            assert_eq!(
                overflow["elements"],
                serde_json::json!([]),
                "{name} at {width}"
            );
        }
        assert_eq!(one["scripts"], 0, "{name}");
        assert_eq!(one["unnamed"], 0, "{name}: drawings without words");
        drawings += one["drawings"].as_u64().unwrap();
        let ids: Vec<&str> = one["ids"]
            .as_array()
            .unwrap()
            .iter()
            .filter_map(Value::as_str)
            .collect();
        assert_eq!(
            ids.iter().collect::<BTreeSet<_>>().len(),
            ids.len(),
            "{name}: ids twice"
        );
        let stops = one["stops"].as_array().unwrap();
        assert!(stops.len() > 5, "{name}: {stops:?}");
        assert_eq!(stops[0]["what"], "a", "{name}: {}", stops[0]);
        for stop in stops {
            assert_eq!(stop["shows"], true, "{name}: {stop}");
        }
        let paper = &one["paper"];
        assert_eq!(paper["wide"], 0, "{name}");
        assert_eq!(paper["torn"], serde_json::json!([]), "{name}");
        assert_eq!(paper["tall"], serde_json::json!([]), "{name}");
        assert!(paper["parts"].as_u64().unwrap() > 5);
        let stem = name.strip_suffix(".html").unwrap();
        let sizes = pages(&folder.path().join(format!("{stem}.pdf")));
        assert!(!sizes.is_empty());
        // ISO 216 and ANSI sizes in points of 1/72 inch.
        let (width, height) = if letters.contains(stem) {
            (612.0, 792.0)
        } else {
            (595.28, 841.89)
        };
        for (w, h) in &sizes {
            assert!(
                (w - width).abs() < 1.0 && (h - height).abs() < 1.0,
                "{name}: {w} by {h}"
            );
        }
    }
    println!("{} sheets, {drawings} drawings", seen.len());
    assert!(drawings > 400, "{drawings}");
}

#[test]
fn label_and_kit_list_stand_on_a_phone_and_on_their_paper() {
    let folder = tempfile::tempdir().unwrap();
    let mut files = Vec::new();
    let van = plan("bakery-van");
    let report = ring_out("bakery-van", &["mirrored@X10"]);
    let job = van.resolve(&report.answers).unwrap();
    for (code, _) in SHIPPED {
        let mut write = |name: &str, html: String| {
            let file = folder.path().join(format!("{name}-{code}.html"));
            std::fs::write(&file, html).unwrap();
            files.push(file);
        };
        let make = |make: &dyn Fn(&Input<'_>, &Language) -> String| {
            made_of(&van, &job, Some(report.clone()), code, Paper::A4, make)
        };
        write("kit", make(&kit_list::page));
        write(
            "label",
            make(&|input, language| {
                let folder = Some("https://sheets.example/");
                label(input, Size::USUAL, folder, language).unwrap()
            }),
        );
        write(
            "plain",
            make(&|input, language| label(input, Size::USUAL, None, language).unwrap()),
        );
    }
    let Some(seen) = look(folder.path(), &files) else {
        return;
    };
    for one in &seen {
        let name = one["file"].as_str().unwrap();
        for key in ["violations", "asked", "said", "handlers", "broken"] {
            assert_eq!(one[key], serde_json::json!([]), "{name}: {key}");
        }
        for width in ["360", "1100"] {
            let overflow = &one["overflow"][width];
            assert_eq!(overflow["page"], 0, "{name} at {width}: {overflow}");
            let none = serde_json::json!([]);
            assert_eq!(overflow["elements"], none, "{name} at {width}");
        }
        assert_eq!(
            (&one["scripts"], &one["unnamed"]),
            (&0.into(), &0.into()),
            "{name}"
        );
        for stop in one["stops"].as_array().unwrap() {
            assert_eq!(stop["shows"], true, "{name}: {stop}");
        }
        let stem = name.strip_suffix(".html").unwrap();
        let sizes = pages(&folder.path().join(format!("{stem}.pdf")));
        if !stem.starts_with("kit") {
            // One label of 100 mm by 50 mm, in points of 1/72 inch.
            let [(width, height)] = sizes[..] else {
                panic!("{name}: {sizes:?}");
            };
            assert!(
                (width - 283.46).abs() < 1.0 && (height - 141.73).abs() < 1.0,
                "{sizes:?}"
            );
        }
    }
}

/// The page sizes of a PDF, in points. Chromium writes them plainly.
fn pages(file: &Path) -> Vec<(f64, f64)> {
    let bytes = std::fs::read(file).unwrap();
    let text = String::from_utf8_lossy(&bytes);
    let boxes = text.split("/MediaBox [").skip(1);
    boxes
        .map(|rest| {
            let numbers: Vec<f64> = rest
                .split(']')
                .next()
                .unwrap()
                .split_whitespace()
                .map(|number| number.parse().unwrap())
                .collect();
            (numbers[2] - numbers[0], numbers[3] - numbers[1])
        })
        .collect()
}

/// Every text that a plan can carry, tame or hostile.
fn written(title: &str, place: &str, words: &str) -> Plan {
    let quote = |text: &str| serde_json::to_string(text).unwrap();
    let (title, place, words) = (quote(title), quote(place), quote(words));
    let text = format!(
        "plan = 1\ntitle = {title}\n[connector.X1]\ncavities = 6\nrows = 2\nplace = {place}\n\
         [connector.FB]\ncavities = 4\nplace = {place}\n[conductor.K1]\nat = \"FB:2\"\n\
         colour = \"VT/GY\"\nfunction = {words}\n[tap.T1]\non = \"K1\"\nplace = {place}\n\
         [lead.W1]\ncolour = \"BN\"\nsize = \"0.5 mm2\"\nlength = \"1.2 m\"\nfrom = \"X1:4\"\n\
         to = \"T1\"\n[lead.W2]\ncolour = \"OG/BK\"\nsize = \"20 AWG\"\nlength = \"2 m\"\n\
         from = \"X1:5\"\nto = \"G1\"\n[ring.G1]\non = \"chassis\"\nplace = {place}\n\
         [function.f]\nswitch_on = {words}\nseen_at = [\"X1:4\"]\n"
    );
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("plan.toml");
    std::fs::write(&file, text).unwrap();
    Plan::load(&file).unwrap_or_else(|error| panic!("{}", error.render(false)))
}

/// Turns round what is read after it.
const TURNED: &str = "\u{202e}<b>turned";

#[test]
fn hostile_words_stay_words() {
    let evil = [
        "<script>alert(1)</script>",
        "</title></style><img src=x onerror=alert(1)>",
        "\"><svg onload=alert(1)>",
        "' onmouseover='alert(1)",
        "</main><!-- ",
        "javascript:alert(1) &lt;b&gt; {count}",
        TURNED,
    ];
    let folder = tempfile::tempdir().unwrap();
    let mut files = Vec::new();
    let tame = folder.path().join("tame.html");
    std::fs::write(&tame, page(&written("t", "p", "w"), None, "en", Paper::A4)).unwrap();
    files.push(tame);
    for (at, words) in evil.iter().enumerate() {
        let html = if *words == TURNED {
            // No plan that is read has it any more; a sheet cleans what it is given all the same.
            let tame = written("t", "p", "w");
            let mut job = tame.resolve(&BTreeMap::new()).unwrap();
            job.title = (*words).to_owned();
            page_of(&tame, &job, None, "en", Paper::A4)
        } else {
            page(&written(words, words, words), None, "en", Paper::A4)
        };
        assert!(!html.contains('\u{202e}'));
        assert!(
            !html.contains("<script") && !html.contains("<img"),
            "{words}"
        );
        assert!(
            !html.contains("onload=alert(1)>") || html.contains("&lt;svg onload"),
            "{words}"
        );
        let file = folder.path().join(format!("evil{at}.html"));
        std::fs::write(&file, html).unwrap();
        files.push(file);
    }
    let Some(seen) = look(folder.path(), &files) else {
        return;
    };
    for (at, one) in seen.iter().enumerate() {
        assert_eq!(one["elements"], seen[0]["elements"], "{}", one["file"]);
        for key in ["violations", "asked", "said", "handlers"] {
            assert_eq!(one[key], serde_json::json!([]), "{}: {key}", one["file"]);
        }
        assert_eq!(one["scripts"], 0);
        assert_eq!(one["overflow"]["360"]["page"], 0);
        if let Some(words) = at.checked_sub(1).and_then(|at| evil.get(at)) {
            let title = one["title"].as_str().unwrap();
            let words = words.replace('\u{202e}', "\u{fffd}");
            let flat = words.split_whitespace().collect::<Vec<_>>().join(" ");
            assert_eq!(
                title,
                format!("Job sheet: {flat}").trim(),
                "said as it is written"
            );
        }
    }
}

/// Checks that cannot fail are none: a page with everything wrong is told.
#[test]
fn the_browser_tells_what_is_wrong() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("bad.html");
    let bad = "<!DOCTYPE html><html><head><title></title></head><body>\
        <div style='width:900px'>wide</div><svg width=9 height=9></svg><a href='#no'>x</a>\
        <p style='color:#eee;background:#fff'>pale</p><script>console.log('ran')</script>\
        <img src='x.png'></body></html>";
    std::fs::write(&file, bad).unwrap();
    let Some(seen) = look(folder.path(), &[file]) else {
        return;
    };
    let one = &seen[0];
    let violations = one["violations"].to_string();
    for rule in [
        "html-has-lang",
        "document-title",
        "image-alt",
        "color-contrast",
    ] {
        assert!(violations.contains(rule), "{rule} is not in {violations}");
    }
    assert!(one["overflow"]["360"]["page"].as_i64().unwrap() > 0);
    assert_eq!((&one["unnamed"], &one["scripts"]), (&1.into(), &1.into()));
    assert_eq!(one["broken"], serde_json::json!(["no"]));
    assert!(one["said"].as_array().unwrap().contains(&"ran".into()));
    assert_eq!(one["asked"].as_array().unwrap().len(), 1);
}
