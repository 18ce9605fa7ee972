//! Names of points that say the side, for files.

use super::Point;
use crate::plan::model::{End, Half, Job, Side};

impl Point {
    /// The point with the side that is touched: `X1:4 wire side`.
    #[must_use]
    pub fn full_name(&self) -> String {
        match self {
            Self::Cavity {
                side: Side::Wire, ..
            } => format!("{self} wire side"),
            Self::Cavity {
                side: Side::Mating, ..
            } => format!("{self} mating side"),
            other => other.to_string(),
        }
    }

    /// The point of a job that has this full name.
    #[must_use]
    pub fn of_full_name(job: &Job, name: &str) -> Option<Self> {
        Self::all(job).find(|point| point.full_name() == name)
    }

    /// Every point of a job that could be touched.
    pub fn all(job: &Job) -> impl Iterator<Item = Self> + '_ {
        let cavities = job.connectors.iter().flat_map(|connector| {
            (1..=connector.cavities).flat_map(move |cavity| {
                [Side::Wire, Side::Mating].map(|side| Self::Cavity {
                    connector: connector.name.clone(),
                    cavity,
                    side,
                })
            })
        });
        let taps = job.taps.iter().map(|tap| Self::Tap(tap.name.clone()));
        let rings = job.rings.iter().map(|ring| Self::Ring(ring.name.clone()));
        let ways = job.plugs.iter().flat_map(|plug| {
            (1..=plug.ways).flat_map(move |way| {
                [Half::A, Half::B].map(|half| End::Plug(plug.name.clone(), half, way))
            })
        });
        let ends = job.leads.iter().flat_map(|lead| [&lead.from, &lead.to]);
        let parts = ends.filter(|end| matches!(end, End::Part(..) | End::Splice(_)));
        let terminals = ways.chain(parts.cloned()).map(Self::Terminal);
        cavities.chain(taps).chain(rings).chain(terminals)
    }
}
