//! Left and right that look exchanged.

use std::collections::BTreeMap;

use crate::plan::model::Job;
use crate::review::finding::{Finding, Level, source};
use crate::review::network::{Network, What};

use super::functions::{net, nodes_of};

/// A side of the vehicle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Left.
    Left,
    /// Right.
    Right,
}

impl Side {
    const fn word(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }
}

/// Something of one side that leads to something of the other.
#[derive(Debug, Clone, PartialEq)]
pub struct Crossed {
    /// Where.
    pub place: String,
    /// The side that it is of.
    pub says: Side,
    /// In words.
    pub say: String,
    /// The variants in which that is so.
    pub variants: Vec<BTreeMap<String, String>>,
}

/// The side that a text speaks of, if it speaks of one alone.
#[must_use]
pub fn side(text: &str) -> Option<Side> {
    let words = text.split(|c: char| !c.is_alphabetic());
    let (mut left, mut right) = (false, false);
    for word in words {
        left |= word.eq_ignore_ascii_case("left");
        right |= word.eq_ignore_ascii_case("right");
    }
    match (left, right) {
        (true, false) => Some(Side::Left),
        (false, true) => Some(Side::Right),
        _ => None,
    }
}

/// Functions whose wires end at conductors of the other side, and taps that
/// are on the other side than the conductor they bite.
pub fn crossed(job: &Job, network: &Network, into: &mut Vec<Crossed>) {
    for function in &job.functions {
        let Some(says) = side(&function.name).or_else(|| side(&function.switch_on)) else {
            continue;
        };
        for place in &function.seen_at {
            let nodes = net(&nodes_of(place, job, network), network, false);
            let here = |name: &String| {
                network
                    .bodies
                    .get(name)
                    .is_some_and(|node| nodes.contains(node))
            };
            let conductors = job.conductors.iter().map(|it| (&it.name, &it.function));
            let pins = job.electrics.pins.iter().map(|it| (&it.name, &it.function));
            let texts = conductors.chain(pins).filter(|(name, _)| here(name));
            let mut met: Vec<(String, Side)> = texts
                .filter_map(|(name, text)| {
                    let text = text.as_ref()?;
                    Some((format!("{name} ({text})"), side(text)?))
                })
                .collect();
            for branch in &network.branches {
                if let What::Load(load) = branch.what
                    && nodes.contains(&branch.a)
                {
                    let load = &job.electrics.loads[load];
                    let texts = [Some(&load.name), load.place.as_ref()];
                    let own = texts.into_iter().flatten().find_map(|text| side(text));
                    met.extend(own.map(|own| (load.name.clone(), own)));
                }
            }
            let wrong: Vec<&str> = met
                .iter()
                .filter(|(_, own)| *own != says)
                .map(|(name, _)| name.as_str())
                .collect();
            if !wrong.is_empty() && wrong.len() == met.len() {
                into.push(Crossed {
                    place: place.clone(),
                    says,
                    say: format!(
                        "{} is seen at {place}, which leads to {}",
                        function.name,
                        wrong.join(", ")
                    ),
                    variants: Vec::new(),
                });
            }
        }
    }
    for tap in &job.taps {
        let conductor = job.conductors.iter().find(|it| it.name == tap.on);
        let text = conductor.and_then(|it| it.function.as_ref());
        let (Some(place), Some(text)) = (&tap.place, text) else {
            continue;
        };
        if let (Some(there), Some(says)) = (side(place), side(text))
            && there != says
        {
            into.push(Crossed {
                place: tap.name.clone(),
                says,
                say: format!("tap {} ({place}) bites {} ({text})", tap.name, tap.on),
                variants: Vec::new(),
            });
        }
    }
}

/// One finding for a pair that is crossed both ways, a note for a single one.
pub fn report(all: &[Crossed], found: &mut Vec<Finding>) {
    let mut used = vec![false; all.len()];
    for (number, one) in all.iter().enumerate() {
        let meet = |other: &Crossed| {
            let every = |it: &Crossed| it.variants.iter().any(BTreeMap::is_empty);
            every(one) || every(other) || one.variants.iter().any(|v| other.variants.contains(v))
        };
        let mut others = all.iter().enumerate().skip(number + 1);
        let other = others.find(|(at, other)| {
            !used[*at] && other.says != one.says && other.place != one.place && meet(other)
        });
        if used[number] {
            continue;
        }
        used[number] = true;
        let fix = "check both sides on the vehicle; where they are exchanged, exchange the two ends in the plan";
        let mut finding = match other {
            Some((at, other)) => {
                used[at] = true;
                let say = format!("Left and right look exchanged: {}; {}.", one.say, other.say);
                let place = format!("{}, {}", one.place, other.place);
                Finding::new(
                    "left-right",
                    Level::Wrong,
                    source::PRACTICE,
                    place,
                    say,
                    fix,
                )
            }
            None => {
                let say = format!(
                    "Something of the {} side is crossed: {}.",
                    one.says.word(),
                    one.say
                );
                Finding::new(
                    "left-right",
                    Level::Note,
                    source::PRACTICE,
                    &one.place,
                    say,
                    fix,
                )
            }
        };
        finding.variants = one.variants.clone();
        found.push(finding);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_side_is_a_word_of_its_own() {
        assert_eq!(side("left door switch"), Some(Side::Left));
        assert_eq!(side("lamp-right"), Some(Side::Right));
        assert_eq!(side("Right rear"), Some(Side::Right));
        assert_eq!(side("bright leftover"), None);
        assert_eq!(side("left and right"), None);
    }
}
