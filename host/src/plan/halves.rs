//! The keys that say which halves of a connector are together while places are
//! rung out, and what hangs on a conductor through one.

use super::fields::{Fields, Text};
use super::model::Halves;
use super::names::{Kind, suggest};
use super::plan_type::Entry;
use super::problem::{Complaint, quote};
use super::read::{Table, Walk};

/// The key `through` of a conductor: a connector of the plan.
pub(crate) fn through(fields: &mut Fields<'_, '_, '_>) -> Option<Text> {
    let text = fields.text("through", "\"X1\"")?;
    let names = fields.names();
    let connectors = || names.of_kind(|kind| kind == Kind::Connector);
    fields.parsed(&text, |name| {
        if connectors().any(|known| known == name) {
            return Ok(());
        }
        Err(Complaint::new(
            format!("there is no connector {}", quote(name)),
            suggest(
                name,
                connectors(),
                "name the connector with which what hangs on it is plugged in",
            ),
        ))
    })?;
    Some(text)
}

/// The keys `open_for` and `plugged_for` of a connector, once all places are known.
pub(crate) fn of_connector(walk: &mut Walk<'_>, table: &Table<'_>) {
    let places = places(walk);
    let mut connectors = walk.lists.connectors.iter();
    let own = connectors.position(|entry| entry.item.connector.name == table.name);
    let Some(own) = own else {
        return;
    };
    let entry = walk.lists.connectors.get(own);
    let of_harness = entry.is_some_and(|entry| entry.item.connector.of_harness);
    let mut fields = walk.fields(Kind::Connector, table);
    let mut read = |key: &'static str, of_harness: bool| -> Vec<Text> {
        let texts = fields.texts(key, "\"left kick panel\"").unwrap_or_default();
        if let Some(first) = texts.first().filter(|_| of_harness) {
            let message = format!("`{key}` at a connector of the harness");
            let help = "it is for connectors that the vehicle has; what is plugged to the harness \
                        comes after the ring-out";
            fields.note(&first.at, message, help);
        }
        let known = |text: &Text| {
            let parsed = fields.parsed(text, |text| known(text, &places));
            parsed.is_some()
        };
        texts.into_iter().filter(known).collect()
    };
    let open = read("open_for", of_harness);
    let plugged = read("plugged_for", of_harness);
    for text in &plugged {
        let same = |other: &&Text| other.value.to_lowercase() == text.value.to_lowercase();
        if let Some(other) = open.iter().find(same) {
            fields.problems.note_pair(
                &text.at,
                format!(
                    "connector {}: it cannot be open and plugged for {}",
                    table.name,
                    quote(&text.value)
                ),
                "say it of one place once",
                &other.at,
                "open for it here",
            );
        }
    }
    let values = |texts: Vec<Text>| texts.into_iter().map(|text| text.value).collect();
    let halves = Halves {
        open_for: values(open),
        plugged_for: values(plugged),
    };
    if let Some(entry) = walk.lists.connectors.get_mut(own) {
        entry.item.connector.halves = halves;
    }
}

/// What a place can be named by.
struct Places {
    names: Vec<String>,
    places: Vec<String>,
}

/// The places of everything that a probe lead is clipped to.
fn places(walk: &Walk<'_>) -> Places {
    let kinds = [
        Kind::Connector,
        Kind::Tap,
        Kind::Ring,
        Kind::Plug,
        Kind::Relay,
        Kind::Diode,
        Kind::Lamp,
        Kind::Fuse,
    ];
    let names = walk.names.of_kind(|kind| kinds.contains(&kind));
    let lists = &walk.lists;
    let connectors = lists.connectors.iter();
    let mut places: Vec<Option<String>> = connectors
        .map(|entry| entry.item.connector.place.clone())
        .collect();
    macro_rules! add {
        ($($list:ident)*) => {$(
            places.extend(lists.$list.iter().map(|Entry { item, .. }| item.place.clone()));
        )*};
    }
    add! { taps rings plugs relays diodes lamps fuses }
    Places {
        names: names.map(str::to_owned).collect(),
        places: places.into_iter().flatten().collect(),
    }
}

/// Whether a text names a place of the plan, as `--at` would take it.
fn known(text: &str, known: &Places) -> Result<(), Complaint> {
    let wanted = text.trim().to_lowercase();
    let there = |place: &String| !wanted.is_empty() && place.to_lowercase().contains(&wanted);
    if text == Halves::ALL
        || known.names.iter().any(|name| name == text)
        || known.places.iter().any(there)
    {
        return Ok(());
    }
    let help = "give a place as the plan writes it, the name of a connector, tap, ring, plug or \
                part there, or `all`";
    let candidates = known.names.iter().chain(&known.places).map(String::as_str);
    Err(Complaint::new(
        format!("nothing of this plan is at {}", quote(text)),
        suggest(text, candidates, help),
    ))
}
