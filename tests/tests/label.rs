//! The label of a harness: its code, read from the drawing by a decoder that has
//! nothing of the encoder, says what is written beside it; and the kit list counts what
//! the plan file has, counted from the file apart from the program.

use std::collections::BTreeMap;

use loomproof::plan::Plan;
use loomproof::plan::model::Job;
use loomproof::records::record::Subject;
use loomproof::ringout::report::Report;
use loomproof::sheet::kit::{Kit, Sort};
use loomproof::sheet::label::{Size, address_of, label};
use loomproof::sheet::language::{Language, SHIPPED};
use loomproof::sheet::{Input, Paper, Reported, kit_list};
use loomproof_core::wire::Place;
use loomproof_tests::campaign::site::{Site, Source};
use loomproof_tests::skip::top;
use toml::{Table, Value};

fn load(name: &str) -> (Plan, Job) {
    let plan = Plan::load(&top().join(format!("fixtures/plans/{name}.toml")));
    let plan = plan.unwrap_or_else(|error| panic!("{}", error.render(false)));
    let answers = plan
        .options()
        .iter()
        .filter_map(|option| Some((option.name.clone(), option.default.clone()?)))
        .collect();
    let job = plan.resolve(&answers).unwrap();
    (plan, job)
}

/// A label with the number of the harness.
fn made(
    (plan, job): &(Plan, Job),
    unit: &str,
    report: Option<Report>,
    size: Size,
    folder: Option<&str>,
    code: &str,
) -> Result<String, String> {
    let language = Language::shipped(code).unwrap();
    let kit = Kit::of(plan, job, &language);
    let reported = report.map(|report| Reported {
        report,
        taken: Some("2026-11-25 18:00 +00:00".to_owned()),
        record: Some(("ab".repeat(32), "cd".repeat(32))),
    });
    let subject = Subject {
        unit: Some(unit.to_owned()).filter(|unit| !unit.is_empty()),
        batch: Some("B-12".to_owned()),
        ..Subject::default()
    };
    let input = Input {
        job,
        place: Place::Vehicle,
        keep_off: &[],
        hookups: Err("not asked for".to_owned()),
        reported: reported.as_ref(),
        subject: &subject,
        written: "2026-11-25 18:30 +00:00",
        paper: Paper::A4,
        kit: &kit,
        arrival: &[],
        photos: &[],
    };
    label(&input, size, folder, &language)
}

/// What the code of a label says, and how many millimetres a module of it has: the
/// drawing is put onto a grid as a camera would see it, and read.
fn read(html: &str) -> (String, f64) {
    let between = |before: &str, after: &str| {
        let rest = html.split_once(before).unwrap().1;
        rest.split_once(after).unwrap().0
    };
    let modules: usize = between("viewBox=\"0 0 ", " ").parse().unwrap();
    let side: f64 = between("width=\"", "mm\"").parse().unwrap();
    // 7 pixels a module, and room around as on a table.
    let (scale, room) = (7, 20);
    let width = modules * scale + 2 * room;
    let mut pixels = vec![255_u8; width * width];
    let mut runs = 0;
    for run in between(" d=\"", "\"").split('M').skip(1) {
        let (start, rest) = run.split_once('h').unwrap();
        let (x, y) = start.split_once(' ').unwrap();
        let length = rest.split_once('v').unwrap().0;
        let number = |text: &str| text.parse::<usize>().unwrap();
        let (x, y, length) = (number(x), number(y), number(length));
        assert_eq!(
            rest,
            format!("{length}v1h-{length}z"),
            "a bar, one module high"
        );
        for row in room + y * scale..room + (y + 1) * scale {
            let from = row * width + room + x * scale;
            pixels[from..from + length * scale].fill(0);
        }
        runs += 1;
    }
    assert!(runs > 100, "{runs}");
    let mut image =
        rqrr::PreparedImage::prepare_from_greyscale(width, width, |x, y| pixels[y * width + x]);
    let grids = image.detect_grids();
    assert_eq!(grids.len(), 1, "one code is on the label");
    let (_, text) = grids[0].decode().unwrap();
    #[allow(clippy::cast_precision_loss, reason = "small")]
    (text, side / modules as f64)
}

#[test]
fn the_code_opens_the_sheet_of_the_harness() {
    let van = load("bakery-van");
    for (unit, address) in [
        ("U-4711", "https://sheets.example/van/U-4711.html"),
        (
            "Los 3/7 ü",
            "https://sheets.example/van/Los%203%2F7%20%C3%BC.html",
        ),
        (
            "../../x?y#z",
            "https://sheets.example/van/%2E%2E%2F%2E%2E%2Fx%3Fy%23z.html",
        ),
    ] {
        for (code, _) in SHIPPED {
            let folder = Some("https://sheets.example/van/");
            let html = made(&van, unit, None, Size::USUAL, folder, code).unwrap();
            let (text, module) = read(&html);
            assert_eq!(text, address);
            assert!(module > 0.33, "{module} mm");
            assert!(html.contains("@page { size: 100mm 50mm; margin: 0; }"));
            assert!(html.contains(&format!("href=\"{address}\"")));
        }
    }
}

#[test]
fn without_an_address_the_code_says_what_is_written() {
    let smallest = load("smallest");
    let html = made(&smallest, "U-1", None, Size::USUAL, None, "en").unwrap();
    let short = &smallest.1.digest[..12];
    assert_eq!(
        read(&html).0,
        format!("unit U-1\nbatch B-12\nTwo wires and a tap\nplan {short}")
    );
    let site = Site {
        source: Source::Fixture("smallest"),
        place: Place::Vehicle,
    };
    let report = site.load().unwrap().ring_out(&[], 5).unwrap();
    let html = made(&smallest, "U-1", Some(report), Size::USUAL, None, "de").unwrap();
    let record = "ab".repeat(6);
    assert_eq!(
        read(&html).0,
        format!(
            "unit U-1\nbatch B-12\nTwo wires and a tap\nplan {short}\nring-out pass (simulated) \
             2026-11-25 18:00 +00:00\nrecord {record}"
        )
    );
    for said in [
        "BESTANDEN",
        "SIMULIERT",
        "2026-11-25",
        &record,
        "Handprüfungen offen",
    ] {
        assert!(html.contains(said), "{said}");
    }
}

#[test]
fn what_cannot_be_a_label_is_told() {
    let smallest = load("smallest");
    let fails = |unit: &str, size: &str, folder: Option<&str>| {
        let size = match Size::read(size) {
            Ok(size) => size,
            Err(why) => return why,
        };
        made(&smallest, unit, None, size, folder, "en").unwrap_err()
    };
    assert!(fails("", "100x50", None).contains("--unit"));
    assert!(fails(&"9".repeat(41), "100x50", None).contains("40"));
    let long = format!("https://{}/", "a".repeat(600));
    assert!(fails("U-1", "60x30", Some(&long)).contains("--label-size"));
    assert!(
        fails(
            "U-1",
            "100x50",
            Some(&format!("https://{}/", "a".repeat(4000)))
        )
        .contains("fit")
    );
    for size in ["100", "100x", "axb", "10x10", "100x90", "NaNx50", "infx50"] {
        assert!(!fails("U-1", size, None).is_empty(), "{size}");
    }
    for bad in [
        "ftp://x/",
        "javascript:alert(1)/",
        "https://",
        "https:///x/",
        "https://x/y",
        "https://x/\"><b>/",
        "https://x/a b/",
    ] {
        assert!(address_of(bad, "U-1").is_err(), "{bad}");
    }
    assert_eq!(
        address_of("http://shop/s/", "A_1").unwrap(),
        "http://shop/s/A_1.html"
    );
}

/// The tables of a kind in the plan file that are there for these answers, which the
/// file states as `option == "value"` and nothing more where this test looks.
fn tables<'t>(file: &'t Table, kind: &str) -> BTreeMap<&'t str, &'t Table> {
    let all = file.get(kind).and_then(Value::as_table);
    let all = all.into_iter().flatten();
    all.filter_map(|(name, own)| Some((name.as_str(), own.as_table()?)))
        .collect()
}

#[test]
fn the_kit_list_counts_what_the_plan_has() {
    for name in ["smallest", "bakery-van", "socket-13-pin", "bench-64"] {
        let (plan, job) = load(name);
        let kit = Kit::of(&plan, &job, &Language::shipped("en").unwrap());
        let text = std::fs::read_to_string(top().join(format!("fixtures/plans/{name}.toml")));
        let file: Table = text.unwrap().parse().unwrap();
        let left_out = |sort: Sort| kit.not_needed.iter().filter(|own| own.sort == sort).count();
        let in_bag = |sort: Sort| -> usize {
            let own = kit.parts.iter().filter(|own| own.sort == sort);
            own.map(|own| own.count).sum()
        };
        for (kind, sort) in [
            ("tap", Sort::Tap),
            ("splice", Sort::Splice),
            ("ring", Sort::Ring),
            ("plug", Sort::Plug),
            ("relay", Sort::Relay),
            ("diode", Sort::Diode),
            ("lamp", Sort::Lamp),
            ("fuse", Sort::Fuse),
        ] {
            let there = tables(&file, kind).len();
            assert_eq!(in_bag(sort) + left_out(sort), there, "{name}: {kind}");
        }
        let leads = tables(&file, "lead");
        let counted: usize = kit.leads.iter().map(|own| own.count).sum();
        assert_eq!(counted + left_out(Sort::Lead), leads.len(), "{name}");
        // Every lead is in the row of its own colour, size and length, and its ends in
        // connectors have a terminal each.
        let (mut terminals, mut caps, mut metres) = (0, 0, 0.0);
        for own in &kit.leads {
            assert_eq!(own.count, own.names.len());
            for lead in &own.names {
                let table = leads[lead.as_str()];
                assert_eq!(table["colour"].as_str(), Some(own.colour.as_str()));
                assert_eq!(table["size"].as_str(), Some(own.size.as_str()));
                let length = table["length"].as_str().unwrap();
                let (number, unit) = length.split_once(' ').unwrap();
                let factor = if unit == "m" { 1.0 } else { 0.01 };
                let length: f64 = number.parse::<f64>().unwrap() * factor;
                assert!((length - own.metres).abs() < 1e-9, "{lead}");
                metres += own.metres;
                for end in ["from", "to"] {
                    let end = table[end].as_str().unwrap();
                    let name = end.split(':').next().unwrap();
                    let connector = tables(&file, "connector").contains_key(name);
                    let part = ["relay", "fuse", "lamp"]
                        .iter()
                        .any(|kind| tables(&file, kind).contains_key(name));
                    terminals += usize::from(connector || part);
                    caps += usize::from(end == "cap");
                }
            }
        }
        assert_eq!(in_bag(Sort::Terminal), terminals, "{name}");
        assert_eq!(in_bag(Sort::Cap), caps, "{name}");
        let wire: f64 = kit.wire.iter().map(|own| own.metres).sum();
        assert!((wire - metres).abs() < 1e-2, "{name}: {wire} {metres}");
    }
}

/// What one answer needs the other does not, and the list says so.
#[test]
fn what_this_vehicle_does_not_need_is_said() {
    let (plan, _) = load("bakery-van");
    let mut lists = Vec::new();
    for battery in ["no", "yes"] {
        let answers = plan.options().iter().filter_map(|option| {
            let value = if option.name == "second-battery" {
                Some(battery.to_owned())
            } else {
                option.default.clone()
            };
            Some((option.name.clone(), value?))
        });
        let job = plan.resolve(&answers.collect()).unwrap();
        let language = Language::shipped("en").unwrap();
        let kit = Kit::of(&plan, &job, &language);
        lists.push((kit_list::text(&kit, &language), kit));
    }
    let left_out =
        |kit: &Kit| -> Vec<String> { kit.not_needed.iter().map(|own| own.name.clone()).collect() };
    let (without, with) = (left_out(&lists[0].1), left_out(&lists[1].1));
    assert!(without.contains(&"G2".to_owned()) && without.contains(&"W4".to_owned()));
    assert!(!with.contains(&"G2".to_owned()) && !with.contains(&"W4".to_owned()));
    assert!(
        lists[0].0.contains("Lead W4 (OG, 4 mm2, 2.4 m)"),
        "{}",
        lists[0].0
    );
    let names = |kit: &Kit| {
        kit.leads
            .iter()
            .any(|own| own.names.contains(&"W4".to_owned()))
    };
    assert!(!names(&lists[0].1) && names(&lists[1].1));
}
