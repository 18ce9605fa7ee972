//! What flashes or is dimmed, and whether it may.

use super::{RhythmReport, round};
use crate::live::causes::Course;
use crate::live::judge::fits;
use crate::live::observe::Observed;
use crate::live::rhythm::{Rhythm, allowed};
use crate::live::text;
use crate::plan::model::Signal;
use crate::powered::{Powered, Shown};

/// Everything that does not stand still, step by step.
pub(super) fn rhythms(
    powered: &Powered,
    healthy: &Course,
    seen: &[Vec<Observed>],
) -> Vec<RhythmReport> {
    let mut list = Vec::new();
    for (number, (shown, seen)) in healthy.iter().zip(seen).enumerate() {
        for ((touched, shown), seen) in powered.points.iter().zip(shown).zip(seen) {
            let planned = match shown {
                Shown::Known { signal, .. } => *signal,
                Shown::Unknown => Signal::Steady,
            };
            let (per_minute, hertz, on, good) = match seen.rhythm {
                Rhythm::Steady | Rhythm::Unsteady => continue,
                Rhythm::Flashing { per_minute, on } => {
                    let good = match planned {
                        // A plan that asks for what the rules do not allow knows why.
                        Signal::Flashing { rate, .. } => {
                            allowed(per_minute) || !allowed(rate.0) && fits(seen.rhythm, planned)
                        }
                        _ => true,
                    };
                    (Some(per_minute), None, on, good)
                }
                Rhythm::Dimmed { hertz, on } => (None, Some(hertz), on, true),
            };
            list.push(RhythmReport {
                point: touched.point.to_string(),
                step: number + 1,
                per_minute: per_minute.map(round),
                hertz: hertz.map(round),
                on_percent: round(on * 100.0),
                good,
                say: text::rhythm(&touched.point.to_string(), seen.rhythm, good),
            });
        }
    }
    list
}
