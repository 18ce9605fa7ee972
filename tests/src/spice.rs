//! ngspice as an outside solver: a [`Net`] as netlist, its operating point.
//!
//! ngspice replaces the foot of a diode's reverse curve below −3·n·Vt by
//! `−Is·(1 + (3·n·Vt / (e·V))³)` (seen on ngspice 39 with one reversed diode,
//! checked in `outside/programs/ngspice.rs`), which is up to 0.4 % of Is off Shockley's
//! law. A behavioural source beside each diode adds exactly that difference,
//! so that both sides solve the same equation.

use crate::solvers::{Device, Net};
use loomproof_core::solve::THERMAL;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
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
    text.push_str(".end\n");
    text
}

/// A net, the siemens across every diode, and how diodes are written.
pub type Asked<'n> = (&'n Net, f64, Diodes);

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
    let mut all = solve_all(ngspice, folder, &[(net, shunt, diodes)])?;
    Ok(all.pop().unwrap_or_default())
}

/// The same of many nets by one run of the program.
///
/// # Errors
/// What ngspice said when it gave no operating point of one of them.
pub fn solve_all(
    ngspice: &Path,
    folder: &Path,
    asked: &[Asked<'_>],
) -> Result<Vec<Vec<f64>>, String> {
    let fail = |error: std::io::Error| error.to_string();
    let file = write(folder, asked).map_err(fail)?;
    let output = Command::new(ngspice)
        .current_dir(folder)
        .arg("-b")
        .arg(&file)
        .output()
        .map_err(fail)?;
    volts(&String::from_utf8_lossy(&output.stdout), asked).map_err(|said| {
        let complaints = String::from_utf8_lossy(&output.stderr);
        format!("{said}\n{complaints}")
    })
}

/// Writes many nets, and a file that has ngspice solve them one after the other.
///
/// # Errors
/// What keeps them from being written.
pub fn write(folder: &Path, asked: &[Asked<'_>]) -> std::io::Result<PathBuf> {
    let mut run = "* loomproof\n.control\nset numdgt=15\n".to_owned();
    for (number, (net, shunt, diodes)) in asked.iter().enumerate() {
        let name = format!("net-{number}.cir");
        std::fs::write(folder.join(&name), netlist(net, *shunt, *diodes))?;
        let _ = write!(
            run,
            "echo CIRCUIT {number}\nsource {name}\nop\nprint all\nremcirc\n"
        );
    }
    run.push_str("quit\n.endc\n.end\n");
    let file = folder.join("run.cir");
    std::fs::write(&file, run)?;
    Ok(file)
}

/// The voltages of every net from what ngspice printed.
///
/// # Errors
/// What it printed of a net without an operating point, and the net.
pub fn volts(said: &str, asked: &[Asked<'_>]) -> Result<Vec<Vec<f64>>, String> {
    let mut parts: Vec<&str> = said.split("CIRCUIT ").skip(1).collect();
    parts.resize(asked.len(), "");
    let mut all = Vec::new();
    for (part, (net, shunt, diodes)) in parts.into_iter().zip(asked) {
        let volts = read(part, net.nodes);
        if volts.len() < net.nodes {
            return Err(format!("{part}\n{}", netlist(net, *shunt, *diodes)));
        }
        all.push(volts);
    }
    Ok(all)
}

/// The node voltages of what is printed of one circuit; fewer than there are
/// nodes where one is not printed.
fn read(said: &str, nodes: usize) -> Vec<f64> {
    let mut volts = vec![None; nodes];
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
    volts.into_iter().flatten().collect()
}
