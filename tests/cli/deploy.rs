//! Files for other programs, tried with those programs.

use support::Mosquitto;

#[test]
fn mosquitto_takes_the_settings_we_ship() {
    let broker = Mosquitto::with(include_str!("../../deploy/mosquitto.conf"));
    broker.publish("greywater/yard/quince/float", "wet");
}
