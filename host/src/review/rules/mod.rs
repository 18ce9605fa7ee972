//! The rules, one family a file.

pub mod colours;
pub mod current;
mod diodes;
pub mod functions;
pub mod fuses;
mod grounds;
pub mod outputs;
pub mod relays;
pub mod sides;
pub mod sneak;
pub mod structure;

/// Every rule: its name, how bad it is, what it means. docs/review.md is
/// checked against it.
pub const ALL: [(&str, &str, &str); 37] = [
    (
        "dead-end",
        "wrong",
        "a lead, plug half or part's terminal that leads nowhere; a load or switch where no lead ends",
    ),
    (
        "part-idle",
        "note",
        "a part, or a relay's coil or contact, at which no lead ends",
    ),
    (
        "cavity-not-proved",
        "note",
        "a vehicle's cavity takes a lead, and the plan does not say what is behind it: it may be occupied",
    ),
    (
        "nothing-plugged",
        "note",
        "a harness connector to which the plan plugs nothing: its current is not counted",
    ),
    (
        "function-not-verifiable",
        "wrong",
        "a function is to be seen where no reading can show it",
    ),
    (
        "function-not-stated",
        "note",
        "a function with a consumer, and no `on_when`",
    ),
    (
        "function-without-load",
        "note",
        "a function with `on_when`, and nothing that draws at `seen_at`",
    ),
    (
        "load-without-function",
        "note",
        "a load that belongs to no function",
    ),
    (
        "left-right",
        "wrong or note",
        "something of one side leads to the other side: wrong when both sides do, so that they look exchanged",
    ),
    (
        "colour-clash",
        "wrong",
        "a lead to a tap has the colour of a conductor beside the one to bite",
    ),
    (
        "conductor-colour-twice",
        "note",
        "the conductor beside the one to bite has the same colour",
    ),
    (
        "lead-colour-twice",
        "note",
        "two leads of one colour end at one connector or relay",
    ),
    (
        "sneak-feed",
        "wrong",
        "a function's consumer has more than 1/12 of the supply in a state in which it should be off",
    ),
    (
        "held-on",
        "wrong",
        "the same, but only once it was on: a relay is held",
    ),
    (
        "not-fed",
        "wrong",
        "a function's consumer has less than half of the supply in a state in which it should be on",
    ),
    (
        "back-feed",
        "wrong",
        "the vehicle's own consumer is fed through the harness in a state in which it is off without it",
    ),
    (
        "robbed",
        "wrong",
        "the vehicle's own consumer has less than half of the supply in a state in which it is on without the harness",
    ),
    (
        "relay-chatter",
        "wrong",
        "a relay that pulls in and lets go without end",
    ),
    (
        "short",
        "wrong",
        "battery plus joined to chassis by metal alone in some state",
    ),
    (
        "shared-ground",
        "note",
        "what is fed through what shares a ring on chassis when that comes loose",
    ),
    (
        "voltage-drop",
        "wrong",
        "more is lost in leads and joints than allowed (where the load does not say what it needs)",
    ),
    ("load-volts", "wrong", "a load gets less than it `needs`"),
    (
        "wire-current",
        "wrong",
        "a lead carries more than its size does",
    ),
    (
        "wire-fuse",
        "wrong or note",
        "a lead is thinner than the fuse before it allows; a note between the table's fuse and its breaker",
    ),
    (
        "lead-unfused",
        "wrong or note",
        "a lead is fed from battery plus without a fuse; a note up to 0.3 m",
    ),
    (
        "fuse-not-stated",
        "note",
        "a feed of the vehicle whose fuse the plan does not state",
    ),
    (
        "fuse-load",
        "wrong or note",
        "a fuse carries more than its rating; a note from 80 % of it",
    ),
    (
        "fuse-inrush",
        "note",
        "cold filaments draw more than six times a fuse's rating",
    ),
    (
        "coil-unsuppressed",
        "wrong",
        "nothing limits the spike of a relay's coil",
    ),
    ("coil-volts", "wrong", "a coil for another supply"),
    (
        "coil-half-fed",
        "wrong",
        "a coil gets a voltage at which the relay may hold or let go",
    ),
    (
        "coil-reversed",
        "wrong",
        "plus on 85 of a relay with a diode across its coil",
    ),
    (
        "contact-load",
        "wrong",
        "a relay's contact carries more than it is made for",
    ),
    (
        "contact-inrush",
        "note",
        "cold filaments draw more than a contact is made for",
    ),
    (
        "contact-not-stated",
        "note",
        "a contact carries more than 1 A and its rating is not stated",
    ),
    (
        "output-load",
        "wrong",
        "more is taken from a conductor or pin than `most`",
    ),
    (
        "not-computed",
        "wrong",
        "some state could not be computed: the electrics of that part are not known",
    ),
];
