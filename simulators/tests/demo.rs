//! The demonstration portfolio as the daemon meets it.

use simulators::demo::Demo;

const DAY_MS: i64 = 86_400_000;
/// 2026-03-01 00:00 UTC.
const START_MS: i64 = 1_772_323_200_000;

#[test]
fn five_systems_report_in_order_of_arrival() {
    let mut demo = Demo::new(START_MS, 1);
    let messages = demo.advance_to(START_MS + 3 * DAY_MS);
    assert!(messages.windows(2).all(|pair| pair[0].received_ms <= pair[1].received_ms));
    assert!(messages.iter().all(|message| message.received_ms <= START_MS + 3 * DAY_MS));
    for (id, text) in demo.systems() {
        assert!(text.contains(&format!("id = \"{id}\"")));
        let prefix = format!("greywater/{id}/");
        assert!(messages.iter().any(|message| message.topic.starts_with(&prefix)), "{id} is silent");
    }
}

#[test]
fn the_same_seed_gives_the_same_messages_however_the_time_is_cut() {
    let whole = Demo::new(START_MS, 7).advance_to(START_MS + 2 * DAY_MS);
    let mut stepped = Demo::new(START_MS, 7);
    let mut pieces = Vec::new();
    for quarter in 1..=8 {
        pieces.extend(stepped.advance_to(START_MS + quarter * DAY_MS / 4));
    }
    assert_eq!(whole, pieces);
    assert_ne!(whole, Demo::new(START_MS, 8).advance_to(START_MS + 2 * DAY_MS));
}
