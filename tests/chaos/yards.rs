//! Two yards of one property and all that their sensors say in some days, with troubles that become alerts.

use std::sync::Arc;

use basinward::model::{EventTime, Span, System};

use crate::chance::Chance;

/// The sensors' time begins here: 2026-03-07T00:00:00Z. In the night after next the clocks of these yards go forward
/// (IANA time zone database, `America/Denver`: 2026-03-08, 02:00).
pub(crate) const START: EventTime = EventTime::from_secs(1_772_841_600);
pub(crate) const ZONE: &str = "America/Denver";

const EAST: &str = r#"
id = "east"
name = "East"
property = "court"
timezone = "America/Denver"
soil = "loam"
[source]
meter = { litres_per_count = 1.0 }
[[splitter]]
id = "s1"
feeds = ["quince", "fig"]
[[basin]]
id = "quince"
area_m2 = 1.2
float = { height_mm = 120 }
overflow = { height_mm = 260 }
moisture = {}
[[basin]]
id = "fig"
area_m2 = 1.2
float = {}
moisture = {}
"#;

const WEST: &str = r#"
id = "west"
name = "West"
property = "court"
timezone = "America/Denver"
soil = "sandy-loam"
[[basin]]
id = "plum"
area_m2 = 2.0
float = {}
moisture = {}
"#;

/// One value that a sensor measured.
#[derive(Clone, Debug)]
pub(crate) struct Said {
    pub(crate) system: &'static str,
    /// Its name inside the system.
    pub(crate) sensor: String,
    pub(crate) at: EventTime,
    pub(crate) value: f64,
}

pub(crate) fn systems() -> Vec<Arc<System>> {
    let parse = |name: &str, text: &str| {
        let system = basinward::systemfile::parse(&format!("{name}.toml"), text);
        Arc::new(system.expect("a plain system file"))
    };
    vec![parse("east", EAST), parse("west", WEST)]
}

/// Everything that is measured in `days`, by time.
pub(crate) fn story(days: i64, chance: &mut Chance) -> Vec<Said> {
    let mut said = Vec::new();
    let doses = doses(days, chance);
    meter(days, &doses, &mut said);
    for (system, basin) in [("east", "quince"), ("east", "fig"), ("west", "plum")] {
        let mut yard = Yard { system, basin, days, said: &mut said };
        yard.probe(&doses, chance);
        yard.float(&doses, chance);
        yard.battery(chance);
    }
    let mut overflow = Yard { system: "east", basin: "quince", days, said: &mut said };
    overflow.overflow(chance);
    said.sort_by(|a, b| (a.at, a.system, &a.sensor).cmp(&(b.at, b.system, &b.sensor)));
    said
}

/// When somebody showers, and how many litres.
fn doses(days: i64, chance: &mut Chance) -> Vec<(EventTime, f64)> {
    let mut doses = Vec::new();
    for day in 0..days {
        for hour in [7, 8, 12, 19, 21] {
            let at = START + Span::from_hours(24 * day + hour) + Span::from_secs(chance.between(0, 3000));
            doses.push((at, chance.between(20, 70) as f64));
        }
    }
    doses
}

fn meter(days: i64, doses: &[(EventTime, f64)], said: &mut Vec<Said>) {
    let mut count = 1000.0;
    let mut say = |at, value| said.push(Said { system: "east", sensor: "meter".to_owned(), at, value });
    for (at, litres) in doses {
        count += litres;
        say(*at + Span::from_mins(6), count);
    }
    say(START + Span::from_days(days), count);
}

struct Yard<'a> {
    system: &'static str,
    basin: &'static str,
    days: i64,
    said: &'a mut Vec<Said>,
}

impl Yard<'_> {
    fn say(&mut self, quantity: &str, at: EventTime, value: f64) {
        let sensor = format!("{}/{quantity}", self.basin);
        self.said.push(Said { system: self.system, sensor, at, value });
    }

    fn end(&self) -> EventTime {
        START + Span::from_days(self.days)
    }

    /// A saw that rises with each dose; it may fall silent, or freeze.
    fn probe(&mut self, doses: &[(EventTime, f64)], chance: &mut Chance) {
        let (silent, frozen) = (chance.happens(0.3), chance.happens(0.2));
        let trouble_from = START + Span::from_hours(chance.between(12, 24 * self.days));
        let trouble_to = trouble_from + Span::from_hours(chance.between(8, 30));
        let every = Span::from_mins(chance.between(10, 20));
        let (mut at, mut water, mut next) = (START + Span::from_secs(chance.between(1, 600)), 0.24, 0);
        while at < self.end() {
            while doses.get(next).is_some_and(|(dose, _)| *dose < at) {
                water = (water + 0.001 * doses[next].1).min(0.42);
                next += 1;
            }
            water += (0.22 - water) * 0.02;
            let in_trouble = at >= trouble_from && at < trouble_to;
            if !(in_trouble && silent) {
                let noise = 0.0004 * (chance.unit() - 0.5);
                let shown = if in_trouble && frozen { 0.3 } else { water + noise };
                self.say("moisture", at, (shown * 1e4).round() / 1e4);
            }
            at = at + every;
        }
    }

    /// Closes with some doses for a while, and once for so long that it is a flood.
    fn float(&mut self, doses: &[(EventTime, f64)], chance: &mut Chance) {
        let flood = chance.happens(0.5).then(|| chance.below(doses.len()));
        let mut busy_until = START;
        for (i, (dose, litres)) in doses.iter().enumerate() {
            let (dose, from) = (*dose, *dose + Span::from_mins(4));
            if dose <= busy_until || (*litres < 45.0 && flood != Some(i)) {
                continue;
            }
            let lasts =
                if flood == Some(i) { chance.between(9 * 60, 20 * 60) } else { chance.between(15, 50) };
            let to = from + Span::from_mins(lasts);
            self.say("float", from, 1.0);
            let mut again = from + Span::from_hours(1);
            while again < to {
                self.say("float", again, 1.0);
                again = again + Span::from_hours(1);
            }
            self.say("float", to, 0.0);
            busy_until = to;
        }
    }

    fn overflow(&mut self, chance: &mut Chance) {
        self.say("overflow", START, 0.0);
        for _ in 0..chance.below(3) {
            let at = START + Span::from_mins(chance.between(60, 24 * 60 * self.days - 120));
            self.say("overflow", at, 1.0);
            self.say("overflow", at + Span::from_mins(3), 1.0);
            self.say("overflow", at + Span::from_mins(chance.between(4, 60)), 0.0);
        }
    }

    fn battery(&mut self, chance: &mut Chance) {
        let (first, a_day) = (chance.between(15, 95) as f64, chance.between(0, 6) as f64);
        for step in 0..self.days * 4 {
            let charge = (first - a_day * step as f64 / 4.0).max(3.0);
            // One without a unit is a ratio, and means 100 %.
            self.say("battery", START + Span::from_hours(6 * step), charge.round());
        }
    }
}
