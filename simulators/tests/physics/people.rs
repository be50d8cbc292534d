//! Households against published end-use figures.

use std::collections::BTreeSet;

use simulators::fault::{Fault, FaultKind, Moment};
use simulators::people::{Absence, Guests, Household, Washer};
use simulators::sky::Climate;
use simulators::truth::{DoseKind, TrueDose};
use simulators::world::World;

use crate::sites::{START_MS, blockage, doses, fault, four_basins, one_basin, world};

/// Litres in a US gallon.
const GALLON_L: f64 = 3.785_411_784;

fn litres(doses: &[TrueDose]) -> f64 {
    doses.iter().map(|dose| dose.litres).sum()
}

/// Doses of many houses of three for two weeks each, and the person-days they stand for.
fn many_houses(fixtures: &str, household: &Household) -> (Vec<TrueDose>, f64) {
    let site = one_basin("sandy-loam", 3, fixtures);
    let houses = 150;
    let all = (0..houses).flat_map(|seed| {
        let climate = Climate::default();
        let mut world =
            World::new(&site, household, &climate, &[], &[], START_MS, seed).expect("a sound house");
        doses(&mut world, 14)
    });
    (all.collect(), 14.0 * 3.0 * houses as f64)
}

#[test]
fn showers_use_what_end_use_studies_found() {
    let (doses, person_days) = many_houses("\"showers\"", &Household::default());
    let uses: f64 = doses.iter().map(|dose| f64::from(dose.uses)).sum();
    // 11.1 gal a person a day (DeOreo et al. 2016).
    let per_person = litres(&doses) / person_days / GALLON_L;
    assert!((10.3..11.9).contains(&per_person), "{per_person} gal");
    // 0.67 showers a person a day (Mayer et al. 1999) to 0.72 (Blokker's Dutch end-use model).
    let showers = uses / person_days;
    assert!((0.66..0.73).contains(&showers), "{showers} showers");
    // 15.8 gal a shower (DeOreo et al. 2016) to 17.2 (Mayer et al. 1999).
    let each = litres(&doses) / uses / GALLON_L;
    assert!((15.3..17.2).contains(&each), "{each} gal");
}

#[test]
fn laundry_uses_what_codes_and_studies_reckon_with() {
    let (doses, person_days) = many_houses("\"laundry\"", &Household::default());
    // 8 gal a person a day for a water-conserving machine, 11 for a traditional one (WAC 246-274-410, 2011).
    let per_person = litres(&doses) / person_days / GALLON_L;
    assert!((7.0..11.0).contains(&per_person), "{per_person} gal");
    // 25 gal a load was typical in 2014, 15 for an efficient machine (City of Santa Cruz).
    let uses = |doses: &[TrueDose]| doses.iter().map(|dose| f64::from(dose.uses)).sum::<f64>();
    let typical = litres(&doses) / uses(&doses) / GALLON_L;
    assert!((24.0..26.0).contains(&typical), "{typical} gal");
    let thrifty = Household { washer: Washer::Efficient, ..Household::default() };
    let (doses, _) = many_houses("\"laundry\"", &thrifty);
    let efficient = litres(&doses) / uses(&doses) / GALLON_L;
    assert!((14.4..15.6).contains(&efficient), "{efficient} gal");
}

#[test]
fn hand_basins_are_used_often_and_little() {
    let (doses, person_days) = many_houses("\"basins\"", &Household::default());
    let uses: f64 = doses.iter().map(|dose| f64::from(dose.uses)).sum();
    // 4.1 uses a person a day (Blokker's model); mean 1.06 L (a flat in Naples, 2,909 uses).
    assert!((4.0..4.2).contains(&(uses / person_days)), "{} uses", uses / person_days);
    assert!((0.95..1.25).contains(&(litres(&doses) / uses)), "{} L", litres(&doses) / uses);
}

#[test]
fn a_house_stays_below_what_plumbing_codes_design_for() {
    // 25 gal a person a day for showers, tubs and basins and 15 for laundry (California Plumbing Code 1503.8.1).
    let (doses, person_days) =
        many_houses("\"showers\", \"laundry\", \"basins\", \"baths\"", &Household::default());
    let per_person = litres(&doses) / person_days / GALLON_L;
    assert!((15.0..40.0).contains(&per_person), "{per_person} gal");
}

#[test]
fn most_showers_follow_getting_up() {
    let (doses, _) = many_houses("\"showers\"", &Household::default());
    let zone = jiff::tz::TimeZone::get("Europe/Madrid").unwrap();
    let local = |dose: &TrueDose| zone.to_datetime(jiff::Timestamp::from_millisecond(dose.start_ms).unwrap());
    let early = |doses: &[&TrueDose]| {
        let hours: Vec<f64> = doses
            .iter()
            .map(|dose| f64::from(local(dose).hour()) + f64::from(local(dose).minute()) / 60.0)
            .filter(|hour| *hour < 13.0)
            .collect();
        hours.iter().sum::<f64>() / hours.len() as f64
    };
    let (weekend, weekday): (Vec<&TrueDose>, Vec<&TrueDose>) =
        doses.iter().partition(|dose| local(dose).weekday().to_monday_zero_offset() >= 5);
    // Getting up at 7 h on weekdays and 8 h at weekends (Blokker 2006), and a shower within the hour.
    assert!((7.0..8.2).contains(&early(&weekday)), "{}", early(&weekday));
    assert!((0.6..1.4).contains(&(early(&weekend) - early(&weekday))));
}

#[test]
fn nobody_at_home_means_no_water_and_guests_mean_more() {
    let site = four_basins("sandy-loam", 2);
    let household = Household {
        away: vec![Absence { from: Moment::Days(10.0), until: Moment::Days(20.0) }],
        guests: vec![Guests { from: Moment::Days(30.0), until: Moment::Days(40.0), people: 4 }],
        ..Household::default()
    };
    let mut usual = world(&site, &[], &[], 4);
    let mut world = World::new(&site, &household, &Climate::default(), &[], &[], START_MS, 4).unwrap();
    let mut weeks = |days| (doses(&mut world, days), doses(&mut usual, days));
    let (with, without) = weeks(10);
    let told = |doses: &[TrueDose]| {
        doses.iter().map(|dose| (dose.start_ms, dose.litres.to_bits())).collect::<Vec<_>>()
    };
    assert_eq!(told(&with), told(&without), "the days before are as they would have been");
    assert_eq!(weeks(10).0, vec![]);
    let _ = weeks(10);
    let (with, without) = weeks(10);
    assert!(litres(&with) > 2.0 * litres(&without));
}

#[test]
fn a_fault_leaves_the_households_draws_alone() {
    // What has left the fixtures by each day's end, and how often they were used.
    let site = four_basins("loam", 4);
    let used = |faults: &[Fault]| {
        let mut world = world(&site, faults, &[], 11);
        let by_day = (0..60).map(|_| {
            let uses: u32 = doses(&mut world, 1).iter().map(|dose| dose.uses).sum();
            (uses, world.system().fixture_litres)
        });
        by_day.collect::<Vec<_>>()
    };
    let sound = used(&[]);
    let blocked = used(&[fault(5.0, blockage("fig", 1.0))]);
    let cold = used(&[fault(5.0, FaultKind::ColdWetSoil { lost: 0.9 })]);
    for ((sound, blocked), cold) in sound.iter().zip(&blocked).zip(&cold) {
        assert_eq!((sound.0, sound.0), (blocked.0, cold.0));
        assert!((sound.1 - blocked.1).abs() < 1e-6 && (sound.1 - cold.1).abs() < 1e-6);
    }
    assert!(sound.last().is_some_and(|(_, litres)| *litres > 10_000.0));
}

#[test]
fn only_the_fixtures_of_the_file_are_used() {
    let mut world = world(&four_basins("loam", 4), &[], &[], 11);
    let kinds: BTreeSet<DoseKind> = doses(&mut world, 60).iter().map(|dose| dose.kind).collect();
    assert_eq!(kinds.into_iter().collect::<Vec<_>>(), [DoseKind::Shower, DoseKind::Laundry]);
}
