//! What a report says, in the language of the sheet where its sentences are known in
//! that language, else as it stands, marked as English.

use maud::{Markup, html};

use super::language::Language;
use crate::diagnosis::phrases::{Phrases, fill};
use crate::diagnosis::words::{Speaker, Words, ohms_text};
use crate::fault::spell::parse;
use crate::plan::model::Job;
use crate::ringout::report::FaultReport;
use loomproof_core::units::Ohms;

/// A sentence of a report in the language of the sheet.
pub(super) fn told(text: &str, language: &Language) -> Markup {
    match heard(text, language) {
        Some(said) => html! { span { (said) } },
        None => html! { span lang="en" { (text) } },
    }
}

fn heard(text: &str, language: &Language) -> Option<String> {
    let phrases = Phrases::of(language.code())?;
    if let Some(said) = phrases.heard(text) {
        return Some(said);
    }
    // "Round 2: " stands before what is said of one of several rounds.
    let (round, rest) = text.strip_prefix("Round ")?.split_once(": ")?;
    let round = phrases.heard(&format!("Round {round}: "))?;
    Some(round + &phrases.heard(rest)?)
}

/// The words of a fault in the language of the sheet; `None` where that is English, or
/// where the report says anything that is not known in it.
pub(super) fn fault(job: &Job, reported: &FaultReport, language: &Language) -> Option<Words> {
    let phrases = Phrases::of(language.code())?;
    let spelled = parse(&reported.fault, job).ok()?;
    let known = match reported.ohms {
        Some(ohms) => spelled.with_ohms(Ohms(ohms.estimate)).unwrap_or(spelled),
        None => spelled,
    };
    let english = Speaker::new(job).fault(&known);
    let (before, after) = reported.say.split_once(&english.say)?;
    if reported.act != english.act {
        return None;
    }
    let here = Speaker::in_language(job, language.code()).fault(&known);
    let before = match before {
        "" => String::new(),
        round => phrases.heard(round)?,
    };
    let after = match (after, reported.ohms) {
        ("", _) => String::new(),
        (after, Some(ohms)) => {
            let (low, high) = (ohms_text(ohms.low), ohms_text(ohms.high));
            let names = [("low", low.as_str()), ("high", &high)];
            let spans = [
                "By these readings it is more than {low}.",
                "By these readings it is between {low} and {high} (95 %).",
            ];
            let span = spans
                .iter()
                .find(|span| after == format!(" {}", fill(span, &names)))?;
            format!(" {}", fill(phrases.find(span)?, &names))
        }
        _ => return None,
    };
    Some(Words {
        say: before + &here.say + &after,
        act: here.act,
    })
}
