//! Which serial ports are probes: by what the device calls itself on USB, then
//! by its hello.

use super::{Link, LinkError, Port, connect, ports};
use loomproof_core::wire::{Hello, usb};
use serialport::UsbPortInfo;

/// The port given for "the one probe that is plugged in".
pub const ANY: &str = "usb";

/// Whether a USB device gives itself out for a probe.
///
/// Its numbers are of the kind that anybody may use for tests, so its name
/// counts as well where the operating system knows it; some (Windows) put a
/// name of their own in its place, there only the hello tells.
pub(super) fn may_be_a_probe(device: &UsbPortInfo) -> bool {
    let named = |name: &String| {
        // Linux' sysfs and udev write blanks differently.
        let name = name.replace('_', " ");
        name.contains(usb::PRODUCT_NAME) || name.contains("(COM")
    };
    device.vid == usb::VENDOR
        && device.pid == usb::PRODUCT
        && device.product.as_ref().is_none_or(named)
}

/// A port whose device gives itself out for a probe, and what it answered.
#[derive(Debug)]
pub struct Found {
    /// The port.
    pub port: Port,
    /// Its hello, or why there is none.
    pub hello: Result<Hello, LinkError>,
}

/// The probes that are plugged in, each asked who it is.
///
/// # Errors
/// [`LinkError::Io`] if the operating system does not list its ports.
pub fn probes() -> Result<Vec<Found>, LinkError> {
    let ask = |path: &str| connect(path).map(|session| session.hello().clone());
    Ok(asked(ports()?, ask))
}

fn asked(ports: Vec<Port>, ask: impl Fn(&str) -> Result<Hello, LinkError>) -> Vec<Found> {
    let ports = ports.into_iter().filter(|port| port.may_be_a_probe);
    ports
        .map(|port| Found {
            hello: ask(&port.path),
            port,
        })
        .collect()
}

/// The path of the one port whose device gives itself out for a probe.
///
/// # Errors
/// [`LinkError::NoProbe`] or [`LinkError::SeveralProbes`], or
/// [`LinkError::Io`] if the operating system does not list its ports.
pub(super) fn the_only() -> Result<String, LinkError> {
    only(ports()?)
}

fn only(ports: Vec<Port>) -> Result<String, LinkError> {
    let mut paths = ports
        .into_iter()
        .filter(|port| port.may_be_a_probe)
        .map(|port| port.path);
    match (paths.next(), paths.next()) {
        (Some(path), None) => Ok(path),
        (None, _) => Err(LinkError::NoProbe),
        (Some(first), Some(second)) => Err(LinkError::SeveralProbes {
            ports: [first, second].into_iter().chain(paths).collect(),
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn device(vid: u16, pid: u16, product: Option<&str>) -> UsbPortInfo {
        UsbPortInfo {
            vid,
            pid,
            serial_number: None,
            manufacturer: None,
            product: product.map(str::to_owned),
        }
    }

    fn port(path: &str, may_be_a_probe: bool) -> Port {
        Port {
            path: path.to_owned(),
            device: None,
            serial: None,
            may_be_a_probe,
        }
    }

    #[test]
    fn a_probe_is_known_by_numbers_and_name() {
        let of = |vid, pid, name| may_be_a_probe(&device(vid, pid, name));
        assert!(of(0x1209, 0x0001, Some("loomproof probe")));
        assert!(of(0x1209, 0x0001, Some("loomproof_probe")));
        assert!(of(0x1209, 0x0001, Some("USB Serial Device (COM5)")));
        assert!(of(0x1209, 0x0001, None));
        assert!(!of(0x1209, 0x0001, Some("somebody's first lamp")));
        assert!(!of(0x1209, 0x0002, Some("loomproof probe")));
        assert!(!of(0x1208, 0x0001, Some("loomproof probe")));
    }

    #[test]
    fn only_ports_of_probes_are_asked() {
        let found = asked(vec![port("a", false), port("b", true)], |path| {
            assert_eq!(path, "b");
            Err(LinkError::NoProbe)
        });
        assert_eq!(found.len(), 1);
        assert!(found[0].hello.is_err());
    }

    #[test]
    fn the_only_probe_needs_no_port() {
        let lamp = port("/dev/ttyACM0", false);
        let one = port("/dev/ttyACM1", true);
        let two = port("/dev/ttyACM2", true);
        assert_eq!(only(vec![lamp.clone(), one.clone()]).unwrap(), one.path);
        let none = only(vec![lamp]).unwrap_err().to_string();
        assert!(none.contains("plug"), "{none}");
        let both = only(vec![one, two]).unwrap_err().to_string();
        assert!(both.contains("/dev/ttyACM1, /dev/ttyACM2"), "{both}");
    }
}
