//! Photos that are put into the sheet: JPEG and PNG, told by what is in them, without
//! what the camera wrote beside the picture.

use crate::plan::model::Job;

/// The largest photo, bytes: those of phones are below it (common practice).
pub const MOST_BYTES: usize = 12 << 20;

/// The most photos of one sheet, so that it can still be sent and opened.
pub const MOST_PHOTOS: usize = 24;

/// A photo that may be shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Photo {
    /// The finding's number or the place of the plan that it belongs to.
    pub at: String,
    /// What is to be seen on it, where somebody said so.
    pub say: Option<String>,
    /// `image/jpeg` or `image/png`.
    pub kind: &'static str,
    /// The picture, stripped.
    pub bytes: Vec<u8>,
}

/// How a photo is given: `PLACE=FILE`, `PLACE=FILE,say=WORDS`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Given<'g> {
    /// The finding's number or the place.
    pub at: &'g str,
    /// The file.
    pub file: &'g str,
    /// What is to be seen.
    pub say: Option<&'g str>,
}

impl<'g> Given<'g> {
    /// Reads it.
    ///
    /// # Errors
    /// How it is written.
    pub fn read(text: &'g str) -> Result<Self, String> {
        let (at, rest) = text
            .split_once('=')
            .filter(|(at, rest)| !at.trim().is_empty() && !rest.trim().is_empty())
            .ok_or_else(|| {
                format!(
                    "--photo {text}: write PLACE=FILE or PLACE=FILE,say=WORDS, such as \
                     X1:4=kick-panel.jpg"
                )
            })?;
        let (file, say) = match rest.split_once(",say=") {
            Some((file, say)) => (file, Some(say.trim()).filter(|say| !say.is_empty())),
            None => (rest, None),
        };
        let at = at.trim();
        Ok(Self { at, file, say })
    }
}

/// Whether a photo can be taken there: a finding by its number, or something that the
/// plan names (`X1`, `X1:4`, `T1`, `W3`).
#[must_use]
pub fn is_place(job: &Job, findings: usize, at: &str) -> bool {
    if let Ok(number) = at.parse::<usize>() {
        return (1..=findings).contains(&number);
    }
    let name = at.split_once(':').map_or(at, |(name, _)| name);
    let in_range = |cavities: u16| {
        let cavity = at.split_once(':').map(|(_, number)| number.parse::<u16>());
        cavity.is_none_or(|number| number.is_ok_and(|number| (1..=cavities).contains(&number)))
    };
    if let Some(connector) = job.connectors.iter().find(|own| own.name == name) {
        return in_range(connector.cavities);
    }
    let plain = !at.contains(':');
    plain
        && (job.leads.iter().any(|own| own.name == name)
            || job.conductors.iter().any(|own| own.name == name)
            || job.taps.iter().any(|own| own.name == name)
            || job.splices.iter().any(|own| own.name == name)
            || job.rings.iter().any(|own| own.name == name)
            || job.plugs.iter().any(|own| own.name == name)
            || job.relays.iter().any(|own| own.name == name)
            || job.diodes.iter().any(|own| own.name == name)
            || job.lamps.iter().any(|own| own.name == name)
            || job.fuses.iter().any(|own| own.name == name))
}

/// A picture without what the camera wrote beside it (place, time, device, text), and
/// what it is.
///
/// # Errors
/// What is wrong with it.
pub fn strip(bytes: &[u8]) -> Result<(&'static str, Vec<u8>), String> {
    if bytes.len() > MOST_BYTES {
        return Err(format!(
            "it has more than {} MB; make it smaller",
            MOST_BYTES >> 20
        ));
    }
    if bytes.starts_with(&[0xff, 0xd8, 0xff]) {
        let stripped =
            jpeg(bytes).ok_or("it begins as a JPEG picture and is broken off or damaged")?;
        Ok(("image/jpeg", stripped))
    } else if bytes.starts_with(PNG) {
        let stripped =
            png(bytes).ok_or("it begins as a PNG picture and is broken off or damaged")?;
        Ok(("image/png", stripped))
    } else {
        Err("it is neither a JPEG nor a PNG picture, whatever its name says".to_owned())
    }
}

/// PNG signature (W3C PNG, 5.2; from memory).
const PNG: &[u8] = b"\x89PNG\r\n\x1a\n";

/// Chunks that make the picture and its colours; texts, time and camera data are others
/// (W3C PNG, 11; from memory).
const SHOWN: [&[u8]; 9] = [
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"sBIT",
];

fn png(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut out = PNG.to_vec();
    let mut rest = bytes.get(PNG.len()..)?;
    let mut drawn = false;
    loop {
        let length = u32::from_be_bytes(rest.get(..4)?.try_into().ok()?);
        let name = rest.get(4..8)?;
        let whole = usize::try_from(length).ok()?.checked_add(12)?;
        let chunk = rest.get(..whole)?;
        drawn |= name == b"IDAT";
        if SHOWN.contains(&name) {
            out.extend_from_slice(chunk);
        }
        if name == b"IEND" {
            // What comes behind is not of the picture.
            return drawn.then_some(out);
        }
        rest = rest.get(whole..)?;
    }
}

/// JPEG markers (ITU-T T.81, table B.1; from memory).
mod marker {
    pub const START: u8 = 0xd8;
    pub const END: u8 = 0xd9;
    pub const SCAN: u8 = 0xda;
    pub const RESTART: std::ops::RangeInclusive<u8> = 0xd0..=0xd7;
    pub const APPLICATION: std::ops::RangeInclusive<u8> = 0xe0..=0xef;
    pub const EXIF: u8 = 0xe1;
    pub const ADOBE: u8 = 0xee;
    pub const COMMENT: u8 = 0xfe;
}

fn jpeg(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut out = vec![0xff, marker::START];
    let mut at = 2;
    let mut scanned = false;
    let mut turned = false;
    loop {
        if *bytes.get(at)? != 0xff {
            return None;
        }
        // Any number of fill bytes may stand before a marker (T.81, B.1.1.2).
        let fill = bytes
            .get(at..)?
            .iter()
            .take_while(|byte| **byte == 0xff)
            .count();
        at += fill;
        let kind = *bytes.get(at)?;
        at += 1;
        if kind == marker::END {
            out.extend([0xff, kind]);
            // What comes behind is not of the picture: phones put second ones there.
            return scanned.then_some(out);
        }
        let length = u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?);
        let body = bytes.get(at + 2..at + usize::from(length))?;
        at += usize::from(length);
        if kind == marker::EXIF
            && !turned
            && let Some(turn) = orientation(body)
        {
            // Of all that the camera wrote, which way up is kept.
            out.extend(upright(turn));
            turned = true;
        }
        // The colours of some pictures are told by Adobe's segment; no other one is needed.
        let kept = kind == marker::ADOBE
            || !(marker::APPLICATION.contains(&kind) || kind == marker::COMMENT);
        if kept {
            out.extend([0xff, kind]);
            out.extend(length.to_be_bytes());
            out.extend_from_slice(body);
        }
        if kind == marker::SCAN {
            scanned = true;
            let start = at;
            // Within a scan 0xff is followed by zero or a restart (T.81, B.1.1.5).
            while let [first, second, ..] = bytes.get(at..)? {
                if *first == 0xff && *second != 0 && !marker::RESTART.contains(second) {
                    break;
                }
                at += 1;
            }
            out.extend_from_slice(bytes.get(start..at)?);
        }
    }
}

/// Which way up a picture is, 1 to 8 (Exif 2.3, tag 0x0112; from memory).
fn orientation(body: &[u8]) -> Option<u8> {
    let tiff = body.strip_prefix(b"Exif\0\0")?;
    let big = match tiff.get(..2)? {
        b"MM" => true,
        b"II" => false,
        _ => return None,
    };
    let short = |at: usize| -> Option<u16> {
        let two: [u8; 2] = tiff.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if big {
            u16::from_be_bytes(two)
        } else {
            u16::from_le_bytes(two)
        })
    };
    let four: [u8; 4] = tiff.get(4..8)?.try_into().ok()?;
    let start = if big {
        u32::from_be_bytes(four)
    } else {
        u32::from_le_bytes(four)
    };
    let start = usize::try_from(start).ok()?;
    let entries = usize::from(short(start)?);
    let mut found = (0..entries).map(|entry| start + 2 + 12 * entry);
    let at = found.find(|at| short(*at) == Some(0x0112))?;
    u8::try_from(short(at + 8)?)
        .ok()
        .filter(|turn| (1..=8).contains(turn))
}

/// An Exif segment that says which way up, and nothing else.
fn upright(turn: u8) -> Vec<u8> {
    let mut out = vec![0xff, marker::EXIF, 0, 34];
    out.extend(b"Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0");
    out.push(turn);
    out.extend([0; 6]);
    out
}

#[cfg(test)]
mod tests;
