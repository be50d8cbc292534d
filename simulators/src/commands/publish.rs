//! `simulators publish` and `simulators backfill`
//!
//! Values carry the times at which the simulated devices took them. So that none lies in the future, a scenario played
//! faster than time begins in the past, and just meets the present when it ends.

use std::error::Error;
use std::time::Duration;

use simulators::radio::Message;
use simulators::scenario::{Library, Scenario};
use simulators::span::Span;
use tokio::time::Instant;

use super::broker::{BrokerArgs, Sender, block_on};
use super::{Done, clock, progress};

/// Simulated time between two looks at what arrived, at most.
const STEP: Span = Span::hours(6);

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    #[command(flatten)]
    common: Common,
    /// Simulated seconds in a second; 1440 is a day a minute
    #[arg(long, default_value_t = 1.0, value_parser = speed)]
    speed: f64,
}

#[derive(Debug, clap::Args)]
pub(super) struct BackfillArgs {
    #[command(flatten)]
    common: Common,
}

#[derive(Debug, clap::Args)]
struct Common {
    /// Name of a scenario, or path of a scenario file
    scenario: String,
    /// Seed of all random draws
    #[arg(long, default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    broker: BrokerArgs,
}

fn speed(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(speed) if (0.01..=1e6).contains(&speed) => Ok(speed),
        Ok(_) => Err("must be between 0.01 and 1000000".to_owned()),
        Err(_) => Err("not a number".to_owned()),
    }
}

/// Plays a scenario in (accelerated) real time.
pub(super) fn run(args: &Args) -> Done {
    let mut scenario = Library::shipped().load(&args.common.scenario)?;
    let ahead = 1.0 - 1.0 / args.speed.max(1.0);
    scenario.start_ms = clock::now_ms() - (scenario.duration.ms() as f64 * ahead) as i64;
    block_on(play(&scenario, &args.common, Some(args.speed)))
}

/// Sends a whole scenario at once, moved so that it ends now.
pub(super) fn backfill(args: &BackfillArgs) -> Done {
    let mut scenario = Library::shipped().load(&args.common.scenario)?;
    scenario.start_ms = clock::now_ms() - scenario.duration.ms();
    block_on(play(&scenario, &args.common, None))
}

async fn play(scenario: &Scenario, common: &Common, speed: Option<f64>) -> Done {
    let client_id = format!("simulators-{}-{}", scenario.name, std::process::id());
    let sender = Sender::connect(common.broker.options(&client_id)?).await?;
    let sent = send_all(scenario, common.seed, speed, &sender).await?;
    sender.finish(sent).await?;
    println!("{sent} messages, all acknowledged by the broker");
    Ok(())
}

/// Sends every message when it is due: at once without a speed. Gives their number.
async fn send_all(
    scenario: &Scenario,
    seed: u64,
    speed: Option<f64>,
    sender: &Sender,
) -> Result<u64, Box<dyn Error>> {
    let mut field = scenario.begin(seed)?;
    let mut arrived: Vec<Message> = Vec::new();
    let mut sent = 0;
    let bar = progress::bar(&scenario.name, scenario.duration.days_begun(), "days");
    let began = Instant::now();
    let step_ms = speed.map_or(STEP.ms(), |speed| (speed * 250.0).clamp(1.0, STEP.ms() as f64) as i64);
    let mut until_ms = scenario.start_ms;
    while until_ms < scenario.end_ms() {
        until_ms = (until_ms + step_ms).min(scenario.end_ms());
        if let Some(speed) = speed {
            let passed_s = (until_ms - scenario.start_ms) as f64 / 1000.0 / speed;
            tokio::time::sleep_until(began + Duration::from_secs_f64(passed_s)).await;
        }
        field.advance_to(until_ms, &mut arrived);
        for message in arrived.drain(..) {
            sender.send(message.topic, message.payload, message.retain).await?;
            sent += 1;
        }
        bar.set_position(Span::from_ms(until_ms - scenario.start_ms).days_begun());
    }
    bar.finish_and_clear();
    Ok(sent)
}
