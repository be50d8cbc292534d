//! How the daemon behaves towards the system it runs on.

use std::os::unix::net::UnixDatagram;
use std::process::Command;
use std::time::{Duration, Instant};

use support::{Certificates, Mosquitto, until};

use crate::rig::{PATIENCE, Yard};

#[test]
fn sigterm_ends_it_cleanly_within_five_seconds() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let mut daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    for i in 0..50 {
        broker.publish("greywater/yard-0/fig/moisture", format!("0.{}", 200 + i));
    }
    let asked = Instant::now();
    daemon.process.signal("TERM");
    let status = daemon.process.wait(Duration::from_secs(5));
    assert!(status.success(), "{status} after {:?}\n{}", asked.elapsed(), yard.log());
}

#[test]
fn sighup_takes_over_what_is_good_and_names_what_is_not() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let daemon = yard.start();
    yard.write_system("orchard", &["pear", "plum"]);
    daemon.process.signal("HUP");
    until(PATIENCE, "the new set is in force", || {
        yard.times_logged("the system files in force have changed") == 1
    });
    broker.publish("greywater/orchard/pear/moisture", "0.25");
    until(PATIENCE, "the new system is heard", || !yard.readings("orchard", "pear/moisture").is_empty());

    yard.write(
        "systems/grove.toml",
        "id = \"grove\"\nname = \"Grove\"\ntimezone = \"UTC\"\nsoil = \"loam\"\n[[basin]]\nid = \"fig\"\narea_m2 = 1.2\n\
         moisture = { topic = \"elsewhere/7\", unit = \"%\" }\n",
    );
    daemon.process.signal("HUP");
    until(PATIENCE, "a topic outside the prefix is heard", || {
        broker.publish("elsewhere/7", "25");
        yard.times_logged("the system files in force have changed") == 2
            && !yard.readings("grove", "fig/moisture").is_empty()
    });

    yard.write("systems/meadow.toml", "id = \"meadow\"\nname = \"Meadow\"\nsoil = \"peat\"\n");
    yard.write_system("beech", &["pear", "plum"]);
    daemon.process.signal("HUP");
    until(PATIENCE, "the bad file is named", || {
        yard.times_logged("is not watched until its file is mended") == 1
            && yard.times_logged("the system files in force have changed") == 3
    });
    assert!(yard.log().contains("meadow.toml:3"), "{}", yard.log());
    for system in ["orchard", "beech"] {
        broker.publish(&format!("greywater/{system}/plum/moisture"), "0.26");
        until(PATIENCE, "all others are heard", || !yard.readings(system, "plum/moisture").is_empty());
    }
    std::fs::rename(yard.path().join("systems"), yard.path().join("elsewhere")).expect("it moves");
    daemon.process.signal("HUP");
    until(PATIENCE, "a folder that is gone changes nothing", || {
        yard.times_logged("the old ones stay in force") == 1
    });
}

#[test]
fn a_renewed_certificate_of_the_pages_is_taken_over_and_a_faulty_one_is_not() {
    let (broker, folder) = (Mosquitto::start(), tempfile::tempdir().expect("a temporary folder"));
    let certificates = Certificates::make(folder.path());
    let yard = Yard::new(1)
        .listening_to(broker.port())
        .with("BASINWARD__DESK__CERTIFICATE_FILE", certificates.path("server.pem").display().to_string())
        .with("BASINWARD__DESK__KEY_FILE", certificates.path("server.key").display().to_string());
    let daemon = yard.launch();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    // Trusts the authority of the moment alone.
    let is_trusted = || {
        let mut curl = Command::new("curl");
        curl.args(["--silent", "--output", "/dev/null", "--cacert"]).arg(certificates.path("ca.pem"));
        curl.arg(format!("https://{}/healthz", yard.desk())).status().is_ok_and(|status| status.success())
    };
    until(PATIENCE, "the pages are served", &is_trusted);
    Certificates::make(folder.path());
    assert!(!is_trusted(), "another authority vouches for the renewed one");
    daemon.process.signal("HUP");
    until(PATIENCE, "the renewed one is in use", &is_trusted);
    std::fs::write(certificates.path("server.pem"), "none").expect("writes");
    daemon.process.signal("HUP");
    until(PATIENCE, "the faulty one is refused", || {
        yard.times_logged("the pages' certificate cannot be used") == 1
    });
    assert!(is_trusted(), "the old one stays in force");
}

#[test]
fn the_service_manager_is_told_when_it_is_ready_alive_and_ending() {
    let broker = Mosquitto::start();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("notify");
    let manager = UnixDatagram::bind(&path).expect("a socket");
    manager.set_read_timeout(Some(PATIENCE)).expect("a time limit");
    let hear = |wanted: &str| {
        let mut told = [0; 256];
        loop {
            let length = manager.recv(&mut told).expect("the daemon says something");
            if String::from_utf8_lossy(&told[..length]).contains(wanted) {
                return;
            }
        }
    };
    let yard = Yard::new(1)
        .listening_to(broker.port())
        .with("NOTIFY_SOCKET", path.display().to_string())
        .with("WATCHDOG_USEC", "2000000".to_owned());
    let mut daemon = yard.start();
    hear("READY=1");
    hear("WATCHDOG=1");
    daemon.process.signal("TERM");
    hear("STOPPING=1");
    assert!(daemon.process.wait(Duration::from_secs(5)).success());
}

#[test]
fn a_second_daemon_on_the_same_folder_is_refused() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let _daemon = yard.start();
    let mut second = yard.launch();
    let status = second.process.wait(PATIENCE);
    assert_eq!(status.code(), Some(1), "{}", yard.log());
    assert!(yard.log().contains("in use by another daemon"), "{}", yard.log());
}

#[test]
fn without_a_folder_of_system_files_it_does_not_start() {
    let yard = Yard::new(0);
    std::fs::remove_dir(yard.path().join("systems")).expect("it is empty");
    let mut daemon = yard.launch();
    let status = daemon.process.wait(PATIENCE);
    assert_eq!(status.code(), Some(2), "{}", yard.log());
    assert!(yard.log().contains("the folder of system files cannot be read"), "{}", yard.log());
}

#[test]
fn it_comes_back_when_the_broker_does() {
    let mut broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let _daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") == 1);
    broker.restart();
    until(PATIENCE, "the daemon listens again", || yard.times_logged("listening to the broker") == 2);
    broker.publish("greywater/yard-0/fig/moisture", "0.25");
    until(PATIENCE, "readings come in again", || !yard.readings("yard-0", "fig/moisture").is_empty());
}

/// Device and person alike may write what a browser or a database would carry out.
#[test]
fn what_comes_from_outside_is_shown_as_text_and_kept_out_of_shared_caches() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let _daemon = yard.start();
    until(PATIENCE, "the daemon listens", || yard.times_logged("listening to the broker") > 0);
    let evil = "<script>alert(1)</script>";
    broker.publish(&format!("greywater/{evil}/'; DROP TABLE readings; --"), format!("\"{evil}\""));
    broker.publish("greywater/yard-0/fig/moisture", format!("{evil}'); DROP TABLE alerts; --"));
    yard.let_in(&format!("{evil}' OR '1'='1"), "owner", &[]);
    yard.let_in("Maria", "owner", &[]);
    let head = format!("Cookie: {}\r\n", yard.sign_in("Maria"));
    let page = |path: &str| yard.ask(&format!("GET {path} HTTP/1.1\r\n{head}"), "");
    until(PATIENCE, "both are heard", || page("/heard").matches("&lt;script&gt;").count() >= 2);
    for path in ["/", "/heard", "/people", "/alerts", "/systems/yard-0"] {
        let page = page(path);
        assert!(page.starts_with("HTTP/1.1 200"), "{path}: {page}");
        assert!(!page.contains(evil), "{path} carries it as it came");
        assert!(page.contains("cache-control: private, no-cache"), "{path} may be kept by others");
    }
    assert!(page("/people").contains("&lt;script&gt;"), "the name is shown");
    broker.publish("greywater/yard-0/fig/moisture", "0.25");
    until(PATIENCE, "the tables are there", || !yard.readings("yard-0", "fig/moisture").is_empty());
    assert!(yard.view().check().is_ok());
}
