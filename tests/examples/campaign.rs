//! Runs the campaign and prints its tables; fails when a goal is missed.

use std::process::ExitCode;

use clap::Parser;
use loomproof_tests::campaign::table::Results;
use loomproof_tests::campaign::{SITES, faulty, healthy};

/// Runs longer than this are told of at once, seconds.
const SLOW: f64 = 10.0;

/// Rings out healthy harnesses and every fault of every fixture plan.
#[derive(Debug, Parser)]
struct Args {
    /// Healthy harnesses per plan and place.
    #[arg(long, default_value_t = 1000)]
    healthy: usize,
    /// Only these plans (file names without .toml), separated by commas.
    #[arg(long, value_delimiter = ',')]
    plans: Vec<String>,
    /// Every how-manyth fault is tried.
    #[arg(long, default_value_t = 1)]
    every: usize,
    /// 10 healthy harnesses and every 7th fault.
    #[arg(long)]
    quick: bool,
}

fn main() -> ExitCode {
    let mut args = Args::parse();
    if args.quick {
        (args.healthy, args.every) = (10, 7);
    }
    let known = |plan: &String| SITES.iter().any(|site| site.plan == plan);
    if let Some(plan) = args.plans.iter().find(|plan| !known(plan)) {
        eprintln!("there is no fixture plan {plan}");
        return ExitCode::from(2);
    }
    let mut results = Results::default();
    for site in SITES {
        if !args.plans.is_empty() && !args.plans.iter().any(|plan| plan == site.plan) {
            continue;
        }
        let loaded = match site.load() {
            Ok(loaded) => loaded,
            Err(error) => {
                eprintln!("{}: {error}", site.name());
                return ExitCode::from(2);
            }
        };
        eprintln!("{}: {} faults", site.name(), loaded.faults.len());
        let faulty = faulty(&loaded, args.every, |tried| {
            let slow = tried.took.as_secs_f64() > SLOW;
            if let Some(what) = tried.miss().or(slow.then_some("slow")) {
                eprintln!(
                    "  {what}: {} {:.1?}: {}",
                    tried.fault, tried.took, tried.said
                );
            }
        });
        eprintln!("  faults: {:.1} s", faulty.took.as_secs_f64());
        let healthy = healthy(&loaded, args.healthy);
        eprintln!("  healthy: {:.1} s", healthy.took.as_secs_f64());
        results.sites.push((site.name(), healthy, faulty));
    }
    println!("{}\n{}", results.tables(), results.times());
    println!("Misses:\n{}", results.misses());
    let missed = results.missed_goals();
    for goal in &missed {
        println!("GOAL MISSED: {goal}");
    }
    ExitCode::from(u8::from(!missed.is_empty()))
}
