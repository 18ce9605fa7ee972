//! Rings the smallest plan out over unruly lines, again and again.

use std::process::ExitCode;
use std::thread::{available_parallelism, scope};
use std::time::Instant;

use clap::Parser;
use loomproof_tests::unruly_link::ring::Bed;
use loomproof_tests::unruly_link::tally::Tally;

/// Damages the line to the probe in every way, and counts how ring-outs end.
#[derive(Debug, Parser)]
struct Args {
    /// How many ring-outs.
    #[arg(long, default_value_t = 100_000)]
    runs: u64,
    /// The first seed.
    #[arg(long, default_value_t = 0)]
    from: u64,
    /// Threads; as many as there are processors where nothing is said.
    #[arg(long)]
    threads: Option<usize>,
    /// Prints how the ring-out of this seed ends, and nothing else.
    #[arg(long)]
    seed: Option<u64>,
}

fn main() -> ExitCode {
    match run(&Args::parse()) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::from(2)
        }
    }
}

fn run(args: &Args) -> Result<bool, String> {
    if let Some(seed) = args.seed {
        println!("{:#?}", Bed::new()?.run(seed)?);
        return Ok(true);
    }
    let start = Instant::now();
    let threads = args
        .threads
        .or_else(|| available_parallelism().ok().map(usize::from));
    let threads = threads.unwrap_or(1).max(1);
    let mut all = Tally::default();
    let parts: Vec<Result<Tally, String>> = scope(|scope| {
        let part = |own: usize| {
            let seeds = (args.from..args.from.saturating_add(args.runs))
                .skip(own)
                .step_by(threads);
            scope.spawn(move || Tally::of(&Bed::new()?, seeds))
        };
        let parts: Vec<_> = (0..threads).map(part).collect();
        let joined = parts.into_iter().map(|part| part.join());
        joined
            .map(|part| part.unwrap_or_else(|_| Err("a run panicked".to_owned())))
            .collect()
    });
    for part in parts {
        all.merge(part?);
    }
    println!("{}", all.table());
    for (kind, count) in all.errors() {
        println!("{kind}: {count}");
    }
    println!(
        "\n{} runs in {:.0} s, {} wrong",
        all.runs(),
        start.elapsed().as_secs_f64(),
        all.wrong.len()
    );
    for (seed, what) in &all.wrong {
        println!("seed {seed}: {what}");
    }
    Ok(all.wrong.is_empty())
}
