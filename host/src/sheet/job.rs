//! The sheet before the job: cautions, order of work, faces, taps, wiring,
//! hook-up.

use maud::{Markup, html};

use super::Input;
use super::face::{conductor_at, face, latch_words, lead_at};
use super::kit::ends_at;
use super::language::Language;
use super::marks::Marks;
use super::wire::coded;
use crate::diagnosis::words::Speaker;
use crate::plan::model::{Connector, End, Half, Job, Lead, RingOn, Side};
use crate::stage::{Battery, Plugged, Stage};
use loomproof_core::wire::Place;

/// Cautions.
pub(super) fn cautions(input: &Input<'_>, language: &Language) -> Markup {
    let names = input.keep_off.join(", ");
    html! {
        section id="cautions" class="cautions" aria-labelledby="h-cautions" {
            h2 id="h-cautions" { span class="sign" aria-hidden="true" { "⚠ " } (language.say("cautions.title")) }
            ul {
                li { strong { (language.say("cautions.battery")) } }
                li { strong { (language.say("cautions.restraint")) } }
                @if !names.is_empty() {
                    li { strong { (language.fill("cautions.keep_off", &[("names", &names)])) } }
                }
                li { (language.say("cautions.tips")) }
                @if !input.job.fuses.is_empty() { li { (language.say("cautions.fuse")) } }
                li { (language.say("cautions.maker")) }
            }
        }
    }
}

/// An end in words, short.
pub(super) fn end_text(end: &End, language: &Language) -> String {
    match end {
        End::Cavity(connector, cavity) => format!("{connector}:{cavity}"),
        End::Splice(name) => language.fill("wiring.splice", &[("name", name)]),
        End::Ring(name) => language.fill("wiring.ring", &[("name", name)]),
        End::Tap(name) => format!("{} {name}", language.say("taps.tap")),
        End::Plug(name, half, way) => format!(
            "{} {}:{way}",
            language.fill("wiring.plug", &[("name", name)]),
            if *half == Half::A { "A" } else { "B" }
        ),
        End::Part(name, terminal) => format!("{name}:{terminal}"),
        End::Cap => language.say("wiring.cap").to_owned(),
    }
}

/// A lead with its colour.
fn lead_text(lead: &Lead) -> String {
    format!("{} ({}, {})", lead.name, lead.colour, lead.size_text)
}

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

/// Each connector's face with a table of who goes in.
pub(super) fn faces(input: &Input<'_>, marks: &Marks, language: &Language) -> Markup {
    html! {
        section id="faces" aria-labelledby="h-faces" {
            h2 id="h-faces" { (language.say("faces.title")) }
            p { (language.say("faces.key")) }
            @for (number, connector) in input.job.connectors.iter().enumerate() {
                (one_face(input.job, connector, marks, number, language))
            }
        }
    }
}

fn one_face(
    job: &Job,
    connector: &Connector,
    marks: &Marks,
    number: usize,
    language: &Language,
) -> Markup {
    let heading = language.fill("faces.heading", &[("name", &connector.name)]);
    let owner = language.say(if connector.of_harness {
        "faces.of_harness"
    } else {
        "faces.in_vehicle"
    });
    let side = language.say(match connector.access {
        Side::Wire => "faces.wire_side",
        Side::Mating => "faces.mating_side",
    });
    let used: Vec<u16> = (1..=connector.cavities)
        .filter(|cavity| {
            lead_at(job, &connector.name, *cavity).is_some()
                || conductor_at(job, &connector.name, *cavity).is_some()
        })
        .collect();
    html! {
        section class="connector" {
            h3 { (heading) ", " (owner) }
            p class="where" {
                @if let Some(place) = &connector.place { strong { (place) } "; " }
                (latch_words(connector, language)) "; " (side)
            }
            (face(job, connector, marks, number, language))
            @if used.is_empty() {
                p { (language.say("faces.untouched")) }
            } @else {
                table {
                    caption class="hidden" { (heading) }
                    thead { tr {
                        th scope="col" { (language.say("faces.cavity")) }
                        th scope="col" { (language.say("faces.who")) }
                        th scope="col" { (language.say("faces.to")) }
                    } }
                    tbody {
                        @for cavity in used { (cavity_row(job, connector, cavity, language)) }
                    }
                }
            }
        }
    }
}

fn cavity_row(job: &Job, connector: &Connector, cavity: u16, language: &Language) -> Markup {
    let end = End::Cavity(connector.name.clone(), cavity);
    let lead = lead_at(job, &connector.name, cavity);
    let conductor = conductor_at(job, &connector.name, cavity);
    html! {
        tr {
            th scope="row" { (cavity) }
            td {
                @if let Some(lead) = lead {
                    div { b { (lead.name) } " " (coded(&lead.colour, language)) " " (lead.size_text) }
                }
                @if let Some(conductor) = conductor {
                    div {
                        (language.fill("faces.vehicle_wire", &[("name", &conductor.name)]))
                        @if let Some(colour) = &conductor.colour { " " (coded(colour, language)) }
                    }
                }
            }
            td {
                @if let Some(lead) = lead {
                    (end_text(if lead.from == end { &lead.to } else { &lead.from }, language))
                } @else if let Some(function) = conductor.and_then(|own| own.function.as_ref()) {
                    (function)
                }
            }
        }
    }
}

/// The taps with the conductor to find.
pub(super) fn taps(input: &Input<'_>, language: &Language) -> Markup {
    let job = input.job;
    html! {
        section id="taps" aria-labelledby="h-taps" {
            h2 id="h-taps" { (language.say("taps.title")) }
            @if job.taps.is_empty() { p { (language.say("taps.none")) } }
            @for tap in &job.taps {
                @let conductor = job.conductors.iter().find(|own| own.name == tap.on);
                @let lead = job.leads.iter().find(|lead| {
                    let end = End::Tap(tap.name.clone());
                    lead.from == end || lead.to == end
                });
                section class="card" {
                    h3 { (language.say("taps.tap")) " " (tap.name) }
                    dl {
                        div { dt { (language.say("taps.place")) }
                            dd { (tap.place.as_deref().unwrap_or("–")) } }
                        div { dt { (language.say("taps.conductor")) }
                            dd {
                                b { (tap.on) } " "
                                @match conductor.and_then(|own| own.colour.as_ref()) {
                                    Some(colour) => {
                                        (coded(colour, language)) " " (language.colour(colour))
                                    }
                                    None => (language.say("colour.unknown")),
                                }
                            } }
                        @if let Some(function) = conductor.and_then(|own| own.function.as_ref()) {
                            div { dt { (language.say("taps.function")) } dd { (function) } }
                        }
                        @if let Some(conductor) = conductor {
                            div { dt { (language.say("taps.reach")) }
                                dd {
                                    @for (at, (connector, cavity)) in conductor.at.iter().enumerate() {
                                        @if at > 0 { ", " }
                                        (connector) ":" (cavity)
                                    }
                                } }
                        }
                        @if let Some(lead) = lead {
                            div { dt { (language.say("taps.lead")) }
                                dd { b { (lead.name) } " " (coded(&lead.colour, language)) " " (lead.size_text) } }
                        }
                    }
                }
            }
        }
    }
}

/// Every lead with both ends, and what they meet.
pub(super) fn wiring(input: &Input<'_>, language: &Language) -> Markup {
    let job = input.job;
    let place = |name: &str| job.place_of(name).unwrap_or("–").to_owned();
    let mut parts: Vec<(String, String)> = Vec::new();
    for it in &job.splices {
        parts.push((
            language.fill("wiring.splice", &[("name", &it.name)]),
            place(&it.name),
        ));
    }
    for it in &job.plugs {
        parts.push((
            language.fill("wiring.plug", &[("name", &it.name)]),
            place(&it.name),
        ));
    }
    for it in &job.rings {
        let on = language.say(match it.on {
            RingOn::Chassis => "wiring.chassis",
            RingOn::BatteryPlus => "wiring.plus",
        });
        let name = language.fill("wiring.ring", &[("name", &it.name)]);
        parts.push((format!("{name}, {on}"), place(&it.name)));
    }
    let named = |key: &str, name: &str| format!("{} {name}", language.say(key));
    for it in &job.relays {
        parts.push((named("wiring.relay", &it.name), place(&it.name)));
    }
    for it in &job.diodes {
        parts.push((named("wiring.diode", &it.name), place(&it.name)));
    }
    for it in &job.lamps {
        let power = format!("{}, {} W", named("wiring.lamp", &it.name), it.power.0);
        parts.push((power, place(&it.name)));
    }
    for it in &job.fuses {
        let rating = format!("{}, {} A", named("wiring.fuse", &it.name), it.rating.0);
        parts.push((rating, place(&it.name)));
    }
    html! {
        section id="wiring" aria-labelledby="h-wiring" {
            h2 id="h-wiring" { (language.say("wiring.title")) }
            table {
                caption class="hidden" { (language.say("wiring.title")) }
                thead { tr {
                    th scope="col" { (language.say("wiring.lead")) }
                    th scope="col" { (language.say("wiring.from")) }
                    th scope="col" { (language.say("wiring.to")) }
                    th scope="col" { (language.say("wiring.length")) }
                } }
                tbody {
                    @for lead in &job.leads {
                        tr {
                            th scope="row" {
                                (lead.name) " " (coded(&lead.colour, language)) " "
                                span class="size" { (lead.size_text) }
                            }
                            td { (end_text(&lead.from, language)) }
                            td { (end_text(&lead.to, language)) }
                            td { (format!("{} m", lead.length.0)) }
                        }
                    }
                }
            }
            @if !parts.is_empty() {
                table {
                    caption class="hidden" { (language.say("wiring.what")) }
                    thead { tr {
                        th scope="col" { (language.say("wiring.what")) }
                        th scope="col" { (language.say("wiring.where")) }
                    } }
                    tbody {
                        @for (what, place) in parts {
                            tr { th scope="row" { (what) } td { (place) } }
                        }
                    }
                }
            }
        }
    }
}

/// Which probe lead sits on which test point.
pub(super) fn hookup(input: &Input<'_>, language: &Language) -> Markup {
    let speaker = Speaker::in_language(input.job, language.code());
    html! {
        section id="hookup" aria-labelledby="h-hookup" {
            h2 id="h-hookup" { (language.say("hookup.title")) }
            @match &input.hookups {
                Err(why) => p { (language.fill("hookup.none", &[("why", why)])) },
                Ok(hookups) => {
                    p { (language.say(match input.place {
                        Place::Vehicle => "hookup.chassis_vehicle",
                        Place::Bench => "hookup.chassis_bench",
                    })) }
                    @for (at, hookup) in hookups.iter().enumerate() {
                    @let round = (at + 1).to_string();
                    @let name = if hookups.len() > 1 {
                        language.fill("hookup.round", &[("round", &round)])
                    } else {
                        language.say("hookup.title").to_owned()
                    };
                    @if hookups.len() > 1 { h3 { (name) } }
                    table {
                        caption class="hidden" { (name) }
                        thead { tr {
                            th scope="col" { (language.say("hookup.lead")) }
                            th scope="col" { (language.say("hookup.point")) }
                            th scope="col" { (language.say("hookup.where")) }
                        } }
                        tbody {
                            @for clip in &hookup.clips {
                                tr {
                                    th scope="row" { (clip.lead) }
                                    td { (clip.point) }
                                    td { (speaker.where_there(&clip.point)) }
                                }
                            }
                        }
                    }
                    }
                }
            }
        }
    }
}

/// What must work in the end.
pub(super) fn functions(input: &Input<'_>, language: &Language) -> Markup {
    html! {
        @if !input.job.functions.is_empty() {
            section id="functions" aria-labelledby="h-functions" {
                h2 id="h-functions" { (language.say("functions.title")) }
                p { (language.say("functions.note")) }
                ul class="ticks" {
                    @for function in &input.job.functions {
                        li {
                            b { (function.name) } ". "
                            (language.say("functions.switch")) ": " (function.switch_on) ". "
                            (language.say("functions.seen")) ": " (function.seen_at.join(", "))
                        }
                    }
                }
            }
        }
    }
}
