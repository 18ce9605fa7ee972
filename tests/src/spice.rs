//! ngspice as an outside solver: a [`Net`] as netlist, its operating point.
//!
//! ngspice replaces the foot of a diode's reverse curve below −3·n·Vt by
//! `−Is·(1 + (3·n·Vt / (e·V))³)` (seen on ngspice 39 with one reversed diode,
//! checked in `tests/ngspice.rs`), which is up to 0.4 % of Is off Shockley's
//! law. A behavioural source beside each diode adds exactly that difference,
//! so that both sides solve the same equation.

use crate::solvers::{Device, Net};
use loomproof_core::solve::THERMAL;
use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

/// How diodes are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Diodes {
    /// As ngspice has them.
    Plain,
    /// With the difference to Shockley's law made good.
    Shockley,
}

/// The netlist of a net, with `shunt` siemens across every diode.
#[must_use]
pub fn netlist(net: &Net, shunt: f64, diodes: Diodes) -> String {
    let mut text = format!(
        "* loomproof\n.options temp=27 tnom=27 reltol=1e-7 abstol=1e-15 vntol=1e-10 \
         gmin={shunt:e} itl1=1000\n"
    );
    for (number, device) in net.devices.iter().enumerate() {
        let _ = match *device {
            Device::Resistor(a, b, ohms) => writeln!(text, "R{number} {a} {b} {:e}", ohms.0),
            Device::Source(node, volts, ohms) => writeln!(
                text,
                "V{number} s{number} 0 {:e}\nR{number} s{number} {node} {:e}",
                volts.0, ohms.0
            ),
            Device::Diode(a, k, junction) => {
                let (is, n) = (junction.saturation.0, junction.emission);
                let vte = n * THERMAL;
                let _ = writeln!(
                    text,
                    "D{number} {a} {k} m{number}\n.model m{number} D(IS={is:e} N={n:e} RS=0)"
                );
                match diodes {
                    Diodes::Plain => Ok(()),
                    Diodes::Shockley => writeln!(
                        text,
                        "B{number} {a} {k} I = V({a},{k}) < {knee:e} ? {is:e}*(exp(V({a},{k})/{vte:e}) \
                         + {foot:e}/(V({a},{k})*V({a},{k})*V({a},{k}))) : 0",
                        knee = -3.0 * vte,
                        foot = (3.0 * vte / std::f64::consts::E).powi(3),
                    ),
                }
            }
        };
    }
    text.push_str(".control\nset numdgt=15\nop\nprint all\nquit\n.endc\n.end\n");
    text
}

/// The voltage of every node from 1 on, by ngspice.
///
/// # Errors
/// What ngspice said when it gave no operating point.
pub fn solve(
    ngspice: &Path,
    folder: &Path,
    net: &Net,
    shunt: f64,
    diodes: Diodes,
) -> Result<Vec<f64>, String> {
    let file = folder.join("net.cir");
    std::fs::write(&file, netlist(net, shunt, diodes)).map_err(|error| error.to_string())?;
    let output = Command::new(ngspice)
        .arg("-b")
        .arg(&file)
        .output()
        .map_err(|error| error.to_string())?;
    let said = String::from_utf8_lossy(&output.stdout);
    let mut volts = vec![None; net.nodes];
    for line in said.lines() {
        let Some((name, value)) = line.split_once('=') else {
            continue;
        };
        let name = name.trim();
        let number = name.strip_prefix("v(").and_then(|n| n.strip_suffix(')'));
        if let (Some(node), Ok(value)) = (
            number.and_then(|n| n.parse::<usize>().ok()),
            value.trim().parse(),
        ) && let Some(slot) = volts.get_mut(node.wrapping_sub(1))
        {
            *slot = Some(value);
        }
    }
    let found: Vec<f64> = volts.iter().flatten().copied().collect();
    if found.len() == net.nodes {
        return Ok(found);
    }
    let complaints = String::from_utf8_lossy(&output.stderr);
    Err(format!(
        "{said}{complaints}\n{}",
        netlist(net, shunt, diodes)
    ))
}
