//! Any bytes as the plan that a probe carries, as they are and with a length and check
//! sum that are right: refused, or everything in it can be read and judged, within
//! its bounds.
#![no_main]

use libfuzzer_sys::fuzz_target;
use loomproof_core::check::CRC;
use loomproof_core::image::{Head, Kept};
use loomproof_core::units::MicroVolts;
use loomproof_core::wire::{MAX_LEADS, Reading};

fuzz_target!(|input: &[u8]| {
    look(input);
    if let Some(head) = input.first_chunk() {
        let _ = Kept::of(head).map(|kept| kept.bytes());
    }
    let mut bytes = input.to_vec();
    let length = bytes.len() as u32 + 4;
    if let Some(place) = bytes.get_mut(8..12) {
        place.copy_from_slice(&length.to_le_bytes());
    }
    let sum = CRC.checksum(&bytes);
    bytes.extend(sum.to_le_bytes());
    look(&bytes);
});

fn look(bytes: &[u8]) {
    let store = &mut &*bytes;
    let Ok(head) = Head::open(store) else {
        return;
    };
    assert!(head.length() as usize <= bytes.len());
    let _ = head.title(store).expect("a title").as_str();
    head.digest(store).expect("a digest");
    for option in 0..head.options() {
        head.question(store, option).expect("a question");
    }
    for variant in 0..head.variants().min(16) {
        for option in 0..head.options().min(16) {
            let answer = head.answer(store, variant, option).expect("an answer");
            if answer != loomproof_core::image::NOT_ASKED {
                head.choice(store, option, answer).expect("a choice");
            }
        }
        let mut at = 0;
        while let Some(clip) = head.clip(store, variant, at).expect("a clip") {
            assert!(usize::from(clip.lead.0) < MAX_LEADS);
            head.spot(store, clip.point).expect("a point");
            at += 1;
        }
        for at in 0..head.steps_of(store, variant).expect("a count").min(64) {
            let planned = head.step(store, variant, at).expect("a step").expect("one");
            let step = &planned.step;
            let readings = vec![Reading::Volts(MicroVolts(1_650_000)); step.senses.len()];
            let mut judged = 0;
            head.judge(store, (variant, at), step, &readings, &mut |_| judged += 1)
                .expect("judged");
            assert_eq!(judged, step.senses.len());
        }
    }
}
