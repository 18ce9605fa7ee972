//! Answers are the same for any order of leads and any numbering of cavities
//! or probe leads.
//!
//! A plan is written anew with every name changed (tables are then in another
//! order: they are written by name), the cavities of every connector numbered
//! anew with their faces drawn accordingly, and the probe leads dealt out anew
//! over the same points. Physically nothing has changed. On a bench with
//! nominal parts and no noise the readings are then the same, and so must be
//! the verdict and, names translated back, the best group.
//!
//! Where this fails it is the product that misses, not the test: which readings
//! are taken, and which candidates are held against all of them, must not
//! depend on the order of leads.

use std::collections::{BTreeMap, BTreeSet};

use loomproof::fault::Fault;
use loomproof::fault::spell::parse;
use loomproof::hookup::{Clip, Hookup, Point};
use loomproof::plan::model::End;
use loomproof::plan::{read, render};
use loomproof::ringout::report::{Report, Verdict};
use loomproof_core::wire::LeadId;
use loomproof_tests::campaign::draw::together;
use loomproof_tests::campaign::site::{Loaded, Site, Source, drawn};
use loomproof_tests::generator::Form;
use loomproof_tests::skip::top;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use rand::SeedableRng as _;
use rand::seq::SliceRandom as _;
use rand_chacha::ChaCha8Rng;
use toml::{Table, Value};

/// Groups whose probabilities differ by less share the first place.
const TIE: f64 = 1e-6;

/// Tables whose names are changed.
const NAMED: &[&str] = &[
    "connector",
    "conductor",
    "lead",
    "tap",
    "splice",
    "ring",
    "plug",
    "relay",
    "diode",
    "lamp",
    "fuse",
];

/// Tables, and keys of other tables, that say what is fed and switched: they
/// name ends in expressions, and a ring-out does not look at them.
const NOT_RUNG_OUT: &[&str] = &["function", "load", "pin", "switch"];
const POWERED: &[&str] = &[
    "plus_when",
    "chassis_when",
    "signal",
    "rate",
    "duty",
    "fused",
    "most",
    "draws",
    "other_end",
];

/// How a plan was written anew.
#[derive(Debug, Default)]
struct Renaming {
    names: BTreeMap<String, String>,
    /// Per connector, by its old name: the new number of each cavity.
    cavities: BTreeMap<String, Vec<u16>>,
}

impl Renaming {
    /// New names and numbers for a plan.
    fn draw(plan: &Table, rng: &mut ChaCha8Rng) -> Self {
        let tables = |kind: &&str| plan.get(*kind).and_then(Value::as_table);
        let old: Vec<String> = NAMED
            .iter()
            .filter_map(tables)
            .flat_map(|table| table.keys().cloned())
            .collect();
        let mut new: Vec<String> = (0..old.len()).map(|at| format!("N{at:03}")).collect();
        new.shuffle(rng);
        let mut renaming = Self {
            names: old.into_iter().zip(new).collect(),
            ..Self::default()
        };
        for (name, connector) in tables(&"connector").into_iter().flatten() {
            let count = connector["cavities"].as_integer().unwrap() as u16;
            let mut numbers: Vec<u16> = (1..=count).collect();
            numbers.shuffle(rng);
            renaming.cavities.insert(name.clone(), numbers);
        }
        renaming
    }

    fn name(&self, name: &str) -> String {
        self.names
            .get(name)
            .cloned()
            .unwrap_or_else(|| name.to_owned())
    }

    /// An end, or anything else that may be a name: what is not known stays.
    fn end(&self, end: &str) -> String {
        let (name, number) = end.split_once(':').unwrap_or((end, ""));
        let half = ["-A", "-B"].iter().find(|half| name.ends_with(**half));
        let stem = half.map_or(name, |half| name.strip_suffix(half).unwrap());
        let number = match (self.cavities.get(name), number.parse::<usize>()) {
            (Some(numbers), Ok(old)) => numbers[old - 1].to_string(),
            _ => number.to_owned(),
        };
        let colon = if number.is_empty() { "" } else { ":" };
        format!("{}{}{colon}{number}", self.name(stem), half.unwrap_or(&""))
    }

    /// The plan written anew.
    fn plan(&self, plan: &Table) -> String {
        let mut out = Table::new();
        for (kind, value) in plan {
            if NOT_RUNG_OUT.contains(&kind.as_str()) {
                continue;
            }
            if !NAMED.contains(&kind.as_str()) {
                out.insert(kind.clone(), value.clone());
                continue;
            }
            let mut tables = Table::new();
            for (name, table) in value.as_table().unwrap() {
                let table = self.table(kind, name, table.as_table().unwrap());
                tables.insert(self.name(name), Value::Table(table));
            }
            out.insert(kind.clone(), Value::Table(tables));
        }
        toml::to_string(&out).unwrap()
    }

    fn table(&self, kind: &str, name: &str, table: &Table) -> Table {
        let mut table = table.clone();
        table.retain(|key, _| !POWERED.contains(&key));
        for key in ["from", "to", "at", "on"] {
            match table.get_mut(key) {
                Some(Value::String(end)) => *end = self.end(end),
                Some(Value::Array(ends)) => {
                    for end in ends {
                        *end = Value::String(self.end(end.as_str().unwrap()));
                    }
                }
                _ => {}
            }
        }
        if kind == "connector" {
            let numbers = &self.cavities[name];
            let anew = |number: i64| match usize::try_from(number - 1) {
                Ok(old) => i64::from(numbers[old]),
                Err(_) => 0,
            };
            let face = face(&table, numbers.len() as i64);
            let rows = face.into_iter().map(|row| {
                Value::Array(row.into_iter().map(|n| Value::Integer(anew(n))).collect())
            });
            table.insert("face".to_owned(), Value::Array(rows.collect()));
            table.remove("rows");
        }
        table
    }

    /// A fault in the new words, without its ohms.
    fn fault(&self, spelled: &str) -> String {
        let (kind, rest) = spelled.split_once('@').unwrap();
        let parts = rest.split(',').map(|part| match part.split_once('=') {
            Some((key, value)) => format!("{key}={}", self.end(value)),
            None => self.end(part),
        });
        format!("{kind}@{}", parts.collect::<Vec<_>>().join(","))
    }

    fn point(&self, point: &Point) -> Point {
        match point {
            Point::Cavity {
                connector,
                cavity,
                side,
            } => Point::Cavity {
                connector: self.name(connector),
                cavity: self.cavities[connector][usize::from(*cavity) - 1],
                side: *side,
            },
            Point::Tap(name) => Point::Tap(self.name(name)),
            Point::Ring(name) => Point::Ring(self.name(name)),
            Point::Terminal(end) => Point::Terminal(match end {
                End::Part(name, terminal) => End::Part(self.name(name), terminal.clone()),
                End::Plug(name, half, way) => End::Plug(self.name(name), *half, *way),
                other => panic!("a clip on {other}"),
            }),
        }
    }
}

/// The face as written, or row by row; 0 for no cavity.
fn face(connector: &Table, cavities: i64) -> Vec<Vec<i64>> {
    if let Some(face) = connector.get("face") {
        let mut rows = Vec::new();
        for row in face.as_array().unwrap() {
            let row = row.as_array().unwrap().iter();
            rows.push(row.map(|n| n.as_integer().unwrap()).collect());
        }
        return rows;
    }
    let rows = connector
        .get("rows")
        .and_then(Value::as_integer)
        .unwrap_or(1);
    let long = (cavities + rows - 1) / rows;
    let cell = |row: i64, column: i64| Some(row * long + column + 1).filter(|n| *n <= cavities);
    (0..rows)
        .map(|row| {
            (0..long)
                .map(|column| cell(row, column).unwrap_or(0))
                .collect()
        })
        .collect()
}

/// A fault as it is compared: without ohms, and where two things change places
/// or touch, whichever was named first.
fn canonical(spelled: &str) -> String {
    let spelled = spelled.split(",ohms=").next().unwrap();
    let (kind, rest) = spelled.split_once('@').unwrap();
    if !["exchanged", "clips-exchanged", "short", "sets-exchanged"].contains(&kind) {
        return spelled.to_owned();
    }
    let (a, b) = rest.split_once(",with=").unwrap();
    format!("{kind}@{},with={}", a.min(b), a.max(b))
}

type Sets = BTreeSet<BTreeSet<String>>;

/// A set with less than this share of its group may be at the edge of what the
/// readings tell apart: other leads drive and read where the order is another,
/// so that an edge is a little elsewhere.
const AT_THE_EDGE: f64 = 1e-2;

/// The sets of the best group with at least this share of it, in words that
/// `translate` puts them into.
fn best(report: &Report, least: f64, translate: impl Fn(&str) -> String) -> Sets {
    let top = report.groups.first().map_or(0.0, |group| group.probability);
    let tied = report
        .groups
        .iter()
        .filter(|group| group.probability > top - TIE);
    tied.flat_map(|group| group.sets.iter().zip(&group.shares))
        .filter(|(_, share)| **share >= least)
        .map(|(set, _)| {
            set.iter()
                .map(|fault| canonical(&translate(&fault.fault)))
                .collect()
        })
        .collect()
}

fn report(site: &Loaded, faults: &[Fault]) -> Report {
    let (hello, outcome) = site.scan(faults, &site.nominal()).unwrap();
    site.report(&hello, &outcome).unwrap()
}

fn text_of(site: Site) -> String {
    match site.source {
        Source::Fixture(_) => std::fs::read_to_string(top().join(site.plan_path())).unwrap(),
        Source::Drawn(recipe) => recipe.text(),
    }
}

/// The same harness in other words, its probe leads dealt out anew.
fn anew(site: Site, own: &Loaded, rng: &mut ChaCha8Rng) -> (Renaming, Loaded) {
    let plan: Table = toml::from_str(&text_of(site)).unwrap();
    let renaming = Renaming::draw(&plan, rng);
    let text = renaming.plan(&plan);
    let plan = read("anew", &text)
        .unwrap_or_else(|problems| panic!("{}", render(&problems, "anew", &text, false)));
    let job = plan.resolve(&BTreeMap::new()).unwrap();
    let mut leads: Vec<LeadId> = (0..own.probe_leads).map(LeadId).collect();
    leads.shuffle(rng);
    let clips = own.hookup.clips.iter().zip(leads);
    let mut clips: Vec<Clip> = clips
        .map(|(clip, lead)| Clip {
            lead,
            point: renaming.point(&clip.point),
        })
        .collect();
    clips.sort_by_key(|clip| clip.lead);
    let hookup = Hookup {
        place: own.hookup.place,
        clips,
        mated: Default::default(),
    };
    let loaded = Loaded::new(site, job, own.probe_leads, hookup).unwrap();
    (renaming, loaded)
}

/// What differs between the answers; `None` where they are the same.
fn difference(site: Site, faults: usize, seed: u64) -> Option<String> {
    let own = site.load().unwrap();
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (renaming, other) = anew(site, &own, &mut rng);
    let injected = match faults {
        0 => Vec::new(),
        1 => {
            let list: Vec<_> = own
                .covered
                .iter()
                .filter(|c| !["live", "shifted"].contains(&c.fault.kind()))
                .collect();
            vec![list[seed as usize % list.len()].fault.clone()]
        }
        count => together(&own, count, seed).unwrap(),
    };
    // The numbering is what a shifted connector is about.
    if injected.iter().any(|fault| fault.kind() == "shifted") {
        return None;
    }
    let spelled: Vec<String> = injected.iter().map(ToString::to_string).collect();
    let theirs: Vec<Fault> = spelled
        .iter()
        .map(|fault| parse(&renaming.fault(fault), &other.job).unwrap())
        .collect();
    // Other leads drive and read in another order: what one of the hook-ups says
    // beforehand that it cannot see, it may answer otherwise.
    let seen = |site: &Loaded, faults: &[Fault]| {
        let covered = |fault: &Fault| site.covered.iter().any(|c| c.covered && c.fault == *fault);
        faults.iter().all(covered)
    };
    if !seen(&own, &injected) || !seen(&other, &theirs) {
        return None;
    }
    let (a, b) = (report(&own, &injected), report(&other, &theirs));
    // What carries weight in the one must at least be there in the other.
    let own = |least| best(&a, least, |fault| renaming.fault(fault));
    let other = |least| best(&b, least, str::to_owned);
    let (own_best, other_best) = (own(AT_THE_EDGE), other(AT_THE_EDGE));
    let same = own_best.is_subset(&other(0.0)) && other_best.is_subset(&own(0.0));
    let head = format!("{} with {}, seed {seed}", site.name(), spelled.join(" + "));
    if a.verdict != b.verdict {
        return Some(format!("{head}: {:?} and {:?}", a.verdict, b.verdict));
    }
    if a.verdict != Verdict::Faults || same {
        return None;
    }
    let first = |report: &Report| report.groups.first().map(|g| (g.probability, g.sets.len()));
    Some(format!(
        "{head}: groups of (probability, sets) {:?} and {:?}; only the first has {:?}; only the \
         other has {:?} (in new words)",
        first(&a),
        first(&b),
        own_best.difference(&other_best).take(3).collect::<Vec<_>>(),
        other_best.difference(&own_best).take(3).collect::<Vec<_>>(),
    ))
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 20,
        rng_seed: RngSeed::Fixed(3),
        failure_persistence: None,
        max_shrink_iters: 0,
        ..ProptestConfig::default()
    })]

    #[test]
    fn one_fault(seed in any::<u64>(), size in 8_u16..48, vehicle in any::<bool>()) {
        let form = if vehicle { Form::Vehicle } else { Form::Bench };
        let found = difference(drawn(seed % 1000, size, form), 1, seed);
        prop_assert_eq!(found, None);
    }

    #[test]
    fn two_faults(seed in any::<u64>(), size in 8_u16..32, vehicle in any::<bool>()) {
        let form = if vehicle { Form::Vehicle } else { Form::Bench };
        let found = difference(drawn(seed % 1000, size, form), 2, seed);
        prop_assert_eq!(found, None);
    }
}

#[test]
fn the_fixtures() {
    let found: Vec<String> = [
        "bench-64/bench",
        "socket-13-pin/vehicle",
        "bakery-van/bench",
    ]
    .iter()
    .flat_map(|name| (0..6).map(move |seed| (Site::of_name(name).unwrap(), seed)))
    .filter_map(|(site, seed)| difference(site, (seed % 3) as usize, seed * 97))
    .collect();
    assert!(found.is_empty(), "{found:#?}");
}

/// The comparison sees a difference where there is one: another fault.
#[test]
fn another_fault_is_another_answer() {
    let site = Site::of_name("bench-64/bench").unwrap();
    let own = site.load().unwrap();
    let (renaming, other) = anew(site, &own, &mut ChaCha8Rng::seed_from_u64(5));
    assert_ne!(renaming.name("W1"), "W1");
    let fault = |site: &Loaded, spelled: &str| vec![parse(spelled, &site.job).unwrap()];
    let a = report(&own, &fault(&own, "open@W1"));
    let same = report(&other, &fault(&other, &renaming.fault("open@W1")));
    let not = report(&other, &fault(&other, &renaming.fault("open@W2")));
    let old = best(&a, 0.0, |fault| renaming.fault(fault));
    assert!(!old.is_empty());
    assert_eq!(old, best(&same, 0.0, str::to_owned));
    assert_ne!(old, best(&not, 0.0, str::to_owned));
}
