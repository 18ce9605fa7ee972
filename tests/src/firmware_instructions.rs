//! How many instructions the probe's firmware takes for a step of a scan, counted
//! in QEMU: the page `docs/firmware-instructions.md`.

use std::fmt::Write as _;
use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

use loomproof::bench::{Bench, Settings};
use loomproof::circuit::build;
use loomproof::hookup::Hookup;
use loomproof::link::{Link, LinkError, connect};
use loomproof::plan::model::Job;
use loomproof::ringout::{Outcome, run};
use loomproof_core::wire::{Hello, Reply, Request};
use loomproof_firmware::cost;

use crate::figures::{bench_64, drawn};
use crate::qemu::Emulated;
use crate::speed::{exponent, median};

/// An instruction is 2⁷ ns of the emulated clock, as the firmware `counts` takes it to be.
const QEMU: &[&str] = &["-icount", "shift=7"];

/// How long the last count may take to reach the log.
const PATIENCE: Duration = Duration::from_secs(20);

/// One step as the firmware did it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stepped {
    /// Instructions from the request's first byte to the reply's last.
    pub instructions: u64,
    /// Readings.
    pub readings: usize,
    /// Microseconds that SPI, settling and conversions take.
    pub micros: u32,
}

/// The steps of one harness's first pass.
#[derive(Debug, Clone, PartialEq)]
pub struct Counted {
    /// Probe leads.
    pub leads: u8,
    /// Points clipped.
    pub clips: usize,
    /// All of them.
    pub steps: Vec<Stepped>,
}

impl Counted {
    fn over(&self, of: impl Fn(&Stepped) -> f64) -> Vec<f64> {
        self.steps.iter().map(of).collect()
    }

    /// Instructions of a step, the median.
    #[must_use]
    pub fn median(&self) -> f64 {
        median(&self.over(|step| step.instructions as f64))
    }

    /// Instructions of all steps over the readings they gave.
    #[must_use]
    pub fn each_reading(&self) -> f64 {
        let readings = self.over(|step| step.readings as f64).iter().sum::<f64>();
        self.sum() / readings
    }

    /// Instructions of all steps over the microseconds that they take.
    #[must_use]
    pub fn each_micro(&self) -> f64 {
        self.sum() / self.over(|step| f64::from(step.micros)).iter().sum::<f64>()
    }

    fn sum(&self) -> f64 {
        self.over(|step| step.instructions as f64).iter().sum()
    }
}

/// A link that remembers what was asked and how much came back.
struct Kept<L> {
    link: L,
    asked: Vec<(Request, usize)>,
}

impl<L: Link> Link for Kept<L> {
    fn hello(&self) -> &Hello {
        self.link.hello()
    }

    fn exchange(&mut self, request: &Request) -> Result<Reply, LinkError> {
        let reply = self.link.exchange(request)?;
        let readings = match &reply {
            Reply::Readings { readings, .. } => readings.len(),
            _ => 0,
        };
        self.asked.push((request.clone(), readings));
        Ok(reply)
    }
}

/// The counts in the firmware's log, once all of so many exchanges are there.
fn counts(board: &Emulated, exchanges: usize) -> Result<Vec<u64>, String> {
    let deadline = Instant::now() + PATIENCE;
    // The greeting is counted as well, so that there is more than what is asked.
    let mut log = board.log();
    while log.lines().count() <= exchanges || !log.ends_with('\n') {
        if Instant::now() > deadline {
            return Err(format!("{} counts of {exchanges}", log.lines().count()));
        }
        thread::sleep(Duration::from_millis(20));
        log = board.log();
    }
    // The last line may be on its way still.
    thread::sleep(Duration::from_millis(200));
    let log = board.log();
    let all: Result<Vec<u64>, _> = log.lines().map(str::parse).collect();
    let all = all.map_err(|error| format!("the log is no counts: {error}: {log:?}"))?;
    Ok(all[all.len() - exchanges..].to_vec())
}

/// Rings out a healthy harness by the firmware that counts.
///
/// # Errors
/// What does not work, in words.
pub fn counted(
    qemu: &Path,
    elf: &Path,
    leads: u8,
    (job, hookup): &(Job, Hookup),
) -> Result<Counted, String> {
    let settings = Settings {
        leads,
        ..Settings::default()
    };
    let spi_khz = settings.spi_hz / 1_000;
    let bench = {
        let (job, hookup) = (job.clone(), hookup.clone());
        move || Bench::new(&job, &hookup, &[], &settings).expect("a bench, as it was made before")
    };
    let board = Emulated::start_with(qemu, elf, QEMU, bench).map_err(|error| error.to_string())?;
    let mut link = Kept {
        link: connect(board.port()).map_err(|error| error.to_string())?,
        asked: Vec::new(),
    };
    let model = build(job, hookup).map_err(|error| error.to_string())?;
    let outcome = run::run(&mut link, &model, hookup.place, &mut |_| {});
    if !matches!(outcome, Ok(Outcome::Complete(_))) {
        return Err(format!("{leads} leads: the scan did not end: {outcome:?}"));
    }
    let counts = counts(&board, link.asked.len())?;
    let steps = link.asked.iter().zip(&counts);
    let steps = steps.filter_map(|((request, readings), count)| match request {
        Request::Step(step) => Some(Stepped {
            instructions: *count,
            readings: *readings,
            micros: cost::step(step, &[]).time(spi_khz).0,
        }),
        _ => None,
    });
    let found = Counted {
        leads,
        clips: hookup.clips.len(),
        steps: steps.collect(),
    };
    drop(link);
    board.stop().map_err(|error| error.to_string())?;
    Ok(found)
}

/// Probes of 16, 64 and 128 leads.
///
/// # Errors
/// See [`counted`].
pub fn all(qemu: &Path, elf: &Path) -> Result<Vec<Counted>, String> {
    Ok(vec![
        counted(qemu, elf, 16, &drawn(16)?)?,
        counted(qemu, elf, 64, &bench_64()?)?,
        counted(qemu, elf, 128, &drawn(128)?)?,
    ])
}

/// The page.
#[must_use]
pub fn page(all: &[Counted], commit: &str) -> String {
    let mut out = format!(
        "# Instructions of the firmware\n\nWritten on commit `{commit}` by\n\n```sh\n\
         tools/build-boards.sh emulated\ncargo run --release -p loomproof-tests --example \
         firmware_instructions -- --write docs/firmware-instructions.md\n```\n\n\
         The probe firmware on the [emulated board](emulated-board.md), a Cortex-M3, counts its \
         own instructions in QEMU, where each takes the same time (`-icount`). Counted is from \
         the first byte of a request to the last of its reply: taking it in, checking it, the \
         interlock, packing and unpacking every transfer of SPI, the reply. Waiting for the host \
         and for the chips is not. Healthy harnesses, the steps of the first pass. *An \
         instruction a cycle* is what a core would have to do if it were to finish in the same \
         time as SPI at 8 MHz, settling and conversions take; a real one needs rather more than \
         a cycle for each. The same request with the same readings takes the same count on any \
         machine, to within a thousandth; another compiler makes other counts.\n\n\
         | leads | points | steps | instructions a step, median | least | most | a reading, \
         mean | as fast as the chips, an instruction a cycle |\n\
         | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n"
    );
    for counted in all {
        let counts = counted.steps.iter().map(|step| step.instructions);
        let _ = writeln!(
            out,
            "| {} | {} | {} | {:.0} | {} | {} | {:.0} | {:.1} MHz |",
            counted.leads,
            counted.clips,
            counted.steps.len(),
            counted.median(),
            counts.clone().min().unwrap_or(0),
            counts.max().unwrap_or(0),
            counted.each_reading(),
            counted.each_micro(),
        );
    }
    let points: Vec<(f64, f64)> = all
        .iter()
        .map(|counted| (f64::from(counted.leads), counted.median()))
        .collect();
    let _ = writeln!(
        out,
        "\nFrom the fewest to the most leads the median grows with their number to the power of \
         {:.2} (least squares over the logarithms).",
        exponent(&points)
    );
    out
}
