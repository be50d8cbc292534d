//! Mail through a real server, in Python.

use std::fs::read_to_string;
use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Command, Stdio};

use basinward::alerts::Deed;
use serde_json::Value;
use support::{Certificates, Process, free_port, until};
use tempfile::TempDir;

use crate::house::House;
use crate::rig::PATIENCE;

/// A mail server that writes down what it is given.
pub(crate) struct Mailbox {
    pub(crate) port: u16,
    folder: TempDir,
    _server: Process,
}

/// None without the Python package index.
pub(crate) fn online() -> bool {
    let offline = std::env::var_os("BASINWARD_OFFLINE").is_some_and(|value| !value.is_empty());
    if offline {
        println!("BASINWARD_OFFLINE is set: the mail server comes from the Python package index");
    }
    !offline
}

impl Mailbox {
    /// Starts one on any port; `login` and certificates as `mailbox.py` takes them.
    pub(crate) fn start(more: &[&str]) -> Self {
        Self::start_at(free_port(), more)
    }

    /// Starts one on this port.
    pub(crate) fn start_at(port: u16, more: &[&str]) -> Self {
        let root = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
        let folder = TempDir::new().expect("a folder");
        let script = root.join("tests/alerts/mailbox");
        // Its environment takes a while the first time, and several tests may ask for it at once.
        let made = Command::new("flock")
            .arg(std::env::temp_dir().join("basinward-mailbox.lock"))
            .arg(&script)
            .arg(root.join("target/mailbox"))
            .status();
        assert!(made.is_ok_and(|status| status.success()), "aiosmtpd cannot be installed");
        let mut command = Command::new(script);
        command
            .arg(root.join("target/mailbox"))
            .arg(port.to_string())
            .arg(folder.path().join("mail"))
            .args(more)
            .stdin(Stdio::null())
            .stdout(Stdio::piped());
        let mut server = Process::start(&mut command);
        let mut line = String::new();
        BufReader::new(server.child().stdout.take().expect("asked for"))
            .read_line(&mut line)
            .expect("a line");
        assert_eq!(line, "ready\n");
        Self { port, folder, _server: server }
    }

    pub(crate) fn mails(&self) -> Vec<Value> {
        let text = read_to_string(self.folder.path().join("mail")).unwrap_or_default();
        text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
    }
}

fn settings(port: u16, more: &str) -> String {
    format!(
        "[channels.mail]\nkind = \"mail\"\nserver = \"localhost:{port}\"\nfrom = \"Yard <yard@example.org>\"\n{more}\n\
         [contacts.ana]\nchannels = [\"mail\"]\nmail = \"ana@example.org\"\n\
         [contacts.later]\nchannels = [\"mail\"]\nmail = \"later@example.org\"\n\
         [routes.floods]\nseverity = \"critical\"\ntell = [\"ana\"]\nescalate = [{{ after = \"2s\", tell = [\"later\"] }}]\n"
    )
}

#[test]
fn a_flood_reaches_a_mail_box_escalates_is_acknowledged_from_the_mail_and_closes() {
    if !online() {
        return;
    }
    let mailbox = Mailbox::start(&[]);
    let house = House::new(1, &settings(mailbox.port, "tls = \"never\""));
    house.overflow(0, "quince", true);
    until(PATIENCE, "the flood and its escalation are in the mail box", || mailbox.mails().len() == 2);
    let mails = mailbox.mails();
    let (first, further) = (&mails[0], &mails[1]);
    assert_eq!(first["to"][0], "ana@example.org");
    assert_eq!(further["to"][0], "later@example.org", "refused at first, taken in the end");
    let subject = first["headers"]["subject"].as_str().expect("a subject");
    assert!(subject.chars().count() <= 60 && subject.contains("flooding"), "{subject}");
    assert_eq!(first["headers"]["auto-submitted"], "auto-generated"); // RFC 3834, section 5
    assert_eq!(first["headers"]["references"], further["headers"]["references"], "one thread");
    let text = first["bodies"]["text/plain"].as_str().expect("plain text");
    assert!(text.starts_with("Turn the diverter to sewer."), "{text}");
    assert!(text.contains("overflow float") && text.contains("Take care:"), "{text}");
    let html = first["bodies"]["text/html"].as_str().expect("HTML");
    assert!(html.contains("Acknowledge"), "{html}");
    let link = text.lines().find_map(|line| line.strip_prefix("Acknowledge: ")).expect("a link");
    assert!(House::ask("POST", link).starts_with("HTTP/1.1 200"));
    house.overflow(0, "quince", false);
    until(PATIENCE, "both hear that it is over", || mailbox.mails().len() == 4);
    assert!(
        mailbox.mails()[3]["headers"]["subject"]
            .as_str()
            .is_some_and(|subject| subject.starts_with("Over: "))
    );
    let alert = house.floods().remove(0);
    assert_eq!(
        house.deeds(alert.no),
        [(None, Deed::Opened), (Some("ana".to_owned()), Deed::Acknowledged), (None, Deed::Cleared)]
    );
}

fn notify(house: &House) -> (bool, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_basinward"))
        .args(["notify", "--test", "mail", "--to", "ana"])
        .current_dir(house.yard.path())
        .output()
        .expect("runs");
    let said =
        String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    (output.status.success(), said)
}

#[test]
fn a_test_message_goes_over_starttls_with_a_password_and_failures_are_explained() {
    if !online() {
        return;
    }
    let folder = TempDir::new().expect("a folder");
    let made = Certificates::make(folder.path());
    let path = |name: &str| made.path(name).display().to_string();
    let mailbox = Mailbox::start(&["yard", "s3cret", &path("server.pem"), &path("server.key")]);
    let trusting = format!("tls = \"starttls\"\nca_file = \"{}\"\n", path("ca.pem"));
    let login = |password: &str| format!("{trusting}user = \"yard\"\npassword = \"{password}\"\n");
    let house = House::new(1, &settings(mailbox.port, &login("s3cret")));
    let (sent, said) = notify(&house);
    assert!(sent, "{said}");
    let mail = &mailbox.mails()[0];
    assert!(mail["headers"]["subject"].as_str().is_some_and(|subject| subject.starts_with("TEST")), "{mail}");
    assert_eq!(mail["tls"], true);

    house.yard.write("basinward.toml", &settings(mailbox.port, &login("wrong")));
    let (sent, said) = notify(&house);
    assert!(!sent && said.contains("does not accept `user` and `password`"), "{said}");
    let untrusting = "tls = \"starttls\"\nuser = \"yard\"\npassword = \"s3cret\"\n";
    house.yard.write("basinward.toml", &settings(mailbox.port, untrusting));
    let (sent, said) = notify(&house);
    assert!(!sent && said.contains("ca_file"), "{said}");
    house.yard.write("basinward.toml", &settings(free_port(), &login("s3cret")));
    let (sent, said) = notify(&house);
    assert!(!sent && said.contains("check `server`"), "{said}");
}
