//! The whole world: it keeps its water, tells the same story twice, and faults do what they say.

use simulators::fault::{Action, Course, Diverter, Fault, FaultKind, Moment, Service};
use simulators::people::Household;
use simulators::site::Site;
use simulators::sky::{Climate, Rain};
use simulators::truth::{DoseKind, TrueDose, WaterBalance};
use simulators::world::World;

use crate::sites::{
    DAY_MS, START_MS, blockage, doses, fault, four_basins, one_basin, parse, service, tilt, world,
};

/// A world that drives water somewhere it seldom goes.
struct HardCase {
    name: &'static str,
    site: Site,
    climate: Climate,
    faults: Vec<Fault>,
    services: Vec<Service>,
    /// Litres that must have gone the unusual way.
    unusual: fn(&WaterBalance) -> f64,
}

impl HardCase {
    fn world(&self, seed: u64) -> World {
        let household = Household::default();
        World::new(&self.site, &household, &self.climate, &self.faults, &self.services, START_MS, seed)
            .expect("faults and services fit the site")
    }
}

fn hard_cases() -> Vec<HardCase> {
    let rain = Rain { annual_mm: 1500.0, wet_day_mm: 12.0, ..Rain::default() };
    let wet = Climate { rain, ..Climate::default() };
    let clogged = Fault {
        course: Course::Growth { days: 30.0 },
        ..fault(10.0, FaultKind::MulchClogging { basin: "fig".to_owned(), resistance_h: 80.0 })
    };
    let leaks = [true, false].map(|metered| fault(15.0, FaultKind::Leak { l_min: 0.3, metered }));
    vec![
        HardCase {
            name: "flooded clay",
            site: four_basins("clay", 6),
            climate: wet.clone(),
            faults: vec![fault(20.0, FaultKind::Overload { times: 5.0 })],
            services: vec![],
            unusual: |balance| balance.overflow,
        },
        HardCase {
            name: "all outlets blocked, then one cleared",
            site: four_basins("sand", 4),
            climate: Climate::default(),
            faults: ["quince", "fig", "plum", "pear"].map(|basin| fault(10.0, blockage(basin, 1.0))).to_vec(),
            services: vec![service(30.0, Action::ClearOutlet("fig".to_owned()))],
            unusual: |balance| balance.backed_up,
        },
        HardCase {
            name: "half blocked and tilted, with mulch renewed",
            site: four_basins("silt-loam", 4),
            climate: wet,
            faults: vec![fault(5.0, blockage("plum", 0.8)), fault(9.0, tilt("s1", 0.8)), clogged],
            services: vec![
                service(45.0, Action::RenewMulch("fig".to_owned())),
                service(46.0, Action::FlowTest { litres: 600.0, l_min: 10.0 }),
            ],
            unusual: |balance| balance.fixtures,
        },
        HardCase {
            name: "leaks and a diverter turned",
            site: one_basin("sandy-clay", 3, "\"showers\", \"baths\""),
            climate: Climate::default(),
            faults: leaks.into_iter().chain([fault(30.0, FaultKind::DiverterTurned)]).collect(),
            services: vec![service(40.0, Action::StopLeak)],
            unusual: |balance| balance.sewer.min(balance.seepage),
        },
        HardCase {
            name: "cold wet ground",
            site: four_basins("sandy-loam", 6),
            climate: Climate { mean_c: 2.0, ..Climate::default() },
            faults: vec![fault(20.0, FaultKind::ColdWetSoil { lost: 1.0 })],
            services: vec![],
            unusual: |balance| balance.overflow,
        },
        HardCase {
            name: "a healthy loam",
            site: four_basins("loam", 4),
            climate: Climate::default(),
            faults: vec![],
            services: vec![],
            unusual: |balance| balance.drainage,
        },
    ]
}

#[test]
fn no_water_is_made_or_lost() {
    for case in hard_cases() {
        let mut world = case.world(5);
        for day in 1..=60 {
            world.advance_to(START_MS + day * DAY_MS);
            let balance = world.balance();
            let (name, residual) = (case.name, balance.residual());
            assert!(
                residual.abs() <= 1e-3 * balance.inflow().max(1.0),
                "{name}, day {day}: {residual} L unaccounted for in {balance:?}"
            );
        }
        let unusual = (case.unusual)(&world.balance());
        assert!(unusual > 100.0, "{}: only {unusual} L went the unusual way", case.name);
    }
}

#[test]
fn soil_stays_between_its_residual_and_saturated_contents() {
    for case in hard_cases() {
        let (name, table) = (case.name, case.site.soil.hydraulics());
        let residual = table.porosity - table.effective_porosity;
        case.world(6).advance_watch(START_MS + 40 * DAY_MS, &mut |_, world| {
            for (index, built) in case.site.basins.iter().enumerate() {
                let basin = world.basin(index);
                // Soils are drawn within 6 % of the table's porosity.
                let possible = residual..=1.061 * table.porosity;
                assert!(possible.contains(&basin.water_content), "{name}: {basin:?}");
                assert!((0.0..=built.depth_mm + 1e-6).contains(&basin.standing_mm), "{name}: {basin:?}");
            }
        });
    }
}

/// Everything that can be seen of a world at a moment, to the bit.
fn seen(world: &World, basins: usize) -> Vec<u64> {
    let system = world.system();
    let sums = [system.fixture_litres, system.landscape_litres, system.rain_mm, system.air_temperature_c];
    let basins = (0..basins).flat_map(|index| {
        let basin = world.basin(index);
        [basin.standing_mm, basin.water_content, basin.soil_temperature_c, basin.floor_resistance_h]
    });
    sums.into_iter().chain(basins).map(f64::to_bits).collect()
}

#[test]
fn the_same_seed_tells_the_same_story_however_often_one_looks() {
    let site = four_basins("loam", 4);
    let faults = [fault(3.0, tilt("s2", 0.7))];
    let (mut rarely, mut often) = (world(&site, &faults, &[], 8), world(&site, &faults, &[], 8));
    let end = START_MS + 15 * DAY_MS;
    rarely.advance_to(end);
    let mut at = START_MS;
    while at < end {
        at = (at + 97_003).min(end);
        often.advance_to(at);
        let _ = often.basin(0);
    }
    assert_eq!(seen(&rarely, 4), seen(&often, 4));
    assert_eq!(rarely.take_doses(), often.take_doses());
    assert_ne!(seen(&rarely, 4), {
        let mut other = world(&site, &faults, &[], 9);
        other.advance_to(end);
        seen(&other, 4)
    });
}

#[test]
fn steps_are_short_while_water_stands() {
    let site = four_basins("clay", 4);
    let mut world = world(&site, &[], &[], 3);
    let (mut last, mut stood) = (START_MS, [0.0; 4]);
    world.advance_watch(START_MS + 5 * DAY_MS, &mut |at_ms, world| {
        for (index, stood) in stood.iter_mut().enumerate() {
            let standing_mm = world.basin(index).standing_mm;
            if *stood > 0.0 {
                assert!(at_ms - last <= 60_000, "{} ms from {stood} to {standing_mm} mm", at_ms - last);
            }
            *stood = standing_mm;
        }
        last = at_ms;
    });
}

#[test]
fn systems_of_one_property_share_their_sky() {
    let text = |id: &str| {
        format!(
            "id = \"{id}\"\nproperty = \"court\"\ntimezone = \"Europe/Madrid\"\nsoil = \"loam\"\n\
             [[basin]]\nid = \"lemon\"\narea_m2 = 2.0\n"
        )
    };
    let [mut east, mut west] = ["east", "west"].map(|id| world(&parse(&text(id)), &[], &[], 1));
    let (in_east, in_west) = (doses(&mut east, 30), doses(&mut west, 30));
    let (rain_east, rain_west) = (east.system().rain_mm, west.system().rain_mm);
    assert!(rain_east > 1.0 && (rain_east - rain_west).abs() < 1e-9, "{rain_east} and {rain_west} mm");
    assert_ne!(in_east, in_west);
}

/// Mean share of a basin over doses of a kind, by water.
fn share(doses: &[TrueDose], kind: DoseKind, basins: &[usize]) -> f64 {
    let of_kind = doses.iter().filter(|dose| dose.kind == kind && dose.uses == 1);
    let (mut these, mut all) = (0.0, 0.0);
    for dose in of_kind {
        these += basins.iter().map(|index| dose.basin_litres[*index]).sum::<f64>();
        all += dose.basin_litres.iter().sum::<f64>();
    }
    these / all
}

#[test]
fn a_tilt_gives_side_a_its_share_of_showers_and_less_of_laundry() {
    let site = four_basins("sandy-loam", 4);
    let seen = doses(&mut world(&site, &[fault(0.0, tilt("s1", 0.7))], &[], 2), 120);
    let (showers, laundry) =
        (share(&seen, DoseKind::Shower, &[0, 1]), share(&seen, DoseKind::Laundry, &[0, 1]));
    assert!((showers - 0.7).abs() < 0.03, "{showers}");
    assert!(laundry < showers - 0.04 && laundry > 0.5, "{laundry}");
    let below = share(&seen, DoseKind::Shower, &[0]) / showers;
    assert!((below - 0.5).abs() < 0.06, "the splitter below divides as before: {below}");
}

#[test]
fn settling_and_service_take_their_time_and_effect() {
    let site = four_basins("sandy-loam", 4);
    let settling = Fault {
        kind: tilt("s1", 0.75),
        onset: Moment::Days(30.0),
        course: Course::Linear { days: 30.0 },
        until: None,
    };
    let visit = service(90.0, Action::LevelSplitter("s1".to_owned()));
    let mut world = world(&site, &[settling], &[visit], 2);
    let monthly: Vec<f64> =
        (0..4).map(|_| share(&doses(&mut world, 30), DoseKind::Shower, &[0, 1])).collect();
    assert!((monthly[0] - 0.5).abs() < 0.05 && (monthly[3] - 0.5).abs() < 0.05, "{monthly:?}");
    assert!(monthly[1] > monthly[0] + 0.05 && monthly[2] > monthly[1] + 0.05, "{monthly:?}");
    let [span] = &world.faults()[..] else { panic!("one fault") };
    assert_eq!(span.start_ms, START_MS + 30 * DAY_MS);
    assert_eq!(span.full_ms, START_MS + 60 * DAY_MS);
    assert_eq!(span.end_ms, Some(START_MS + 90 * DAY_MS));
}

#[test]
fn a_blocked_outlet_starves_its_basin_until_it_is_cleared() {
    let site = four_basins("sandy-loam", 4);
    let clear = service(60.0, Action::ClearOutlet("fig".to_owned()));
    let mut world = world(&site, &[fault(30.0, blockage("fig", 1.0))], &[clear], 7);
    let monthly: Vec<f64> = (0..3).map(|_| share(&doses(&mut world, 30), DoseKind::Shower, &[1])).collect();
    assert!((monthly[0] - 0.25).abs() < 0.04 && (monthly[2] - 0.25).abs() < 0.04, "{monthly:?}");
    assert!(monthly[1] < 0.01, "{monthly:?}");
}

#[test]
fn clogged_mulch_holds_water_until_it_is_renewed() {
    let site = four_basins("sandy-loam", 4);
    let clogging = Fault {
        kind: FaultKind::MulchClogging { basin: "plum".to_owned(), resistance_h: 60.0 },
        onset: Moment::Days(0.0),
        course: Course::Linear { days: 30.0 },
        until: None,
    };
    let renew = service(60.0, Action::RenewMulch("plum".to_owned()));
    let mut world = world(&site, &[clogging], &[renew], 4);
    let mut wet_minutes = |days: i64| {
        let (mut minutes, mut last) = ([0.0; 4], world.now_ms());
        world.advance_watch(last + days * DAY_MS, &mut |at_ms, world| {
            for (index, sum) in minutes.iter_mut().enumerate() {
                if world.basin(index).standing_mm > 10.0 {
                    *sum += (at_ms - last) as f64 / 60_000.0;
                }
            }
            last = at_ms;
        });
        minutes
    };
    let _ = wet_minutes(30);
    let clogged = wet_minutes(30);
    let _ = wet_minutes(2);
    let renewed = wet_minutes(28);
    assert!(clogged[2] > 10.0 * clogged[3].max(1.0), "{clogged:?}");
    assert!(clogged[2] > 0.4 * 30.0 * 1440.0, "{clogged:?}");
    assert!(renewed[2] < 0.1 * clogged[2], "{renewed:?}");
}

#[test]
fn a_leak_is_told_once_a_day_and_metered_only_if_it_comes_through_a_fixture() {
    let site = one_basin("sand", 1, "\"showers\"");
    let household = Household {
        away: vec![simulators::people::Absence { from: Moment::Days(-20.0), until: Moment::Days(100.0) }],
        ..Household::default()
    };
    for metered in [true, false] {
        let leak = fault(1.0, FaultKind::Leak { l_min: 0.2, metered });
        let mut world =
            World::new(&site, &household, &Climate::default(), &[leak], &[], START_MS, 1).unwrap();
        let seen = doses(&mut world, 11);
        assert!((9..=11).contains(&seen.len()), "{seen:?}");
        assert!(seen.iter().all(|dose| dose.kind == DoseKind::Leak));
        let daily = seen[4].litres;
        assert!((daily - 0.2 * 1440.0).abs() < 0.01, "{daily} L a day");
        let counted = world.system().fixture_litres;
        assert!(if metered { (counted - 10.0 * 288.0).abs() < 1.0 } else { counted == 0.0 }, "{counted}");
    }
}

#[test]
fn the_diverter_sends_water_to_the_sewer_and_back() {
    let site = four_basins("loam", 4);
    let turn = |day, position| service(day, Action::TurnDiverter(position));
    let services = [turn(10.0, Diverter::Sewer), turn(20.0, Diverter::Landscape)];
    let mut world = world(&site, &[fault(30.0, FaultKind::DiverterTurned)], &services, 1);
    for (days, position) in
        [(5, Diverter::Landscape), (10, Diverter::Sewer), (10, Diverter::Landscape), (10, Diverter::Sewer)]
    {
        let seen = doses(&mut world, days);
        assert_eq!(world.system().diverter, position);
        let last = &seen[seen.len() - 1];
        let expected = if position == Diverter::Sewer { last.litres } else { 0.0 };
        assert!((last.sewer_litres - expected).abs() < 1e-9, "{last:?}");
    }
}

#[test]
fn a_lost_source_sends_less() {
    let site = four_basins("loam", 4);
    let mut whole = world(&site, &[], &[], 3);
    let mut half = world(&site, &[fault(0.0, FaultKind::SourceLost { lost: 0.5 })], &[], 3);
    let mut none = world(&site, &[fault(0.0, FaultKind::SourceLost { lost: 1.0 })], &[], 3);
    let litres = |world: &mut World| doses(world, 60).iter().map(|dose| dose.litres).sum::<f64>();
    let (whole, half, none) = (litres(&mut whole), litres(&mut half), litres(&mut none));
    assert!((0.38..0.62).contains(&(half / whole)), "{}", half / whole);
    assert!(none.abs() < f64::EPSILON);
}

#[test]
fn a_flow_test_is_told_apart() {
    let site = four_basins("loam", 2);
    let test = service(2.123, Action::FlowTest { litres: 80.0, l_min: 12.0 });
    let seen = doses(&mut world(&site, &[], &[test], 3), 5);
    let dose = seen.iter().find(|dose| dose.kind == DoseKind::FlowTest).unwrap();
    assert_eq!(dose.start_ms, START_MS + (2.123 * DAY_MS as f64).round() as i64);
    assert!(dose.litres >= 80.0 - 1e-6);
    let delivered: f64 = dose.basin_litres.iter().sum();
    assert!((delivered / dose.litres - 1.0).abs() < 0.01, "{delivered} of {}", dose.litres);
}

#[test]
fn doses_wet_the_soil_as_much_as_they_should() {
    // A dose's water goes somewhere: two to ten points of water content at 250 mm for an ordinary heavy day, and
    // healthy basins are dry most of the time ("more than an hour after a shower is a warning": common practice, no
    // published source).
    for (soil, most_wet) in [("sand", 0.10), ("sandy-loam", 0.10), ("loam", 0.25)] {
        let site = four_basins(soil, 3);
        let mut world = world(&site, &[], &[], 12);
        let (mut wet, mut swings) = (0.0, Vec::new());
        let mut last = START_MS;
        let (mut low, mut high) = (1.0_f64, 0.0_f64);
        for day in 1..=30 {
            world.advance_watch(START_MS + day * DAY_MS, &mut |at_ms, world| {
                let basin = world.basin(0);
                wet += if basin.standing_mm > 1.0 { (at_ms - last) as f64 } else { 0.0 };
                last = at_ms;
                (low, high) = (low.min(basin.water_content), high.max(basin.water_content));
            });
            swings.push(high - low);
            (low, high) = (1.0, 0.0);
        }
        swings.sort_by(f64::total_cmp);
        assert!((0.02..0.20).contains(&swings[15]), "{soil}: {swings:?}");
        assert!(wet / (30.0 * DAY_MS as f64) < most_wet, "{soil}: {wet}");
    }
}

#[test]
fn unknown_parts_and_sizes_are_refused() {
    let site = four_basins("loam", 4);
    let refused = |faults: &[Fault], services: &[Service]| {
        let (household, climate) = (Household::default(), Climate::default());
        World::new(&site, &household, &climate, faults, services, START_MS, 1).unwrap_err().to_string()
    };
    assert_eq!(refused(&[fault(0.0, tilt("s9", 0.6))], &[]), "orchard has no splitter `s9`");
    assert_eq!(refused(&[fault(0.0, blockage("kiwi", 0.6))], &[]), "orchard has no basin `kiwi`");
    assert_eq!(refused(&[fault(0.0, blockage("fig", 1.6))], &[]), "closed is 1.6; it must be 0 to 1");
    let renew = service(1.0, Action::RenewMulch("kiwi".to_owned()));
    assert_eq!(refused(&[], &[renew]), "orchard has no basin `kiwi`");
}
