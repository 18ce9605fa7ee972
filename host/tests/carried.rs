//! The plan that a probe carries: what is compiled is what is read, judged as the
//! host judges, and refused when it is torn or altered anywhere.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use loomproof::alone::{Carrying, CompileError, LoadError, compile, load};
use loomproof::bench::{Bare, Bench, Settings, VirtualFlash};
use loomproof::circuit::build;
use loomproof::diagnosis::evidence::Evidence;
use loomproof::fault::spell::parse;
use loomproof::hookup::propose;
use loomproof::link::{Link, Loopback, Session, VirtualProbe};
use loomproof::plan::{Plan, read};
use loomproof::ringout::{Outcome, run};
use loomproof_core::image::{Head, ImageError, NOT_ASKED};
use loomproof_core::judge::Side;
use loomproof_core::scan::first_pass;
use loomproof_core::wire::{Carried, PAGE, Page, Place, Refusal, Reply, Request};
use loomproof_firmware::memory::Flash;

fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn plan(name: &str) -> Plan {
    Plan::load(&top().join(format!("fixtures/plans/{name}.toml"))).unwrap()
}

fn compiled(plan: &Plan, place: Place) -> Vec<u8> {
    let clips = vec![None; 64];
    let probe = Carrying {
        leads: 64,
        clips: &clips,
    };
    compile(plan, &BTreeMap::new(), place, probe).unwrap()
}

/// Plans of the fixtures that can be rung out there at once with 64 leads.
const PLANS: [(&str, Place); 7] = [
    ("bakery-van", Place::Vehicle),
    ("bakery-van", Place::Bench),
    ("socket-13-pin", Place::Vehicle),
    ("socket-13-pin", Place::Bench),
    ("bench-64", Place::Bench),
    ("smallest", Place::Vehicle),
    ("smallest", Place::Bench),
];

fn probe(flash: &VirtualFlash) -> Session<Loopback> {
    let bench = Bench::bare(Bare::Free, &Settings::default()).unwrap();
    VirtualProbe::with_flash(bench, flash.clone())
        .session()
        .unwrap()
}

fn carried(link: &mut dyn Link) -> Carried {
    match link.exchange(&Request::Plan).unwrap() {
        Reply::Plan { carried, .. } => carried,
        other => panic!("{other:?}"),
    }
}

/// Where the plan begins in the probe's flash: behind two blocks for the clips.
const AT: usize = 2 * 4096;

#[test]
fn what_is_compiled_is_what_is_read() {
    for (name, place) in PLANS {
        let plan = plan(name);
        let image = compiled(&plan, place);
        let store = &mut image.as_slice();
        let head = Head::open(store).unwrap();
        assert_eq!((head.place(), head.length() as usize), (place, image.len()));
        let variants = plan.variants(&BTreeMap::new(), 1000);
        assert_eq!(usize::from(head.variants()), variants.len(), "{name}");
        for (variant, answers) in (0..).zip(&variants) {
            let job = plan.resolve(answers).unwrap();
            for (at, option) in (0..).zip(plan.options()) {
                let answer = head.answer(store, variant, at).unwrap();
                let wanted = job.answers.get(&option.name);
                match option.choices.get(usize::from(answer)) {
                    Some(choice) => assert_eq!(Some(choice), wanted),
                    None => assert_eq!((answer, wanted), (NOT_ASKED, None)),
                }
            }
            let hookup = propose(&job, place, 64).unwrap();
            assert_eq!(
                usize::from(head.clips(store, variant).unwrap()),
                hookup.clips.len()
            );
            for (at, clip) in (0..).zip(&hookup.clips) {
                let found = head.clip(store, variant, at).unwrap().unwrap();
                assert_eq!(found.lead, clip.lead);
                let spot = head.spot(store, found.point).unwrap();
                assert_eq!(spot.name.as_str(), clip.point.to_string(), "{name}");
            }
            let layout = build(&job, &hookup).unwrap().layout();
            let mut at = 0;
            for planned in first_pass(&layout) {
                assert_eq!(head.step(store, variant, at).unwrap(), Some(planned));
                at += 1;
            }
            assert_eq!(head.step(store, variant, at).unwrap(), None);
            assert_eq!(head.steps_of(store, variant).unwrap(), at);
            assert!(at > 0);
        }
    }
}

/// Faults for each plan, and none: each reading is judged as `Evidence` does.
#[test]
fn the_limits_judge_every_reading_as_the_host_does() {
    let cases: [(&str, Place, &[&str]); 9] = [
        ("bakery-van", Place::Vehicle, &[]),
        (
            "bakery-van",
            Place::Vehicle,
            &["high-resistance@X10:2,ohms=8"],
        ),
        ("bakery-van", Place::Vehicle, &["tap-neighbour@T6,on=K11"]),
        ("bakery-van", Place::Bench, &["short@W17,with=W23"]),
        ("bakery-van", Place::Bench, &["exchanged@X1:9,with=X1:10"]),
        ("socket-13-pin", Place::Vehicle, &["tap-missed@T4"]),
        ("socket-13-pin", Place::Vehicle, &[]),
        ("smallest", Place::Vehicle, &["exchanged@X1:4,with=X1:5"]),
        ("bench-64", Place::Bench, &[]),
    ];
    let mut sides: BTreeMap<String, usize> = BTreeMap::new();
    for (seed, (name, place, faults)) in (1..).zip(cases) {
        let plan = plan(name);
        let image = compiled(&plan, place);
        let store = &mut image.as_slice();
        let head = Head::open(store).unwrap();
        let job = plan.resolve(&BTreeMap::new()).unwrap();
        let hookup = propose(&job, place, 64).unwrap();
        let model = build(&job, &hookup).unwrap();
        let variants = plan.variants(&BTreeMap::new(), 1000);
        let mut resolved = variants
            .iter()
            .map(|answers| plan.resolve(answers).unwrap());
        let variant = resolved.position(|other| other.answers == job.answers);
        let variant = u16::try_from(variant.unwrap()).unwrap();
        let faults: Vec<_> = faults.iter().map(|f| parse(f, &job).unwrap()).collect();
        let settings = Settings {
            seed,
            ..Settings::default()
        };
        let bench = Bench::new(&job, &hookup, &faults, &settings).unwrap();
        let mut link = VirtualProbe::new(bench).session().unwrap();
        let Outcome::Complete(taken) = run::run(&mut link, &model, place, &mut |_| {}).unwrap()
        else {
            panic!("refused");
        };
        let first = usize::from(head.steps_of(store, variant).unwrap());
        let evidence = Evidence::new(&model, &taken[..first]).unwrap();
        let mut host = evidence.judged().iter();
        for (at, taken) in (0..).zip(&taken[..first]) {
            let step = &taken.planned.step;
            head.judge(store, (variant, at), step, &taken.readings, &mut |found| {
                let wanted = host.next().unwrap();
                assert_eq!(
                    found.side,
                    Side::from(wanted.judgement),
                    "{name} {faults:?}"
                );
                assert_eq!(found.lead, wanted.quantity.plus.lead);
                assert_eq!(found.against, wanted.quantity.minus);
                *sides.entry(format!("{:?}", found.side)).or_default() += 1;
            })
            .unwrap();
        }
        assert!(host.next().is_none());
        assert_eq!(
            evidence.off().is_empty(),
            faults.is_empty(),
            "{name} {faults:?}"
        );
    }
    println!("{sides:?}");
    for side in ["Within", "Low", "High"] {
        assert!(sides.get(side).is_some_and(|count| *count > 3), "{sides:?}");
    }
}

#[test]
fn an_image_that_is_altered_at_any_byte_is_refused() {
    for (name, place) in [("smallest", Place::Vehicle), ("bakery-van", Place::Vehicle)] {
        let image = compiled(&plan(name), place);
        let mut altered = image.clone();
        for at in 0..image.len() {
            // Every bit of the small one, one of the large one.
            let bits = if name == "smallest" {
                0..8
            } else {
                at % 8..at % 8 + 1
            };
            for bit in bits {
                altered[at] ^= 1 << bit;
                assert!(
                    Head::open(&mut altered.as_slice()).is_err(),
                    "byte {at} of {name}"
                );
                altered[at] = image[at];
            }
        }
        for length in (0..image.len()).step_by(if name == "smallest" { 1 } else { 97 }) {
            let torn = &mut &image[..length];
            assert_eq!(Head::open(torn), Err(ImageError::Unreadable), "{length}");
        }
        assert!(Head::open(&mut altered.as_slice()).is_ok());
    }
}

#[test]
fn a_probe_refuses_what_is_altered_says_so_and_can_be_loaded_again() {
    let image = compiled(&plan("smallest"), Place::Vehicle);
    let flash = VirtualFlash::default();
    let mut link = probe(&flash);
    assert_eq!(carried(&mut link), Carried::Nothing);
    let mut heard = 0;
    assert!(load(&mut link, &image, &mut |bytes| heard = bytes).unwrap());
    assert_eq!(heard, image.len());
    let whole = carried(&mut link);
    assert!(matches!(whole, Carried::Plan { length, .. } if length as usize == image.len()));
    assert!(
        !load(&mut link, &image, &mut |_| {}).unwrap(),
        "it is there"
    );
    assert_eq!(flash.bytes(AT..AT + image.len()), image);
    for at in 0..image.len() {
        flash.alter(AT + at, 0x10);
        assert_eq!(carried(&mut link), Carried::Damaged, "byte {at}");
        flash.alter(AT + at, 0x10);
    }
    assert_eq!(carried(&mut link), whole);
    // Switched off and on it is there still, and damaged it is loaded anew.
    let mut link = probe(&flash);
    assert_eq!(carried(&mut link), whole);
    flash.alter(AT + 200, 1);
    assert!(load(&mut link, &image, &mut |_| {}).unwrap());
    assert_eq!(carried(&mut link), whole);
}

#[test]
fn a_load_that_the_supply_breaks_off_anywhere_is_refused_and_begun_anew() {
    let small = compiled(&plan("smallest"), Place::Vehicle);
    let other = compiled(&plan("smallest"), Place::Bench);
    let flash = VirtualFlash::default();
    load(&mut probe(&flash), &small, &mut |_| {}).unwrap();
    let whole = carried(&mut probe(&flash));
    // One block is erased, then page after page is written.
    let changes = 4096 + other.len().next_multiple_of(PAGE);
    let (mut old, mut torn) = (0, 0);
    for cut in (0..changes).step_by(31).chain([changes - 1]) {
        flash.power_fails_after(Some(cut));
        let mut link = probe(&flash);
        let error = load(&mut link, &other, &mut |_| {}).unwrap_err();
        assert!(
            matches!(error, LoadError::Refused(Refusal::Memory)),
            "{error}"
        );
        flash.power_fails_after(None);
        let mut link = probe(&flash);
        match carried(&mut link) {
            Carried::Nothing | Carried::Damaged => torn += 1,
            // Nothing was changed yet, or the last bytes are the erased ones.
            found if found == whole => old += 1,
            Carried::Plan { check, .. } => {
                assert_eq!(check.to_le_bytes(), *other.last_chunk().unwrap(), "{cut}");
            }
        }
        load(&mut link, &small, &mut |_| {}).unwrap();
        assert_eq!(carried(&mut link), whole);
    }
    assert!(old >= 1 && torn > 100, "{old} {torn}");
}

#[test]
fn pages_that_are_none_are_refused() {
    let mut link = probe(&VirtualFlash::default());
    let mut ask = |at, bytes: usize| {
        let bytes = vec![7; bytes].into_iter().collect();
        link.exchange(&Request::Load(Page { at, bytes })).unwrap()
    };
    assert_eq!(ask(1, 4), Reply::Refused(Refusal::BadStep));
    assert_eq!(ask(256, 0), Reply::Refused(Refusal::BadStep));
    assert_eq!(ask(256 * 1024, 4), Reply::Refused(Refusal::Memory));
    assert_eq!(ask(u32::MAX - 255, 256), Reply::Refused(Refusal::Memory));
    assert_eq!(ask(0, 256), Reply::Loaded { next: 256 });
    assert_eq!(carried(&mut link), Carried::Damaged);
}

#[test]
fn what_does_not_fit_is_refused_with_words() {
    let van = plan("bakery-van");
    let mut text = std::fs::read_to_string(top().join("fixtures/plans/smallest.toml")).unwrap();
    for at in 0..9 {
        text.push_str(&format!(
            "\n[option.o{at}]\nask = \"Which {at}?\"\nchoices = [\"a\", \"b\"]\ndefault = \"a\"\n"
        ));
    }
    let plan = read("many.toml", &text).unwrap();
    let clips = vec![None; 64];
    let probe = |leads| Carrying {
        leads,
        clips: &clips,
    };
    let fixed = |answers: &[(&str, &str)]| -> BTreeMap<String, String> {
        let pairs = answers.iter();
        pairs
            .map(|(a, b)| ((*a).to_owned(), (*b).to_owned()))
            .collect()
    };
    let error = compile(&plan, &fixed(&[]), Place::Vehicle, probe(64)).unwrap_err();
    assert!(matches!(error, CompileError::TooManyVariants));
    assert!(
        error.to_string().contains("--answer option=value"),
        "{error}"
    );
    // One answer less is open: 256 variants, which share what they have in common.
    let image = compile(&plan, &fixed(&[("o3", "b")]), Place::Vehicle, probe(64)).unwrap();
    let head = Head::open(&mut image.as_slice()).unwrap();
    assert_eq!(head.variants(), 256);
    println!("256 variants of the smallest plan: {} bytes", image.len());
    let unknown = compile(&plan, &fixed(&[("o3", "c")]), Place::Vehicle, probe(64));
    assert!(matches!(unknown, Err(CompileError::Plan(_))));
    let few = compile(&van, &fixed(&[]), Place::Vehicle, probe(16));
    let error = few.unwrap_err().to_string();
    assert!(error.contains("not several rounds"), "{error}");
}

/// The committed seeds of the fuzz target are images of now, and the document has
/// the sizes of now.
#[test]
fn the_seeds_and_the_document_are_of_now() {
    let bless = std::env::var_os("LOOMPROOF_BLESS").is_some();
    let mut table = String::new();
    for (name, place) in PLANS {
        let image = compiled(&plan(name), place);
        let head = Head::open(&mut image.as_slice()).unwrap();
        let place = loomproof::ringout::verdict::place_word(place);
        table.push_str(&format!(
            "| {name} | {place} | {} | {} | {} |\n",
            head.variants(),
            head.leads(),
            image.len()
        ));
        if name == "smallest" {
            let seed = top().join(format!("fuzz/corpus/plan_image/{name}-{place}"));
            if bless {
                std::fs::create_dir_all(seed.parent().unwrap()).unwrap();
                std::fs::write(&seed, &image).unwrap();
            }
            assert_eq!(std::fs::read(&seed).unwrap(), image, "{}", seed.display());
        }
    }
    let path = top().join("docs/plan-image.md");
    let text = std::fs::read_to_string(&path).unwrap();
    let row = "| --- | --- | --- | --- | --- |\n";
    let start = text.find(row).unwrap() + row.len();
    let end = start + text[start..].find("\n\n").unwrap() + 1;
    if bless {
        std::fs::write(&path, format!("{}{table}{}", &text[..start], &text[end..])).unwrap();
    } else {
        assert_eq!(&text[start..end], table, "{}", path.display());
    }
}

/// The flash of a board holds all of it: a Pico-class one has 2 MB.
#[test]
fn it_fits_into_the_flash_of_a_board() {
    let kept = Flash::<VirtualFlash>::BYTES;
    println!("{kept} bytes for clips, plan and results");
    assert!(kept <= 1024 * 1024);
}
