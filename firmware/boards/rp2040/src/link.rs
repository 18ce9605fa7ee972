//! The host link: a USB serial port (CDC ACM).
//!
//! USB is served in its interrupt, so that the computer sees a device that
//! answers while a step of the probe takes seconds. Bytes for the probe wait
//! in a queue; what does not fit is lost, the frame then fails its check sum,
//! and the host asks again.

use core::cell::RefCell;
use critical_section::Mutex;
use heapless::Deque;
use loomproof_core::wire::frame::MAX_REQUEST_FRAME;
use loomproof_core::wire::usb;
use rp2040_hal::pac::{self, interrupt};
use rp2040_hal::usb::UsbBus;
use usb_device::bus::UsbBusAllocator;
use usb_device::device::{StringDescriptors, UsbDevice, UsbDeviceBuilder, UsbVidPid};
use usbd_serial::SerialPort;

/// How long a reply waits for a host that does not fetch it, in microseconds.
const PATIENCE: u32 = 500_000;

/// Room for two requests: the one asked and its repetition.
const QUEUE: usize = 2 * MAX_REQUEST_FRAME;

struct Port {
    device: UsbDevice<'static, UsbBus>,
    serial: SerialPort<'static, UsbBus>,
    heard: Deque<u8, QUEUE>,
}

static PORT: Mutex<RefCell<Option<Port>>> = Mutex::new(RefCell::new(None));

/// Brings the port up under the serial number of this board.
pub fn start(bus: &'static UsbBusAllocator<UsbBus>, serial_number: &'static str) {
    let serial = SerialPort::new(bus);
    let names = StringDescriptors::default()
        .manufacturer(usb::MAKER_NAME)
        .product(usb::PRODUCT_NAME)
        .serial_number(serial_number);
    let device = UsbDeviceBuilder::new(bus, UsbVidPid(usb::VENDOR, usb::PRODUCT))
        .strings(&[names])
        .expect("one language")
        .device_class(usbd_serial::USB_CLASS_CDC)
        .build();
    critical_section::with(|cs| {
        PORT.borrow_ref_mut(cs).replace(Port {
            device,
            serial,
            heard: Deque::new(),
        });
    });
    // SAFETY: the handler takes the port by a critical section, as all do.
    unsafe { cortex_m::peripheral::NVIC::unmask(pac::Interrupt::USBCTRL_IRQ) };
}

#[interrupt]
fn USBCTRL_IRQ() {
    critical_section::with(|cs| {
        if let Some(port) = PORT.borrow_ref_mut(cs).as_mut() {
            port.serve();
        }
    });
}

impl Port {
    fn serve(&mut self) {
        if !self.device.poll(&mut [&mut self.serial]) {
            return;
        }
        let mut packet = [0; 64];
        while let Ok(length @ 1..) = self.serial.read(&mut packet) {
            for byte in packet.iter().take(length) {
                // Full: the byte is lost, see above.
                let _ = self.heard.push_back(*byte);
            }
        }
    }
}

/// The next byte from the host, if one has come.
pub fn heard() -> Option<u8> {
    critical_section::with(|cs| PORT.borrow_ref_mut(cs).as_mut()?.heard.pop_front())
}

/// Sends a reply. A host that fetches nothing for [`PATIENCE`] loses the rest;
/// `now` gives microseconds.
pub fn send(mut bytes: &[u8], mut now: impl FnMut() -> u32) {
    let mut since = now();
    while !bytes.is_empty() {
        let taken = critical_section::with(|cs| {
            let mut port = PORT.borrow_ref_mut(cs);
            let Some(port) = port.as_mut() else { return 0 };
            let taken = port.serial.write(bytes).unwrap_or(0);
            let _ = port.serial.flush();
            taken
        });
        bytes = bytes.get(taken..).unwrap_or(&[]);
        if taken != 0 {
            since = now();
        } else if now().wrapping_sub(since) > PATIENCE {
            return;
        }
    }
}
