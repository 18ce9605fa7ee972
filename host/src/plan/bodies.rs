//! The tables of options, leads, taps and functions.

use super::colour::Colour;
use super::end;
use super::fields::{Fields, Text};
use super::model::{End, Function, Lead, Tap};
use super::names::{Kind, check_name, list, suggest};
use super::plan_type::{Entry, OptionQuestion};
use super::problem::{Complaint, Span, quote};
use super::quantity;
use super::read::{Table, Walk};
use loomproof_core::units::{Metres, SquareMillimetres};

/// Most answers that an option may have.
const MOST_CHOICES: usize = 32;

/// Reads one `[option.*]`.
pub(crate) fn option(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Option, table);
    let ask = fields.required("ask", "\"the question to ask?\"");
    let mut choices: Vec<String> = Vec::new();
    match fields.texts("choices", "[\"yes\", \"no\"]") {
        None => choices.extend(["yes", "no"].map(str::to_owned)),
        Some(texts) => {
            for text in &texts {
                check_choice(&mut fields, text, &choices);
                choices.push(text.value.clone());
            }
            let at = texts
                .first()
                .map_or_else(|| fields.at.clone(), |t| t.at.clone());
            if texts.len() == 1 {
                fields.note(&at, "there is only one choice", "give at least two choices");
            } else if texts.len() > MOST_CHOICES {
                let help = format!("at most {MOST_CHOICES}");
                fields.note(&at, "there are too many choices", &help);
            }
        }
    }
    let default = fields.text("default", "\"one of the choices\"");
    if let Some(text) = default
        .as_ref()
        .filter(|text| !choices.contains(&text.value))
    {
        let message = format!(
            "the default {} is not one of the choices",
            quote(&text.value)
        );
        let help = format!(
            "the choices are {}",
            list(choices.iter().map(String::as_str))
        );
        fields.note(&text.at, message, &help);
    }
    let when = fields.when();
    fields.finish();
    walk.options.push(OptionQuestion {
        name: table.name.to_owned(),
        ask: ask.map(|text| text.value).unwrap_or_default(),
        choices,
        default: default.map(|text| text.value),
        when,
    });
}

fn check_choice(fields: &mut Fields<'_, '_, '_>, text: &Text, earlier: &[String]) {
    let choice = &text.value;
    if earlier.contains(choice) {
        let message = format!("the choice {} is there twice", quote(choice));
        fields.note(&text.at, message, "each choice once");
    }
    if choice.contains(['"', '\'', '=']) || choice.trim() != choice {
        let message = format!("{} cannot be used as a choice", quote(choice));
        let help = "a choice has no quotation marks, no `=`, no space at its ends";
        fields.note(&text.at, message, help);
    }
}

/// The colour as written, when it is one.
pub(crate) fn colour(fields: &mut Fields<'_, '_, '_>, required: bool) -> Option<String> {
    let parse = |text: &str| Colour::parse(text).map(|_| text.to_owned());
    if required {
        fields.required_parsed("colour", "\"OG/BK\"", parse)
    } else {
        fields.optional_parsed("colour", "\"OG/BK\"", parse)
    }
}

/// Reads one `[lead.*]`.
pub(crate) fn lead(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Lead, table);
    let colour = colour(&mut fields, true);
    let size_text = fields.required("size", "\"0.5 mm2\"");
    let size = size_text
        .as_ref()
        .and_then(|t| fields.parsed(t, quantity::size));
    let length = fields.required_parsed("length", "\"1.2 m\"", quantity::length);
    let from = lead_end(&mut fields, "from");
    let to = lead_end(&mut fields, "to");
    if let (Some((from, from_at)), Some((to, to_at))) = (&from, &to)
        && from == to
    {
        let message = format!("lead {} has the same end twice", table.name);
        let help = "`from` and `to` are different places; a lead with one free end is capped there";
        fields
            .problems
            .note_pair(to_at, message, help, from_at, "the other end");
    }
    let occupied_by = fields.text("occupied_by", "\"the conductor's name\"");
    if let Some(text) = &occupied_by {
        known_conductor(
            &mut fields,
            text,
            "declare the wire that may sit there as [conductor.NAME]",
        );
    }
    let when = fields.when();
    fields.finish();
    walk.lost_ends |= from.is_none() || to.is_none();
    let (from, from_at) = from.unwrap_or((End::Cap, 0..0));
    let (to, to_at) = to.unwrap_or((End::Cap, 0..0));
    let mut refs = vec![from_at, to_at];
    refs.extend(occupied_by.iter().map(|text| text.at.clone()));
    walk.lists.leads.push(Entry {
        at: table.at.clone(),
        when,
        refs,
        item: Lead {
            name: table.name.to_owned(),
            colour: colour.unwrap_or_default(),
            size: size.unwrap_or(SquareMillimetres(0.5)),
            size_text: size_text.map(|text| text.value).unwrap_or_default(),
            length: length.unwrap_or(Metres(1.0)),
            from,
            to,
            occupied_by: occupied_by.map(|text| text.value),
        },
    });
}

/// Notes a conductor that the plan does not have.
fn known_conductor(fields: &mut Fields<'_, '_, '_>, text: &Text, otherwise: &str) {
    let conductors = || fields.names().of_kind(|kind| kind == Kind::Conductor);
    if !conductors().any(|name| name == text.value) {
        let message = format!("there is no conductor {}", quote(&text.value));
        let help = suggest(&text.value, conductors(), otherwise);
        fields.note(&text.part(Some(&(0..text.value.len()))), message, &help);
    }
}

fn lead_end(fields: &mut Fields<'_, '_, '_>, key: &'static str) -> Option<(End, Span)> {
    let text = fields.required(key, "\"X1:4\"")?;
    let names = fields.names();
    let end = fields.parsed(&text, |t| end::parse(t, names))?;
    Some((end, text.at))
}

/// Reads one `[tap.*]`.
pub(crate) fn tap(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Tap, table);
    let on = fields.required("on", "\"the conductor's name\"");
    let mut refs = Vec::new();
    let mut data_bus_at = None;
    let name = on.map(|text| {
        let otherwise = "declare what the tap bites as [conductor.NAME]";
        known_conductor(&mut fields, &text, otherwise);
        refs.push(text.at.clone());
        data_bus_at = Some(text.at);
        text.value
    });
    let place = fields.text("place", "\"where it is\"");
    let why = fields.text("why", "\"why a data bus may be tapped here\"");
    let when = fields.when();
    fields.finish();
    let name = name.unwrap_or_default();
    let bus = walk.conductor_is_data_bus(&name);
    if let (Some(bus_at), Some(at), None) = (bus, data_bus_at, &why) {
        walk.problems.refuse(
            &at,
            format!("tap {}: `{name}` is part of a data bus", table.name),
            "a data bus is not tapped without a reason: tap elsewhere, or state it: why = \"…\"",
            Some((&bus_at, "declared as a data bus here".to_owned())),
        );
    }
    if let Some(why) = why {
        let reasons = &mut walk.lists.more.tap_reasons;
        reasons.insert(table.name.to_owned(), why.value);
    }
    walk.lists.taps.push(Entry {
        at: table.at.clone(),
        when,
        refs,
        item: Tap {
            name: table.name.to_owned(),
            on: name,
            place: place.map(|text| text.value),
        },
    });
}

impl Walk<'_> {
    /// Where it is declared that this conductor is part of a data bus, by
    /// itself or through a connector it is at.
    fn conductor_is_data_bus(&self, name: &str) -> Option<Span> {
        let mut conductors = self.lists.conductors.iter();
        let conductor = conductors.find(|entry| entry.item.name == name)?;
        if conductor.item.data_bus {
            return Some(conductor.at.clone());
        }
        let at_bus = |connector: &str| {
            let mut connectors = self.lists.connectors.iter();
            connectors.find(|e| e.item.data_bus && e.item.connector.name == connector)
        };
        let mut places = conductor.item.at.iter();
        places.find_map(|(connector, _)| at_bus(connector).map(|e| e.at.clone()))
    }
}

/// Reads one `[function.*]`.
pub(crate) fn function(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Function, table);
    let switch_on = fields.required("switch_on", "\"what to switch on\"");
    let example = "[\"X1:4\"]";
    let places = fields.texts("seen_at", example);
    if places.is_none() && fields.get("seen_at").is_none() {
        fields.missing("seen_at", example);
    }
    let mut seen_at = Vec::new();
    let mut refs = Vec::new();
    for text in places.unwrap_or_default() {
        let names = fields.names();
        if fields.parsed(&text, |t| visible(t, names)).is_some() {
            seen_at.push(text.value);
            refs.push(text.at);
        }
    }
    let on_when = fields.states("on_when");
    let when = fields.when();
    fields.finish();
    if let Some(on_when) = on_when {
        let known = &mut walk.lists.more.on_when;
        known.insert(table.name.to_owned(), on_when);
    }
    walk.lists.functions.push(Entry {
        at: table.at.clone(),
        when,
        refs,
        item: Function {
            name: table.name.to_owned(),
            switch_on: switch_on.map(|text| text.value).unwrap_or_default(),
            seen_at,
        },
    });
}

/// Whether something can be seen at this place: an end, or anything the plan
/// names.
fn visible(text: &str, names: &super::names::Names) -> Result<(), Complaint> {
    let help = "name an end such as `X1:4`, or a connector, conductor, lead or part of this plan";
    match names.get(text).map(|named| named.kind) {
        Some(kind @ (Kind::Option | Kind::Function | Kind::Switch | Kind::Drain)) => {
            let message = format!(
                "nothing can be seen at `{text}`, which is a {}",
                kind.word()
            );
            return Err(Complaint::new(message, help));
        }
        Some(_) => return Ok(()),
        None => {}
    }
    if end::plug_half(text, names).is_some() {
        return Ok(());
    }
    if check_name(text).is_ok() {
        let unseen = |kind| {
            matches!(
                kind,
                Kind::Option | Kind::Function | Kind::Switch | Kind::Drain
            )
        };
        let candidates = names.of_kind(|kind| !unseen(kind));
        let message = format!("nothing in this plan is called {}", quote(text));
        return Err(Complaint::new(message, suggest(text, candidates, help)));
    }
    match end::parse(text, names)? {
        End::Cap => Err(Complaint::new("nothing can be seen at a cap", help)),
        _ => Ok(()),
    }
}
