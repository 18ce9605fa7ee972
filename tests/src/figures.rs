//! What a whole scan costs in time and in bytes on the link, beside its bound and
//! beside the scan that tries every pair: the page `docs/scan-figures.md`.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use loomproof::bench::{Bench, Settings};
use loomproof::circuit::build;
use loomproof::hookup::{Hookup, propose};
use loomproof::link::{Link, LinkError, Loopback, Session, VirtualProbe};
use loomproof::plan::model::Job;
use loomproof::plan::{Plan, read};
use loomproof::probe::self_test::short;
use loomproof::ringout::{Outcome, run};
use loomproof_core::scan::{SETTLE, SETTLE_WEAK};
use loomproof_core::units::{MicroVolts, Micros};
use loomproof_core::wire::frame::{MAX_FRAME, encode_reply, encode_request};
use loomproof_core::wire::{
    Hello, LeadId, LeadSet, Place, Reading, Reply, Request, Sense, SenseMode, Step,
};
use loomproof_firmware::cost;

use crate::bound::{Bound, bound};
use crate::generator::{Form, Recipe};
use crate::spread::{Measured, section};

/// The plot that the page shows, beside it.
pub const PLOT: &str = "scan-figures.svg";

/// Bits of a byte on the line: start, eight, stop.
const LINE_BITS: f64 = 10.0;

/// The line of the comparison, bits a second.
const BAUD: f64 = 115_200.0;

/// Conversions of a reading that ohms are judged by.
const SAMPLES: u8 = 4;

/// Time on the probe's virtual clock, and bytes on the link, both ways.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Spent {
    /// Drive patterns, or other requests.
    pub requests: usize,
    /// Readings.
    pub readings: usize,
    /// Microseconds.
    pub micros: f64,
    /// Bytes.
    pub bytes: usize,
}

impl Spent {
    /// Seconds that the bytes take on the line.
    #[must_use]
    pub fn line(&self) -> f64 {
        self.bytes as f64 * LINE_BITS / BAUD
    }
}

/// The figures of one harness.
#[derive(Debug, Clone)]
pub struct Figures {
    /// Its name.
    pub name: String,
    /// Probe leads.
    pub leads: u8,
    /// Points clipped.
    pub clips: usize,
    /// The whole ring-out.
    pub scan: Spent,
    /// The short self-test before it.
    pub self_test: Spent,
    /// No scan that says the same is faster.
    pub bound: Bound,
    /// Every pair tried.
    pub naive: Spent,
}

/// A link that counts.
struct Counted {
    session: Session<Loopback>,
    spent: Spent,
}

impl Link for Counted {
    fn hello(&self) -> &Hello {
        self.session.hello()
    }

    fn exchange(&mut self, request: &Request) -> Result<Reply, LinkError> {
        let now = |session: &Session<Loopback>| session.transport().probe().bench().now();
        let before = now(&self.session);
        let reply = self.session.exchange(request)?;
        self.spent.requests += 1;
        if let Reply::Readings { readings, .. } = &reply {
            self.spent.readings += readings.len();
        }
        self.spent.micros += (now(&self.session) - before) as f64 / 1e3;
        self.spent.bytes += bytes(request, &reply);
        Ok(reply)
    }
}

/// Bytes of a request, with the zero byte that goes before it, and of its reply.
fn bytes(request: &Request, reply: &Reply) -> usize {
    let mut out = [0; MAX_FRAME];
    // Every message fits; what would not would count as nothing.
    let asked = encode_request(1, request, &mut out).map_or(0, <[u8]>::len);
    1 + asked + encode_reply(1, reply, &mut out).map_or(0, <[u8]>::len)
}

/// Every pair: one lead high, the other low, both read.
fn naive(clips: usize, spi_khz: u32) -> Spent {
    let leads: Vec<LeadId> = (0..=u8::MAX).map(LeadId).take(clips).collect();
    let level = Reading::Volts(MicroVolts(1_650_000));
    let mut spent = Spent::default();
    for (at, high) in leads.iter().enumerate() {
        for low in &leads[at + 1..] {
            let one = |lead: LeadId| -> LeadSet { [lead].into_iter().collect() };
            let sense = |lead| Sense {
                lead,
                mode: SenseMode::Plain,
            };
            let step = Step {
                high: one(*high),
                low: one(*low),
                settle: SETTLE,
                pulled: SETTLE_WEAK,
                samples: SAMPLES,
                senses: [*high, *low].map(sense).into_iter().collect(),
            };
            spent.requests += 1;
            spent.readings += 2;
            spent.micros += f64::from(cost::step(&step, &[]).time(spi_khz).0);
            let reply = Reply::Readings {
                readings: [level; 2].into_iter().collect(),
                at: Micros(10_000_000),
            };
            spent.bytes += bytes(&Request::Step(step), &reply);
        }
    }
    spent
}

/// A drawn harness that fills a probe with so many leads.
///
/// # Errors
/// Where none does.
pub fn drawn(leads: u8) -> Result<(Job, Hookup), String> {
    for points in (crate::generator::LEAST_POINTS..=u16::from(leads)).rev() {
        let recipe = Recipe {
            seed: 1,
            points,
            form: Form::Bench,
        };
        let plan = read(&recipe.name(), &recipe.text()).map_err(|p| format!("{p:?}"))?;
        let job = plan
            .resolve(&BTreeMap::new())
            .map_err(|problems| format!("{problems:?}"))?;
        if let Ok(hookup) = propose(&job, Place::Bench, usize::from(leads)) {
            return Ok((job, hookup));
        }
    }
    Err(format!("no drawn harness fits {leads} leads"))
}

pub(crate) fn bench_64() -> Result<(Job, Hookup), String> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/plans/bench-64.toml");
    let plan = Plan::load(&path).map_err(|e| e.to_string())?;
    let job = plan
        .resolve(&BTreeMap::new())
        .map_err(|problems| format!("{problems:?}"))?;
    let hookup = propose(&job, Place::Bench, 64).map_err(|e| e.to_string())?;
    Ok((job, hookup))
}

fn measured(name: &str, leads: u8, (job, hookup): &(Job, Hookup)) -> Result<Figures, String> {
    let settings = Settings {
        leads,
        ..Settings::default()
    };
    let counted = || -> Result<Counted, String> {
        let bench = Bench::new(job, hookup, &[], &settings).map_err(|e| e.to_string())?;
        let session = VirtualProbe::new(bench).session();
        Ok(Counted {
            session: session.map_err(|e| e.to_string())?,
            spent: Spent::default(),
        })
    };
    let mut link = counted()?;
    let clipped: Vec<LeadId> = hookup.clips.iter().map(|clip| clip.lead).collect();
    let shown = short(&mut link, &clipped, hookup.place).map_err(|e| e.to_string())?;
    if !shown.healthy() {
        return Err(format!("{name}: {shown:?}"));
    }
    let self_test = link.spent;
    let mut link = counted()?;
    let model = build(job, hookup).map_err(|e| e.to_string())?;
    let outcome = run::run(&mut link, &model, hookup.place, &mut |_| {});
    if !matches!(outcome, Ok(Outcome::Complete(_))) {
        return Err(format!("{name}: the scan did not end"));
    }
    Ok(Figures {
        name: name.to_owned(),
        leads,
        clips: hookup.clips.len(),
        scan: link.spent,
        self_test,
        bound: bound(job, hookup, leads, settings.spi_hz),
        naive: naive(hookup.clips.len(), settings.spi_hz / 1_000),
    })
}

/// The figures of a harness each for probes of 16, 64 and 128 leads.
///
/// # Errors
/// What does not work, in words.
pub fn figures() -> Result<Vec<Figures>, String> {
    Ok(vec![
        measured("drawn", 16, &drawn(16)?)?,
        measured("bench-64.toml", 64, &bench_64()?)?,
        measured("drawn", 128, &drawn(128)?)?,
    ])
}

/// The page.
#[must_use]
pub fn page(all: &[Figures], resistances: &[Measured]) -> String {
    let mut out = String::from(
        "# What a scan costs, and what it measures\n\n\
         Written by `cargo run --release -p loomproof-tests --example scan_figures -- --write \
         docs/scan-figures.md`; `tests/tests/scan_figures.rs` fails when it no longer holds. \
         Nothing here was measured on hardware: times are of the virtual clock (SPI at 8 MHz), \
         bytes are those of the frames both ways ([wire format](wire-format.md)), and a byte on \
         a line of 115,200 baud is ten bits.\n\n\
         A healthy harness on the bench, as many points clipped as the probe has leads, from \
         the first question to the last answer. *bound*: the least time in which any scan says \
         the same (`tests/src/bound.rs`). *every pair*: one step for each two leads, one high, \
         the other low, both read; it finds no leakage, no polarity and no component.\n\n",
    );
    out.push_str(
        "| leads | points | requests | readings | time | bound | ratio | bytes | at 115,200 baud |\n\
         | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n",
    );
    for f in all {
        let _ = writeln!(
            out,
            "| {} | {} | {} | {} | {:.0} ms | {:.0} ms | {:.2} | {} | {:.2} s |",
            f.leads,
            f.clips,
            f.scan.requests,
            f.scan.readings,
            f.scan.micros / 1e3,
            f.bound.time / 1e3,
            f.scan.micros / f.bound.time,
            f.scan.bytes,
            f.scan.line()
        );
    }
    out.push_str(
        "\n| leads | every pair: steps | readings | time | bytes | at 115,200 baud | our steps |\n\
         | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n",
    );
    for f in all {
        let _ = writeln!(
            out,
            "| {} | {} | {} | {:.0} ms | {} | {:.2} s | {:.1} times fewer |",
            f.leads,
            f.naive.requests,
            f.naive.readings,
            f.naive.micros / 1e3,
            f.naive.bytes,
            f.naive.line(),
            f.naive.requests as f64 / f.scan.requests as f64
        );
    }
    out.push_str(
        "\nThe short self-test before each ring-out (chips, sense bus, each clipped lead and C2 \
         by itself):\n\n\
         | leads | requests | time | bytes | at 115,200 baud |\n\
         | ---: | ---: | ---: | ---: | ---: |\n",
    );
    for f in all {
        let _ = writeln!(
            out,
            "| {} | {} | {:.0} ms | {} | {:.2} s |",
            f.leads,
            f.self_test.requests,
            f.self_test.micros / 1e3,
            f.self_test.bytes,
            f.self_test.line()
        );
    }
    out.push_str(&section(resistances, PLOT));
    out
}
