//! Which island is where.

use super::super::island::Island;

/// The islands of the wiring while all its contacts stay as they are.
pub(in crate::bench) struct Wired {
    /// Tells one state of the contacts from another.
    pub(super) number: u32,
    pub(super) islands: Vec<Island>,
    /// Per channel: its island and port.
    pub(super) seat: Vec<(usize, usize)>,
}

impl Wired {
    /// Islands that hold so many channels. No two of one plant share a number.
    pub(in crate::bench) fn new(number: u32, islands: Vec<Island>, channels: usize) -> Self {
        let mut seat = vec![(0, 0); channels];
        for (island, content) in islands.iter().enumerate() {
            for (port, channel) in content.ports.iter().enumerate() {
                if let Some(channel) = channel {
                    seat[*channel] = (island, port);
                }
            }
        }
        Self {
            number,
            islands,
            seat,
        }
    }

    /// The islands of the leads that are joined to the sense bus.
    pub(super) fn islands_of(&self, joined: &[(usize, f64)]) -> Vec<usize> {
        let seats = joined.iter().map(|(channel, _)| self.seat[*channel]);
        let mut islands: Vec<usize> = seats.map(|(island, _)| island).collect();
        islands.sort_unstable();
        islands.dedup();
        islands
    }
}
