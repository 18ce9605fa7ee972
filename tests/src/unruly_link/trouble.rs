//! What goes wrong on a line, drawn from a seed.

use rand::{Rng, RngExt};

/// One kind of trouble.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Theme {
    /// Nothing: the runs that all others are held against.
    None,
    /// Bytes are lost.
    Lost,
    /// Bytes come twice.
    Doubled,
    /// Bits flip.
    Flipped,
    /// Neighbouring bytes change places.
    Reordered,
    /// Messages end early.
    Cut,
    /// Messages come late, up to six seconds.
    Delayed,
    /// Messages come twice.
    Copied,
    /// The probe starts anew at one message.
    Reset,
    /// The probe starts anew again and again.
    Resets,
    /// The cable is pulled at one message.
    Pulled,
    /// Another program speaks in between.
    SecondHost,
    /// The port takes nothing for a while.
    Blocked,
    /// All of it, each a little.
    Everything,
}

/// All of them.
pub const THEMES: [Theme; 14] = [
    Theme::None,
    Theme::Lost,
    Theme::Doubled,
    Theme::Flipped,
    Theme::Reordered,
    Theme::Cut,
    Theme::Delayed,
    Theme::Copied,
    Theme::Reset,
    Theme::Resets,
    Theme::Pulled,
    Theme::SecondHost,
    Theme::Blocked,
    Theme::Everything,
];

impl Theme {
    /// In words, for the figures.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::None => "nothing",
            Self::Lost => "bytes lost",
            Self::Doubled => "bytes doubled",
            Self::Flipped => "bits flipped",
            Self::Reordered => "bytes reordered",
            Self::Cut => "messages cut",
            Self::Delayed => "messages delayed",
            Self::Copied => "messages doubled",
            Self::Reset => "probe reset once",
            Self::Resets => "probe reset often",
            Self::Pulled => "cable pulled",
            Self::SecondHost => "second host",
            Self::Blocked => "port blocked",
            Self::Everything => "everything",
        }
    }
}

/// When something happens with a message that the host sends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum When {
    /// Before the probe has it: the message is lost.
    Before,
    /// After the probe acted on it: the answer is lost.
    After,
    /// In the middle of the answer.
    Within,
}

/// Something that happens at messages of the host, counted from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct At {
    /// The first of them.
    pub from: u32,
    /// How many.
    pub count: u32,
    /// When.
    pub when: When,
}

impl At {
    /// Whether it is this message.
    #[must_use]
    pub fn is(self, message: u32) -> bool {
        (self.from..self.from.saturating_add(self.count)).contains(&message)
    }
}

/// What goes wrong in one run: odds for every byte or message, and events.
#[derive(Debug, Clone, PartialEq)]
pub struct Trouble {
    /// The kind.
    pub theme: Theme,
    /// At full speed; else at 115,200 baud.
    pub full_speed: bool,
    /// Odds that a byte is lost.
    pub lost: f64,
    /// Odds that a byte comes twice.
    pub doubled: f64,
    /// Odds that a bit of a byte flips.
    pub flipped: f64,
    /// Odds that a byte changes places with the next.
    pub reordered: f64,
    /// Odds that a message ends early.
    pub cut: f64,
    /// Odds that a message is late.
    pub delayed: f64,
    /// Odds that a message comes twice.
    pub copied: f64,
    /// Odds that another program speaks at a message.
    pub second_host: f64,
    /// Odds that the probe starts anew at a message.
    pub resets: f64,
    /// The probe starts anew.
    pub reset: Option<At>,
    /// The cable is pulled.
    pub pulled: Option<At>,
    /// The port takes nothing.
    pub blocked: Option<At>,
}

/// From rare to so often that nothing comes through.
fn odds(rng: &mut impl Rng, most: f64) -> f64 {
    let least: f64 = 1e-4;
    least * (most / least).powf(rng.random::<f64>())
}

impl Trouble {
    /// Nothing goes wrong.
    #[must_use]
    pub const fn none() -> Self {
        Self {
            theme: Theme::None,
            full_speed: false,
            lost: 0.0,
            doubled: 0.0,
            flipped: 0.0,
            reordered: 0.0,
            cut: 0.0,
            delayed: 0.0,
            copied: 0.0,
            second_host: 0.0,
            resets: 0.0,
            reset: None,
            pulled: None,
            blocked: None,
        }
    }

    /// One kind of trouble for a talk of so many messages.
    pub fn draw(theme: Theme, messages: u32, rng: &mut impl Rng) -> Self {
        let mut trouble = Self {
            theme,
            full_speed: rng.random(),
            ..Self::none()
        };
        let all = theme == Theme::Everything;
        let share = if all { 0.1 } else { 1.0 };
        let mut with = |own: Theme, most: f64| {
            if theme == own || all {
                share * odds(rng, most)
            } else {
                0.0
            }
        };
        trouble.lost = with(Theme::Lost, 0.1);
        trouble.doubled = with(Theme::Doubled, 0.1);
        trouble.flipped = with(Theme::Flipped, 0.1);
        trouble.reordered = with(Theme::Reordered, 0.1);
        trouble.cut = with(Theme::Cut, 0.9);
        trouble.delayed = with(Theme::Delayed, 0.9);
        trouble.copied = with(Theme::Copied, 0.9);
        trouble.second_host = with(Theme::SecondHost, 0.9);
        trouble.resets = with(Theme::Resets, 0.5);
        let mut at = |own: Theme, most: u32| {
            let event = At {
                from: rng.random_range(0..messages),
                count: rng.random_range(1..=most),
                when: match rng.random_range(0..3) {
                    0 => When::Before,
                    1 => When::After,
                    _ => When::Within,
                },
            };
            let happens = theme == own || (all && rng.random_bool(0.1));
            happens.then_some(event)
        };
        trouble.reset = at(Theme::Reset, 1);
        trouble.pulled = at(Theme::Pulled, 1);
        trouble.blocked = at(Theme::Blocked, 5);
        trouble
    }

    /// What becomes of the bytes of a message.
    pub fn damage(&self, bytes: &[u8], rng: &mut impl Rng) -> Vec<u8> {
        let mut out = Vec::with_capacity(bytes.len() + 4);
        let hit = |rng: &mut dyn Rng, odds: f64| odds > 0.0 && rng.random::<f64>() < odds;
        for byte in bytes {
            if hit(rng, self.lost) {
                continue;
            }
            let mut byte = *byte;
            if hit(rng, self.flipped) {
                byte ^= 1 << rng.random_range(0..8_u8);
            }
            out.push(byte);
            if hit(rng, self.doubled) {
                out.push(byte);
            }
        }
        for at in 1..out.len() {
            if hit(rng, self.reordered) {
                out.swap(at - 1, at);
            }
        }
        if hit(rng, self.cut) {
            out.truncate(rng.random_range(0..=out.len()));
        }
        if hit(rng, self.copied) {
            out.extend_from_within(..);
        }
        out
    }
}
