//! Vehicles that come back, for the table of comebacks and for its test.

mod played;
mod small;

use loomproof::bench::Settings;
use loomproof::comeback::{How, Inquiry, VirtualVehicle};
use loomproof::plan::model::Job;
use loomproof::powered::Cause;
use loomproof_core::units::Volts;

pub use played::{Played, WAYS, Way, play};
pub use small::small;

/// The vehicle, what is asked about it, and the functions that fail.
pub type CameBack<'j> = (VirtualVehicle, Inquiry<'j>, Vec<usize>);

/// Every cause of a job that can be put into a vehicle.
///
/// # Errors
/// What cannot be computed.
pub fn causes_of(job: &Job) -> Result<Vec<Cause>, String> {
    Ok(Inquiry::new(job, Volts(job.supply.0))?.causes())
}

/// A vehicle that came back; nothing where no function fails.
///
/// # Errors
/// What cannot be computed.
pub fn come_back<'j>(job: &'j Job, causes: &[Cause]) -> Result<Option<CameBack<'j>>, String> {
    // Causes that do not go together are no vehicle.
    let Ok(mut vehicle) = VirtualVehicle::new(job, causes, &Settings::default()) else {
        return Ok(None);
    };
    let battery = vehicle.battery();
    if battery < job.supply.0 * 0.5 {
        return Ok(None);
    }
    let mut inquiry = Inquiry::new(job, Volts(battery))?;
    let Ok(symptoms) = vehicle.symptoms(&inquiry) else {
        return Ok(None);
    };
    let failing: Vec<usize> = symptoms
        .iter()
        .filter(|it| it.how == How::Fails)
        .map(|it| it.function)
        .collect();
    if failing.is_empty() {
        return Ok(None);
    }
    inquiry.suspect(&symptoms, false)?;
    Ok(Some((vehicle, inquiry, failing)))
}
