//! A year at speed: a simulated yard in which a splitter settles and a basin silts up, looked after by the plan
//! alone. What truly happened is the simulator's account, beside that of the same yard looked after by a calendar
//! and of the same yard left to itself.

mod calendar;
mod course;
mod technician;
mod yard;

use basinward::flowtest::Verdict;
use basinward::ledger::{ForecastRecord, ServiceFilter, StoredService, StoredTest, View};
use basinward::model::{EventTime, Id, Span, Work};
use serde_json::Value;
use support::Mosquitto;

use course::Course;
use yard::SimulatedYard;

use crate::interface::{bearer, key_of};
use crate::rig::Yard;

#[test]
fn a_year_by_plan_is_better_than_one_by_the_calendar_and_an_inspector_can_file_it() {
    let broker = Mosquitto::start();
    let yard = Yard::new(0).listening_to(broker.port());
    yard.write("systems/hazel-court.toml", SimulatedYard::system_file());
    let mut lived = Course::begin(&yard.path().join("data")).live();
    let visits: Vec<String> =
        lived.visits.iter().map(|visit| format!("{} {:?}", visit.at, visit.tasks)).collect();
    println!("{}", visits.join("\n"));
    let view = yard.view();
    let records = records(&view);

    // Mulch was renewed in time, and the flood that it prevented lay within the interval foretold.
    let renewed = first(&records, "basin:quince", Work::MulchRenewed);
    let flood = first_flood_of_the_yard_left_to_itself();
    let foretold = last_forecast(&view, "quince", renewed);
    println!("renewed {renewed}, first flood without that {flood}, foretold {foretold:?}");
    assert!(foretold.earliest <= flood && flood <= foretold.latest, "{flood} is not within {foretold:?}");
    assert!(renewed < flood && renewed > foretold.made, "{renewed}");
    assert_eq!(lived.yard.floods(), []);

    // The splitter was levelled, and a flow test proved it.
    let levelled = first(&records, "splitter:s3", Work::SplitterLevelled);
    let proof = view.flow_tests(&id(), levelled, EventTime::MAX, 10).expect("tests").pop().expect("a test");
    assert_eq!(verdict(&proof, "s3"), Some(Verdict::Even), "{proof:?}");

    // Fewer visits than by the calendar, and less time with a fault, by the simulator's own account.
    let by_calendar = calendar::by_calendar(&lived.zone);
    let days_off_level = lived.yard.days_off_level();
    println!("{} visits, {days_off_level:.1} days off level; {by_calendar:?}", lived.visits.len());
    assert!(lived.visits.len() < by_calendar.visits, "{visits:?}");
    assert!(days_off_level < by_calendar.days_off_level && by_calendar.flood_days > 0);

    inspected(&yard, &mut lived.yard);
}

fn id() -> Id {
    Id::new("hazel-court").expect("an id")
}

fn records(view: &View) -> Vec<StoredService> {
    let filter = ServiceFilter { systems: Some(vec![id()]), ..ServiceFilter::default() };
    view.services(&filter, 1_000).expect("records")
}

/// When `work` was first done there.
fn first(records: &[StoredService], subject: &str, work: Work) -> EventTime {
    let done =
        records.iter().filter(|it| it.record.subject.key() == subject && it.record.work.contains(&work));
    done.map(|it| it.record.at).min().unwrap_or_else(|| panic!("no {work:?} at {subject}: {records:?}"))
}

fn last_forecast(view: &View, basin: &str, before: EventTime) -> ForecastRecord {
    let basin = Id::new(basin).expect("an id");
    let made = view.forecasts_of(&id(), &basin, EventTime::MIN, before).expect("forecasts");
    made.into_iter().next_back().expect("a forecast")
}

fn first_flood_of_the_yard_left_to_itself() -> EventTime {
    let mut alone = SimulatedYard::new();
    alone.live_until(alone.ends() + Span::from_days(90));
    alone.floods().into_iter().min().expect("it floods")
}

fn verdict(test: &StoredTest, splitter: &str) -> Option<Verdict> {
    let outcome = test.outcome.as_ref()?;
    outcome.splits.iter().find(|split| split.splitter.as_str() == splitter).map(|split| split.verdict)
}

/// The account of the year, as an inspector gets it from the running daemon: what was done is in it, and the water
/// agrees with the water that truly flowed.
fn inspected(yard: &Yard, simulated: &mut SimulatedYard) {
    let _daemon = yard.start();
    yard.let_in("Maria", "owner", &[]);
    let maria = bearer(&key_of(yard, "Maria", &["see"]));
    let (status, year) = yard.call("GET", "/api/v1/systems/hazel-court/years/2025", &maria, &Value::Null);
    assert_eq!((status, &year["is_over"]), (200, &Value::Bool(true)), "{year}");
    let works = year["services"].to_string();
    for work in [Work::SplitterLevelled, Work::MulchRenewed, Work::DiverterExercised] {
        assert!(works.contains(work.name()), "{} is missing: {works}", work.name());
    }
    assert!(year["tests"].to_string().contains("\"even\""), "{}", year["tests"]);
    let (fixtures, basins) = simulated.water();
    let litres = year["water"]["litres"].as_f64().expect("litres");
    assert!((litres / fixtures - 1.0).abs() < 0.03, "{litres} L told, {fixtures} L flowed");
    let all: f64 = basins.iter().sum();
    for (told, into) in year["basins"].as_array().expect("basins").iter().zip(&basins) {
        let share = told["share"].as_f64().expect("a share");
        println!("{}: share {share:.3} told, {:.3} true", told["id"], into / all);
        assert!((share - into / all).abs() < 0.03, "{told}: {}", into / all);
    }
    let cookie = yard.sign_in("Maria");
    let get = |address: &str| yard.ask(&format!("GET {address} HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
    for address in ["/systems/hazel-court/years/2025", "/properties/hazel-court/years/2025"] {
        let page = get(address);
        assert!(page.contains("splitter levelled") && page.contains("What deviates"), "{address}: {page}");
    }
    let table = get("/properties/hazel-court/years/2025.csv");
    assert!(table.contains(",flow-test,splitter:s3,") && table.contains("mulch-renewed"), "{table}");
}
