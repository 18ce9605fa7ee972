//! Writing a plan back as a plan file.
//!
//! Comments and the layout of the original are not kept; what the plan says
//! is, so that reading what was written gives the same plan.

use std::fmt::Write as _;

use loomproof_core::units::{Amperes, Ohms, SquareMillimetres, Volts};

use super::electrics::{Across, Behaviour, Drain, Draw, OtherEnd, Signal, Sort, States, Terminal};
use super::model::{Load, RingOn, Side, Suppression};
use super::plan_type::{DeclaredConnector, Entry, KeepOff, Plan};
use super::quantity::{UNKNOWN_LOAD, awg_area};
use super::when::Condition;

/// One table being written.
struct Sheet {
    out: String,
}

/// A text as TOML writes it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

impl Sheet {
    fn table(&mut self, kind: &str, name: &str) {
        let _ = write!(self.out, "\n[{kind}.{name}]\n");
    }

    fn text(&mut self, key: &str, text: &str) {
        let _ = writeln!(self.out, "{key} = {}", quoted(text));
    }

    fn maybe(&mut self, key: &str, text: Option<impl AsRef<str>>) {
        if let Some(text) = text {
            self.text(key, text.as_ref());
        }
    }

    fn texts<T: AsRef<str>>(&mut self, key: &str, texts: impl IntoIterator<Item = T>) {
        let all: Vec<String> = texts
            .into_iter()
            .map(|text| quoted(text.as_ref()))
            .collect();
        let _ = writeln!(self.out, "{key} = [{}]", all.join(", "));
    }

    fn plain(&mut self, key: &str, value: impl std::fmt::Display) {
        let _ = writeln!(self.out, "{key} = {value}");
    }

    fn amperes(&mut self, key: &str, value: Option<Amperes>) {
        self.maybe(key, value.map(|a| format!("{} A", a.0)));
    }

    fn volts(&mut self, key: &str, value: Option<Volts>) {
        self.maybe(key, value.map(|v| format!("{} V", v.0)));
    }

    /// What every table ends with.
    fn end(&mut self, place: Option<&String>, when: Option<&Condition>) {
        self.maybe("place", place);
        self.maybe("when", when.map(|when| &when.text));
    }

    fn behaviour(&mut self, behaviour: &Behaviour) {
        self.maybe("plus_when", behaviour.plus_when.as_ref().map(states));
        self.maybe("chassis_when", behaviour.chassis_when.as_ref().map(states));
        self.amperes("fused", behaviour.fused);
        self.amperes("most", behaviour.most);
        if let Some(draws) = behaviour.draws {
            self.text("draws", &draw(draws));
            let other = match &behaviour.other_end {
                OtherEnd::Chassis => "chassis",
                OtherEnd::BatteryPlus => "battery plus",
                OtherEnd::Named(name) => name,
            };
            self.text("other_end", other);
        }
        let (word, rate, duty) = match behaviour.signal {
            Signal::Steady => return,
            Signal::Flashing { rate, duty } => ("flashing", rate.to_string(), duty),
            Signal::Dimmed { rate, duty } => ("dimmed", rate.to_string(), duty),
        };
        self.text("signal", word);
        self.text("rate", &rate);
        self.text("duty", &duty.to_string());
    }
}

impl Sheet {
    fn drain(&mut self, drain: &Drain, when: Option<&Condition>) {
        self.table("drain", &drain.name);
        let ohms = |ohms: Ohms| format!("{} ohm", ohms.0);
        match drain.across {
            Across::Fuse => self.texts("fuse_cold", [drain.ohms.0, drain.ohms.1].map(ohms)),
            Across::Shunt => {
                let middle = f64::midpoint(drain.ohms.0.0, drain.ohms.1.0);
                let half = (drain.ohms.1.0 - drain.ohms.0.0) / 2.0;
                self.text("shunt", &ohms(Ohms(rounded(middle))));
                self.text(
                    "tolerance",
                    &format!("{} %", rounded(100.0 * half / middle)),
                );
            }
        }
        self.text("limit", &format!("{} A", drain.limit.0));
        self.text(
            "asleep_after",
            &format!("{} s", drain.asleep_after.as_secs_f64()),
        );
        self.end(Some(&drain.place), when);
    }
}

/// To nine digits: what was multiplied and divided again is as it was written.
fn rounded(value: f64) -> f64 {
    format!("{value:.8e}").parse().unwrap_or(value)
}

fn states(states: &States) -> String {
    match states {
        States::Always => "always".to_owned(),
        States::Is(name, state) => format!("{name} == '{state}'"),
        States::Not(inner) => format!("not ({})", self::states(inner)),
        States::All(parts) => joined(parts, " and "),
        States::Any(parts) => joined(parts, " or "),
    }
}

fn joined(parts: &[States], word: &str) -> String {
    let parts: Vec<String> = parts
        .iter()
        .map(|part| format!("({})", states(part)))
        .collect();
    parts.join(word)
}

fn draw(draw: Draw) -> String {
    match draw {
        Draw::Current(amperes) => format!("{} A", amperes.0),
        Draw::Power(watts) => format!("{} W", watts.0),
        Draw::Resistance(ohms) => format!("{} ohm", ohms.0),
    }
}

/// A size in mm², or as AWG where it is exactly one.
fn size(size: SquareMillimetres) -> String {
    (0..=36_u8)
        .find(|n| awg_area(f64::from(*n)) == size)
        .map_or_else(|| format!("{} mm2", size.0), |n| format!("{n} AWG"))
}

fn load(load: Load) -> String {
    match load {
        Load::None => "none".to_owned(),
        _ if load == UNKNOWN_LOAD => "unknown".to_owned(),
        Load::Range { least, most } if least == most => format!("{} ohm", least.0),
        Load::Range { least, most } => format!("{} ohm to {} ohm", least.0, most.0),
    }
}

fn terminal(terminal: &Terminal) -> String {
    match terminal {
        Terminal::At(end) => end.to_string(),
        Terminal::Chassis => "chassis".to_owned(),
        Terminal::BatteryPlus => "battery plus".to_owned(),
    }
}

impl Plan {
    /// The plan as a plan file. Reading it gives the same plan; comments and
    /// layout of the file it was read from are gone.
    #[must_use]
    pub fn to_toml(&self) -> String {
        let mut sheet = Sheet {
            out: String::from("plan = 1\n"),
        };
        let more = &self.lists.more;
        sheet.text("title", &self.title);
        sheet.text("supply", &format!("{} V", self.supply.0));
        sheet.text("temperature", &format!("{} degC", self.temperature.0));
        sheet.text("service_temperature", &format!("{} degC", more.service.0));
        for option in &self.options {
            sheet.table("option", &option.name);
            sheet.text("ask", &option.ask);
            sheet.texts("choices", &option.choices);
            sheet.maybe("default", option.default.as_ref());
            sheet.end(None, option.when.as_ref());
        }
        for Entry { item, when, .. } in &self.lists.switches {
            sheet.table("switch", &item.name);
            sheet.texts("states", &item.states);
            if let Some((a, b)) = &item.between {
                sheet.texts("between", [terminal(a), terminal(b)]);
                sheet.texts("closed_in", &item.closed_in);
            }
            sheet.amperes("fused", item.fused);
            sheet.end(item.place.as_ref(), when.as_ref());
        }
        for Entry { item, when, .. } in &self.lists.connectors {
            sheet.connector(item, when.as_ref());
        }
        for Entry { item, when, .. } in &self.lists.pins {
            sheet.table("pin", &item.name);
            sheet.text("at", &format!("{}:{}", item.at.0, item.at.1));
            sheet.maybe("function", item.function.as_ref());
            sheet.text("load", &load(item.load));
            sheet.behaviour(&item.behaviour);
            sheet.end(None, when.as_ref());
        }
        for Entry { item, when, .. } in &self.lists.conductors {
            sheet.table("conductor", &item.name);
            sheet.texts(
                "at",
                item.at
                    .iter()
                    .map(|(connector, n)| format!("{connector}:{n}")),
            );
            sheet.maybe("colour", item.colour.as_ref());
            sheet.maybe("function", item.function.as_ref());
            sheet.text("load", &load(item.load));
            sheet.maybe("through", item.through.as_ref());
            sheet.text("length", &format!("{} m", item.length.0));
            sheet.text("size", &size(item.size));
            if item.data_bus {
                sheet.plain("data_bus", true);
            }
            if let Some(behaviour) = more.behaviours.get(&item.name) {
                sheet.behaviour(behaviour);
            }
            sheet.end(None, when.as_ref());
        }
        for Entry { item, when, .. } in &self.lists.taps {
            sheet.table("tap", &item.name);
            sheet.text("on", &item.on);
            sheet.maybe("why", more.tap_reasons.get(&item.name));
            sheet.end(item.place.as_ref(), when.as_ref());
        }
        self.joints(&mut sheet);
        self.parts(&mut sheet);
        for Entry { item, when, .. } in &self.lists.loads {
            sheet.table("load", &item.name);
            sheet.texts(
                "between",
                [terminal(&item.between.0), terminal(&item.between.1)],
            );
            sheet.text("draws", &draw(item.draws));
            sheet.volts("volts", item.volts);
            sheet.volts("needs", item.needs);
            let sort = match item.sort {
                Sort::Resistor => "resistor",
                Sort::Lamp => "lamp",
                Sort::OneWay => "one way",
            };
            sheet.text("sort", sort);
            sheet.end(item.place.as_ref(), when.as_ref());
        }
        for Entry { item, when, .. } in &self.lists.leads {
            sheet.table("lead", &item.name);
            sheet.text("colour", &item.colour);
            sheet.text("size", &item.size_text);
            sheet.text("length", &format!("{} m", item.length.0));
            sheet.text("from", &item.from.to_string());
            sheet.text("to", &item.to.to_string());
            sheet.maybe("occupied_by", item.occupied_by.as_ref());
            sheet.end(None, when.as_ref());
        }
        for Entry { item, when, .. } in &self.lists.functions {
            sheet.table("function", &item.name);
            sheet.text("switch_on", &item.switch_on);
            sheet.texts("seen_at", &item.seen_at);
            sheet.maybe("on_when", more.on_when.get(&item.name).map(states));
            sheet.end(None, when.as_ref());
        }
        sheet.out
    }

    fn joints(&self, sheet: &mut Sheet) {
        for Entry { item, when, .. } in &self.lists.splices {
            sheet.table("splice", &item.name);
            sheet.end(item.place.as_ref(), when.as_ref());
        }
        for Entry { item, when, .. } in &self.lists.rings {
            sheet.table("ring", &item.name);
            let on = match item.on {
                RingOn::Chassis => "chassis",
                RingOn::BatteryPlus => "battery plus",
            };
            sheet.text("on", on);
            sheet.amperes(
                "fused",
                self.lists.more.fused_rings.get(&item.name).copied(),
            );
            sheet.end(item.place.as_ref(), when.as_ref());
        }
        for Entry { item, when, .. } in &self.lists.plugs {
            sheet.table("plug", &item.name);
            sheet.plain("ways", item.ways);
            sheet.end(item.place.as_ref(), when.as_ref());
        }
    }

    fn parts(&self, sheet: &mut Sheet) {
        for Entry { item, when, .. } in &self.lists.relays {
            sheet.table("relay", &item.name);
            sheet.text("coil", &format!("{} ohm", item.coil.0));
            let contacts = if item.changeover {
                "changeover"
            } else {
                "make"
            };
            sheet.text("contacts", contacts);
            let suppression = match item.suppression {
                Suppression::None => "none".to_owned(),
                Suppression::Diode => "diode".to_owned(),
                Suppression::Resistor(ohms) => format!("{} ohm", ohms.0),
            };
            sheet.text("suppression", &suppression);
            if let Some(ratings) = self.lists.more.relays.get(&item.name) {
                sheet.volts("volts", ratings.volts);
                sheet.volts("operates", ratings.operates);
                sheet.volts("releases", ratings.releases);
                sheet.amperes("contact", ratings.contact);
                sheet.amperes("break_contact", ratings.break_contact);
            }
            sheet.end(item.place.as_ref(), when.as_ref());
        }
        for Entry { item, when, .. } in &self.lists.diodes {
            sheet.table("diode", &item.name);
            sheet.end(item.place.as_ref(), when.as_ref());
        }
        for Entry { item, when, .. } in &self.lists.lamps {
            sheet.table("lamp", &item.name);
            sheet.text("power", &format!("{} W", item.power.0));
            sheet.text("volts", &format!("{} V", item.volts.0));
            sheet.end(item.place.as_ref(), when.as_ref());
        }
        for Entry { item, when, .. } in &self.lists.fuses {
            sheet.table("fuse", &item.name);
            sheet.text("rating", &format!("{} A", item.rating.0));
            sheet.end(item.place.as_ref(), when.as_ref());
        }
        for Entry { item, when, .. } in &self.lists.drains {
            sheet.drain(item, when.as_ref());
        }
    }

    /// Whether another plan says the same, wherever it says it.
    #[must_use]
    pub fn same_content(&self, other: &Self) -> bool {
        self.bare() == other.bare()
    }

    /// The plan without places in its text.
    fn bare(&self) -> Self {
        let mut plan = self.clone();
        plan.path.clear();
        plan.source.clear();
        plan.digest.clear();
        for option in &mut plan.options {
            strip_when(&mut option.when);
        }
        let lists = &mut plan.lists;
        macro_rules! strip {
            ($($list:ident)*) => {$(lists.$list.iter_mut().for_each(strip);)*};
        }
        strip! {
            connectors conductors leads taps splices rings plugs relays diodes lamps fuses
            functions switches loads pins drains
        }
        plan
    }
}

fn strip<T>(entry: &mut Entry<T>) {
    entry.at = 0..0;
    entry.refs.iter_mut().for_each(|at| *at = 0..0);
    strip_when(&mut entry.when);
}

fn strip_when(when: &mut Option<Condition>) {
    if let Some(when) = when {
        when.at = 0..0;
    }
}

impl Sheet {
    fn connector(&mut self, declared: &DeclaredConnector, when: Option<&Condition>) {
        let connector = &declared.connector;
        self.table("connector", &connector.name);
        self.plain("cavities", connector.cavities);
        let rows = connector.face.iter().map(|row| {
            let numbers = row.iter().map(|n| n.unwrap_or(0).to_string());
            format!("[{}]", numbers.collect::<Vec<_>>().join(", "))
        });
        self.plain(
            "face",
            format_args!("[{}]", rows.collect::<Vec<_>>().join(", ")),
        );
        if let Some(latch) = connector.latch {
            self.text("latch", latch.word());
        }
        let access = match connector.access {
            Side::Wire => "wire side",
            Side::Mating => "mating side",
        };
        self.text("access", access);
        let with = if connector.of_harness {
            "harness"
        } else {
            "vehicle"
        };
        self.text("with", with);
        let halves = &connector.halves;
        for (key, places) in [
            ("open_for", &halves.open_for),
            ("plugged_for", &halves.plugged_for),
        ] {
            if !places.is_empty() {
                self.texts(key, places);
            }
        }
        match declared.keep_off {
            Some(KeepOff::Restraint) => self.plain("restraint", true),
            Some(KeepOff::HighVoltage) => self.plain("high_voltage", true),
            None => {}
        }
        if declared.data_bus {
            self.plain("data_bus", true);
        }
        self.end(connector.place.as_ref(), when);
    }
}
