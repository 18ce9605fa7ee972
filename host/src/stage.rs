//! The stages of a job: what is powered, what is plugged and what a probe may do
//! in each. The verbs, and the sheet's order of work, ask here and nowhere else.

use loomproof_core::wire::Place;

/// A stage, in the order of a job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stage {
    /// The harness alone, before it ships.
    Bench,
    /// What does not work already.
    Arrival,
    /// Finding the conductors that are to be tapped.
    Identify,
    /// The battery comes off.
    BatteryOff,
    /// The harness goes in and is rung out, place by place.
    RingOut,
    /// The battery comes on for the first time.
    FirstPower,
    /// Function by function.
    LiveCheck,
    /// The panels go back on.
    TrimOn,
    /// Whether the trim has pinched or pulled something.
    Recheck,
    /// The vehicle goes back.
    HandOver,
    /// The vehicle has come back with a function that does not work.
    Comeback,
}

/// The battery in a stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Battery {
    /// There is no vehicle.
    None,
    /// Connected.
    On,
    /// Disconnected.
    Off,
    /// Connected through something that limits the current.
    Limited,
}

/// The vehicle's connectors in a stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Plugged {
    /// There is no vehicle.
    None,
    /// Everything, as in service.
    All,
    /// As they are found; nothing is opened before the battery is off.
    Unchanged,
    /// Open or plugged as the plan says for the place in hand.
    ByPlace,
}

/// What a probe does to the wiring.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// It drives a current.
    Drive,
    /// It measures only.
    Measure,
}

impl Stage {
    /// The stages in the vehicle, in their order.
    pub const IN_ORDER: [Self; 9] = [
        Self::Arrival,
        Self::Identify,
        Self::BatteryOff,
        Self::RingOut,
        Self::FirstPower,
        Self::LiveCheck,
        Self::TrimOn,
        Self::Recheck,
        Self::HandOver,
    ];

    /// All stages, those outside the order too.
    pub fn all() -> impl Iterator<Item = Self> {
        let within = Self::IN_ORDER.into_iter();
        [Self::Bench]
            .into_iter()
            .chain(within)
            .chain([Self::Comeback])
    }

    /// The stage of a dead test.
    #[must_use]
    pub const fn of_dead_test(place: Place) -> Self {
        match place {
            Place::Bench => Self::Bench,
            Place::Vehicle => Self::RingOut,
        }
    }

    /// As it is written on the command line and in the sheet's catalogues.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Bench => "bench",
            Self::Arrival => "arrival",
            Self::Identify => "identify",
            Self::BatteryOff => "battery-off",
            Self::RingOut => "ring-out",
            Self::FirstPower => "first-power",
            Self::LiveCheck => "live-check",
            Self::TrimOn => "trim-on",
            Self::Recheck => "recheck",
            Self::HandOver => "hand-over",
            Self::Comeback => "comeback",
        }
    }

    /// The stage of that word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        Self::all().find(|stage| stage.word() == word)
    }

    /// The battery.
    #[must_use]
    pub const fn battery(self) -> Battery {
        match self {
            Self::Bench => Battery::None,
            Self::BatteryOff | Self::RingOut => Battery::Off,
            Self::FirstPower => Battery::Limited,
            Self::Arrival
            | Self::Identify
            | Self::LiveCheck
            | Self::TrimOn
            | Self::Recheck
            | Self::HandOver
            | Self::Comeback => Battery::On,
        }
    }

    /// The connectors.
    #[must_use]
    pub const fn plugged(self) -> Plugged {
        match self {
            Self::Bench => Plugged::None,
            Self::BatteryOff => Plugged::Unchanged,
            Self::RingOut => Plugged::ByPlace,
            Self::Arrival
            | Self::Identify
            | Self::FirstPower
            | Self::LiveCheck
            | Self::TrimOn
            | Self::Recheck
            | Self::HandOver
            | Self::Comeback => Plugged::All,
        }
    }

    /// Whether a probe may do that: drive where there is no battery, and measure
    /// where it is on and the points can be reached.
    #[must_use]
    pub const fn allows(self, act: Act) -> bool {
        match act {
            Act::Drive => matches!(self, Self::Bench | Self::RingOut),
            Act::Measure => matches!(
                self,
                Self::Arrival
                    | Self::Identify
                    | Self::FirstPower
                    | Self::LiveCheck
                    | Self::Recheck
                    | Self::Comeback
            ),
        }
    }

    /// The name, in plain words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Bench => "the harness alone on the bench",
            Self::Arrival => "arrival check",
            Self::Identify => "find the conductors",
            Self::BatteryOff => "battery off",
            Self::RingOut => "fit and ring out, place by place",
            Self::FirstPower => "first power",
            Self::LiveCheck => "live check",
            Self::TrimOn => "trim on",
            Self::Recheck => "check again behind the trim",
            Self::HandOver => "hand-over",
            Self::Comeback => "looking for the cause of a comeback",
        }
    }

    /// The name with its number: `stage 4 of 9, fit and ring out, place by place`.
    #[must_use]
    pub fn title(self) -> String {
        let at = Self::IN_ORDER.iter().position(|stage| *stage == self);
        match at {
            Some(at) => format!(
                "stage {} of {}, {}",
                at + 1,
                Self::IN_ORDER.len(),
                self.name()
            ),
            None => self.name().to_owned(),
        }
    }

    /// What a verb says of the stage it works in, first of all.
    #[must_use]
    pub fn say(self) -> String {
        let battery = match self.battery() {
            Battery::None => "no vehicle and no battery",
            Battery::On => "battery on",
            Battery::Off => "battery off",
            Battery::Limited => {
                "battery on through a current limit, the harness's own fuse in last"
            }
        };
        let plugged = match self.plugged() {
            Plugged::None => "",
            Plugged::All => "; everything plugged",
            Plugged::Unchanged => "; nothing is opened yet",
            Plugged::ByPlace => "; connectors open or plugged as the plan says for this place",
        };
        // The sums of the two places: core/src/wire/message.rs.
        let probe = match (self.allows(Act::Drive), self.allows(Act::Measure), self) {
            (true, _, Self::Bench) => "; the probe gives at most 20 mA in all",
            (true, ..) => "; the probe gives at most 5 mA in all",
            (_, true, _) => "; the probe measures only",
            _ => "; no probe on the wiring",
        };
        format!("{}: {battery}{plugged}{probe}.", sentence(&self.title()))
    }

    /// Why a probe may not do that here.
    ///
    /// # Errors
    /// Words for the fitter where the stage forbids it.
    pub fn permit(self, act: Act) -> Result<(), String> {
        if self.allows(act) {
            return Ok(());
        }
        let title = self.title();
        Err(match (act, self.battery()) {
            (Act::Drive, Battery::On | Battery::Limited) => format!(
                "{title}: the battery is on, and this test drives a current into the wires. \
                 Disconnect the battery, wait as the vehicle maker's service information says, and \
                 do it in {}",
                Self::RingOut.title()
            ),
            (Act::Drive, _) => format!(
                "{title}: this test comes when the battery is off and the harness is in, in {}",
                Self::RingOut.title()
            ),
            (Act::Measure, Battery::On | Battery::Limited) => format!(
                "{title}: the points are behind the trim and nothing is measured; do it in {}",
                Self::LiveCheck.title()
            ),
            (Act::Measure, _) => format!(
                "{title}: this test needs the battery on. It comes after the ring-out has passed, in \
                 {}",
                Self::LiveCheck.title()
            ),
        })
    }
}

fn sentence(text: &str) -> String {
    crate::diagnosis::words::capital(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_driven_where_there_is_a_battery() {
        for stage in Stage::all() {
            let dead = matches!(stage.battery(), Battery::None | Battery::Off);
            assert!(dead || !stage.allows(Act::Drive), "{stage:?}");
            assert!(
                !(stage.allows(Act::Drive) && stage.allows(Act::Measure)),
                "{stage:?}"
            );
            if dead {
                assert!(!stage.allows(Act::Measure), "{stage:?}");
            }
        }
        // Nothing is opened while the battery is on.
        for stage in Stage::all() {
            let opened = stage.plugged() == Plugged::ByPlace;
            assert!(!opened || stage.battery() == Battery::Off, "{stage:?}");
        }
    }

    #[test]
    fn words_are_read_back() {
        for stage in Stage::all() {
            assert_eq!(Stage::of(stage.word()), Some(stage));
            assert!(stage.say().ends_with('.'), "{}", stage.say());
        }
        assert_eq!(Stage::of("lunch"), None);
        assert_eq!(
            Stage::RingOut.say(),
            "Stage 4 of 9, fit and ring out, place by place: battery off; connectors open or \
             plugged as the plan says for this place; the probe gives at most 5 mA in all."
        );
    }

    #[test]
    fn what_is_forbidden_says_where_it_belongs() {
        let why = Stage::LiveCheck.permit(Act::Drive).unwrap_err();
        assert!(
            why.contains("battery is on") && why.contains("stage 4 of 9"),
            "{why}"
        );
        let why = Stage::RingOut.permit(Act::Measure).unwrap_err();
        assert!(
            why.contains("needs the battery on") && why.contains("stage 6 of 9"),
            "{why}"
        );
        assert!(Stage::RingOut.permit(Act::Drive).is_ok());
        assert!(
            Stage::TrimOn
                .permit(Act::Measure)
                .unwrap_err()
                .contains("trim")
        );
    }
}
