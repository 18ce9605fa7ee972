//! The tables of switches, loads and pins, and the keys of conductors, relays
//! and functions that a dead test does not need.

use super::electrics::{
    Behaviour, Consumer, Draw, OtherEnd, Pin, RelayRatings, Signal, Sort, Switch, Terminal,
};
use super::end;
use super::fields::{Fields, Text};
use super::model::End;
use super::names::{Kind, Names, list, suggest};
use super::plan_type::{Entry, OptionQuestion};
use super::problem::{Complaint, Span, quote};
use super::quantity;
use super::read::{Table, Walk};
use loomproof_core::units::Ohms;

/// Most states of a switch.
const MOST_STATES: usize = 8;

/// Reads one `[switch.*]`.
pub(crate) fn switch(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Switch, table);
    let states = states(&mut fields);
    // The ends are read when all that has ends is known: see `switch_ends`.
    fields.allow("between");
    let closed = fields.texts("closed_in", "[\"on\"]");
    if let (Some(texts), None) = (&closed, fields.get("between")) {
        let at = texts
            .first()
            .map_or_else(|| fields.at.clone(), |t| t.at.clone());
        let help = "give the two ends of its contact: between = [\"X5:1\", \"X5:2\"]";
        fields.note(&at, "`closed_in` without `between`", help);
    }
    for text in closed.iter().flatten() {
        if !states.contains(&text.value) {
            let message = format!("there is no state {}", quote(&text.value));
            let help = format!("the states are {}", list(states.iter().map(String::as_str)));
            fields.note(&text.at, message, &help);
        }
    }
    let fused = fields.optional_parsed("fused", "\"1 A\"", quantity::current);
    let closed_in = match closed {
        Some(texts) => texts.into_iter().map(|text| text.value).collect(),
        None => states.iter().skip(1).cloned().collect(),
    };
    let place = fields.text("place", "\"where it is\"");
    let when = fields.when();
    fields.finish();
    walk.switches.push(OptionQuestion {
        name: table.name.to_owned(),
        ask: String::new(),
        choices: states.clone(),
        default: None,
        when: None,
    });
    walk.lists.switches.push(Entry {
        at: table.at.clone(),
        when,
        refs: Vec::new(),
        item: Switch {
            name: table.name.to_owned(),
            states,
            between: None,
            closed_in,
            fused,
            place: place.map(|text| text.value),
        },
    });
}

/// The states of a switch, at least two.
fn states(fields: &mut Fields<'_, '_, '_>) -> Vec<String> {
    let usual = || ["off", "on"].map(str::to_owned).to_vec();
    let Some(texts) = fields.texts("states", "[\"off\", \"on\"]") else {
        return usual();
    };
    let mut states: Vec<String> = Vec::new();
    for text in &texts {
        let state = &text.value;
        if states.contains(state) {
            let message = format!("the state {} is there twice", quote(state));
            fields.note(&text.at, message, "each state once");
        }
        if state.contains(['"', '\'', '=']) || state.trim() != state {
            let message = format!("{} cannot be used as a state", quote(state));
            let help = "a state has no quotation marks, no `=`, no space at its ends";
            fields.note(&text.at, message, help);
        }
        states.push(state.clone());
    }
    let at = texts
        .first()
        .map_or_else(|| fields.at.clone(), |t| t.at.clone());
    if states.len() < 2 {
        fields.note(
            &at,
            "there is only one state",
            "give at least two; the first is at rest",
        );
        return usual();
    }
    if states.len() > MOST_STATES {
        let help = format!("at most {MOST_STATES}");
        fields.note(&at, "there are too many states", &help);
    }
    states
}

/// The contact of a switch, once everything that has ends is known.
pub(crate) fn switch_ends(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Switch, table);
    let Some((between, refs)) = between(&mut fields) else {
        return;
    };
    let mut all = walk.lists.switches.iter_mut();
    if let Some(entry) = all.find(|entry| entry.item.name == table.name) {
        entry.item.between = Some(between);
        entry.refs = refs;
    }
}

/// The key `between`: two different places.
fn between(fields: &mut Fields<'_, '_, '_>) -> Option<((Terminal, Terminal), Vec<Span>)> {
    let example = "[\"X5:1\", \"X5:2\"]";
    let value = fields.get("between")?;
    let texts = fields.texts("between", example)?;
    let names = fields.names();
    let places: Vec<(Terminal, Span)> = texts
        .iter()
        .filter_map(|text| {
            Some((
                fields.parsed(text, |t| terminal(t, names))?,
                text.at.clone(),
            ))
        })
        .collect();
    if texts.len() != 2 {
        let help = format!("write between = {example}");
        fields.note(&value.span(), "`between` is not two ends", &help);
        return None;
    }
    let [(first, first_at), (second, second_at)] = <[_; 2]>::try_from(places).ok()?;
    if first == second {
        let help = "it is between two different places";
        fields.note(&second_at, "`between` names one place twice", help);
        return None;
    }
    Some(((first, second), vec![first_at, second_at]))
}

fn terminal(text: &str, names: &Names) -> Result<Terminal, Complaint> {
    match text {
        "chassis" => return Ok(Terminal::Chassis),
        "battery plus" => return Ok(Terminal::BatteryPlus),
        _ => {}
    }
    match end::parse(text, names)? {
        End::Cap => Err(Complaint::new(
            "nothing is plugged to a cap",
            "name an end such as `X5:1`, `chassis` or `battery plus`",
        )),
        end => Ok(Terminal::At(end)),
    }
}

/// Reads one `[load.*]`.
pub(crate) fn load(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Load, table);
    if fields.get("between").is_none() {
        fields.missing("between", "[\"X10:1\", \"X10:2\"]");
    }
    let ends = between(&mut fields);
    let draws = fields.required_parsed("draws", "\"8 A\"", draw);
    let volts = fields.optional_parsed("volts", "\"12 V\"", quantity::voltage);
    let needs = fields.optional_parsed("needs", "\"10.5 V\"", quantity::voltage);
    let sorts = [
        ("resistor", Sort::Resistor),
        ("lamp", Sort::Lamp),
        ("one way", Sort::OneWay),
    ];
    let sort = fields.word("sort", &sorts);
    let place = fields.text("place", "\"where it is\"");
    let when = fields.when();
    fields.finish();
    let Some((between, refs)) = ends else {
        walk.lost_ends = true;
        return;
    };
    walk.lists.loads.push(Entry {
        at: table.at.clone(),
        when,
        refs,
        item: Consumer {
            name: table.name.to_owned(),
            between,
            draws: draws.unwrap_or(Draw::Resistance(Ohms(12.0))),
            volts,
            needs,
            sort: sort.unwrap_or(Sort::Resistor),
            place: place.map(|text| text.value),
        },
    });
}

/// A current, a power or a resistance.
fn draw(text: &str) -> Result<Draw, Complaint> {
    let tries = [
        quantity::current(text).map(Draw::Current),
        quantity::power(text).map(Draw::Power),
        quantity::resistance(text).map(Draw::Resistance),
    ];
    let units = ["A", "W", "ohm"];
    let help = "write what it draws as `8 A`, `21 W` or `85 ohm`";
    if let Some(found) = tries.iter().find_map(|tried| tried.as_ref().ok()) {
        return Ok(*found);
    }
    // The complaint of the sort whose unit was written, if any.
    let meant = tries
        .into_iter()
        .zip(units)
        .find(|(_, unit)| text.ends_with(unit));
    let complaint = match meant {
        Some((Err(complaint), _)) => complaint,
        _ => Complaint::new(
            format!("{} is no current, power or resistance", quote(text)),
            help,
        ),
    };
    Err(Complaint {
        help: Some(complaint.help.unwrap_or_else(|| help.to_owned())),
        ..complaint
    })
}

/// Reads one `[pin.*]`.
pub(crate) fn pin(walk: &mut Walk<'_>, table: &Table<'_>) {
    let mut fields = walk.fields(Kind::Pin, table);
    let at = fields.required("at", "\"X1:3\"");
    let names = fields.names();
    let cavity = at.as_ref().and_then(|text| {
        fields.parsed(text, |t| match end::parse(t, names)? {
            End::Cavity(connector, cavity) => Ok((connector, cavity)),
            _ => Err(Complaint::new(
                format!("{} is not a cavity", quote(t)),
                "a pin of the vehicle is at CONNECTOR:CAVITY",
            )),
        })
    });
    let function = fields.text("function", "\"what it does\"");
    let load = fields.optional_parsed("load", "\"unknown\"", quantity::load);
    let behaviour = behaviour(&mut fields);
    let when = fields.when();
    fields.finish();
    let (Some(at), Some(text)) = (cavity, at) else {
        return;
    };
    walk.lists.pins.push(Entry {
        at: table.at.clone(),
        when,
        refs: vec![text.at],
        item: Pin {
            name: table.name.to_owned(),
            at,
            function: function.map(|text| text.value),
            load: load.unwrap_or(quantity::UNKNOWN_LOAD),
            behaviour: behaviour.unwrap_or(Behaviour::UNKNOWN),
        },
    });
}

/// How a conductor or pin behaves; `None` when nothing is stated.
pub(crate) fn behaviour(fields: &mut Fields<'_, '_, '_>) -> Option<Behaviour> {
    let plus_when = fields.states("plus_when");
    let chassis_when = fields.states("chassis_when");
    let fused = fields.optional_parsed("fused", "\"10 A\"", quantity::current);
    let most = fields.optional_parsed("most", "\"0.5 A\"", quantity::current);
    let draws = fields.optional_parsed("draws", "\"8 A\"", draw);
    let other = fields.text("other_end", "\"chassis\"");
    if let (Some(text), None) = (&other, &draws) {
        let help = "say what the vehicle has there: draws = \"5 W\"";
        fields.note(&text.at, "`other_end` without `draws`", help);
    }
    let names = fields.names();
    let other_end = other
        .as_ref()
        .and_then(|text| fields.parsed(text, |t| other_end(t, names)));
    let signal = signal(fields, plus_when.is_some() || chassis_when.is_some());
    let known = Behaviour {
        plus_when,
        chassis_when,
        fused,
        most,
        draws,
        other_end: other_end.unwrap_or(OtherEnd::Chassis),
        signal,
    };
    (known != Behaviour::UNKNOWN).then_some(known)
}

/// What a conductor carries while it is switched on; `switched` says whether it
/// ever is.
fn signal(fields: &mut Fields<'_, '_, '_>, switched: bool) -> Signal {
    #[derive(Clone, Copy, PartialEq)]
    enum Sort {
        Steady,
        Flashing,
        Dimmed,
    }
    let words = [
        ("steady", Sort::Steady),
        ("flashing", Sort::Flashing),
        ("dimmed", Sort::Dimmed),
    ];
    let at = fields.get("signal").map(|value| value.span());
    let sort = fields.word("signal", &words).unwrap_or(Sort::Steady);
    if let (Some(at), false) = (at, switched) {
        let help = "say when the vehicle joins it: plus_when = \"lights == on\"";
        fields.note(&at, "`signal` without `plus_when` or `chassis_when`", help);
    }
    if sort == Sort::Steady {
        for key in ["rate", "duty"] {
            if let Some(value) = fields.get(key) {
                let message = format!("`{key}` of a steady signal");
                let help = "write signal = \"flashing\" or \"dimmed\", or leave it out";
                fields.note(&value.span(), message, help);
            }
        }
        return Signal::Steady;
    }
    let duty = fields.optional_parsed("duty", "\"40 %\"", quantity::duty);
    let duty = duty.unwrap_or(Signal::DUTY);
    if sort == Sort::Flashing {
        let rate = fields.optional_parsed("rate", "\"90 /min\"", quantity::flashes);
        let rate = rate.unwrap_or(Signal::FLASHES);
        Signal::Flashing { rate, duty }
    } else {
        let rate = fields.optional_parsed("rate", "\"200 Hz\"", quantity::frequency);
        let rate = rate.unwrap_or(Signal::DIMS);
        Signal::Dimmed { rate, duty }
    }
}

fn other_end(text: &str, names: &Names) -> Result<OtherEnd, Complaint> {
    let conductor = |kind| matches!(kind, Kind::Conductor | Kind::Pin);
    match text {
        "chassis" => Ok(OtherEnd::Chassis),
        "battery plus" => Ok(OtherEnd::BatteryPlus),
        _ if names.get(text).is_some_and(|named| conductor(named.kind)) => {
            Ok(OtherEnd::Named(text.to_owned()))
        }
        _ => Err(Complaint::new(
            format!("there is no conductor or pin {}", quote(text)),
            suggest(
                text,
                names.of_kind(conductor),
                "write `chassis`, `battery plus`, or the name of a conductor or pin",
            ),
        )),
    }
}

/// The ratings of a relay; `None` when nothing is stated.
pub(crate) fn ratings(fields: &mut Fields<'_, '_, '_>) -> Option<RelayRatings> {
    let operates: Option<Text> = fields.text("operates", "\"8 V\"");
    let releases = fields.optional_parsed("releases", "\"1.5 V\"", quantity::voltage);
    let ratings = RelayRatings {
        volts: fields.optional_parsed("volts", "\"12 V\"", quantity::voltage),
        operates: operates
            .as_ref()
            .and_then(|text| fields.parsed(text, quantity::voltage)),
        releases,
        contact: fields.optional_parsed("contact", "\"30 A\"", quantity::current),
        break_contact: fields.optional_parsed("break_contact", "\"20 A\"", quantity::current),
    };
    if let (Some(operates), Some(releases), Some(text)) = (ratings.operates, releases, operates)
        && releases >= operates
    {
        let help = "a relay lets go at a lower voltage than it pulls in at";
        fields.note(&text.at, "`operates` is not above `releases`", help);
    }
    (ratings != RelayRatings::default()).then_some(ratings)
}
