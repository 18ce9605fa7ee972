//! The page.

use std::fmt::Write as _;

use super::explaining::{Explaining, summary};
use super::growth::{Grown, curve, growth};
use super::plot::Curve;
use super::rates::Rates;

/// Times faster than LU of the whole circuit that is asked for: linear, with
/// diodes.
pub const FASTER: (f64, f64) = (20.0, 5.0);

/// Greatest difference of the volts, in volts.
pub const APART: f64 = 1e-6;

/// Seconds for all singles, and for the best of singles and pairs, proved.
pub const SECONDS: (f64, f64) = (0.2, 2.0);

/// Everything that one run found.
#[derive(Debug, Clone)]
pub struct Found {
    /// Linear first.
    pub rates: Vec<Rates>,
    /// Injected faults on bench-64.
    pub explaining: Vec<Explaining>,
    /// Generated harnesses, by rising size.
    pub grown: Vec<Grown>,
}

impl Found {
    /// The curves of the plot.
    #[must_use]
    pub fn curves(&self) -> Vec<Curve> {
        let one = |name: &str, colour, of: fn(&Grown) -> f64| Curve {
            name: format!("{name}: points^{:.1}", growth(&self.grown, of)),
            colour,
            points: curve(&self.grown, of),
        };
        vec![
            one("one hypothesis", "#2b6cb0", |g| g.rates.product),
            one("by LU, whole circuit", "#c53030", |g| g.rates.whole),
            one("whole explanation", "#2f855a", |g| g.whole),
            one("by LU, touched islands", "#b7791f", |g| g.rates.touched),
        ]
    }

    /// Goals that were not met.
    #[must_use]
    pub fn missed(&self) -> Vec<String> {
        let mut missed = Vec::new();
        for rates in &self.rates {
            let wanted = if rates.diodes == 0 {
                FASTER.0
            } else {
                FASTER.1
            };
            if rates.faster() < wanted {
                missed.push(format!("{}: {:.1} times", rates.name, rates.faster()));
            }
        }
        let grown = self.grown.iter().map(|grown| &grown.rates);
        for rates in self.rates.iter().chain(grown) {
            if rates.apart > APART {
                missed.push(format!("{}: {:.1e} V apart", rates.name, rates.apart));
            }
        }
        for one in &self.explaining {
            if one.singles > SECONDS.0 || one.pairs > SECONDS.1 {
                let Explaining {
                    faults,
                    singles,
                    pairs,
                    ..
                } = one;
                missed.push(format!(
                    "{faults}: singles {singles:.2} s, pairs {pairs:.2} s"
                ));
            }
        }
        missed
    }

    /// The page.
    #[must_use]
    pub fn page(&self, commit: &str, plot: &str) -> String {
        let mut out = format!(
            "# Speed of the diagnosis\n\n\
             Written on commit `{commit}` by\n\n\
             ```sh\n\
             cargo run --release -p loomproof-tests --example diagnosis_speed -- --write docs/diagnosis-speed.md\n\
             ```\n\n\
             One run on one thread. Times are processor time of that thread, so that other work on the machine \
             counts less. Times differ from machine to machine, ratios hardly.\n\n"
        );
        self.solving(&mut out);
        self.explanations(&mut out);
        self.growing(&mut out, plot);
        out
    }

    fn solving(&self, out: &mut String) {
        out.push_str(
            "## One hypothesis\n\n\
             A hypothesis is solved as trees and chords: only the islands that it touches, only the currents of what is \
             beside the trees unknown. Beside it the same hypothesis by dense LU (nalgebra, partial pivoting) of its node \
             equations. Both answer the same: the voltage at every point that the first pass observes in the touched \
             islands, under every drive pattern that differs there. Both start from the edited elements; judging and \
             likelihood are left out. The product's time has the variance of every voltage in it, LU's has not. LU \
             factors once for each drive pattern and reads all its points from that; diodes by Newton iteration with the \
             product's companion model and step limits, from 0 V in both. LU is timed on an even sample of all systems.\n\n\
             | ",
        );
        let mut row = |name: &str, cell: &dyn Fn(&Rates) -> String| {
            let cells: Vec<String> = self.rates.iter().map(cell).collect();
            let _ = writeln!(out, "{name} | {} |", cells.join(" | "));
            if name.is_empty() {
                let _ = writeln!(out, "| --- |{}", " --- |".repeat(cells.len()));
            }
            out.push_str("| ");
        };
        row("", &|r| r.name.clone());
        row("hypotheses", &|r| r.hypotheses.to_string());
        row("nodes of the whole circuit", &|r| r.nodes.to_string());
        row("diodes", &|r| r.diodes.to_string());
        row("nodes of the touched islands, mean", &|r| {
            format!("{:.1}", r.touched_nodes)
        });
        row("drive patterns a hypothesis, mean", &|r| {
            format!("{:.1}", r.systems)
        });
        row("points observed under them, mean", &|r| {
            format!("{:.1}", r.observed)
        });
        row("unknowns of the product's systems, at most", &|r| {
            r.unknowns.to_string()
        });
        row("matrices that LU factors for a pattern, mean", &|r| {
            format!("{:.2}", r.iterations)
        });
        row("hypotheses per second, product", &|r| {
            format!("{:.0}", 1.0 / r.product)
        });
        row("the same with bands and likelihood", &|r| {
            format!("{:.0}", 1.0 / r.scored)
        });
        row("hypotheses per second, LU of the whole circuit", &|r| {
            format!("{:.0}", 1.0 / r.whole)
        });
        row("hypotheses per second, LU of the touched islands", &|r| {
            format!("{:.0}", 1.0 / r.touched)
        });
        row("**times faster than LU of the whole circuit**", &|r| {
            format!("**{:.0}**", r.faster())
        });
        row("times faster than LU of the touched islands only", &|r| {
            format!("{:.1}", r.faster_touched())
        });
        row("greatest difference, V", &|r| format!("{:.1e}", r.apart));
        row("voltages compared", &|r| r.compared.0.to_string());
        row("left out, as nothing ties them", &|r| {
            r.compared.1.to_string()
        });
        row("greatest condition number, LU of the whole circuit", &|r| {
            conditioned(r.condition.0)
        });
        row("greatest condition number, product", &|r| {
            conditioned(r.condition.1)
        });
        row("the same, rows scaled to one", &|r| {
            conditioned(r.condition.2)
        });
        out.truncate(out.len() - 2);
        let _ = writeln!(
            out,
            "\nAsked for: {:.0} times on a linear circuit, {:.0} times with diodes, differences below {APART:.0e} V. \
             Solving the touched islands only is the product's idea as much as the trees are, so LU with that idea lent \
             to it is the harder comparison. A blocking diode is 1 TΩ beside milliohms: it makes the condition number, \
             but it stands alone in its row, and scaled rows show what is left. The product checks every solution by its \
             residual and refuses it above 1e-11 V.\n",
            FASTER.0, FASTER.1
        );
    }

    fn explanations(&self, out: &mut String) {
        let Some(first) = self.explaining.first() else {
            return;
        };
        let _ = write!(
            out,
            "## From readings to the answer\n\n\
             bench-64, {} single hypotheses, {} sets of one or two. Readings come from the virtual bench with tolerance \
             and noise on. *Singles*: every single fault scored in full. *Pairs*: the best of all singles and pairs \
             found, and proved best. *All*: sets of up to four with their ohms and intervals. Each from the readings, \
             the healthy bands included.\n\n\
             | injected | values judged | singles, s | pairs, s | all, s | sets really scored |\n\
             | --- | --- | --- | --- | --- | --- |\n",
            first.hypotheses, first.proof.sets
        );
        for one in &self.explaining {
            let _ = writeln!(
                out,
                "| `{}` | {} | {:.2} | {:.2} | {:.2} | {} |",
                one.faults, one.judged, one.singles, one.pairs, one.whole, one.proof.scored
            );
        }
        let all = [
            summary(&self.explaining, |e| e.singles),
            summary(&self.explaining, |e| e.pairs),
            summary(&self.explaining, |e| e.whole),
        ];
        for (name, of) in [("median", 0), ("worst", 1)] {
            let pick = |k: usize| if of == 0 { all[k].0 } else { all[k].1 };
            let _ = writeln!(
                out,
                "| **{name}** | | {:.2} | {:.2} | {:.2} | |",
                pick(0).as_secs_f64(),
                pick(1).as_secs_f64(),
                pick(2).as_secs_f64()
            );
        }
        let (singles, pairs) = SECONDS;
        let _ = writeln!(
            out,
            "\nAsked for: singles in {singles} s, pairs in {pairs} s; these are times of one machine."
        );
        let missed = self.missed();
        for miss in &missed {
            let _ = writeln!(out, "\n**Missed:** {miss}.");
        }
        out.push('\n');
    }

    fn growing(&self, out: &mut String, plot: &str) {
        if self.grown.is_empty() {
            return;
        }
        let _ = write!(
            out,
            "## Growth\n\n\
             Generated harnesses on the bench; of several of a size the geometric mean. The whole explanation is the \
             median over faults spread over the catalogue, injected one at a time; *proved* is for how many of them \
             the best of all pairs was proved within the effort that the search allows itself.\n\n\
             ![seconds over test points]({plot})\n\n\
             | points | nodes | single hypotheses | drive patterns | LU whole : product | LU touched : product | explanation : one hypothesis | proved | greatest difference, V |\n\
             | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n"
        );
        for one in &self.grown {
            let rates = &one.rates;
            let _ = writeln!(
                out,
                "| {} | {} | {} | {:.1} | {:.0} | {:.1} | {:.0} | {} of {} | {:.0e} |",
                rates.points,
                rates.nodes,
                rates.hypotheses,
                rates.systems,
                rates.faster(),
                rates.faster_touched(),
                one.whole / rates.product,
                one.proved.iter().filter(|proved| **proved).count(),
                one.proved.len(),
                rates.apart
            );
        }
        out.push_str("\nLeast-squares exponents of the time over test points:\n\n");
        for curve in self.curves() {
            let _ = writeln!(out, "- {}", curve.name);
        }
    }
}

/// A condition number, as far as singular values in `f64` tell it.
fn conditioned(number: f64) -> String {
    if number > 1.0 / f64::EPSILON {
        return format!("over {:.0e}", 1.0 / f64::EPSILON);
    }
    format!("{number:.0e}")
}
