//! A probe on a world, and the host's end of the line.

use std::cell::RefCell;
use std::rc::Rc;

use loomproof_core::wire::frame::{Deframer, MAX_FRAME, encode_hello_request, encode_request};
use loomproof_core::wire::{Hello, Place, Reply, Request};
use loomproof_firmware::{Identity, Parts, Probe};

use super::handle::Handle;
use super::world::{Cs, World};

pub type FakeProbe = Probe<Handle, Handle, Handle, Handle, Handle, Handle, Handle, Handle>;

fn start(world: &Rc<RefCell<World>>) -> FakeProbe {
    let handle = |cs| Handle(world.clone(), cs);
    let parts = Parts {
        drive: handle(Cs::Drive),
        gate: handle(Cs::Gate),
        select: handle(Cs::Select),
        adc: handle(Cs::Adc),
        trip: handle(Cs::Adc),
        rearm: handle(Cs::Adc),
        delay: handle(Cs::Adc),
        clock: handle(Cs::Adc),
    };
    let identity = Identity {
        board: "fake",
        serial: "7",
        build: "test",
    };
    Probe::start(parts, identity)
}

/// A probe on a world, and the host's end of the line.
pub struct Rig {
    pub world: Rc<RefCell<World>>,
    pub probe: FakeProbe,
    pub seq: u16,
}

impl Rig {
    pub fn new(world: World) -> Self {
        let world = Rc::new(RefCell::new(world));
        Self {
            probe: start(&world),
            world,
            seq: 0,
        }
    }

    /// The firmware starts anew on the same chips.
    pub fn reset(&mut self) {
        self.probe = start(&self.world);
    }

    pub fn leads(banks: usize) -> Self {
        Self::new(World::new(banks))
    }

    /// Sends raw bytes; what comes back.
    pub fn send(&mut self, bytes: &[u8]) -> Vec<u8> {
        let mut heard = vec![];
        self.probe
            .receive(bytes, &mut |reply| heard.extend_from_slice(reply));
        heard
    }

    pub fn bytes(seq: u16, request: &Request) -> Vec<u8> {
        let mut out = [0; MAX_FRAME];
        encode_request(seq, request, &mut out)
            .expect("fits")
            .to_vec()
    }

    pub fn ask(&mut self, request: &Request) -> Reply {
        self.seq = self.seq.wrapping_add(1);
        let heard = self.send(&Self::bytes(self.seq, request));
        let mut deframer = Deframer::<MAX_FRAME>::new();
        let (taken, frame) = deframer.feed(&heard);
        assert_eq!(taken, heard.len(), "one reply");
        let frame = frame.expect("a reply").expect("a good frame");
        assert_eq!(frame.seq, self.seq);
        frame.reply().expect("a reply")
    }

    pub fn hello(&mut self) -> Hello {
        let mut out = [0; MAX_FRAME];
        let frame = encode_hello_request(99, &mut out).expect("fits").to_vec();
        let heard = self.send(&frame);
        let mut deframer = Deframer::<MAX_FRAME>::new();
        let (_, frame) = deframer.feed(&heard);
        frame
            .expect("a reply")
            .expect("a good frame")
            .hello_reply()
            .expect("a hello")
    }

    pub fn arm(&mut self) {
        assert_eq!(self.ask(&Request::Arm(Place::Bench)), Reply::Armed);
    }

    pub fn sleep(&mut self, us: u64) {
        self.world.borrow_mut().advance(us * 1_000);
    }

    pub fn reset_counts(&mut self) {
        let mut world = self.world.borrow_mut();
        world.bits = 0;
        world.waited_ns = 0;
        world.watched.clear();
        world.writes.clear();
    }

    /// Nothing is driven, nothing was closed onto a live lead, and the sense
    /// bus hangs on nothing.
    pub fn must_be_safe(&self) {
        let world = self.world.borrow();
        assert_eq!(world.violations, Vec::<String>::new());
        assert_eq!(world.closed(), Vec::<usize>::new(), "disconnects closed");
        assert!(
            world.drive.iter().all(|chip| chip.outputs() == 0),
            "pins driven"
        );
    }
}
