//! What is known before the first reading: the battery, and the record from the day of
//! fitting.

use super::Args;
use crate::commands::asking::line;
use crate::commands::{Failure, note};
use crate::plan::model::Job;
use crate::records::record::Test;
use crate::records::sqlite::Access;
use crate::ringout::report::Verdict;

/// Asks for the voltage of the battery: everything else is reckoned from it.
pub(super) fn posts(job: &Job) -> Result<f64, Failure> {
    let supply = job.supply.0;
    loop {
        let prompt = format!("Volts at the battery's posts? (Enter = {supply:.1}) ");
        let Ok(Some(said)) = line(&prompt) else {
            return Err(Failure::usage(
                "the input ended; give the battery's voltage with --battery".to_owned(),
            ));
        };
        let said = said.trim().replace(',', ".");
        if said.is_empty() {
            return Ok(supply);
        }
        match said.parse::<f64>() {
            Ok(volts) if (supply * 0.5..=supply * 1.5).contains(&volts) => return Ok(volts),
            _ => note(&format!(
                "That is no battery of {supply} V; type it as {supply:.1}"
            )),
        }
    }
}

/// Whether the record from the day of fitting shows that the harness was right.
pub(super) fn passed(args: &Args, job: &Job, which: &str) -> Result<bool, Failure> {
    let stored = args.store.open(Access::Read)?.get(which)?;
    let record = &stored.sealed.record;
    if record.plan_digest != job.digest || record.answers != job.answers {
        return Err(Failure::usage(format!(
            "record {which} is of another plan or variant; name the one from the day this harness \
             was fitted"
        )));
    }
    // What proves that it was fitted right: that it was rung out where it is.
    let not = if record.test != Test::Ringout {
        Some(format!("it is {}, not a ring-out", record.test.say()))
    } else if record.place != "vehicle" {
        Some("it was rung out on the bench, before it was fitted".to_owned())
    } else if record.verdict != Verdict::Pass {
        Some("it did not pass".to_owned())
    } else {
        None
    };
    let passed = not.is_none();
    note(&match not {
        None => format!("Record of {}: it passed.", record.taken),
        Some(why) => format!(
            "Record of {}: {why}; nothing is taken from it.",
            record.taken
        ),
    });
    Ok(passed)
}
