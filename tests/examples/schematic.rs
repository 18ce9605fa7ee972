//! Writes what is made from the probe's netlist `docs/probe/probe.toml`: the
//! drawing, the list of nets, and the bill of materials in
//! `docs/probe-hardware.md`.

use loomproof_tests::schematic::Schematic;
use loomproof_tests::skip;
use std::fs;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let schematic = Schematic::load()?;
    let docs = skip::top().join("docs");
    fs::write(docs.join("probe/schematic.svg"), schematic.svg())?;
    fs::write(docs.join("probe/nets-16.txt"), schematic.net_list(16))?;
    let path = docs.join("probe-hardware.md");
    let text = fs::read_to_string(&path)?;
    let (begin, end) = ("<!-- bill: from probe.toml -->\n", "<!-- end of bill -->\n");
    let (before, rest) = text.split_once(begin).ok_or("no bill in the document")?;
    let (_, after) = rest.split_once(end).ok_or("no end of the bill")?;
    let bill = schematic.bill();
    fs::write(path, format!("{before}{begin}{bill}{end}{after}"))?;
    println!("drawing, nets and bill of materials are written");
    Ok(())
}
