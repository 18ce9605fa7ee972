//! The order of work: what is done at each place, and the stages of the job.

use maud::{Markup, html};

use super::Input;
use super::face::lead_at;
use super::kit::ends_at;
use super::language::Language;
use crate::plan::model::{End, Half, Job, Lead, RingOn};
use crate::stage::{Battery, Plugged, Stage};
use loomproof_core::wire::Place;

use super::job::{end_text, lead_text};

/// Something to do at a place.
struct Task {
    place: Option<String>,
    say: String,
}

/// All that is to be done, place by place; the ring on battery plus and the
/// fuses last.
fn tasks(job: &Job, place: Place, language: &Language) -> (Vec<Task>, Vec<String>) {
    let mut tasks = Vec::new();
    let mut last = Vec::new();
    let vehicle = place == Place::Vehicle;
    let mut add = |name: &str, say: String| {
        tasks.push(Task {
            place: job.place_of(name).map(str::to_owned),
            say,
        });
    };
    let into = |lead: &Lead, end: &End| {
        let (lead, end) = (lead_text(lead), end_text(end, language));
        language.fill("order.into", &[("lead", &lead), ("end", &end)])
    };
    for tap in &job.taps {
        if vehicle {
            let conductor = job.conductors.iter().find(|own| own.name == tap.on);
            let colour = conductor
                .and_then(|own| own.colour.clone())
                .unwrap_or_default();
            let named = format!("{} {colour}", tap.on);
            add(
                &tap.name,
                language.fill(
                    "order.tap",
                    &[("tap", &tap.name), ("conductor", named.trim())],
                ),
            );
        }
        for (lead, end) in ends_at(job, &tap.name) {
            add(&tap.name, into(lead, end));
        }
    }
    for connector in &job.connectors {
        for cavity in 1..=connector.cavities {
            if let Some(lead) = lead_at(job, &connector.name, cavity) {
                let end = End::Cavity(connector.name.clone(), cavity);
                add(&connector.name, into(lead, &end));
            }
        }
    }
    let names = |name: &str| -> String {
        let ends = ends_at(job, name);
        let said: Vec<String> = ends
            .iter()
            .map(|(lead, end)| match end {
                End::Part(_, terminal) => format!("{} → {terminal}", lead_text(lead)),
                End::Plug(_, half, way) => {
                    let half = if *half == Half::A { "A" } else { "B" };
                    format!("{} → {half}:{way}", lead_text(lead))
                }
                _ => lead_text(lead),
            })
            .collect();
        said.join(", ")
    };
    for splice in &job.splices {
        let leads = names(&splice.name);
        add(
            &splice.name,
            language.fill(
                "order.splice",
                &[("splice", &splice.name), ("leads", &leads)],
            ),
        );
    }
    let parts = job
        .relays
        .iter()
        .map(|it| ("wiring.relay", &it.name))
        .chain(job.diodes.iter().map(|it| ("wiring.diode", &it.name)))
        .chain(job.lamps.iter().map(|it| ("wiring.lamp", &it.name)))
        .chain(job.fuses.iter().map(|it| ("wiring.fuse", &it.name)));
    for (what, name) in parts {
        let leads = names(name);
        add(
            name,
            language.fill(
                "order.part",
                &[
                    ("part", language.say(what)),
                    ("name", name),
                    ("leads", &leads),
                ],
            ),
        );
    }
    for ring in &job.rings {
        for (lead, end) in ends_at(job, &ring.name) {
            add(&ring.name, into(lead, end));
        }
        match ring.on {
            RingOn::Chassis if vehicle => add(
                &ring.name,
                language.fill("order.ring_chassis", &[("ring", &ring.name)]),
            ),
            RingOn::BatteryPlus if vehicle => {
                last.push(language.fill("order.ring_plus", &[("ring", &ring.name)]));
            }
            _ => {}
        }
    }
    for plug in &job.plugs {
        let leads = names(&plug.name);
        let join = language.fill("order.plug", &[("plug", &plug.name)]);
        add(&plug.name, format!("{join} ({leads})"));
    }
    for lead in &job.leads {
        if lead.from != End::Cap && lead.to != End::Cap {
            continue;
        }
        let text = lead_text(lead);
        let mut occupied = job.electrics.occupied.iter();
        let occupied = occupied.find(|it| vehicle && it.lead == lead.name);
        let say = match occupied {
            Some(it) => language.fill(
                "order.cap_occupied",
                &[
                    ("lead", &text),
                    ("place", &it.place()),
                    ("wire", &it.conductor),
                ],
            ),
            None => language.fill("order.cap", &[("lead", &text)]),
        };
        add("", say);
    }
    for fuse in &job.fuses {
        let rating = fuse.rating.0.to_string();
        last.push(language.fill("order.fuse", &[("fuse", &fuse.name), ("rating", &rating)]));
    }
    (tasks, last)
}

/// The stages of the job, with battery and connectors in each.
fn stages(input: &Input<'_>, language: &Language) -> Markup {
    let stages: &[Stage] = match input.place {
        Place::Bench => &[Stage::Bench],
        Place::Vehicle => &Stage::IN_ORDER,
    };
    let mated = input.hookups.as_ref().ok().and_then(|all| all.first());
    let said = mated.map(|hookup| &hookup.mated);
    let list = |names: &std::collections::BTreeSet<String>| -> String {
        let each: Vec<&str> = names.iter().map(String::as_str).collect();
        each.join(", ")
    };
    html! {
        h3 { (language.say("stage.title")) }
        ol class="ticks" {
            @for (at, stage) in stages.iter().enumerate() {
                @let battery = match stage.battery() {
                    Battery::None => "stage.no_battery",
                    Battery::On => "stage.battery_on",
                    Battery::Off => "stage.battery_off",
                    Battery::Limited => "stage.battery_limited",
                };
                @let plugged = match stage.plugged() {
                    Plugged::None => None,
                    Plugged::All => Some("stage.all_plugged"),
                    Plugged::Unchanged => Some("stage.nothing_opened"),
                    Plugged::ByPlace => Some("stage.by_place"),
                };
                li {
                    @if stages.len() > 1 { (at + 1) ". " }
                    b { (language.say(&format!("stage.{}", stage.word()))) } ": "
                    (language.say(battery))
                    @if let Some(plugged) = plugged { "; " (language.say(plugged)) }
                    @if stage.plugged() == Plugged::ByPlace {
                        @if let Some(mated) = said.filter(|mated| !mated.open.is_empty()) {
                            "; " (language.fill("stage.open", &[("names", &list(&mated.open))]))
                        }
                        @if let Some(mated) = said.filter(|mated| !mated.plugged.is_empty()) {
                            "; " (language.fill("stage.plugged", &[("names", &list(&mated.plugged))]))
                        }
                    }
                }
            }
        }
    }
}

/// The order of work by place.
pub(super) fn order(input: &Input<'_>, language: &Language) -> Markup {
    let (tasks, last) = tasks(input.job, input.place, language);
    let mut places: Vec<Option<&String>> = Vec::new();
    for task in &tasks {
        let place = task.place.as_ref();
        if !places.contains(&place) {
            places.push(place);
        }
    }
    // What has no place of its own comes after what has.
    places.sort_by_key(|place| place.is_none());
    html! {
        section id="order" aria-labelledby="h-order" {
            h2 id="h-order" { (language.say("order.title")) }
            (stages(input, language))
            p { (language.say("order.note")) }
            @for place in &places {
                section class="place" {
                    h3 {
                        @match place {
                            Some(place) => (place),
                            None => (language.say("order.nowhere")),
                        }
                    }
                    ul class="ticks" {
                        @for task in tasks.iter().filter(|task| task.place.as_ref() == *place) {
                            li { (task.say) }
                        }
                    }
                }
            }
            @if !last.is_empty() {
                section class="place" {
                    h3 { (language.say("order.last")) }
                    ul class="ticks" { @for say in &last { li { (say) } } }
                }
            }
        }
    }
}
