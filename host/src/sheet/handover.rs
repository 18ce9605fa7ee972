//! The hand-over: how the vehicle came in, what was measured and what somebody vouches
//! for, apart from each other, and the photos.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use maud::{Markup, html};

use super::language::Language;
use super::photo::Photo;
use super::told::told;
use super::{Input, Reported};
use crate::plan::model::Job;
use crate::ringout::findings::{Finding, Findings};
use crate::ringout::report::{HandCheck, Verdict};
use crate::ringout::text::is_simulated;

/// Whether a photo belongs to a finding: by its number or by the place it names.
pub(super) fn shows(photo: &Photo, number: usize, finding: &Finding<'_>) -> bool {
    if let Ok(own) = photo.at.parse::<usize>() {
        return own == number;
    }
    finding.either.iter().any(|fault| {
        let spelling = fault.fault.split_once('@').map_or("", |(_, place)| place);
        let names = spelling.split(',');
        let mut names = names.map(|part| part.split_once('=').map_or(part, |(_, value)| value));
        names.any(|name| name == photo.at)
    })
}

/// A photo with what it shows in words.
pub(super) fn picture(job: &Job, photo: &Photo, language: &Language) -> Markup {
    let name = photo
        .at
        .split_once(':')
        .map_or(&*photo.at, |(name, _)| name);
    let place = if photo.at.parse::<usize>().is_ok() {
        language.fill("report.finding", &[("number", &photo.at)])
    } else {
        match job.place_of(name) {
            Some(place) => format!("{}, {place}", photo.at),
            None => photo.at.clone(),
        }
    };
    let alt = match &photo.say {
        Some(say) => say.clone(),
        None => language.fill("photo.unsaid", &[("place", &place)]),
    };
    let source = format!(
        "data:{};base64,{}",
        photo.kind,
        STANDARD.encode(&photo.bytes)
    );
    html! {
        figure class="photo" {
            img src=(source) alt=(alt);
            figcaption {
                b { (place) }
                @if let Some(say) = &photo.say { ": " (say) }
            }
        }
    }
}

/// The section.
pub(super) fn handover(input: &Input<'_>, language: &Language) -> Markup {
    let reported = input.reported;
    html! {
        section id="handover" aria-labelledby="h-handover" {
            h2 id="h-handover" { (language.say("handover.title")) }
            h3 { (language.say("handover.arrival")) }
            @if input.arrival.is_empty() {
                p { (language.say("handover.arrival_none")) }
                p class="blank" { (language.say("sheet.blank")) }
            } @else {
                ul { @for note in input.arrival { li { (note) } } }
            }
            @if let Some(reported) = reported { (measured(reported, language)) }
            @if let Some(reported) = reported {
                @let checks = &reported.report.hand_checks;
                (hand(checks, true, language))
                (hand(checks, false, language))
            }
            (photos(input, language))
        }
    }
}

fn measured(reported: &Reported, language: &Language) -> Markup {
    let report = &reported.report;
    let word = language.say(match report.verdict {
        Verdict::Pass => "report.verdict_pass",
        Verdict::Faults => "report.verdict_faults",
        Verdict::Undecided => "report.verdict_undecided",
        Verdict::Refused => "report.verdict_refused",
    });
    let off = report.readings.iter().filter(|one| one.verdict != "within");
    let (all, off) = (report.readings.len().to_string(), off.count().to_string());
    let names = [("count", all.as_str()), ("off", &off)];
    html! {
        h3 { (language.say("handover.measured")) }
        ul {
            li { (language.say("label.ringout")) ": " b { (word) }
                @if let Some(taken) = &reported.taken { ", " (taken) } }
            @if is_simulated(&report.probe.board) { li { b { (language.say("label.simulated")) } } }
            li { (language.fill("handover.readings", &names)) }
            @for check in report.hand_checks.iter().filter(|check| check.state == "measured") {
                li { b { (check.place) } ": " (told(&check.check, language)) " "
                    em { "(" (language.say(hand_state(check))) ")" } }
            }
            li { (language.say("handover.not_measured")) }
        }
    }
}

/// Hand checks that are vouched for, or those that are open.
fn hand(checks: &[HandCheck], attested: bool, language: &Language) -> Markup {
    let own: Vec<&HandCheck> = checks
        .iter()
        .filter(|check| match attested {
            true => check.state == "attested",
            false => check.is_open(),
        })
        .collect();
    let (title, none, class, sign) = if attested {
        ("handover.attested", "handover.attested_none", "done", "☑")
    } else {
        ("handover.open", "handover.open_none", "open", "☐")
    };
    html! {
        @if !checks.is_empty() {
            h3 { (language.say(title)) }
            @if own.is_empty() { p { (language.say(none)) } }
            ul class="checks" {
                @for check in own {
                    li class=(class) {
                        span class="box" aria-hidden="true" { (sign) }
                        span {
                            b { (check.place) } ": "
                            (told(&check.check, language)) " "
                            em { "(" (language.say(hand_state(check))) ")" }
                        }
                    }
                }
            }
        }
    }
}

/// The key of the word for how a hand check stands.
fn hand_state(check: &HandCheck) -> &'static str {
    match check.state.as_str() {
        "open" => "report.hand_open",
        "measured" => "report.hand_measured",
        "refuted" => "report.hand_refuted",
        _ => "report.hand_attested",
    }
}

/// Photos that belong to no finding.
fn photos(input: &Input<'_>, language: &Language) -> Markup {
    let report = input.reported.map(|reported| &reported.report);
    let best = report.filter(|report| !report.lost);
    let best = best.and_then(|report| report.groups.first());
    let found = best.map(Findings::of).unwrap_or_default().list;
    let elsewhere = |photo: &&Photo| {
        let mut found = found.iter().enumerate();
        !found.any(|(at, finding)| shows(photo, at + 1, finding))
    };
    let rest: Vec<&Photo> = input.photos.iter().filter(elsewhere).collect();
    html! {
        @if !input.photos.is_empty() {
            h3 { (language.say("photo.title")) }
            p { (language.say("photo.stripped")) }
            @if rest.is_empty() { p { (language.say("photo.at_findings")) } }
            @for photo in rest { (picture(input.job, photo, language)) }
        }
    }
}
