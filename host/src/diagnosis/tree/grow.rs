//! Growing the trees, and putting what is beside them to them.

use loomproof_core::circuit::{Element, GROUND, NodeId, Part};

use super::{Branch, Chord, Forest, Group, Law, NONE, Tree};

impl Forest {
    /// Grows the trees; returns the wires that close a loop.
    pub(super) fn plant(&mut self, elements: &[Element], alone: &[NodeId]) -> Vec<Element> {
        let wood = Wood::of(self.local.len(), elements, alone);
        let mut used = vec![false; elements.len()];
        // Trees that stand on chassis first, so that the way to chassis is a branch.
        let feet = elements.iter().enumerate().filter(|(_, e)| is_foot(e));
        for (at, foot) in feet {
            let node = if foot.a == GROUND { foot.b } else { foot.a };
            if self.index(node) == NONE
                && let Some(mark) = used.get_mut(at)
            {
                *mark = true;
                self.grow(elements, &wood, &mut used, node, wire(foot));
            }
        }
        for node in &wood.nodes {
            if self.index(*node) == NONE {
                self.grow(elements, &wood, &mut used, *node, None);
            }
        }
        let rest = elements.iter().zip(used);
        rest.filter(|(e, used)| !used && wire(e).is_some() && e.a != e.b)
            .map(|(e, _)| *e)
            .collect()
    }

    fn grow(
        &mut self,
        elements: &[Element],
        wood: &Wood,
        used: &mut [bool],
        root: NodeId,
        foot: Option<(f64, f64)>,
    ) {
        let tree = self.trees.len() as u32;
        let start = self.branches.len();
        let (ohms, spread) = foot.unwrap_or((0.0, 0.0));
        let branch = Branch {
            parent: NONE,
            depth: 0,
            tree,
            ohms,
            spread,
            to_root: ohms,
        };
        self.put(root, branch);
        let mut queue = vec![root];
        let mut next = 0;
        while let Some(&node) = queue.get(next) {
            next += 1;
            let at = self.index(node);
            let Some(from) = self.branches.get(at as usize).copied() else {
                continue;
            };
            for &wire_at in wood.at(node) {
                let wire_at = wire_at as usize;
                let (Some(element), Some(mark)) = (elements.get(wire_at), used.get_mut(wire_at))
                else {
                    continue;
                };
                let other = if element.a == node {
                    element.b
                } else {
                    element.a
                };
                if *mark || other == GROUND || self.index(other) != NONE {
                    continue;
                }
                if let Some((ohms, spread)) = wire(element) {
                    *mark = true;
                    let branch = Branch {
                        parent: at,
                        depth: from.depth + 1,
                        tree,
                        ohms,
                        spread,
                        to_root: from.to_root + ohms,
                    };
                    self.put(other, branch);
                    queue.push(other);
                }
            }
        }
        self.trees.push(Tree {
            nodes: start..self.branches.len(),
            grounded: foot.is_some(),
            group: NONE,
        });
    }

    fn put(&mut self, node: NodeId, branch: Branch) {
        if let Some(slot) = self.local.get_mut(usize::from(node.0)) {
            *slot = self.branches.len() as u32;
        }
        self.branches.push(branch);
    }

    /// Puts trees into groups by the chords between them.
    pub(super) fn bind(&mut self, elements: &[Element], loops: Vec<Element>) {
        let parts = elements.iter().filter(|e| wire(e).is_none() && e.a != e.b);
        let chords: Vec<Chord> = parts
            .copied()
            .chain(loops)
            .map(|e| Chord {
                a: self.index(e.a),
                b: self.index(e.b),
                law: law(&e.part),
            })
            .collect();
        let mut home: Vec<u32> = (0..self.trees.len() as u32).collect();
        let root = |home: &[u32], mut at: u32| {
            while let Some(&up) = home.get(at as usize) {
                if up == at {
                    break;
                }
                at = up;
            }
            at
        };
        for chord in &chords {
            let (Some(a), Some(b)) = (self.tree(chord.a), self.tree(chord.b)) else {
                continue;
            };
            let (a, b) = (root(&home, a), root(&home, b));
            if let Some(up) = home.get_mut(a.max(b) as usize) {
                *up = a.min(b);
            }
        }
        let mut number = vec![NONE; self.trees.len()];
        for tree in 0..self.trees.len() as u32 {
            let top = root(&home, tree);
            if tree == top {
                if let Some(slot) = number.get_mut(tree as usize) {
                    *slot = self.groups.len() as u32;
                }
                self.groups.push(Group::default());
            }
            let group = number.get(top as usize).copied().unwrap_or(NONE);
            if let (Some(t), Some(g)) = (
                self.trees.get_mut(tree as usize),
                self.groups.get_mut(group as usize),
            ) {
                t.group = group;
                g.trees.push(tree);
                g.anchored |= t.grounded;
            }
        }
        for chord in chords {
            let end = if chord.a == NONE { chord.b } else { chord.a };
            let group = self.tree(end).and_then(|t| self.trees.get(t as usize));
            let Some(group) = group.and_then(|t| self.groups.get_mut(t.group as usize)) else {
                continue;
            };
            group.anchored |= chord.a == NONE || chord.b == NONE;
            group.loads |= matches!(chord.law, Law::Load(..));
            group.chords.push(chord);
        }
        for at in 0..self.groups.len() {
            let chords = self.groups.get(at).map_or(Vec::new(), |g| g.chords.clone());
            let mut shared = Vec::with_capacity(chords.len() * chords.len());
            for p in &chords {
                shared.extend(chords.iter().map(|q| self.shared(p, q)));
            }
            if let Some(group) = self.groups.get_mut(at) {
                group.shared = shared;
            }
        }
    }
}

/// Which wires meet at each node.
struct Wood {
    number: Vec<u32>,
    nodes: Vec<NodeId>,
    /// Where the wires of each numbered node end in `wires`; they start where
    /// those of the one before end.
    ends: Vec<u32>,
    wires: Vec<u32>,
}

impl Wood {
    fn of(nodes: usize, elements: &[Element], alone: &[NodeId]) -> Self {
        let mut wood = Self {
            number: vec![NONE; nodes],
            nodes: Vec::with_capacity(elements.len() + alone.len()),
            ends: Vec::with_capacity(elements.len() + alone.len()),
            wires: Vec::new(),
        };
        for element in elements {
            for node in [element.a, element.b] {
                let count = wood.note(node);
                if let (Some(count), Part::Wire { .. }) = (count, element.part) {
                    *count += 1;
                }
            }
        }
        for node in alone {
            wood.note(*node);
        }
        // From counts to where each node's wires start; filling them in moves
        // that to where they end.
        let mut total = 0;
        for slot in &mut wood.ends {
            total += std::mem::replace(slot, total);
        }
        wood.wires.resize(total as usize, NONE);
        let wires = elements.iter().zip(0..);
        for (element, at) in wires.filter(|(e, _)| wire(e).is_some()) {
            for node in [element.a, element.b] {
                let number = wood.number.get(usize::from(node.0)).copied();
                if let Some(end) = number.and_then(|number| wood.ends.get_mut(number as usize)) {
                    if let Some(slot) = wood.wires.get_mut(*end as usize) {
                        *slot = at;
                    }
                    *end += 1;
                }
            }
        }
        wood
    }

    /// Numbers a node; its entry in `ends`.
    fn note(&mut self, node: NodeId) -> Option<&mut u32> {
        let slot = self.number.get_mut(usize::from(node.0))?;
        if node != GROUND && *slot == NONE {
            *slot = self.nodes.len() as u32;
            self.nodes.push(node);
            self.ends.push(0);
        }
        self.ends.get_mut(*slot as usize)
    }

    fn at(&self, node: NodeId) -> &[u32] {
        let number = self.number.get(usize::from(node.0)).copied();
        let Some(number) = number.filter(|number| *number != NONE) else {
            return &[];
        };
        let number = number as usize;
        let before = number.checked_sub(1).and_then(|at| self.ends.get(at));
        let start = before.map_or(0, |end| *end as usize);
        let end = self.ends.get(number).map_or(start, |end| *end as usize);
        self.wires.get(start..end).unwrap_or_default()
    }
}

/// Resistance and spread of a wire.
fn wire(element: &Element) -> Option<(f64, f64)> {
    match element.part {
        Part::Wire { ohms, spread } => Some((ohms.0, spread.0)),
        _ => None,
    }
}

/// Whether a wire goes to chassis.
fn is_foot(element: &Element) -> bool {
    wire(element).is_some() && (element.a == GROUND) != (element.b == GROUND)
}

fn law(part: &Part) -> Law {
    match *part {
        Part::Wire { ohms, spread } | Part::Resistor { ohms, spread } => {
            Law::Ohms(ohms.0, spread.0)
        }
        Part::Load { least, most } => Law::Load(least.0, most.0),
        Part::Diode(junction) => Law::Diode(junction),
    }
}
