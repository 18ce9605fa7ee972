//! The tables of splices, rings, plugs, relays, diodes, lamps and fuses.

use super::model::{Diode, Fuse, Lamp, Plug, Relay, Ring, RingOn, Splice, Suppression};
use super::names::Kind;
use super::outside;
use super::plan_type::Entry;
use super::quantity;
use super::read::{Table, Walk};
use loomproof_core::units::{Amperes, Ohms, Volts, Watts};

/// Most ways of an in-line plug.
const MOST_WAYS: u16 = 128;

/// An entry that refers to nothing.
fn entry<T>(table: &Table<'_>, when: Option<super::when::Condition>, item: T) -> Entry<T> {
    Entry {
        at: table.at.clone(),
        when,
        refs: Vec::new(),
        item,
    }
}

/// Reads one `[splice.*]`.
pub(crate) fn splice(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Splice, table);
    let place = fields.text("place", "\"where it is\"");
    let when = fields.when();
    fields.finish();
    let item = Splice {
        name: table.name.to_owned(),
        place: place.map(|text| text.value),
    };
    walk.lists.splices.push(entry(table, when, item));
}

/// Reads one `[ring.*]`.
pub(crate) fn ring(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Ring, table);
    let sorts = [
        ("chassis", RingOn::Chassis),
        ("battery plus", RingOn::BatteryPlus),
    ];
    let stated = fields.get("on").is_some();
    if !stated {
        fields.missing("on", "\"chassis\" or \"battery plus\"");
    }
    let on = fields.word("on", &sorts);
    let fused_text = fields.text("fused", "\"20 A\"");
    let fused = fused_text
        .as_ref()
        .and_then(|text| fields.parsed(text, quantity::current));
    if let (Some(text), Some(RingOn::Chassis)) = (fused_text, on) {
        let help = "a fuse belongs at battery plus: on = \"battery plus\"";
        fields.note(&text.at, "`fused` at a ring on chassis", help);
    }
    let place = fields.text("place", "\"where it is\"");
    let when = fields.when();
    fields.finish();
    if let Some(fused) = fused {
        let rings = &mut walk.lists.more.fused_rings;
        rings.insert(table.name.to_owned(), fused);
    }
    let item = Ring {
        name: table.name.to_owned(),
        on: on.unwrap_or(RingOn::Chassis),
        place: place.map(|text| text.value),
    };
    walk.lists.rings.push(entry(table, when, item));
}

/// Reads one `[plug.*]`.
pub(crate) fn plug(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Plug, table);
    let stated = fields.get("ways").is_some();
    let ways = fields.count("ways", 1..=MOST_WAYS).map(|(ways, _)| ways);
    let place = fields.text("place", "\"where it is\"");
    let when = fields.when();
    fields.finish();
    // A stated number that is wrong leaves the number of ways unknown.
    let known = if stated { ways } else { Some(1) };
    walk.names.set_count(table.name, Kind::Plug, known);
    let item = Plug {
        name: table.name.to_owned(),
        ways: known.unwrap_or(1),
        place: place.map(|text| text.value),
    };
    walk.lists.plugs.push(entry(table, when, item));
}

/// Reads one `[relay.*]`.
pub(crate) fn relay(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Relay, table);
    let coil = fields.required_parsed("coil", "\"85 ohm\"", quantity::resistance);
    let changeover = fields.word("contacts", &[("make", false), ("changeover", true)]);
    let suppression = fields.optional_parsed(
        "suppression",
        "\"none\", \"diode\" or \"470 ohm\"",
        |text| match text {
            "none" => Ok(Suppression::None),
            "diode" => Ok(Suppression::Diode),
            _ => quantity::resistance(text)
                .map(Suppression::Resistor)
                .map_err(|mut complaint| {
                    complaint.help = Some(
                        "write `none`, `diode`, or the resistor's value such as `470 ohm`"
                            .to_owned(),
                    );
                    complaint
                }),
        },
    );
    let ratings = outside::ratings(&mut fields);
    let place = fields.text("place", "\"where it is\"");
    let when = fields.when();
    fields.finish();
    if let Some(ratings) = ratings {
        let relays = &mut walk.lists.more.relays;
        relays.insert(table.name.to_owned(), ratings);
    }
    let changeover = changeover.unwrap_or(false);
    walk.names.set_changeover(table.name, changeover);
    let item = Relay {
        name: table.name.to_owned(),
        coil: coil.unwrap_or(Ohms(85.0)),
        changeover,
        suppression: suppression.unwrap_or(Suppression::None),
        place: place.map(|text| text.value),
    };
    walk.lists.relays.push(entry(table, when, item));
}

/// Reads one `[diode.*]`.
pub(crate) fn diode(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Diode, table);
    let place = fields.text("place", "\"where it is\"");
    let when = fields.when();
    fields.finish();
    let item = Diode {
        name: table.name.to_owned(),
        place: place.map(|text| text.value),
    };
    walk.lists.diodes.push(entry(table, when, item));
}

/// Reads one `[lamp.*]`.
pub(crate) fn lamp(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Lamp, table);
    let power = fields.required_parsed("power", "\"21 W\"", quantity::power);
    let volts = fields.required_parsed("volts", "\"12 V\"", quantity::voltage);
    let place = fields.text("place", "\"where it is\"");
    let when = fields.when();
    fields.finish();
    let item = Lamp {
        name: table.name.to_owned(),
        power: power.unwrap_or(Watts(21.0)),
        volts: volts.unwrap_or(Volts(12.0)),
        place: place.map(|text| text.value),
    };
    walk.lists.lamps.push(entry(table, when, item));
}

/// Reads one `[fuse.*]`.
pub(crate) fn fuse(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Fuse, table);
    let rating = fields.required_parsed("rating", "\"10 A\"", quantity::current);
    let place = fields.text("place", "\"where it is\"");
    let when = fields.when();
    fields.finish();
    let item = Fuse {
        name: table.name.to_owned(),
        rating: rating.unwrap_or(Amperes(10.0)),
        place: place.map(|text| text.value),
    };
    walk.lists.fuses.push(entry(table, when, item));
}
