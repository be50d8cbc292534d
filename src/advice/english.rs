//! The sentences. Steps are in the order of the work; `first` is said before anything else.

use std::iter;

use serde::ser::{Serialize, SerializeStruct, Serializer};

use crate::model::{FindingKind, System};

/// What to do about one kind of finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Advice {
    /// Look at or do this before anything else: the first step of the work.
    pub first: &'static str,
    /// Things to bring.
    pub bring: &'static [&'static str],
    /// The work after the first step, in order.
    pub further: &'static [&'static str],
    /// What shows that it is mended.
    pub proof: &'static str,
    /// What could hurt somebody or break a rule.
    pub cautions: &'static [&'static str],
}

const GERMS: &str = "Greywater carries germs. Wear waterproof gloves, keep it off skin, eyes and cuts, do \
                     not splash or spray it, and wash hands with soap afterwards.";
const STANDING: &str = "Keep children and animals away from standing water, and let none stand: it breeds \
                        mosquitoes and must not reach a neighbour or a storm drain.";
const DIGGING: &str = "Before digging deeper than the mulch, have buried cables and pipes located.";
const CHAMBER: &str = "Work on tanks and chambers from outside. Test the air before leaning in, and never \
                       enter a confined chamber.";
const PLUMBING: &str = "Changing pipes or fittings may need a permit and a licensed plumber.";
const LOCAL: &str = "The local plumbing and health code governs wherever it differs from this advice.";
const ELECTRIC: &str = "Switch off and disconnect whatever is wired to the mains before opening it, and leave \
                        mains wiring to a licensed electrician.";

impl Advice {
    /// The whole work in order, as it is numbered for people.
    pub fn steps(&self) -> impl Iterator<Item = &'static str> + use<> {
        iter::once(self.first).chain(self.further.iter().copied())
    }
}

/// `steps` are all of them: what is said first is one of the work's steps.
impl Serialize for Advice {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let steps: Vec<_> = self.steps().collect();
        let mut wire = serializer.serialize_struct("Advice", 5)?;
        wire.serialize_field("first", self.first)?;
        wire.serialize_field("bring", self.bring)?;
        wire.serialize_field("steps", &steps)?;
        wire.serialize_field("proof", self.proof)?;
        wire.serialize_field("cautions", self.cautions)?;
        wire.end()
    }
}

/// What to do about a finding of `kind` about a basin whose flood stands: what would keep that flood off comes too late.
pub fn advice_in_flood(kind: FindingKind, system: Option<&System>) -> Advice {
    let advice = advice(kind, system);
    if kind == FindingKind::SlowSoak { Advice { first: FLOOD_FIRST, ..advice } } else { advice }
}

/// What to do about a sensor that is silent while the battery of its device is nearly empty: there is no need to look
/// for another cause before that is changed.
pub fn advice_on_empty(kind: FindingKind, system: Option<&System>) -> Advice {
    let advice = advice(kind, system);
    if kind == FindingKind::SensorSilent { Advice { first: BATTERY_FIRST, ..advice } } else { advice }
}

/// What to do about a finding of `kind`, at `system` where it is known which that is.
pub fn advice(kind: FindingKind, system: Option<&System>) -> Advice {
    match kind {
        FindingKind::Flooding => match system.map(|system| system.diverter) {
            Some(true) => FLOODING_WITH_DIVERTER,
            Some(false) => FLOODING_WITHOUT_DIVERTER,
            None => FLOODING,
        },
        FindingKind::Ponding => PONDING,
        FindingKind::SlowSoak => SLOW_SOAK,
        FindingKind::BlockedOutlet => BLOCKED_OUTLET,
        FindingKind::UnevenSplit => UNEVEN_SPLIT,
        FindingKind::NoWater => NO_WATER,
        FindingKind::UnexpectedWater => UNEXPECTED_WATER,
        FindingKind::SensorSilent => SENSOR_SILENT,
        FindingKind::SensorStuck => SENSOR_STUCK,
        FindingKind::SensorImplausible => SENSOR_IMPLAUSIBLE,
        FindingKind::BatteryLow => BATTERY_LOW,
    }
}

/// Where the system file names a diverter.
const FLOODING_WITH_DIVERTER: Advice = Advice { first: "Turn the diverter to sewer.", ..FLOODING };

/// Where it names none. That helps as well where one is there that the file does not name.
const FLOODING_WITHOUT_DIVERTER: Advice = Advice {
    first: "Ask the household to stop laundry and showers until the water is gone.",
    further: &after_flood("Let the household use water again and watch one dose soak away."),
    proof: "With water in use again, the next ordinary doses soak away within the basin's usual time and its floats \
            stay dry in between.",
    ..FLOODING
};

const FLOODING: Advice = Advice {
    first: "Turn the diverter to sewer. Without a diverter, ask the household to stop laundry and showers \
            until the water is gone.",
    bring: &[
        "waterproof gloves",
        "boots",
        "garden fork",
        "rake",
        "bucket or barrow for spent mulch",
        "fresh wood chips, as coarse as the basin has them",
        "soap",
        "clean water",
    ],
    further: &after_flood("Turn the diverter back to landscape and watch one dose soak away."),
    proof: "With the diverter back at landscape, the next ordinary doses soak away within the basin's usual \
            time and its floats stay dry in between.",
    cautions: &[GERMS, STANDING, DIGGING, CHAMBER, PLUMBING, LOCAL],
};

/// The work on a flooded basin after the first step, and the step that ends it.
const fn after_flood(last: &'static str) -> [&'static str; 6] {
    [
        "Keep everybody away from the water and see which way it runs. Bank soil across its way if it heads \
         for a building, a path, a neighbour or a storm drain.",
        "Look at the outlet: its air gap must be free. Clear mulch, roots or soil that reach up to the pipe.",
        "When the water is gone, fork out the rotted mulch and the slimy layer on the floor of the basin.",
        "Loosen the floor a hand deep without cutting thick roots, and refill with chips of the basin's own size \
         to the old level, air gap free.",
        "If the basin is clean and still holds water, look whether it gets more than its share: see the \
         splitters above it. Otherwise it is too small for its soil and needs to grow.",
        last,
    ]
}

const PONDING: Advice = Advice {
    first: "Look into the basin an hour or more after the last shower or laundry load: is there water above \
            the soil, and does the outlet still fall free?",
    bring: &[
        "waterproof gloves",
        "hand trowel",
        "garden fork",
        "bucket or barrow for spent mulch",
        "fresh wood chips, as coarse as the basin has them",
        "folding rule",
        "soap",
        "clean water",
    ],
    further: &[
        "Measure the mulch depth and note it: thin, dark, matted mulch is spent.",
        "Fork out spent mulch and the slimy layer on the floor; loosen the floor a hand deep.",
        "Refill with chips of the basin's own size and keep the air gap free.",
        "If water stands again with fresh mulch, compare this basin's share with its design, and ask whether the \
         household uses more water than before.",
    ],
    proof: "Three ordinary doses in a row soak away within the basin's usual time.",
    cautions: &[GERMS, STANDING, DIGGING, LOCAL],
};

/// Where the flood that a slow basin leads to has come.
const BATTERY_FIRST: &str = "Change the battery and wait for one report.";
const FLOOD_FIRST: &str = "See to the flood of this basin first; its mulch is renewed in the same visit.";

const SLOW_SOAK: Advice = Advice {
    first: "Plan to renew the mulch before the day on which a flood is foretold.",
    bring: &[
        "waterproof gloves",
        "garden fork",
        "bucket or barrow for spent mulch",
        "fresh wood chips, as coarse as the basin has them",
        "folding rule",
    ],
    further: &[
        "Dig a small hole through the mulch to the floor and note the mulch depth and how rotten it is.",
        "Renew the mulch and rake the slimy layer off the floor.",
        "Ask about changes in the house: more people, a new detergent, a water softener. Salty water closes \
         clay soils.",
        "Record the mulch depth found, so that the next date is worked out better.",
    ],
    proof: "Soak times return to what they were after the last renewal.",
    cautions: &[GERMS, STANDING, DIGGING, LOCAL],
};

const BLOCKED_OUTLET: Advice = Advice {
    first: "Lift the cover of this outlet and see whether its air gap is free and whether water comes while a \
            tap runs.",
    bring: &[
        "waterproof gloves",
        "eye protection",
        "hand trowel",
        "secateurs",
        "flexible drain brush",
        "bucket",
        "watch",
        "soap",
        "clean water",
    ],
    further: &[
        "Clear mulch, soil and roots from below the outlet until the water falls free.",
        "Run a tap at the source and watch: a trickle or nothing means a blockage further up.",
        "Push the brush up from the outlet, gently and with the water off. Take hair and lint out; do not \
         push them on.",
        "Look at the line from the splitter down for a sag, a crushed stretch or a root.",
        "Catch what each outlet of the splitter gives in the same minute and compare.",
    ],
    proof: "In a flow test the outlet gives its design share again, and the next doses wet the basin as they \
            used to.",
    cautions: &[GERMS, STANDING, DIGGING, CHAMBER, PLUMBING, LOCAL],
};

const UNEVEN_SPLIT: Advice = Advice {
    first: "Lay a small spirit level across the splitter: a splitter that leans sends more water to its low \
            side.",
    bring: &[
        "waterproof gloves",
        "spirit level, best a digital one",
        "hand trowel",
        "stakes or bricks for a firm seat",
        "two equal buckets",
        "watch",
        "flexible drain brush",
    ],
    further: &[
        "Open the splitter and look for lint or hair on the dividing edge; clean it.",
        "Level it across the flow and bed it firmly, so that it does not settle again.",
        "Check that the pipe into it runs straight for about 60 cm (two feet): water that swings round a bend favours one side.",
        "Run a tap at an ordinary flow, catch both sides in equal buckets for the same time and compare. \
         Repeat until they agree with the design.",
    ],
    proof: "A flow test at an ordinary flow gives the design split, and so do the next days of doses.",
    cautions: &[GERMS, DIGGING, CHAMBER, PLUMBING, LOCAL],
};

const NO_WATER: Advice = Advice {
    first: "Ask whether anybody is at home and whether the diverter stands at landscape.",
    bring: &["waterproof gloves", "flexible drain brush", "torch", "bucket"],
    further: &[
        "Check the diverter by hand: handle and pipe must agree with what is reported.",
        "Run a tap at a connected fixture and listen and look at the first splitter.",
        "If nothing comes, look for a blockage between the house and the first splitter: cleanouts first.",
        "If water comes to the basins after all, the sensors are at fault: look at what they report.",
    ],
    proof: "The next shower or laundry load shows up in every basin.",
    cautions: &[GERMS, CHAMBER, PLUMBING, LOCAL],
};

const UNEXPECTED_WATER: Advice = Advice {
    first: "See whether water is running at the first splitter now, and which way the diverter really stands.",
    bring: &["waterproof gloves", "torch", "screwdriver for the diverter's cover"],
    further: &[
        "If the diverter says sewer: turn it to landscape and back once. Dirt in its seat or a loose handle \
         lets water past.",
        "Compare the handle with the position that is reported: the contact may have slipped.",
        "If nobody uses water: look for a running toilet, a dripping tap, a softener or an overflow that \
         drains into this line.",
        "Look for surface water that enters the line: a downpipe, a hose, an irrigation leak.",
    ],
    proof: "A day without use, or with the diverter at sewer, leaves every basin dry.",
    cautions: &[GERMS, STANDING, PLUMBING, ELECTRIC, LOCAL],
};

const SENSOR_SILENT: Advice = Advice {
    first: "See whether other sensors of the same property report: if none does, the radio gateway or the \
            broker is the place to look.",
    bring: &["fresh batteries", "spare sensor", "contact cleaner", "dry cloth", "gloves"],
    further: &[
        "Check battery and contacts; water in the housing means a new seal or a new sensor.",
        "Check the antenna and what has grown or been parked in its way.",
        "Restart the sensor and wait for one report.",
    ],
    proof: "It reports at its usual interval for a day.",
    cautions: &[GERMS, ELECTRIC, LOCAL],
};

const SENSOR_STUCK: Advice = Advice {
    first: "Move it by hand: lift a float and let it fall, or wet the soil at a probe with a cup of clean \
            water, and watch this page.",
    bring: &["gloves", "cup", "clean water", "soft brush", "spare sensor"],
    further: &[
        "Free a float from mulch, roots and slime; it must swing its whole way.",
        "Press a probe firmly into undisturbed soil: an air pocket around it reads dry for ever.",
        "Replace it if it still does not move.",
    ],
    proof: "It follows the next dose up and down.",
    cautions: &[GERMS, STANDING, DIGGING, LOCAL],
};

const SENSOR_IMPLAUSIBLE: Advice = Advice {
    first: "Compare what it reports with what you see at its place: wet or dry, warm or cold.",
    bring: &["gloves", "cup", "clean water", "spare sensor"],
    further: &[
        "Check the wiring and seals for water, bites and breaks.",
        "Check the unit and scale that the system file states for it.",
        "Replace it if values stay impossible, and record the change, so that its past is not mixed with \
         its future.",
    ],
    proof: "Its values stay in a possible range for a day and follow the next dose.",
    cautions: &[GERMS, DIGGING, ELECTRIC, LOCAL],
};

const BATTERY_LOW: Advice = Advice {
    first: "Bring a fresh battery on the next visit: the sensors that it feeds fall silent once it is empty.",
    bring: &["fresh battery of the same type", "contact cleaner", "dry cloth", "seal grease", "gloves"],
    further: &[
        "Note the last readings, change the battery and clean the contacts.",
        "Grease and close the seal; wait for one report.",
        "Take the spent battery to collection.",
    ],
    proof: "The reported charge is back near full.",
    cautions: &[GERMS, LOCAL],
};

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advice::samples;

    #[test]
    fn flooding_speaks_of_a_diverter_only_where_there_may_be_one() {
        let there = advice(FindingKind::Flooding, Some(&samples::orchard_with(true)));
        assert_eq!(there.first, "Turn the diverter to sewer.");
        assert!(there.steps().last().is_some_and(|last| last.contains("back to landscape")), "{there:?}");
        let none = advice(FindingKind::Flooding, Some(&samples::orchard_with(false)));
        assert!(none.first.starts_with("Ask the household to stop"), "{}", none.first);
        let all: Vec<_> = none.steps().chain([none.proof]).collect();
        assert!(!all.iter().any(|says| says.contains("diverter")), "{all:?}");
        let unknown = advice(FindingKind::Flooding, None).first;
        assert!(unknown.contains("Without a diverter"), "{unknown}");
    }

    /// Design of the product, safety and law: whatever advises work shows the usual cautions.
    #[test]
    fn every_advice_is_whole_and_carries_the_usual_cautions() {
        for kind in FindingKind::ALL {
            let advice = advice(kind, None);
            assert!(!advice.first.is_empty() && !advice.proof.is_empty(), "{kind}");
            assert!(!advice.bring.is_empty() && !advice.further.is_empty(), "{kind}");
            assert!(advice.cautions.contains(&GERMS) && advice.cautions.contains(&LOCAL), "{kind}");
            let sentences = advice.steps().chain(advice.cautions.iter().copied()).chain([advice.proof]);
            for sentence in sentences {
                assert!(sentence.ends_with(['.', '?']) && !sentence.contains("  "), "{kind}: {sentence}");
                assert!(!sentence.contains("nothing has to be done"), "{kind} calls people: {sentence}");
            }
        }
    }

    #[test]
    fn the_first_step_is_number_one_of_the_list() {
        for kind in FindingKind::ALL {
            let advice = advice(kind, None);
            assert_eq!(advice.steps().next(), Some(advice.first), "{kind}");
            let wire = serde_json::to_value(advice).unwrap();
            assert_eq!(
                (&wire["first"], wire["steps"].as_array().unwrap().len()),
                (&wire["steps"][0], 1 + advice.further.len())
            );
        }
    }

    #[test]
    fn a_silent_sensor_gets_its_battery_before_anything_else() {
        let advice = advice_on_empty(FindingKind::SensorSilent, None);
        assert!(advice.first.starts_with("Change the battery"), "{}", advice.first);
        let other = FindingKind::SensorStuck;
        assert_eq!(advice_on_empty(other, None), super::advice(other, None));
    }

    #[test]
    fn what_keeps_a_flood_off_waits_for_the_flood_that_stands() {
        let advice = advice_in_flood(FindingKind::SlowSoak, None);
        assert!(advice.first.starts_with("See to the flood"), "{}", advice.first);
        let other = FindingKind::BatteryLow;
        assert_eq!(advice_in_flood(other, None), super::advice(other, None));
    }

    #[test]
    fn work_that_digs_or_opens_pipes_says_so_among_its_cautions() {
        for kind in [FindingKind::Flooding, FindingKind::BlockedOutlet, FindingKind::UnevenSplit] {
            let cautions = advice(kind, None).cautions;
            assert!(cautions.contains(&DIGGING) && cautions.contains(&PLUMBING), "{kind}");
            assert!(cautions.contains(&CHAMBER), "{kind}");
        }
        for kind in [FindingKind::Flooding, FindingKind::Ponding, FindingKind::UnexpectedWater] {
            assert!(advice(kind, None).cautions.contains(&STANDING), "{kind}");
        }
    }
}
