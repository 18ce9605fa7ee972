//! The probe's netlist (`docs/probe/probe.toml`): the list of its nets, the
//! bill of materials and a drawing, all made from the one file.

use crate::skip;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use toml::{Table, Value};

/// The blocks that a part can stand in, with the leads that each is for; 0
/// is once per probe.
const BLOCKS: [(&str, usize, &str); 6] = [
    ("lead", 1, "every lead"),
    ("four", 4, "every four leads"),
    ("mux", 8, "every multiplexer (8 leads)"),
    ("bank", 16, "every bank (16 leads)"),
    ("half", 64, "every 64 leads"),
    ("probe", 0, "once"),
];

/// A part as it stands in the file.
#[derive(Debug, Clone)]
pub struct Part {
    /// Its designator within the block.
    pub name: String,
    /// The block.
    pub block: String,
    /// Its type, a key of the types.
    pub kind: String,
    /// Pins and the nets on them, by pin.
    pub pins: Vec<(String, String)>,
}

/// The netlist.
#[derive(Debug, Clone)]
pub struct Schematic {
    /// Types in the file's order: name, price in EUR, what for.
    pub types: Vec<(String, f64, String)>,
    /// Parts in the file's order.
    pub parts: Vec<Part>,
    /// Nets that may have one end only.
    pub open: BTreeSet<String>,
}

fn text(table: &Table, key: &str) -> Result<String, String> {
    let value = table.get(key).and_then(Value::as_str);
    value
        .map(str::to_owned)
        .ok_or_else(|| format!("no `{key}` in {table}"))
}

impl Schematic {
    /// Reads docs/probe/probe.toml.
    ///
    /// # Errors
    /// What is wrong with the file.
    pub fn load() -> Result<Self, String> {
        let path = skip::top().join("docs/probe/probe.toml");
        let file = std::fs::read_to_string(path).map_err(|error| error.to_string())?;
        Self::read(&file)
    }

    /// Reads a netlist.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn read(file: &str) -> Result<Self, String> {
        let file: Table = file.parse().map_err(|error| format!("{error}"))?;
        let tables = |key: &str| -> Vec<&Table> {
            let list = file.get(key).and_then(Value::as_array);
            list.into_iter()
                .flatten()
                .filter_map(Value::as_table)
                .collect()
        };
        let mut types = Vec::new();
        for table in tables("type") {
            let name = text(table, "name")?;
            let price = table.get("price").and_then(Value::as_float);
            let price = price.ok_or_else(|| format!("{name} has no price"))?;
            types.push((name, price, text(table, "for")?));
        }
        let mut parts = Vec::new();
        for table in tables("part") {
            let pins = table
                .get("pins")
                .and_then(Value::as_table)
                .ok_or("no pins")?;
            let part = Part {
                name: text(table, "ref")?,
                block: text(table, "block")?,
                kind: text(table, "type")?,
                pins: pins
                    .iter()
                    .map(|(pin, net)| (pin.clone(), net.as_str().unwrap_or_default().to_owned()))
                    .collect(),
            };
            if !BLOCKS.iter().any(|block| block.0 == part.block) {
                return Err(format!("{}: there is no block {}", part.name, part.block));
            }
            if !types.iter().any(|kind| kind.0 == part.kind) {
                return Err(format!("{}: there is no type {}", part.name, part.kind));
            }
            parts.push(part);
        }
        let open = tables("open").into_iter().map(|table| text(table, "net"));
        Ok(Self {
            types,
            parts,
            open: open.collect::<Result<_, _>>()?,
        })
    }

    /// How many of a block a probe of so many leads has.
    fn times(block: &str, leads: usize) -> usize {
        let each = BLOCKS
            .iter()
            .find(|known| known.0 == block)
            .map_or(0, |known| known.1);
        if each == 0 { 1 } else { leads.div_ceil(each) }
    }

    /// The number of parts of a type in a probe of so many leads.
    #[must_use]
    pub fn number(&self, kind: &str, leads: usize) -> usize {
        let parts = self.parts.iter().filter(|part| part.kind == kind);
        parts.map(|part| Self::times(&part.block, leads)).sum()
    }

    /// Every net of a probe of so many leads, with the pins on it.
    #[must_use]
    pub fn nets(&self, leads: usize) -> BTreeMap<String, Vec<String>> {
        let mut nets: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for part in &self.parts {
            let each = BLOCKS.iter().find(|b| b.0 == part.block).map_or(0, |b| b.1);
            for number in 0..Self::times(&part.block, leads) {
                let name = if each == 0 {
                    part.name.clone()
                } else {
                    format!("{}-{number}", part.name)
                };
                let first = number * each;
                for (pin, net) in &part.pins {
                    for net in expanded(net, first) {
                        // More leads than there are: the part's pins stay free.
                        let lead = net.split_once('#').and_then(|(_, n)| n.parse().ok());
                        if lead.is_none_or(|lead: usize| lead < leads) {
                            nets.entry(net).or_default().push(format!("{name}.{pin}"));
                        }
                    }
                }
            }
        }
        nets
    }

    /// Nets with one end that are not said to be open.
    #[must_use]
    pub fn loose(&self, leads: usize) -> Vec<String> {
        let general = |net: &str| {
            let at = net.find(['#', '&', '%', '@', '~']);
            at.map_or(net.to_owned(), |at| net[..=at].to_owned())
        };
        let nets = self.nets(leads);
        let loose = nets.iter().filter(|(_, pins)| pins.len() < 2);
        let loose = loose.map(|(net, _)| net.clone());
        loose
            .filter(|net| !self.open.contains(&general(net)))
            .collect()
    }

    /// The nets as text, one a line.
    #[must_use]
    pub fn net_list(&self, leads: usize) -> String {
        let mut list = format!(
            "# The nets of a probe with {leads} leads: name, pins. Made from probe.toml.\n"
        );
        for (net, pins) in self.nets(leads) {
            let _ = writeln!(list, "{net}: {}", pins.join(" "));
        }
        list
    }

    /// The bill of materials of 64 leads, as the table of
    /// docs/probe-hardware.md, and the sums of other sizes.
    #[must_use]
    pub fn bill(&self) -> String {
        let mut table =
            String::from("| part | number | each | sum | for |\n| --- | --- | --- | --- | --- |\n");
        for (kind, price, why) in &self.types {
            let number = self.number(kind, 64);
            let sum = number as f64 * price;
            let _ = writeln!(
                table,
                "| {kind} | {number} | {price:.2} | {sum:.2} | {why} |"
            );
        }
        table.push_str("\n| leads | all parts, EUR |\n| --- | --- |\n");
        for leads in [16, 32, 64, 128] {
            let _ = writeln!(table, "| {leads} | {:.0} |", self.sum(leads));
        }
        table
    }

    /// What all parts cost together, in EUR.
    #[must_use]
    pub fn sum(&self, leads: usize) -> f64 {
        let each = |kind: &(String, f64, String)| self.number(&kind.0, leads) as f64 * kind.1;
        self.types.iter().map(each).sum()
    }

    /// The drawing: every part as a box with its pins, and on every pin the
    /// name of its net; block by block.
    #[must_use]
    pub fn svg(&self) -> String {
        const WIDTH: usize = 300;
        const ROW: usize = 16;
        const COLUMNS: usize = 4;
        let mut body = String::new();
        let mut y = 20;
        for (block, _, words) in BLOCKS {
            let _ = writeln!(
                body,
                "<text x=\"20\" y=\"{}\" class=\"block\">{words}</text>",
                y + 16
            );
            y += 34;
            let drawn = self
                .parts
                .iter()
                .filter(|p| p.block == block && !p.pins.is_empty());
            let drawn: Vec<_> = drawn.collect();
            for row in drawn.chunks(COLUMNS) {
                let tallest = row
                    .iter()
                    .map(|part| part.pins.len().div_ceil(2))
                    .max()
                    .unwrap_or(0);
                for (column, part) in row.iter().enumerate() {
                    draw(&mut body, part, 20 + column * WIDTH, y, ROW);
                }
                y += (tallest + 2) * ROW + 30;
            }
        }
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{0}\" height=\"{y}\" \
             viewBox=\"0 0 {0} {y}\">\n<style>text{{font:11px sans-serif}}\
             .block{{font-weight:bold;font-size:14px}}.net{{fill:#064}}\
             .kind{{fill:#555}}rect{{fill:#fff;stroke:#000}}line{{stroke:#000}}</style>\n\
             <rect width=\"100%\" height=\"100%\" style=\"stroke:none\"/>\n{body}</svg>\n",
            WIDTH * COLUMNS + 20
        )
    }
}

/// One part: pins at the left first, then at the right.
fn draw(body: &mut String, part: &Part, x: usize, y: usize, row: usize) {
    let left = part.pins.len().div_ceil(2);
    let (from, to) = (x + 70, x + 210);
    let name = escaped(&format!("{}  {}", part.name, part.kind));
    let _ = writeln!(
        body,
        "<text x=\"{x}\" y=\"{}\" class=\"kind\">{name}</text>",
        y + 10
    );
    let height = left * row + 8;
    let _ = writeln!(
        body,
        "<rect x=\"{from}\" y=\"{}\" width=\"{}\" height=\"{height}\"/>",
        y + 18,
        to - from
    );
    for (at, (pin, net)) in part.pins.iter().enumerate() {
        let line = y + 18 + (at % left + 1) * row;
        let (end, wire, inside, outside) = if at < left {
            (from, from - 10, ("start", from + 4), ("end", from - 14))
        } else {
            (to, to + 10, ("end", to - 4), ("start", to + 14))
        };
        let _ = writeln!(
            body,
            "<line x1=\"{wire}\" y1=\"{0}\" x2=\"{end}\" y2=\"{0}\"/>\
             <text x=\"{2}\" y=\"{line}\" text-anchor=\"{1}\">{3}</text>\
             <text x=\"{5}\" y=\"{line}\" text-anchor=\"{4}\" class=\"net\">{6}</text>",
            line - 4,
            inside.0,
            inside.1,
            escaped(pin),
            outside.0,
            outside.1,
            escaped(net)
        );
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;")
}

/// A net's name in the block whose first lead this is: `S#0..3` is four nets.
fn expanded(net: &str, first: usize) -> Vec<String> {
    for (mark, each) in [('@', 4), ('~', 8), ('%', 16), ('&', 64)] {
        if let Some((name, _)) = net.split_once(mark) {
            return vec![format!("{name}{mark}{}", first / each)];
        }
    }
    let Some((name, range)) = net.split_once('#') else {
        return vec![net.to_owned()];
    };
    let (low, high) = range.split_once("..").unwrap_or(("0", "0"));
    let number = |digits: &str| digits.parse::<usize>().unwrap_or(0);
    (number(low)..=number(high))
        .map(|lead| format!("{name}#{}", first + lead))
        .collect()
}
