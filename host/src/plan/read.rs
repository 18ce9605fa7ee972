//! From text to a checked plan: the walk over the file's tables.

use super::bodies;
use super::check;
use super::connectors;
use super::drains;
use super::fields::{Context, Fields, integer};
use super::halves;
use super::names::{Kind, Names, check_name, suggest};
use super::outside;
use super::parts;
use super::plan_type::{Lists, OptionQuestion, Plan};
use super::problem::{Problem, Problems, Span, quote};
use super::quantity;
use loomproof_core::units::{Celsius, Volts};
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;
use std::fmt::Write;
use toml::de::{DeTable, DeValue};
use toml_parser::lexer::TokenKind;

/// Most bytes in a plan file.
pub const MOST_BYTES: usize = 1 << 20;

/// Most leads in a plan.
pub const MOST_LEADS: usize = 512;

/// Most tables of any other kind in a plan.
const MOST_TABLES: usize = 512;

/// Most options: their answers are kept together and asked one by one.
const MOST_OPTIONS: usize = 32;

/// Most open brackets, and most dots on one line; a plan needs two. Deeper
/// nesting is no plan and would only exhaust the stack.
const MOST_NESTING: usize = 16;

/// One table of a kind: `[lead.W1]`.
pub(crate) struct Table<'t> {
    pub(crate) name: &'t str,
    pub(crate) at: Span,
    pub(crate) body: &'t DeTable<'t>,
}

/// What the walk has gathered so far.
pub(crate) struct Walk<'s> {
    pub(crate) problems: Problems<'s>,
    pub(crate) options: Vec<OptionQuestion>,
    /// Switches as questions, for expressions over their states.
    pub(crate) switches: Vec<OptionQuestion>,
    pub(crate) names: Names,
    pub(crate) lists: Lists,
    /// The file has syntax errors: only what is wrong by itself is reported.
    pub(crate) torn: bool,
    /// Some reference could not be read: "nothing leads there" cannot be said.
    pub(crate) lost_ends: bool,
}

impl<'s> Walk<'s> {
    /// Opens one table for reading.
    pub(crate) fn fields<'t, 'p>(
        &'p mut self,
        kind: Kind,
        table: &Table<'t>,
    ) -> Fields<'t, 'p, 's> {
        let what = format!("{} {}", kind.word(), table.name);
        let context = Context {
            options: &self.options,
            switches: &self.switches,
            names: &self.names,
            torn: self.torn,
        };
        Fields::new(
            what,
            table.at.clone(),
            table.body,
            &mut self.problems,
            context,
        )
    }
}

/// Reads a plan. `path_or_name` is what messages call it.
///
/// # Errors
/// Everything that is wrong with the plan, each problem with its place.
pub fn read(path_or_name: &str, text: &str) -> Result<Plan, Vec<Problem>> {
    if text.len() > MOST_BYTES {
        return Err(vec![too_long()]);
    }
    let mut problems = Problems::new(text);
    if let Some(at) = too_nested(text) {
        let help = "a plan needs tables such as [lead.W1] and lists inside lists at most";
        problems.note(&at, "this is nested too deeply for a plan", help);
        return Err(problems.finish());
    }
    let (root, errors) = DeTable::parse_recoverable(text);
    let mut torn_lines = BTreeSet::new();
    for error in &errors {
        let at = error.span().unwrap_or(0..0);
        torn_lines.insert(problems.line_of(at.start));
        problems.note(&at, error.message(), syntax_help(error.message()));
    }
    let mut walk = Walk {
        problems: Problems::new(text),
        options: Vec::new(),
        switches: Vec::new(),
        names: Names::default(),
        lists: Lists::default(),
        torn: !errors.is_empty(),
        lost_ends: false,
    };
    let (title, supply, temperature) = top(root.get_ref(), &mut walk);
    tables(root.get_ref(), &mut walk);
    if !walk.torn {
        check::all(&mut walk);
    }
    // A broken line was reported once; what follows from it is not.
    for problem in walk.problems.finish() {
        let line = problem.at.as_ref().map(|at| at.line - 1);
        if line.is_none_or(|line| !torn_lines.contains(&line)) {
            problems.note_placeless(problem);
        }
    }
    if !problems.is_empty() {
        return Err(problems.finish());
    }
    Ok(Plan {
        path: path_or_name.to_owned(),
        source: text.to_owned(),
        title,
        supply,
        temperature,
        digest: digest(text),
        options: walk.options,
        lists: walk.lists,
    })
}

/// The problem of a file that is longer than any plan.
pub(crate) fn too_long() -> Problem {
    Problem::placeless(
        "this file is longer than 1 MiB",
        "give a plan file; the largest plan allowed has 512 leads and needs far less",
    )
}

/// SHA-256, hexadecimal.
fn digest(text: &str) -> String {
    let mut hex = String::with_capacity(64);
    for byte in Sha256::digest(text.as_bytes()) {
        // Writing to a string cannot fail.
        let _ = write!(hex, "{byte:02x}");
    }
    hex
}

/// The first place where brackets or dotted names nest deeper than in any plan.
fn too_nested(text: &str) -> Option<Span> {
    let (mut dots, mut open) = (0_usize, 0_usize);
    for token in toml_parser::Source::new(text).lex() {
        match token.kind() {
            TokenKind::Newline => dots = 0,
            TokenKind::Dot => dots += 1,
            TokenKind::LeftSquareBracket | TokenKind::LeftCurlyBracket => open += 1,
            TokenKind::RightSquareBracket | TokenKind::RightCurlyBracket => {
                open = open.saturating_sub(1);
            }
            _ => {}
        }
        if dots.max(open) > MOST_NESTING {
            return Some(token.span().start()..token.span().end());
        }
    }
    None
}

fn syntax_help(message: &str) -> &'static str {
    if message.contains("duplicate") {
        "each name and each key may be given once"
    } else {
        "a plan is TOML: [table.NAME] headers, key = \"text in quotes\", numbers without quotes"
    }
}

/// The keys at the top of the file: title, supply, temperature.
fn top(root: &DeTable<'_>, walk: &mut Walk<'_>) -> (String, Volts, Celsius) {
    let context = Context {
        options: &walk.options,
        switches: &walk.switches,
        names: &walk.names,
        torn: walk.torn,
    };
    let mut fields = Fields::new(String::new(), 0..0, root, &mut walk.problems, context);
    match fields.get("plan") {
        None => fields.missing("plan", "1"),
        Some(version) if integer(version.get_ref()) != Some(1) => {
            let help = "write plan = 1; a later version needs a later loomproof";
            fields.note(&version.span(), "this version of plan is not known", help);
        }
        Some(_) => {}
    }
    let title = fields.required("title", "\"what is fitted to what\"");
    let supply = fields.text("supply", "\"12 V\"");
    let volts = supply.as_ref().and_then(|text| {
        let volts = fields.parsed(text, quantity::voltage)?;
        if volts != Volts(12.0) && volts != Volts(24.0) {
            let message = format!("a supply of {} is refused", quote(&text.value));
            let help =
                "the probe is made for 12 V and 24 V vehicles: supply = \"12 V\" or \"24 V\"";
            if volts > Volts(24.0) {
                fields.problems.refuse(&text.at, message, help, None);
            } else {
                fields.note(&text.at, message, help);
            }
        }
        Some(volts)
    });
    let temperature = fields.optional_parsed("temperature", "\"20 degC\"", quantity::temperature);
    // Unknown names at the top are looked at in `tables`, which knows whether
    // a key or a table was meant.
    let service =
        fields.optional_parsed("service_temperature", "\"50 degC\"", quantity::temperature);
    if let Some(service) = service {
        walk.lists.more.service = service;
    }
    (
        title.map(|text| text.value).unwrap_or_default(),
        volts.unwrap_or(Volts(12.0)),
        temperature.unwrap_or(Celsius(20.0)),
    )
}

/// All tables, kind by kind, so that what is referred to is known before what
/// refers to it.
fn tables(root: &DeTable<'_>, walk: &mut Walk<'_>) {
    if !walk.torn {
        unknown_tables(root, walk);
    }
    let found = Kind::ALL.map(|kind| (kind, tables_of(root, kind, walk)));
    enter_names(&found, walk);
    for (kind, tables) in &found {
        for table in tables {
            match kind {
                Kind::Option => bodies::option(walk, table),
                Kind::Switch => outside::switch(walk, table),
                Kind::Pin => outside::pin(walk, table),
                Kind::Load => outside::load(walk, table),
                Kind::Connector => connectors::connector(walk, table),
                Kind::Conductor => connectors::conductor(walk, table),
                Kind::Lead => bodies::lead(walk, table),
                Kind::Tap => bodies::tap(walk, table),
                Kind::Function => bodies::function(walk, table),
                Kind::Splice => parts::splice(walk, table),
                Kind::Ring => parts::ring(walk, table),
                Kind::Plug => parts::plug(walk, table),
                Kind::Relay => parts::relay(walk, table),
                Kind::Diode => parts::diode(walk, table),
                Kind::Lamp => parts::lamp(walk, table),
                Kind::Fuse => parts::fuse(walk, table),
                Kind::Drain => drains::drain(walk, table),
            }
        }
    }
    let switches = found.iter().filter(|(kind, _)| *kind == Kind::Switch);
    for table in switches.flat_map(|(_, tables)| tables) {
        outside::switch_ends(walk, table);
    }
    let connectors = found.iter().filter(|(kind, _)| *kind == Kind::Connector);
    for table in connectors.flat_map(|(_, tables)| tables) {
        halves::of_connector(walk, table);
    }
}

/// Names at the top that are neither a key nor a kind of table.
fn unknown_tables(root: &DeTable<'_>, walk: &mut Walk<'_>) {
    const KEYS: [&str; 5] = [
        "plan",
        "title",
        "supply",
        "temperature",
        "service_temperature",
    ];
    let words = || Kind::ALL.iter().map(|kind| kind.word());
    for (key, value) in root {
        let name = key.get_ref().as_ref();
        if KEYS.contains(&name) || Kind::of(name).is_some() {
            continue;
        }
        let (what, candidates): (_, Vec<&str>) = match value.get_ref() {
            DeValue::Table(_) | DeValue::Array(_) => ("table", words().collect()),
            _ => ("key", KEYS.to_vec()),
        };
        let all = candidates.join(", ");
        let help = suggest(name, candidates, format!("the {what}s of a plan are {all}"));
        let message = format!("{} is not a known {what}", quote(name));
        walk.problems.note(&key.span(), message, help);
    }
}

/// The tables of one kind, in file order.
fn tables_of<'t>(root: &'t DeTable<'t>, kind: Kind, walk: &mut Walk<'_>) -> Vec<Table<'t>> {
    let word = kind.word();
    let Some((key, value)) = root.get_key_value(word) else {
        return Vec::new();
    };
    let help = format!("write [{word}.NAME] and its keys below it");
    let Some(all) = value.get_ref().as_table() else {
        let message = format!("`{word}` has to hold tables with names");
        walk.problems.note(&key.span(), message, help);
        return Vec::new();
    };
    let mut tables = Vec::new();
    for (name, value) in all {
        let Some(body) = value.get_ref().as_table() else {
            let message = format!("{word} {} is not a table", quote(name.get_ref()));
            walk.problems.note(&name.span(), message, help.as_str());
            continue;
        };
        tables.push(Table {
            name: name.get_ref().as_ref(),
            at: name.span(),
            body,
        });
    }
    tables.sort_by_key(|table| table.at.start);
    let most = match kind {
        Kind::Option => MOST_OPTIONS,
        Kind::Lead => MOST_LEADS,
        _ => MOST_TABLES,
    };
    if let Some(table) = tables.get(most) {
        let message = format!("this plan has {} {word} tables", tables.len());
        let help = format!("at most {most}; split the job into several plans");
        walk.problems.note(&table.at, message, help);
        tables.truncate(most);
    }
    tables
}

/// Enters all names, in file order, so that the later of two equal ones is the
/// one complained about.
fn enter_names(found: &[(Kind, Vec<Table<'_>>)], walk: &mut Walk<'_>) {
    let mut all: Vec<(Kind, &Table<'_>)> = found
        .iter()
        .flat_map(|(kind, tables)| tables.iter().map(move |table| (*kind, table)))
        .collect();
    all.sort_by_key(|(_, table)| table.at.start);
    for (kind, table) in all {
        if let Err(complaint) = check_name(table.name) {
            let help = complaint.help.unwrap_or_default();
            let message = format!("{}: {}", kind.word(), complaint.message);
            walk.problems.note(&table.at, message, help);
        }
        if let Some(earlier) = walk.names.enter(table.name, kind, &table.at) {
            walk.lost_ends = true;
            walk.problems.note_pair(
                &table.at,
                format!("the name {} is used twice", quote(table.name)),
                "all names of a plan differ, whatever they stand for; rename one of the two",
                &earlier.at,
                format!("here it is a {}", earlier.kind.word()),
            );
        }
    }
}
