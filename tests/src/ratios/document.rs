//! Ratios with their spread, and the page `docs/speed.md`.

use std::fmt::Write as _;
use std::path::Path;
use std::time::Duration;

use loomproof::plan::read;
use loomproof_core::wire::frame::{Deframer, MAX_FRAME, encode_reply};
use loomproof_core::wire::{LeadId, Nulls, Reply};

use super::growth::{CORE, PLOT};
use super::replies;
use super::systems::Systems;
use super::ways::{Answer, Ways};
use crate::skip::top;
use crate::speed::{exponent, median, timed};

/// The greatest difference of voltages that is the same answer, in volts.
pub const APART: f64 = 1e-6;

/// What is asked for: ngspice and dense LU over core, at 64 points.
pub const GOALS: (f64, f64) = (50.0, 3.0);

/// Names of the ways beside core's, in the order they are timed.
pub const WAYS: [&str; 8] = [
    "ngspice, one run for all, process time",
    "dense LU of the whole circuit, factored for every reading",
    "dense LU of the whole circuit, factored for every pattern",
    "dense LU of the whole circuit, factors kept: substitution alone",
    "sparse Cholesky of the whole circuit, factored for every pattern",
    "dense LU by faer of the whole circuit, factored for every pattern",
    "sparse Cholesky by faer of the whole circuit, ordered, factored for every pattern",
    "dense LU of the islands that are read, factored for every pattern",
];

/// Where ngspice and the two LUs that the goal speaks of are among them.
const NGSPICE: usize = 0;
const PATTERN: usize = 2;
const FAER: usize = 5;

/// A ratio, or a time, over some rounds.
#[derive(Debug, Clone, Default)]
pub struct Spread(pub Vec<f64>);

impl Spread {
    /// The middle one.
    #[must_use]
    pub fn median(&self) -> f64 {
        median(&self.0)
    }

    fn printed(&self) -> String {
        let least = self.0.iter().copied().fold(f64::INFINITY, f64::min);
        let most = self.0.iter().copied().fold(0.0, f64::max);
        let digits = |x: f64| match x {
            x if x >= 100.0 => format!("{x:.0}"),
            x if x >= 10.0 => format!("{x:.1}"),
            x => format!("{x:.2}"),
        };
        if self.0.is_empty() {
            return "not run".to_owned();
        }
        format!(
            "{} ({}–{})",
            digits(self.median()),
            digits(least),
            digits(most)
        )
    }
}

/// One harness in all ways.
#[derive(Debug, Clone)]
pub struct Timed {
    /// Test points.
    pub points: usize,
    /// Nodes.
    pub nodes: usize,
    /// Systems solved.
    pub systems: usize,
    /// Points read under them.
    pub readings: usize,
    /// Microseconds of core for one system.
    pub micros: Spread,
    /// Times slower than core, way by way.
    pub slower: [Spread; 8],
    /// Dense LU over core, both told which islands to solve.
    pub told: Spread,
    /// Greatest difference of a voltage from core's, in volts.
    pub apart: f64,
}

/// An answer, and the seconds it takes; what is too short for the clock is repeated.
fn repeated(mut way: impl FnMut() -> Answer) -> (Vec<f64>, f64) {
    let mut repeats = 0;
    let mut total = Duration::ZERO;
    let mut volts = Vec::new();
    while repeats < 3 || total < Duration::from_millis(20) {
        let (now, time) = way();
        volts = now;
        total += time;
        repeats += 1;
    }
    (volts, total.as_secs_f64() / f64::from(repeats))
}

/// Solves a harness's systems in all ways, one after the other in every round.
///
/// # Errors
/// What ngspice said, or that a way read other points.
pub fn measured(systems: &Systems, rounds: usize, ngspice: Option<&Path>) -> Result<Timed, String> {
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    let mut ways = Ways::new(systems);
    let mut found = Timed {
        points: systems.points,
        nodes: systems.nodes,
        systems: systems.all.len(),
        readings: systems.readings(),
        micros: Spread::default(),
        slower: Default::default(),
        told: Spread::default(),
        apart: 0.0,
    };
    // A first time for the caches.
    let _ = ways.core(false);
    for _ in 0..rounds {
        let (volts, core) = repeated(|| ways.core(false));
        let (_, told) = repeated(|| ways.core(true));
        let (_, lu_told) = repeated(|| ways.near());
        found.told.0.push(lu_told / told);
        found.micros.0.push(core * 1e6 / systems.all.len() as f64);
        let answers: [Option<Answer>; 8] = [
            ngspice
                .map(|program| ways.ngspice(program, folder.path()))
                .transpose()?,
            Some(ways.dense(true)),
            Some(ways.dense(false)),
            Some(ways.substituted()),
            Some(ways.sparse()),
            Some(ways.faer_dense()),
            Some(ways.faer_sparse()),
            Some(ways.near()),
        ];
        for (answer, slower) in answers.into_iter().zip(&mut found.slower) {
            let Some((theirs, time)) = answer else {
                continue;
            };
            if theirs.len() != volts.len() {
                return Err(format!("{} readings beside {}", theirs.len(), volts.len()));
            }
            for (ours, theirs) in volts.iter().zip(&theirs) {
                let apart = (ours - theirs).abs();
                // What is not a number is farther than any.
                found.apart = if apart <= found.apart {
                    found.apart
                } else {
                    apart
                };
            }
            slower.0.push(time.as_secs_f64() / core);
        }
    }
    Ok(found)
}

/// Times of what has nothing beside it but itself, or the library below it.
#[derive(Debug, Clone, Default)]
pub struct Others {
    /// Milliseconds to read `bench-64.toml`.
    pub plan: Spread,
    /// Times as long as the TOML library alone.
    pub plan_over_toml: Spread,
    /// Microseconds to take a frame of 128 looks in and decode it.
    pub survey: Spread,
    /// Its bytes.
    pub survey_bytes: usize,
    /// Microseconds for a frame of 64 readings.
    pub readings: Spread,
    /// Its bytes.
    pub readings_bytes: usize,
    /// Microseconds for a frame of 32 clips.
    pub nulls: Spread,
    /// Its bytes.
    pub nulls_bytes: usize,
}

/// Times them.
///
/// # Errors
/// A fixture that cannot be read, or a message that does not come back.
pub fn others(rounds: usize) -> Result<Others, String> {
    let path = top().join("fixtures/plans/bench-64.toml");
    let text = std::fs::read_to_string(path).map_err(|error| error.to_string())?;
    let mut found = Others::default();
    let (survey, readings) = (replies::survey(), replies::readings());
    let clips = std::iter::repeat_n(loomproof_core::wire::ClipOhms(1_012), 32).collect();
    let nulls = Reply::Nulls(Nulls {
        first: LeadId(0),
        clips,
    });
    for _ in 0..rounds {
        let (ours, plan) = each(|| read("bench-64.toml", &text).is_ok());
        let (theirs, toml) = each(|| text.parse::<toml::Table>().is_ok());
        if !ours || !theirs {
            return Err("bench-64.toml is no plan".to_owned());
        }
        found.plan.0.push(plan * 1e3);
        found.plan_over_toml.0.push(plan / toml);
        for (reply, spread, bytes) in [
            (&survey, &mut found.survey, &mut found.survey_bytes),
            (&readings, &mut found.readings, &mut found.readings_bytes),
            (&nulls, &mut found.nulls, &mut found.nulls_bytes),
        ] {
            let mut out = [0; MAX_FRAME];
            let frame = encode_reply(1, reply, &mut out).map_err(|error| error.to_string())?;
            let mut deframer: Deframer<MAX_FRAME> = Deframer::new();
            let decoded = |deframer: &mut Deframer<MAX_FRAME>| match deframer.feed(frame) {
                (_, Some(Ok(frame))) => frame.reply().ok(),
                _ => None,
            };
            if decoded(&mut deframer).as_ref() != Some(reply) {
                return Err("a frame does not come back".to_owned());
            }
            *bytes = frame.len();
            let (_, seconds) = each(|| decoded(&mut deframer).is_some());
            spread.0.push(seconds * 1e6);
        }
    }
    Ok(found)
}

/// Seconds of one, by as many as take 20 ms.
fn each(mut one: impl FnMut() -> bool) -> (bool, f64) {
    let mut good = true;
    let mut count = 0_u32;
    let mut total = Duration::ZERO;
    while total < Duration::from_millis(20) {
        let ((), time) = timed(|| {
            for _ in 0..8 {
                good &= std::hint::black_box(one());
            }
        });
        total += time;
        count += 8;
    }
    (good, total.as_secs_f64() / f64::from(count))
}

/// Everything that the page shows.
#[derive(Debug, Clone)]
pub struct Found {
    /// Harnesses of rising size.
    pub timed: Vec<Timed>,
    /// The rest.
    pub others: Others,
    /// Rounds that medians are taken of.
    pub rounds: usize,
}

impl Found {
    /// Goals that are missed, in words.
    #[must_use]
    pub fn missed(&self) -> Vec<String> {
        let mut missed = Vec::new();
        for timed in &self.timed {
            if timed.apart.is_nan() || timed.apart > APART {
                missed.push(format!(
                    "{} points: {:e} V apart",
                    timed.points, timed.apart
                ));
            }
            if !(60..=64).contains(&timed.points) {
                continue;
            }
            for (way, least) in [(NGSPICE, GOALS.0), (PATTERN, GOALS.1), (FAER, GOALS.1)] {
                let slower = &timed.slower[way];
                if !slower.0.is_empty() && slower.median() < least {
                    let what = WAYS[way];
                    missed.push(format!("{what}: {:.1}, not {least}", slower.median()));
                }
            }
        }
        missed
    }

    /// The page.
    #[must_use]
    pub fn page(&self, commit: &str) -> String {
        let mut out = format!(
            "# Speed of the nodal solve\n\nWritten on commit `{commit}` by\n\n```sh\ncargo run \
             --release -p loomproof-tests --example bench_ratios -- --write docs/speed.md\n```\n\n\
             One run on one thread of a machine that did other work as well. Times are processor \
             time; the ways take turns in every round, and of {} rounds the median is shown with \
             least and most in brackets. Nothing more is claimed than that. Speed of the \
             diagnosis: [diagnosis-speed.md](diagnosis-speed.md).\n\n## All drive patterns of a \
             first pass\n\nGenerated harnesses on the bench, a diode counted as 1 kΩ so that all \
             do the same linear work. Every drive pattern with every load of the sense bus is a \
             system. Core solves the islands that are read, one by one, by star–mesh elimination, \
             and looks for them among all elements anew each time. Numbers are times as long as \
             core took for the same. Most of what sets dense LU of the whole circuit apart is the \
             islands, not the elimination: the last two rows before the difference have LU told \
             which islands to solve, there it is a fair race of small matrices. ngspice's time \
             is mostly reading and printing.\n\n|  |",
            self.rounds
        );
        for timed in &self.timed {
            let _ = write!(out, " {} points |", timed.points);
        }
        out.push_str("\n| --- |");
        out.push_str(&" --- |".repeat(self.timed.len()));
        out.push('\n');
        let mut row = |name: &str, of: &dyn Fn(&Timed) -> String| {
            let cells: Vec<String> = self.timed.iter().map(of).collect();
            let _ = writeln!(out, "| {name} | {} |", cells.join(" | "));
        };
        row("nodes", &|t| t.nodes.to_string());
        row("systems", &|t| t.systems.to_string());
        row("points read", &|t| t.readings.to_string());
        row(CORE, &|t| t.micros.printed());
        for (way, name) in WAYS.iter().enumerate() {
            row(name, &|t| t.slower[way].printed());
        }
        row(
            "dense LU over core, both given only the elements of these islands",
            &|t| t.told.printed(),
        );
        row("greatest difference, V", &|t| format!("{:.1e}", t.apart));
        let power = |of: &dyn Fn(&Timed) -> f64| {
            let points: Vec<(f64, f64)> = self
                .timed
                .iter()
                .map(|t| (t.points as f64, of(t)))
                .collect();
            exponent(&points)
        };
        let core = power(&|t| t.micros.median());
        let lu = power(&|t| t.micros.median() * t.slower[PATTERN].median());
        let _ = write!(
            out,
            "\nFrom the least to the most points the time of a system grows with n to the power \
             of {core:.2} in core and of {lu:.2} by dense LU factored for every pattern (least \
             squares over the logarithms).\n\n![seconds a system over test points]({PLOT})\n\nAsked for at 64 points: ngspice {} times, dense LU (of \
             the whole circuit, factored for every pattern) {} times as long.\n",
            GOALS.0, GOALS.1
        );
        for goal in self.missed() {
            let _ = write!(out, "\n**Missed:** {goal}.\n");
        }
        let o = &self.others;
        let _ = write!(
            out,
            "\n## Reading\n\n| what | time |\n| --- | --- |\n| the plan bench-64.toml, read and \
             checked, ms | {} |\n| the same, times as long as the TOML library alone | {} |\n| a \
             frame of 128 looks ({} bytes), taken in, checked and decoded, µs | {} |\n| a frame \
             of 64 readings ({} bytes), µs | {} |\n| a frame of 32 clips ({} bytes), µs | {} |\n",
            o.plan.printed(),
            o.plan_over_toml.printed(),
            o.survey_bytes,
            o.survey.printed(),
            o.readings_bytes,
            o.readings.printed(),
            o.nulls_bytes,
            o.nulls.printed(),
        );
        out
    }
}
