//! What goes wrong with the physical system, when it begins and how it grows; and what people do about it.
//!
//! ```toml
//! [[fault]]
//! kind = { tilt = { splitter = "s1", share_a = 0.65 } }
//! onset = 60                                  # days after the start, or "2026-03-01T08:00:00Z"
//! course = { linear = { days = 30 } }         # or "step", or { growth = { days = 90 } }
//!
//! [[service]]
//! at = 120
//! action = { level-splitter = "s1" }
//! ```

use serde::de::{self, Deserializer, Visitor};
use serde::{Deserialize, Serialize};

use crate::site::Site;

/// Milliseconds in a day.
pub(crate) const DAY_MS: i64 = 86_400_000;

/// One physical fault. Two at once are two entries.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fault {
    /// What is wrong, where and how badly once it has run its course.
    pub kind: FaultKind,
    /// When it begins.
    pub onset: Moment,
    /// How it comes on (default at once).
    #[serde(default)]
    pub course: Course,
    /// When it ends by itself; otherwise it stays until a service action mends it.
    pub until: Option<Moment>,
}

/// The faults that the physical world knows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum FaultKind {
    /// A splitter settles off level.
    Tilt {
        /// The splitter.
        splitter: String,
        /// The part of a usual shower's water that side a ends up with (0 to 1); less at higher flow.
        share_a: f64,
    },
    /// Hair, lint or roots close an outlet.
    Blockage {
        /// The basin whose outlet it is.
        basin: String,
        /// The part of the bore that is matted shut (0 to 1). What a matted bore passes falls with the cube of the
        /// open part: about 10 L/min at 0.5, 2 at 0.7, 0.7 at 0.8, 0.1 at 0.9, nothing at 1.
        closed: f64,
    },
    /// The mulch turns to humus and seals the floor of a basin.
    MulchClogging {
        /// The basin.
        basin: String,
        /// Hydraulic resistance added to the floor (h, that is mm of head for mm/h of flow). 5 slows noticeably,
        /// 20 leaves water standing from one use to the next, 60 floods at full load.
        resistance_h: f64,
    },
    /// The ground below all basins stops taking water: a high water table or frost.
    ColdWetSoil {
        /// The part of the soil's conductivity that is lost (0 to 1).
        lost: f64,
    },
    /// More water is sent than the household's usual amount.
    Overload {
        /// Times the usual use (above 1).
        times: f64,
    },
    /// The diverter stands at sewer though nobody meant it to.
    DiverterTurned,
    /// Fixtures no longer drain here.
    SourceLost {
        /// The part of the uses that is lost (0 to 1).
        lost: f64,
    },
    /// Water runs in with no use.
    Leak {
        /// Litres a minute.
        l_min: f64,
        /// It comes through a fixture, so that a meter counts it; otherwise it seeps into the line (default true).
        #[serde(default = "yes")]
        metered: bool,
    },
}

/// How a fault comes on, from nothing to its full size.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum Course {
    /// All at once.
    #[default]
    Step,
    /// Evenly, as a splitter settles.
    Linear {
        /// Days from onset to full size.
        days: f64,
    },
    /// Slowly, then faster, as roots grow.
    Growth {
        /// Days from onset to full size.
        days: f64,
    },
}

/// A time in a scenario.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Moment {
    /// Days after the start.
    Days(f64),
    /// Unix time (ms).
    At(i64),
}

/// Something that a person does to the system.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Service {
    /// When it is done.
    pub at: Moment,
    /// What is done.
    pub action: Action,
}

/// The work a service visit can hold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum Action {
    /// Dig out the old mulch and the fines on the floor of a basin, and fill it with new chips.
    RenewMulch(String),
    /// Clear a basin's outlet of hair, lint and roots.
    ClearOutlet(String),
    /// Set a splitter level again.
    LevelSplitter(String),
    /// Turn the diverter on purpose.
    TurnDiverter(Diverter),
    /// Stop all leaks.
    StopLeak,
    /// Connect lost fixtures again.
    RestoreSource,
    /// Run water on purpose to prove the split.
    FlowTest {
        /// Litres run.
        litres: f64,
        /// Litres a minute.
        l_min: f64,
    },
}

/// Position of the three-way valve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Diverter {
    /// Water goes to the basins.
    Landscape,
    /// Water goes to the sewer.
    Sewer,
}

/// A fault or service action that does not fit the site.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Misfit {
    /// No such basin.
    #[error("{site} has no basin `{name}`")]
    NoBasin {
        /// The site.
        site: String,
        /// The name nobody has.
        name: String,
    },
    /// No such splitter.
    #[error("{site} has no splitter `{name}`")]
    NoSplitter {
        /// The site.
        site: String,
        /// The name nobody has.
        name: String,
    },
    /// A size outside its range.
    #[error("{what} is {value}; it must be {range}")]
    Size {
        /// The quantity.
        what: &'static str,
        /// What was given.
        value: f64,
        /// What may be given.
        range: &'static str,
    },
}

fn yes() -> bool {
    true
}

impl Moment {
    /// The Unix time (ms), for a scenario that starts at `start_ms`.
    pub fn at_ms(self, start_ms: i64) -> i64 {
        match self {
            Self::Days(days) => start_ms + (days * DAY_MS as f64).round() as i64,
            Self::At(at) => at,
        }
    }
}

impl<'de> Deserialize<'de> for Moment {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct MomentVisitor;
        impl Visitor<'_> for MomentVisitor {
            type Value = Moment;

            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("days after the start (a number) or a time such as \"2026-03-01T08:00:00Z\"")
            }

            fn visit_f64<E: de::Error>(self, days: f64) -> Result<Moment, E> {
                Ok(Moment::Days(days))
            }

            fn visit_i64<E: de::Error>(self, days: i64) -> Result<Moment, E> {
                Ok(Moment::Days(days as f64))
            }

            fn visit_u64<E: de::Error>(self, days: u64) -> Result<Moment, E> {
                Ok(Moment::Days(days as f64))
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Moment, E> {
                let at: jiff::Timestamp =
                    text.parse().map_err(|_| E::invalid_value(de::Unexpected::Str(text), &self))?;
                Ok(Moment::At(at.as_millisecond()))
            }
        }
        deserializer.deserialize_any(MomentVisitor)
    }
}

impl Course {
    /// The part of its full size that a fault has reached after `days` (0 before it begins, then up to 1).
    pub fn reached(self, days: f64) -> f64 {
        if days < 0.0 {
            return 0.0;
        }
        match self {
            Self::Step => 1.0,
            Self::Linear { days: all } => (days / all).min(1.0),
            Self::Growth { days: all } => {
                // Exponential growth by a factor of e³ over its time, scaled to run from 0 to 1.
                let part = (days / all).min(1.0);
                (3.0 * part).exp_m1() / 3.0_f64.exp_m1()
            }
        }
    }
}

impl FaultKind {
    /// Checks names and sizes against the site.
    pub fn check(&self, site: &Site) -> Result<(), Misfit> {
        let size = |what, value: f64, ok: bool, range| {
            if ok { Ok(()) } else { Err(Misfit::Size { what, value, range }) }
        };
        match self {
            Self::Tilt { splitter, share_a } => {
                need_splitter(site, splitter)?;
                size("share_a", *share_a, *share_a > 0.0 && *share_a < 1.0, "between 0 and 1")
            }
            Self::Blockage { basin, closed } => {
                need_basin(site, basin)?;
                size("closed", *closed, (0.0..=1.0).contains(closed), "0 to 1")
            }
            Self::MulchClogging { basin, resistance_h } => {
                need_basin(site, basin)?;
                size("resistance_h", *resistance_h, *resistance_h >= 0.0, "0 or more")
            }
            Self::ColdWetSoil { lost } | Self::SourceLost { lost } => {
                size("lost", *lost, (0.0..=1.0).contains(lost), "0 to 1")
            }
            Self::Overload { times } => size("times", *times, *times >= 1.0 && *times <= 20.0, "1 to 20"),
            Self::Leak { l_min, .. } => {
                size("l_min", *l_min, *l_min > 0.0 && *l_min <= 60.0, "above 0, up to 60")
            }
            Self::DiverterTurned => Ok(()),
        }
    }
}

impl Action {
    /// Checks names and sizes against the site.
    pub fn check(&self, site: &Site) -> Result<(), Misfit> {
        match self {
            Self::RenewMulch(basin) | Self::ClearOutlet(basin) => need_basin(site, basin),
            Self::LevelSplitter(splitter) => need_splitter(site, splitter),
            Self::FlowTest { litres, l_min } => {
                let ok = *litres > 0.0 && *l_min > 0.0 && *l_min <= 60.0;
                let range = "above 0, and no faster than 60 L/min";
                if ok { Ok(()) } else { Err(Misfit::Size { what: "flow test", value: *litres, range }) }
            }
            Self::TurnDiverter(_) | Self::StopLeak | Self::RestoreSource => Ok(()),
        }
    }

    /// Whether doing this mends `fault`.
    pub fn mends(&self, fault: &FaultKind) -> bool {
        match (self, fault) {
            (Self::RenewMulch(done), FaultKind::MulchClogging { basin, .. })
            | (Self::ClearOutlet(done), FaultKind::Blockage { basin, .. }) => done == basin,
            (Self::LevelSplitter(done), FaultKind::Tilt { splitter, .. }) => done == splitter,
            (Self::TurnDiverter(_), FaultKind::DiverterTurned)
            | (Self::StopLeak, FaultKind::Leak { .. })
            | (Self::RestoreSource, FaultKind::SourceLost { .. }) => true,
            _ => false,
        }
    }
}

fn need_basin(site: &Site, name: &str) -> Result<(), Misfit> {
    let misfit = || Misfit::NoBasin { site: site.id.clone(), name: name.to_owned() };
    site.basin_index(name).map(drop).ok_or_else(misfit)
}

fn need_splitter(site: &Site, name: &str) -> Result<(), Misfit> {
    let misfit = || Misfit::NoSplitter { site: site.id.clone(), name: name.to_owned() };
    site.splitter_index(name).map(drop).ok_or_else(misfit)
}

#[cfg(test)]
mod tests {
    use super::{Action, Course, DAY_MS, Fault, Moment, Service};

    #[derive(serde::Deserialize)]
    struct Story {
        fault: Vec<Fault>,
        service: Vec<Service>,
    }

    const STORY: &str = r#"
        [[fault]]
        kind = { tilt = { splitter = "s1", share_a = 0.65 } }
        onset = 60
        course = { linear = { days = 30 } }

        [[fault]]
        kind = "diverter-turned"
        onset = "2026-03-01T08:00:00Z"
        until = 70.5

        [[service]]
        at = 120
        action = { level-splitter = "s1" }
    "#;

    #[test]
    fn a_story_reads_as_it_is_documented() {
        let story: Story = toml::from_str(STORY).unwrap();
        assert_eq!(story.fault[0].course, Course::Linear { days: 30.0 });
        assert_eq!(story.fault[0].onset.at_ms(1_000), 1_000 + 60 * DAY_MS);
        assert_eq!(story.fault[1].onset, Moment::At(1_772_352_000_000));
        assert_eq!(story.fault[1].until, Some(Moment::Days(70.5)));
        assert!(story.service[0].action.mends(&story.fault[0].kind));
        assert!(!story.service[0].action.mends(&story.fault[1].kind));
        assert!(!Action::LevelSplitter("s2".to_owned()).mends(&story.fault[0].kind));
    }

    #[test]
    fn a_bad_time_says_what_it_should_be() {
        let text = STORY.replace("2026-03-01T08:00:00Z", "in March");
        let error = toml::from_str::<Story>(&text).map(|_| ()).unwrap_err().to_string();
        assert!(error.contains("days after the start"), "{error}");
    }

    #[test]
    fn faults_grow_from_nothing_to_their_full_size() {
        for course in [Course::Step, Course::Linear { days: 10.0 }, Course::Growth { days: 10.0 }] {
            let reached: Vec<f64> = [-1.0, 0.0, 5.0, 10.0, 99.0].map(|days| course.reached(days)).to_vec();
            assert!(reached.windows(2).all(|pair| pair[0] <= pair[1]), "{course:?}: {reached:?}");
            assert!(reached[0].abs() < 1e-12 && (reached[3] - 1.0).abs() < 1e-12, "{course:?}: {reached:?}");
        }
        assert!(Course::Growth { days: 10.0 }.reached(5.0) < Course::Linear { days: 10.0 }.reached(5.0));
    }
}
