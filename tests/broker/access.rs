//! Passwords, certificates and access lists.

use std::process::{Command, Stdio};

use basinward::link::{Fault, LinkSettings, LinkState, Login, Protocol, SetupError, TlsFiles};
use support::{Certificates, Mosquitto};

use crate::rig::{BOTH, Rig, runtime, settings};

fn login(user: &str, password: &str) -> Login {
    Login { user: user.into(), password: password.into() }
}

fn broker_with_password() -> Mosquitto {
    Mosquitto::with_files(|folder| {
        let file = folder.join("passwords");
        let made = Command::new("mosquitto_passwd")
            .args(["-c", "-b"])
            .arg(&file)
            .args(["yard", "rake"])
            .stderr(Stdio::null())
            .status();
        assert!(made.is_ok_and(|status| status.success()), "mosquitto_passwd");
        format!("allow_anonymous false\npassword_file {}", file.display())
    })
}

#[test]
fn a_wrong_password_is_named_as_the_cause_and_a_right_one_lets_us_in() {
    let broker = broker_with_password();
    for protocol in BOTH {
        for wrong in [None, Some(login("yard", "hoe")), Some(login("nobody", "rake"))] {
            let mut rig = Rig::start(&LinkSettings { login: wrong, ..settings(broker.port(), protocol) });
            let down = rig.wait_down();
            assert!(
                matches!(down, LinkState::Down { why: Fault::LoginRefused, .. }),
                "{protocol:?}: {down:?}"
            );
        }
        Rig::up(&LinkSettings { login: Some(login("yard", "rake")), ..settings(broker.port(), protocol) })
            .end();
    }
}

#[test]
fn a_password_never_shows() {
    let settings = LinkSettings { login: Some(login("yard", "rake")), ..settings(1, Protocol::V311) };
    assert!(!format!("{settings:?}").contains("rake"));
}

/// A broker that speaks TLS, and perhaps asks for certificates.
fn broker_with_tls(ask_for_certificate: bool) -> (Mosquitto, Certificates) {
    let mut made = None;
    let broker = Mosquitto::with_files(|folder| {
        let certificates = made.insert(Certificates::make(folder));
        format!(
            "cafile {}\ncertfile {}\nkeyfile {}\nrequire_certificate {ask_for_certificate}",
            certificates.path("ca.pem").display(),
            certificates.path("server.pem").display(),
            certificates.path("server.key").display(),
        )
    });
    (broker, made.expect("made above"))
}

fn over_tls(broker: &Mosquitto, protocol: Protocol, files: TlsFiles) -> LinkSettings {
    LinkSettings { host: "localhost".into(), tls: Some(files), ..settings(broker.port(), protocol) }
}

#[test]
fn tls_trusts_the_given_authority_and_no_other() {
    let (broker, certificates) = broker_with_tls(false);
    for protocol in BOTH {
        let trusting = TlsFiles { ca_file: Some(certificates.path("ca.pem")), ..TlsFiles::default() };
        let rig = Rig::up(&over_tls(&broker, protocol, trusting));
        rig.end();
        // A certificate that signed nothing here.
        let elsewhere = TlsFiles { ca_file: Some(certificates.path("client.pem")), ..TlsFiles::default() };
        let mut rig = Rig::start(&over_tls(&broker, protocol, elsewhere));
        let down = rig.wait_down();
        assert!(matches!(down, LinkState::Down { why: Fault::Tls(_), .. }), "{protocol:?}: {down:?}");
    }
}

#[test]
fn tls_shows_our_certificate_where_the_broker_asks() {
    let (broker, certificates) = broker_with_tls(true);
    let ca_file = Some(certificates.path("ca.pem"));
    for protocol in BOTH {
        let without = TlsFiles { ca_file: ca_file.clone(), ..TlsFiles::default() };
        let mut rig = Rig::start(&over_tls(&broker, protocol, without));
        let down = rig.wait_down();
        assert!(matches!(down, LinkState::Down { .. }), "{protocol:?}: {down:?}");
        let with = TlsFiles {
            ca_file: ca_file.clone(),
            client_cert: Some(certificates.path("client.pem")),
            client_key: Some(certificates.path("client.key")),
        };
        Rig::up(&over_tls(&broker, protocol, with)).end();
    }
}

#[test]
fn settings_that_can_never_work_are_refused_at_once() {
    let good = settings(1883, Protocol::V311);
    let tls = |files| LinkSettings { tls: Some(files), ..good.clone() };
    let folder = tempfile::tempdir().expect("a folder");
    let empty = folder.path().join("empty.pem");
    std::fs::write(&empty, "no certificate here\n").expect("writes");
    let missing = folder.path().join("missing.pem");
    let cases = [
        (LinkSettings { client_id: String::new(), ..good.clone() }, "client id"),
        (LinkSettings { filters: Vec::new(), ..good.clone() }, "no topic filter"),
        (LinkSettings { filters: vec!["a/#/b".into()], ..good.clone() }, "`a/#/b`"),
        (LinkSettings { status_topic: Some("a/+".into()), ..good.clone() }, "`a/+`"),
        (LinkSettings { keep_alive_s: 0, ..good.clone() }, "keep-alive"),
        (tls(TlsFiles { ca_file: Some(missing), ..TlsFiles::default() }), "missing.pem"),
        (tls(TlsFiles { ca_file: Some(empty.clone()), ..TlsFiles::default() }), "holds no certificate"),
        (tls(TlsFiles { client_cert: Some(empty), ..TlsFiles::default() }), "go together"),
    ];
    let runtime = runtime();
    for (settings, expected) in cases {
        let started = runtime.block_on(async {
            basinward::link::Link::start(&settings, basinward::clock::Clock::wall()).map(|_| ())
        });
        let error: SetupError = started.expect_err(expected);
        assert!(error.to_string().contains(expected), "{error}");
    }
}
