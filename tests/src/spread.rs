//! What a resistance between two clips is measured as, over many probes of the
//! virtual bench: bias and spread, decade by decade.

use std::fmt::Write as _;

use loomproof::bench::{Bare, Bench, Settings, VirtualFlash};
use loomproof::link::{Link, VirtualProbe};
use loomproof::probe::nulls::measure;
use loomproof_core::instrument::{PROTECTION, PULL, REFERENCE, SOURCE};
use loomproof_core::units::{Micros, Ohms};
use loomproof_core::wire::{
    LeadId, LeadSet, Place, Reading, Reply, Request, Sense, SenseMode, Step,
};

/// Probes that measure each value.
const PROBES: u64 = 40;

/// Where the pull-down becomes the better measurement (`docs/probe-hardware.md`, S87).
const PULL_FROM: f64 = 10_500.0;

/// The values, two a decade, from below the guaranteed span to above it.
pub const VALUES: [f64; 15] = [
    0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0, 1e3, 3e3, 10e3, 30e3, 100e3, 300e3, 1e6,
];

/// What one value is measured as.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// The resistance.
    pub real: Ohms,
    /// Mean error.
    pub bias: Ohms,
    /// Standard deviation of the error.
    pub spread: Ohms,
}

/// Measures every value with every probe, the clips nulled before.
///
/// # Errors
/// What does not work, in words.
pub fn measured() -> Result<Vec<Measured>, String> {
    let mut errors = vec![Vec::new(); VALUES.len()];
    for seed in 0..PROBES {
        let settings = Settings {
            seed,
            ..Settings::default()
        };
        let bench = |clips| Bench::bare(clips, &settings).map_err(|e| e.to_string());
        let session = |bench| {
            VirtualProbe::with_flash(bench, VirtualFlash::default())
                .session()
                .map_err(|e| e.to_string())
        };
        let clips = measure(&mut session(bench(Bare::OnBar)?)?).map_err(|e| e.to_string())?;
        let (a, b) = (LeadId((seed % 63) as u8), LeadId((seed % 31 + 33) as u8));
        let (a, b) = if a == b { (LeadId(0), b) } else { (a, b) };
        let own = |lead: LeadId| clips.get(usize::from(lead.0)).copied().flatten();
        let clip = own(a).zip(own(b)).ok_or("a clip was not nulled")?;
        let clip = clip.0.value() + clip.1.value();
        for (value, errors) in VALUES.iter().zip(&mut errors) {
            let mut link = session(bench(Bare::Across(a, b, Ohms(*value)))?)?;
            errors.push(ohms(&mut link, a, b, *value > PULL_FROM)? - clip - value);
        }
    }
    let each = VALUES.iter().zip(errors);
    Ok(each
        .map(|(value, errors)| {
            let count = errors.len() as f64;
            let bias = errors.iter().sum::<f64>() / count;
            let square = errors.iter().map(|e| (e - bias).powi(2)).sum::<f64>();
            Measured {
                real: Ohms(*value),
                bias: Ohms(bias),
                spread: Ohms((square / (count - 1.0)).sqrt()),
            }
        })
        .collect())
}

/// Clips and resistor together, by the two measurements of `docs/probe-hardware.md`,
/// *Error budget of a resistance*.
fn ohms(link: &mut dyn Link, a: LeadId, b: LeadId, pulled: bool) -> Result<f64, String> {
    let one = |lead: LeadId| -> LeadSet { [lead].into_iter().collect() };
    let mode = if pulled {
        SenseMode::PullDown
    } else {
        SenseMode::Plain
    };
    let step = Step {
        high: one(a),
        low: if pulled { LeadSet::EMPTY } else { one(b) },
        settle: Micros(300),
        pulled: Micros(5_000),
        samples: 16,
        senses: [a, b]
            .map(|lead| Sense { lead, mode })
            .into_iter()
            .collect(),
    };
    let mut asked = |request| link.exchange(&request).map_err(|e| e.to_string());
    asked(Request::Arm(Place::Vehicle))?;
    let Reply::Readings { readings, .. } = asked(Request::Step(step))? else {
        return Err("the probe refused".to_owned());
    };
    let volts = |at: usize| match readings.get(at) {
        Some(Reading::Volts(level)) => Ok(level.volts().value()),
        Some(Reading::Above) => Ok(REFERENCE.value()),
        other => Err(format!("{other:?} is no voltage")),
    };
    let (high, low) = (volts(0)?, volts(1)?);
    Ok(if pulled {
        PULL.value() * (REFERENCE.value() / low - 1.0) - PROTECTION.value() - SOURCE.value()
    } else {
        SOURCE.value() * (high - low) / low
    })
}

/// The table, and the plot by this name.
#[must_use]
pub fn section(all: &[Measured], plot: &str) -> String {
    let mut out = format!(
        "\n## Resistance: bias and spread\n\n\
         {PROBES} probes of the virtual bench with 64 leads, each with tolerances, leakage, \
         offset, gain and noise of its own (`host/src/bench/front_end.rs`; its pulls are within \
         1 %, those of the bill of materials within 0.1 %), measure each value between two \
         clips that were nulled before.\n\n![Bias and spread]({plot})\n\n\
         | resistance | bias | spread (one deviation) | spread, of the value |\n\
         | ---: | ---: | ---: | ---: |\n"
    );
    for m in all {
        let _ = writeln!(
            out,
            "| {} | {} | {} | {:.2} % |",
            ohms_text(m.real.0),
            ohms_text(m.bias.0),
            ohms_text(m.spread.0),
            m.spread.0 / m.real.0 * 100.0
        );
    }
    out.push_str(
        "\nBelow 0.3 Ω and above 300 kΩ, the ends of the guaranteed span, the values are shown to \
         say where it ends; the probe gives no number there.\n",
    );
    out
}

fn ohms_text(ohms: f64) -> String {
    match ohms.abs() {
        size if size < 10.0 => format!("{ohms:.3} Ω"),
        size if size < 1e3 => format!("{ohms:.1} Ω"),
        size if size < 1e6 => format!("{:.2} kΩ", ohms * 1e-3),
        _ => format!("{:.2} MΩ", ohms * 1e-6),
    }
}

/// Bias and spread as shares of the value over the value, both axes logarithmic.
#[must_use]
pub fn plot(all: &[Measured]) -> String {
    const WIDE: f64 = 560.0;
    const HIGH: f64 = 320.0;
    const MARGIN: f64 = 56.0;
    // 0.1 Ω to 1 MΩ; 0.001 % to 100 %.
    let x = |ohms: f64| MARGIN + (ohms.log10() + 1.0) / 7.0 * WIDE;
    let y = |share: f64| MARGIN + (-share.max(1e-5).log10()) / 5.0 * HIGH;
    let (width, height) = (WIDE + 2.0 * MARGIN, HIGH + 2.0 * MARGIN);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
         font-family=\"sans-serif\" font-size=\"12\">\n\
         <rect width=\"{width}\" height=\"{height}\" fill=\"#ffffff\"/>\n\
         <rect x=\"{MARGIN}\" y=\"{MARGIN}\" width=\"{WIDE}\" height=\"{HIGH}\" fill=\"none\" stroke=\"#444444\"/>\n"
    );
    for (decade, name) in (-1..=6).zip(["0.1 Ω", "1", "10", "100", "1 kΩ", "10", "100", "1 MΩ"])
    {
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{name}</text>",
            x(10_f64.powi(decade)),
            MARGIN + HIGH + 18.0
        );
    }
    for (decade, name) in (-5..=0).zip(["0.001 %", "0.01 %", "0.1 %", "1 %", "10 %", "100 %"]) {
        let at = y(10_f64.powi(decade));
        let _ = writeln!(
            out,
            "<line x1=\"{MARGIN}\" x2=\"{:.1}\" y1=\"{at:.1}\" y2=\"{at:.1}\" stroke=\"#dddddd\"/>\n\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{name}</text>",
            MARGIN + WIDE,
            MARGIN - 6.0,
            at + 4.0
        );
    }
    type Share = fn(&Measured) -> f64;
    let curves: [(&str, &str, Share); 2] = [
        ("spread", "#0072b2", |m| m.spread.0 / m.real.0),
        ("bias, without its sign", "#d55e00", |m| {
            m.bias.0.abs() / m.real.0
        }),
    ];
    for (at, (name, colour, share)) in curves.into_iter().enumerate() {
        let points: Vec<String> = all
            .iter()
            .map(|m| format!("{:.1},{:.1}", x(m.real.0), y(share(m))))
            .collect();
        let _ = writeln!(
            out,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"2\"/>\n\
             <text x=\"{:.1}\" y=\"24\" fill=\"{colour}\">{name}</text>",
            points.join(" "),
            MARGIN + at as f64 * 120.0
        );
    }
    out.push_str("</svg>\n");
    out
}
