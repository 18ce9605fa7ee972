//! Vehicles that come back, for the table of comebacks and for its test.

mod played;
mod small;

use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

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

/// A workshop to which vehicles of one job come back. What is worked out for one serves
/// all others whose battery has the same voltage.
pub struct Workshop<'j> {
    job: &'j Job,
    /// By tenths of a volt, as a meter at the battery reads.
    inquiries: Mutex<BTreeMap<u32, Inquiry<'j>>>,
}

impl<'j> Workshop<'j> {
    /// A workshop that has seen no vehicle yet.
    #[must_use]
    pub fn new(job: &'j Job) -> Self {
        Self {
            job,
            inquiries: Mutex::default(),
        }
    }

    /// What can be asked of a vehicle with this battery, nobody suspected yet.
    fn inquiry(&self, battery: f64) -> Result<Inquiry<'j>, String> {
        let tenths = (battery * 10.0).round();
        let inquiries = self.inquiries.lock();
        let mut inquiries = inquiries.unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = inquiries.get(&(tenths as u32)) {
            return Ok(known.clone());
        }
        let new = Inquiry::new(self.job, Volts(tenths / 10.0))?;
        inquiries.insert(tenths as u32, new.clone());
        Ok(new)
    }

    /// A vehicle that came back; nothing where no function fails.
    ///
    /// # Errors
    /// What cannot be computed.
    pub fn come_back(&self, causes: &[Cause]) -> Result<Option<CameBack<'j>>, String> {
        // Causes that do not go together are no vehicle.
        let vehicle = VirtualVehicle::new(self.job, causes, &Settings::default());
        let Ok(mut vehicle) = vehicle else {
            return Ok(None);
        };
        let battery = vehicle.battery();
        if battery < self.job.supply.0 * 0.5 {
            return Ok(None);
        }
        let mut inquiry = self.inquiry(battery)?;
        let Ok(symptoms) = vehicle.symptoms(&inquiry) else {
            return Ok(None);
        };
        let failing = symptoms.iter().filter(|it| it.how == How::Fails);
        let failing: Vec<usize> = failing.map(|it| it.function).collect();
        if failing.is_empty() {
            return Ok(None);
        }
        inquiry.suspect(&symptoms, false)?;
        Ok(Some((vehicle, inquiry, failing)))
    }
}
