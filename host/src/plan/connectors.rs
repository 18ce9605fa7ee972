//! The tables of connectors and of the conductors that are reached at them.

use super::bodies::colour;
use super::end;
use super::fields::{Fields, integer};
use super::halves;
use super::model::{Conductor, Connector, End, Halves, Latch, Side};
use super::names::{Kind, Names, suggest};
use super::outside;
use super::plan_type::{DeclaredConnector, Entry, KeepOff};
use super::problem::{Complaint, Span, quote};
use super::quantity::{self, UNKNOWN_LOAD};
use super::read::{Table, Walk};
use loomproof_core::units::{Metres, SquareMillimetres};

/// Most cavities of a connector.
const MOST_CAVITIES: u16 = 128;

/// Reads one `[connector.*]`.
pub(crate) fn connector(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Connector, table);
    let stated = fields.get("cavities").is_some();
    if !stated {
        fields.missing("cavities", "6");
    }
    let cavities = fields.count("cavities", 1..=MOST_CAVITIES).map(|(n, _)| n);
    let rows = fields.count("rows", 1..=MOST_CAVITIES);
    if let (Some((rows, at)), Some(cavities)) = (&rows, cavities)
        && *rows > cavities
    {
        let message = format!("{rows} rows for {cavities} cavities");
        fields.note(
            at,
            message,
            "give the number of rows seen on the connector's face",
        );
    }
    let explicit = face(&mut fields, cavities, rows.as_ref());
    let place = fields.text("place", "\"where it is\"");
    let latch = fields.word("latch", &Latch::WORDS);
    let access = fields.word(
        "access",
        &[("wire side", Side::Wire), ("mating side", Side::Mating)],
    );
    let of_harness = fields.word("with", &[("harness", true), ("vehicle", false)]);
    // Read when all places are known: see `halves`.
    fields.allow("open_for");
    fields.allow("plugged_for");
    let keep_off = match (fields.flag("restraint"), fields.flag("high_voltage")) {
        (true, _) => Some(KeepOff::Restraint),
        (false, true) => Some(KeepOff::HighVoltage),
        (false, false) => None,
    };
    let data_bus = fields.flag("data_bus");
    let when = fields.when();
    fields.finish();
    walk.names.set_count(table.name, Kind::Connector, cavities);
    let cavities = cavities.unwrap_or(1);
    let rows = rows.map_or(1, |(rows, _)| rows);
    let connector = Connector {
        name: table.name.to_owned(),
        cavities,
        face: explicit.unwrap_or_else(|| row_major(cavities, rows)),
        place: place.map(|text| text.value),
        latch,
        access: access.unwrap_or(Side::Wire),
        of_harness: of_harness.unwrap_or(false),
        halves: Halves::default(),
    };
    walk.lists.connectors.push(Entry {
        at: table.at.clone(),
        when,
        refs: Vec::new(),
        item: DeclaredConnector {
            connector,
            keep_off,
            data_bus,
        },
    });
}

/// A face counted row by row; the last row is filled up with "no cavity".
fn row_major(cavities: u16, rows: u16) -> Vec<Vec<Option<u16>>> {
    let rows = rows.max(1);
    let per_row = cavities.div_ceil(rows);
    (0..rows)
        .map(|row| {
            let first = row * per_row + 1;
            let numbers = first..first + per_row;
            numbers.map(|n| (n <= cavities).then_some(n)).collect()
        })
        .collect()
}

/// The explicit `face`: rows of cavity numbers, 0 where there is none, each
/// cavity once. Short rows are filled up with "no cavity".
fn face(
    fields: &mut Fields<'_, '_, '_>,
    cavities: Option<u16>,
    stated_rows: Option<&(u16, Span)>,
) -> Option<Vec<Vec<Option<u16>>>> {
    let value = fields.get("face")?;
    let help =
        "write the rows seen from the wire side, 0 for no cavity: face = [[1, 2, 3], [4, 0, 5]]";
    let rows = value
        .get_ref()
        .as_array()
        .map(|rows| rows.iter().map(|row| row.get_ref().as_array()));
    let Some(rows) = rows.and_then(|rows| rows.collect::<Option<Vec<_>>>()) else {
        fields.note(&value.span(), "`face` is not a list of rows", help);
        return None;
    };
    let mut seen = std::collections::BTreeMap::new();
    let mut face = Vec::new();
    for row in rows {
        let mut numbers = Vec::new();
        for item in row {
            let number = integer(item.get_ref()).and_then(|n| u16::try_from(n).ok());
            let Some(number) = number.filter(|n| *n <= cavities.unwrap_or(MOST_CAVITIES)) else {
                fields.note(
                    &item.span(),
                    "`face` names a cavity that is not there",
                    help,
                );
                continue;
            };
            if number != 0 && seen.insert(number, item.span()).is_some() {
                let message = format!("`face` shows cavity {number} twice");
                fields.note(&item.span(), message, "each cavity once, 0 for no cavity");
            }
            numbers.push((number != 0).then_some(number));
        }
        face.push(numbers);
    }
    let missing = (1..=cavities.unwrap_or(0)).find(|n| !seen.contains_key(n));
    if let Some(missing) = missing {
        let message = format!("`face` does not show cavity {missing}");
        fields.note(&value.span(), message, help);
    }
    if let Some((rows, at)) = stated_rows.filter(|(rows, _)| usize::from(*rows) != face.len()) {
        let message = format!("`rows` says {rows}, but `face` has {} rows", face.len());
        fields.note(at, message, "leave `rows` out where `face` is given");
    }
    let longest = face.iter().map(Vec::len).max().unwrap_or(0);
    if longest.saturating_mul(face.len()) > 16 * usize::from(MOST_CAVITIES) {
        fields.note(&value.span(), "`face` is too large", help);
        return None;
    }
    for row in &mut face {
        row.resize(longest, None);
    }
    Some(face)
}

/// Reads one `[conductor.*]`.
pub(crate) fn conductor(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Conductor, table);
    let mut at = Vec::new();
    let mut refs = Vec::new();
    let mut lost = false;
    let example = "\"CONNECTOR:CAVITY\"";
    let places = fields.texts("at", example);
    if places.is_none() {
        lost = true;
        if fields.get("at").is_none() {
            fields.missing("at", example);
        }
    }
    for text in places.unwrap_or_default() {
        let names = fields.names();
        match fields.parsed(&text, |t| conductor_place(t, names)) {
            Some(place) if at.contains(&place) => {
                let message = format!("{} is there twice", quote(&text.value));
                fields.note(&text.at, message, "each place once");
            }
            Some(place) => {
                at.push(place);
                refs.push(text.at);
            }
            None => lost = true,
        }
    }
    let colour = colour(&mut fields, false);
    let function = fields.text("function", "\"what it does\"");
    let load = fields.optional_parsed("load", "\"unknown\"", quantity::load);
    let through = halves::through(&mut fields);
    let length = fields.optional_parsed("length", "\"2 m\"", quantity::length);
    let size = fields.optional_parsed("size", "\"0.5 mm2\"", quantity::size);
    let data_bus = fields.flag("data_bus");
    let behaviour = outside::behaviour(&mut fields);
    let when = fields.when();
    fields.finish();
    walk.lost_ends |= lost;
    // Behind the places: see `Entry::refs`.
    refs.extend(through.iter().map(|text| text.at.clone()));
    if let Some(behaviour) = behaviour {
        let known = &mut walk.lists.more.behaviours;
        known.insert(table.name.to_owned(), behaviour);
    }
    walk.lists.conductors.push(Entry {
        at: table.at.clone(),
        when,
        refs,
        item: Conductor {
            name: table.name.to_owned(),
            at,
            colour,
            function: function.map(|text| text.value),
            load: load.unwrap_or(UNKNOWN_LOAD),
            through: through.as_ref().map(|text| text.value.clone()),
            length: length.unwrap_or(Metres(2.0)),
            size: size.unwrap_or(SquareMillimetres(0.5)),
            data_bus,
        },
    });
}

/// A place where a conductor is reached: a connector's cavity.
fn conductor_place(text: &str, names: &Names) -> Result<(String, u16), Complaint> {
    let name = text.split(':').next().unwrap_or_default();
    let known = names.get(name).map(|named| named.kind);
    if known != Some(Kind::Connector) {
        let message = if name.is_empty() {
            "the connector's name is missing".to_owned()
        } else {
            format!("there is no connector {}", quote(name))
        };
        let help = suggest(
            name,
            names.of_kind(|kind| kind == Kind::Connector),
            "a conductor is reached at CONNECTOR:CAVITY; declare the connector as [connector.NAME]",
        );
        return Err(Complaint::new(message, help).on(0..name.len()));
    }
    match end::parse(text, names)? {
        End::Cavity(connector, cavity) => Ok((connector, cavity)),
        _ => Err(Complaint::new(
            format!("{} is not a cavity", quote(text)),
            "a conductor is reached at CONNECTOR:CAVITY",
        )),
    }
}
