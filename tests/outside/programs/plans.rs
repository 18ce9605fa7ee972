//! Plan files by Python's own TOML reader, beside what we make of them.

use std::collections::BTreeMap;
use std::fmt::Display;

use loomproof::plan::model::{Job, RingOn};
use loomproof::plan::read;
use serde_json::{Value, json};

use super::python::ask;
use super::{FILES, KEPT};
use crate::outside::ours::plan;
use crate::skip::top;

/// Name and text of each TOML file of a folder of the fixtures.
fn files(folder: &str) -> Vec<(String, String)> {
    let mut files = Vec::new();
    for entry in std::fs::read_dir(top().join("fixtures").join(folder)).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|ending| ending == "toml") {
            let name = path.file_name().unwrap().to_string_lossy();
            files.push((
                format!("{folder}/{name}"),
                std::fs::read_to_string(&path).unwrap(),
            ));
        }
    }
    files.sort();
    files
}

fn answers(values: &[(String, String)], plans: &[(String, String)]) -> Option<Value> {
    let texts = |files: &[(String, String)]| -> Vec<String> {
        files.iter().map(|(_, text)| text.clone()).collect()
    };
    ask(
        "plans.py",
        &json!({"values": texts(values), "plans": texts(plans)}),
    )
}

#[test]
fn files_have_the_same_values() {
    let all: Vec<_> = ["plans", "sneak", "broken-plans"]
        .into_iter()
        .flat_map(files)
        .collect();
    assert!(all.len() >= FILES.cases, "{}", all.len());
    let Some(answers) = answers(&all, &[]) else {
        return;
    };
    let mut refused = 0;
    for ((name, text), theirs) in all.iter().zip(answers["values"].as_array().unwrap()) {
        let ours = toml::from_str::<Value>(text).unwrap_or(Value::Null);
        assert_eq!(ours, *theirs, "{name}");
        refused += usize::from(theirs.is_null());
        // What is no TOML is no plan either.
        assert!(!theirs.is_null() || read(name, text).is_err(), "{name}");
    }
    println!("{} files, {refused} of them no TOML", all.len());
    assert!(refused > 0);
}

/// What a job keeps, as the script names it.
#[derive(Default)]
struct Kept(BTreeMap<String, Value>);

impl Kept {
    fn words(&mut self, key: String, words: impl Display) {
        self.put(key, json!(words.to_string()));
    }

    fn number(&mut self, key: String, number: f64) {
        self.put(key, json!(number));
    }

    fn put(&mut self, key: String, value: Value) {
        let known = self.0.entry(key.clone()).or_insert_with(|| value.clone());
        assert_eq!(*known, value, "{key} differs between variants");
    }

    fn named(&mut self, kind: &str, name: &str, place: Option<&String>) {
        self.words(format!("{kind}.{name}"), "");
        if let Some(place) = place {
            self.words(format!("{kind}.{name}.place"), place);
        }
    }

    fn job(&mut self, job: &Job) {
        self.words("title".to_owned(), &job.title);
        self.number("supply".to_owned(), job.supply.0);
        self.number("temperature".to_owned(), job.temperature.0);
        for it in &job.connectors {
            self.named("connector", &it.name, it.place.as_ref());
            self.number(
                format!("connector.{}.cavities", it.name),
                f64::from(it.cavities),
            );
        }
        for it in &job.conductors {
            self.named("conductor", &it.name, None);
            let at: Vec<String> = it
                .at
                .iter()
                .map(|(name, cavity)| format!("{name}:{cavity}"))
                .collect();
            self.words(format!("conductor.{}.at", it.name), at.join(" "));
            for (key, text) in [("colour", &it.colour), ("function", &it.function)] {
                if let Some(text) = text {
                    self.words(format!("conductor.{}.{key}", it.name), text);
                }
            }
        }
        for it in &job.leads {
            self.named("lead", &it.name, None);
            self.words(format!("lead.{}.colour", it.name), &it.colour);
            self.number(format!("lead.{}.size", it.name), it.size.0);
            self.number(format!("lead.{}.length", it.name), it.length.0);
            self.words(format!("lead.{}.from", it.name), &it.from);
            self.words(format!("lead.{}.to", it.name), &it.to);
        }
        for it in &job.taps {
            self.named("tap", &it.name, it.place.as_ref());
            self.words(format!("tap.{}.on", it.name), &it.on);
        }
        for it in &job.splices {
            self.named("splice", &it.name, it.place.as_ref());
        }
        for it in &job.rings {
            self.named("ring", &it.name, it.place.as_ref());
            let on = match it.on {
                RingOn::Chassis => "chassis",
                RingOn::BatteryPlus => "battery plus",
            };
            self.words(format!("ring.{}.on", it.name), on);
        }
        for it in &job.plugs {
            self.named("plug", &it.name, it.place.as_ref());
            self.number(format!("plug.{}.ways", it.name), f64::from(it.ways));
        }
        self.parts(job);
    }

    fn parts(&mut self, job: &Job) {
        for it in &job.relays {
            self.named("relay", &it.name, it.place.as_ref());
            self.number(format!("relay.{}.coil", it.name), it.coil.0);
            self.words(format!("relay.{}.changeover", it.name), it.changeover);
        }
        for it in &job.diodes {
            self.named("diode", &it.name, it.place.as_ref());
        }
        for it in &job.lamps {
            self.named("lamp", &it.name, it.place.as_ref());
            self.number(format!("lamp.{}.power", it.name), it.power.0);
            self.number(format!("lamp.{}.volts", it.name), it.volts.0);
        }
        for it in &job.fuses {
            self.named("fuse", &it.name, it.place.as_ref());
            self.number(format!("fuse.{}.rating", it.name), it.rating.0);
        }
        for it in &job.functions {
            self.named("function", &it.name, None);
            self.words(format!("function.{}.switch_on", it.name), &it.switch_on);
            self.words(
                format!("function.{}.seen_at", it.name),
                it.seen_at.join(" "),
            );
        }
    }
}

/// What a plan keeps over all answers to its options.
fn kept(text: &str) -> BTreeMap<String, Value> {
    let plan = plan(text);
    let mut variants = vec![BTreeMap::new()];
    for option in plan.options() {
        let with = |answers: &BTreeMap<String, String>| -> Vec<_> {
            let one = |choice: &String| {
                let mut more = answers.clone();
                more.insert(option.name.clone(), choice.clone());
                more
            };
            option.choices.iter().map(one).collect()
        };
        variants = variants.iter().flat_map(with).collect();
    }
    let mut kept = Kept::default();
    let mut off: Vec<&str> = plan.keep_off().collect();
    off.sort_unstable();
    kept.words("kept off".to_owned(), off.join(" "));
    for answers in variants {
        let job = plan.resolve(&answers);
        kept.job(&job.unwrap_or_else(|problems| panic!("{}", plan.render(&problems, false))));
    }
    kept.0
}

#[test]
fn the_reader_keeps_what_is_written() {
    let all: Vec<_> = ["plans", "sneak"].into_iter().flat_map(files).collect();
    let Some(answers) = answers(&[], &all) else {
        return;
    };
    let mut count = 0;
    for ((name, text), theirs) in all.iter().zip(answers["plans"].as_array().unwrap()) {
        let ours = kept(text);
        let theirs = theirs.as_object().unwrap();
        for (key, theirs) in theirs {
            let ours = ours.get(key);
            let same = match (ours.and_then(Value::as_f64), theirs.as_f64()) {
                (Some(ours), Some(theirs)) => (ours - theirs).abs() <= KEPT.limit * theirs.abs(),
                _ => ours == Some(theirs),
            };
            assert!(same, "{name}: {key}: ours {ours:?}, theirs {theirs}");
            count += 1;
        }
        let more: Vec<_> = ours
            .keys()
            .filter(|key| !theirs.contains_key(*key))
            .collect();
        assert!(more.is_empty(), "{name}: only we have {more:?}");
    }
    println!("{count} values of {} plans", all.len());
    assert!(count >= KEPT.cases);
}
