//! What was learned of plugged modules, kept in a file: what the vehicle's own
//! inputs showed before the harness was joined to them.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::Path;

use loomproof_core::units::Ohms;
use serde::{Deserialize, Serialize};

use crate::kept;
use crate::plan::model::{Job, Load};
use crate::whole_file::WholeFile;

/// Version of the file's layout.
const FORMAT: u32 = 1;

/// Least and greatest ohms to chassis, by conductor or pin.
pub type Loads = BTreeMap<String, [f64; 2]>;

/// What was learned of one vehicle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Learned {
    format: u32,
    /// SHA-256 of the plan file.
    plan_digest: String,
    /// The plan's title.
    title: String,
    /// The vehicle, by the shop's own number.
    vehicle: Option<String>,
    loads: Loads,
}

impl Learned {
    /// What was read of a vehicle.
    #[must_use]
    pub fn new(job: &Job, vehicle: Option<&str>, loads: Loads) -> Self {
        Self {
            format: FORMAT,
            plan_digest: job.digest.clone(),
            title: job.title.clone(),
            vehicle: vehicle.map(str::to_owned),
            loads,
        }
    }

    /// What hangs on what.
    #[must_use]
    pub fn loads(&self) -> &Loads {
        &self.loads
    }

    /// Reads a file.
    ///
    /// # Errors
    /// A sentence for a file that is missing, or is something else.
    pub fn load(path: &Path) -> Result<Self, String> {
        let name = path.display();
        let other = |why: String| {
            format!("{name}: this is not what `ringout --learn` keeps ({why}); learn it again")
        };
        let learned = kept::load(path, other, (|learned: &Self| learned.format, FORMAT))?;
        match learned.loads.iter().find(|(_, range)| !sensible(range)) {
            Some((name, _)) => Err(other(format!("the ohms of {name} make no sense"))),
            None => Ok(learned),
        }
    }

    /// Writes a file, whole or not at all.
    ///
    /// # Errors
    /// A sentence.
    pub fn keep(&self, path: &Path) -> Result<(), String> {
        let fail = |error: std::io::Error| format!("{}: {error}", path.display());
        let mut file = WholeFile::beside(path).map_err(fail)?;
        serde_json::to_writer_pretty(&mut file, self)
            .map_err(std::io::Error::from)
            .and_then(|()| file.write_all(b"\n"))
            .and_then(|()| file.put())
            .map_err(fail)
    }

    /// Whether it was learned with this plan and of this vehicle.
    ///
    /// # Errors
    /// A sentence that says what differs.
    pub fn check(&self, path: &Path, job: &Job, vehicle: Option<&str>) -> Result<(), String> {
        let name = path.display();
        if self.plan_digest != job.digest {
            return Err(format!(
                "{name}: it was learned with another plan (\"{}\"), or the plan was changed since; \
                 learn it again",
                self.title
            ));
        }
        if self.vehicle.as_deref() == vehicle {
            return Ok(());
        }
        let said = |vehicle: Option<&str>| match vehicle {
            Some(vehicle) => format!("vehicle {vehicle}"),
            None => "a vehicle without number".to_owned(),
        };
        Err(format!(
            "{name}: it was learned of {}, and this is {}; give --vehicle as it was then, or learn \
             this one",
            said(self.vehicle.as_deref()),
            said(vehicle)
        ))
    }
}

/// Whether ohms could be of a load.
fn sensible([least, most]: &[f64; 2]) -> bool {
    least.is_finite() && most.is_finite() && *least > 0.0 && least <= most
}

/// Puts what was learned in the place of what the plan says; names that the
/// variant does not have are left out.
pub fn apply(job: &mut Job, loads: &Loads) {
    for (name, range) in loads.iter().filter(|(_, range)| sensible(range)) {
        let load = Load::Range {
            least: Ohms(range[0]),
            most: Ohms(range[1]),
        };
        let mut conductors = job.conductors.iter_mut();
        let mut pins = job.electrics.pins.iter_mut();
        let slot = match conductors.find(|it| it.name == *name) {
            Some(conductor) => Some(&mut conductor.load),
            None => pins.find(|it| it.name == *name).map(|pin| &mut pin.load),
        };
        if let Some(slot) = slot {
            *slot = load;
            job.electrics.learned.insert(name.clone(), *range);
        }
    }
}
