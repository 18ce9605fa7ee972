//! The table of drains: where the standing drain is measured after the job.

use std::time::Duration;

use loomproof_core::units::{Amperes, Ohms, Percent};

use super::electrics::{Across, Drain};
use super::fields::Fields;
use super::names::Kind;
use super::plan_type::Entry;
use super::quantity;
use super::read::{Table, Walk};

/// By then everything is asleep, where the plan does not say (`common practice`: most
/// within minutes, some only after half an hour).
const ASLEEP: Duration = Duration::from_secs(30 * 60);

/// Tolerance of a shunt whose plan states none.
const TOLERANCE: Percent = Percent(1.0);

/// Reads one `[drain.*]`.
pub(crate) fn drain(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Drain, table);
    let across = across(&mut fields);
    let limit = fields.required_parsed("limit", "\"50 mA\"", quantity::current);
    let asleep = fields.optional_parsed("asleep_after", "\"20 min\"", quantity::time);
    let place = fields.required("place", "\"fuse 12 in the fuse box\"");
    let when = fields.when();
    fields.finish();
    let (Some((across, ohms)), Some(place)) = (across, place) else {
        return;
    };
    walk.lists.drains.push(Entry {
        at: table.at.clone(),
        when,
        refs: Vec::new(),
        item: Drain {
            name: table.name.to_owned(),
            across,
            ohms,
            limit: limit.unwrap_or(Amperes(0.05)),
            asleep_after: asleep.unwrap_or(ASLEEP),
            place: place.value,
        },
    });
}

/// A shunt with its tolerance, or the range of a fuse: one of the two.
fn across(fields: &mut Fields<'_, '_, '_>) -> Option<(Across, (Ohms, Ohms))> {
    let shunt = fields.text("shunt", "\"0.1 ohm\"");
    let tolerance = fields.text("tolerance", "\"1 %\"");
    let cold = fields.texts("fuse_cold", "[\"7 mohm\", \"8 mohm\"]");
    let at = fields.at.clone();
    if let (Some(text), None) = (&tolerance, &shunt) {
        let help = "the range of a fuse says it already; tolerance belongs to a shunt";
        fields.note(&text.at, "`tolerance` without `shunt`", help);
    }
    match (shunt, cold) {
        (Some(text), None) => {
            let ohms = fields.parsed(&text, quantity::small)?;
            let part = tolerance.and_then(|text| fields.parsed(&text, quantity::tolerance));
            let part = part.unwrap_or(TOLERANCE).0 / 100.0;
            let span = (Ohms(ohms.0 * (1.0 - part)), Ohms(ohms.0 * (1.0 + part)));
            Some((Across::Shunt, span))
        }
        (None, Some(texts)) => {
            let read: Vec<Option<Ohms>> = texts
                .iter()
                .map(|text| fields.parsed(text, quantity::small))
                .collect();
            let first = texts.first().map_or(at, |text| text.at.clone());
            match read.as_slice() {
                [Some(least), Some(most)] => {
                    if least.0 > most.0 {
                        let help = "write the least first: fuse_cold = [\"7 mohm\", \"8 mohm\"]";
                        fields.note(&first, "`fuse_cold` falls", help);
                    }
                    Some((Across::Fuse, (*least, *most)))
                }
                [_, _] => None,
                _ => {
                    let help = "write the least and the most of the maker's table: fuse_cold = \
                                [\"7 mohm\", \"8 mohm\"]";
                    fields.note(&first, "`fuse_cold` is not two resistances", help);
                    None
                }
            }
        }
        (Some(text), Some(_)) => {
            let help = "the leads stand across one of the two; leave the other away";
            fields.note(&text.at, "both `shunt` and `fuse_cold`", help);
            None
        }
        (None, None) => {
            fields.missing("shunt", "\"0.1 ohm\"");
            None
        }
    }
}
