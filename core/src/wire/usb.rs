//! What a probe with a USB plug of its own calls itself on the bus, so that
//! the host finds its port. It is a serial port (USB CDC ACM) like any other;
//! who is there for certain, the hello says.

/// Vendor number: pid.codes, which gives numbers to open hardware.
pub const VENDOR: u16 = 0x1209;

/// Product number: the first of pid.codes' numbers for tests (from memory).
/// Anybody may use it on a desk and nobody may sell a device under it: have a
/// number of your own assigned before you give a probe away. For the same
/// reason the host looks at [`PRODUCT_NAME`] as well.
pub const PRODUCT: u16 = 0x0001;

/// The name of the maker in the USB descriptors.
pub const MAKER_NAME: &str = "loomproof";

/// The name of the device in the USB descriptors.
pub const PRODUCT_NAME: &str = "loomproof probe";
