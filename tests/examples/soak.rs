//! A day of watching joints and ten thousand ring-outs, each on one probe that is never
//! started anew.

use std::process::ExitCode;
use std::time::{Duration, Instant};

use clap::{Parser, Subcommand};
use loomproof::ringout::report::Verdict;
use loomproof_tests::soak::memory::Samples;
use loomproof_tests::soak::ringing::{Rung, in_process};
use loomproof_tests::soak::watching::{Way, watch};

/// Watches and rings out for long, and says what grew, wrapped round or drifted.
#[derive(Debug, Parser)]
struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Joints, on the virtual bench.
    Watch {
        /// Hours on the probe's clock.
        #[arg(long, default_value_t = 24.0)]
        hours: f64,
        /// Where that clock stands at the beginning, minutes; it wraps round at 71.6.
        #[arg(long, default_value_t = 0.0)]
        from: f64,
        /// Window after window; without it windows lie around the dropouts, and the clock
        /// goes on between.
        #[arg(long)]
        unbroken: bool,
    },
    /// Ring-outs of the smallest plan.
    Ring {
        /// How many.
        #[arg(long, default_value_t = 10_000)]
        runs: u64,
        /// On the emulated board; else in this process.
        #[arg(long)]
        emulated: bool,
        /// With this joint open.
        #[arg(long, value_name = "FAULT")]
        fault: Option<String>,
    },
}

fn main() -> ExitCode {
    let start = Instant::now();
    let outcome = match Args::parse().what {
        What::Watch {
            hours,
            from,
            unbroken,
        } => watched(Way {
            from: Duration::from_secs_f64(from * 60.0),
            span: Duration::from_secs_f64(hours * 3_600.0),
            unbroken,
        }),
        What::Ring {
            runs,
            emulated,
            fault,
        } => rung(runs, emulated, fault.as_deref()),
    };
    println!("took {:.0} s", start.elapsed().as_secs_f64());
    match outcome {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::from(2)
        }
    }
}

fn memory(of: &str, samples: &Samples) {
    if let (Some(warm), Some(end), Some(most)) = (samples.warm, samples.end, samples.most) {
        println!("memory of {of}: {warm} KiB when warm, {end} KiB in the end, {most} KiB at most");
    }
}

fn wrong(all: &[String]) {
    println!("wrong: {}", all.len());
    for what in all.iter().take(20) {
        println!("  {what}");
    }
}

fn watched(way: Way) -> Result<bool, String> {
    let out = watch(way, &mut |over| {
        eprint!(
            "\r{:.2} h",
            Duration::from_micros(over).as_secs_f64() / 3_600.0
        );
    })?;
    eprintln!();
    let hours = |micros| Duration::from_micros(micros).as_secs_f64() / 3_600.0;
    println!(
        "{:.2} h on the probe's clock, of which {:.2} h in {} windows; {} requests",
        hours(out.lasted),
        hours(out.watched),
        out.windows,
        out.requests
    );
    println!(
        "clock wrapped round {} times, numbers of requests {} times; permission ended in {} and \
         held in {} of the silences",
        out.wraps, out.numbers, out.silences[0], out.silences[1]
    );
    println!(
        "dropouts within windows: {}, counted {}; {} cut by a window's end; told within {} µs",
        out.dropouts, out.counted, out.cut, out.latest
    );
    println!("windows whose time is astray: {}", out.astray);
    if let Some(moved) = out.moved {
        println!(
            "the path that moved most for its spread: {:.2} mΩ ± {:.2} mΩ; drifted: {}",
            moved.by * 1e3,
            moved.sigma * 1e3,
            out.drifted
        );
    }
    memory("the process", &out.own);
    println!(
        "of that, the list of openings for the report: {} KiB",
        out.listed >> 10
    );
    wrong(&out.wrong);
    Ok(out.wrong.is_empty() && out.counted == out.dropouts && out.astray == 0 && out.drifted == 0)
}

fn rung(runs: u64, emulated: bool, fault: Option<&str>) -> Result<bool, String> {
    let right = fault.map_or(Verdict::Pass, |_| Verdict::Faults);
    let tell = &mut |run: u64| {
        if run.is_multiple_of(100) {
            eprint!("\r{run}");
        }
    };
    let out = if emulated {
        on_board(fault.map(str::to_owned), (runs, right), tell)?
    } else {
        in_process(fault, right, runs, tell)?
    };
    eprintln!();
    println!(
        "{} ring-outs, {} requests, numbers wrapped round {} times",
        out.runs, out.requests, out.wraps
    );
    if let Some(moved) = out.moved {
        println!(
            "the reading that moved most for its spread: {:.1} µV ± {:.1} µV; drifted: {}",
            moved.by, moved.sigma, out.drifted
        );
    }
    memory("the process", &out.own);
    memory("QEMU", &out.probes);
    wrong(&out.wrong);
    Ok(out.wrong.is_empty() && out.drifted == 0)
}

#[cfg(unix)]
fn on_board(
    fault: Option<String>,
    (runs, right): (u64, Verdict),
    tell: &mut dyn FnMut(u64),
) -> Result<Rung, String> {
    use loomproof::link::connect;
    use loomproof_tests::qemu::{self, Emulated};
    use loomproof_tests::soak::ringing::{bench, ring, smallest};

    let (qemu, elf) = qemu::installed(qemu::ELF).ok_or("no QEMU or no firmware for it")?;
    let site = smallest()?;
    // Both are known to work before the thread needs them.
    drop(bench(&site, fault.as_deref())?);
    let board = Emulated::start(&qemu, &elf, move || {
        let bench = smallest().and_then(|site| bench(&site, fault.as_deref()));
        bench.expect("it was built before")
    });
    let board = board.map_err(|error| error.to_string())?;
    let mut link = connect(board.port()).map_err(|error| error.to_string())?;
    let pid = Some(board.pid());
    let mut depth = None;
    let rung = ring(&mut link, &site, (runs, right), pid, &mut |run| {
        if run == runs / 10 {
            depth = board.deepest_stack().ok();
        }
        tell(run);
    })?;
    let end = board.deepest_stack().map_err(|error| error.to_string())?;
    println!("stack of the firmware: {depth:?} after a tenth, {end} in the end");
    drop(link);
    board.stop().map_err(|error| error.to_string())?;
    Ok(rung)
}

#[cfg(not(unix))]
fn on_board(_: Option<String>, _: (u64, Verdict), _: &mut dyn FnMut(u64)) -> Result<Rung, String> {
    Err("the emulated board needs a pseudo-terminal".to_owned())
}
