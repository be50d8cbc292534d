//! Sites and worlds that the tests share; all invented.

use simulators::fault::{Action, Course, Fault, FaultKind, Moment, Service};
use simulators::people::Household;
use simulators::site::Site;
use simulators::sky::Climate;
use simulators::truth::TrueDose;
use simulators::world::World;

/// 2026-03-01T00:00:00Z.
pub(crate) const START_MS: i64 = 1_772_323_200_000;

pub(crate) const DAY_MS: i64 = 86_400_000;

/// Two levels of splitters above four basins; `s1` feeds `s2` (quince, fig) and `s3` (plum, pear).
pub(crate) fn four_basins(soil: &str, people: u32) -> Site {
    let head = format!(
        "id = \"orchard\"\ntimezone = \"America/Denver\"\nsoil = \"{soil}\"\n\
         location = {{ latitude = 35.69, longitude = -105.94 }}\n[source]\npeople = {people}\n"
    );
    let splitters = [("s1", "s2", "s3"), ("s2", "quince", "fig"), ("s3", "plum", "pear")]
        .map(|(id, a, b)| format!("[[splitter]]\nid = \"{id}\"\nfeeds = [\"{a}\", \"{b}\"]\n"));
    let basins =
        ["quince", "fig", "plum", "pear"].map(|id| format!("[[basin]]\nid = \"{id}\"\narea_m2 = 1.2\n"));
    parse(&(head + &splitters.concat() + &basins.concat()))
}

/// One basin and no splitter.
pub(crate) fn one_basin(soil: &str, people: u32, fixtures: &str) -> Site {
    parse(&format!(
        "id = \"single\"\ntimezone = \"Europe/Madrid\"\nsoil = \"{soil}\"\n\
         [source]\npeople = {people}\nfixtures = [{fixtures}]\n[[basin]]\nid = \"lemon\"\narea_m2 = 3.0\n"
    ))
}

pub(crate) fn parse(text: &str) -> Site {
    Site::parse(text).expect("a site of the tests is well formed")
}

/// A fault at full size from the given day on.
pub(crate) fn fault(day: f64, kind: FaultKind) -> Fault {
    Fault { kind, onset: Moment::Days(day), course: Course::Step, until: None }
}

pub(crate) fn service(day: f64, action: Action) -> Service {
    Service { at: Moment::Days(day), action }
}

pub(crate) fn blockage(basin: &str, closed: f64) -> FaultKind {
    FaultKind::Blockage { basin: basin.to_owned(), closed }
}

pub(crate) fn tilt(splitter: &str, share_a: f64) -> FaultKind {
    FaultKind::Tilt { splitter: splitter.to_owned(), share_a }
}

/// A world with the usual household and climate.
pub(crate) fn world(site: &Site, faults: &[Fault], services: &[Service], seed: u64) -> World {
    World::new(site, &Household::default(), &Climate::default(), faults, services, START_MS, seed)
        .expect("faults and services fit the site")
}

/// Lets days pass and returns the doses that ended in them.
pub(crate) fn doses(world: &mut World, days: i64) -> Vec<TrueDose> {
    world.advance_to(world.now_ms() + days * DAY_MS);
    world.take_doses()
}
