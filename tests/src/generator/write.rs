//! A drawn harness as a plan file.

use std::fmt::Write as _;

use super::draft::{Draft, Open, Table};

/// The plan's text.
pub(super) fn plan(draft: &Draft, title: &str) -> String {
    let mut out = format!("plan = 1\ntitle = {title:?}\n");
    let tables = |out: &mut String, list: &[Table]| {
        for table in list {
            let _ = write!(out, "\n[{}]\n", table.head);
            for (key, value) in &table.keys {
                let _ = writeln!(out, "{key} = {value}");
            }
        }
    };
    tables(&mut out, &draft.connectors);
    tables(&mut out, &draft.conductors);
    for (at, on) in draft.bitten.iter().enumerate() {
        let _ = write!(out, "\n[tap.T{}]\non = {on:?}\n", at + 1);
    }
    tables(&mut out, &draft.others);
    for (at, lead) in draft.leads.iter().enumerate() {
        let end = |end: &Open| match end {
            Open::At(end) => end.clone(),
            Open::Front | Open::Rear => String::new(),
        };
        let _ = write!(
            out,
            "\n[lead.W{}]\ncolour = {:?}\nsize = {:?}\nlength = \"{}.{:02} m\"\nfrom = {:?}\nto = {:?}\n",
            at + 1,
            lead.colour,
            lead.size,
            lead.length / 100,
            lead.length % 100,
            end(&lead.ends[0]),
            end(&lead.ends[1]),
        );
    }
    out
}
