//! The commented settings file, made from the setting table.

use std::fmt::Write;

use super::{Kind, SECTIONS, Setting};

const HEAD: &str = "\
# Settings of the Basinward daemon.
#
# Every setting stands here with its default, commented out: remove the # before a line to change it.
# Environment variables win over this file: BASINWARD__MQTT__BROKER sets `broker` of [mqtt].
# `basinward check --explain` shows every value in force and where it came from.
";

/// Contacts, channels and routes have names of the person's own and no defaults, so examples stand here.
const NOTICES: &str = r#"
# Who is told of alerts. Channels carry messages, contacts are people or machines who get them, routes say which
# alerts go to whom. An alert takes every route that fits it. `basinward notify --test mail` tries a channel,
# `basinward check --told SYSTEM/FINDING` says who would be told.
#
# [channels.mail]
# kind = "mail"                       # mail, webhook, command or mqtt
# server = "mail.example.org"         # with :port, else the usual one
# tls = "always"                      # always (port 465), starttls (587), never (25)
# user = "alerts@example.org"
# password_file = "mail-password"     # or password
# from = "Basinward <alerts@example.org>"
# ca_file = ""                        # an authority of your own
#
# [channels.hook]                      # CloudEvents 1.0, signed as Standard Webhooks 1.0 says
# kind = "webhook"
# url = "https://example.org/hook"
# secret_file = "hook-secret"         # or secret
#
# [channels.bell]                      # a local program that gets the same event on standard input
# kind = "command"
# program = "/usr/local/bin/ring"
# arguments = ["loud"]
# time_limit = "10s"
#
# [channels.building]                  # retained states for home and building controllers
# kind = "mqtt"
# topic = "basinward/state"           # <topic>/<system> and <topic>/<system>/<basin>
#
# [contacts.ana]
# channels = ["mail"]
# mail = "ana@example.org"
# timezone = "America/Denver"
# quiet = "22:00-06:30"               # then only what is critical comes through
# most_an_hour = 12                    # the rest comes as a summary
# digest_at = "08:00"
# digest_day = "monday"
#
# [routes.now]
# tell = ["ana"]
# severity = "critical"               # this or worse: info, warning, critical
# properties = ["alder-court"]        # all without
# findings = ["flooding"]             # all without
# hours = "07:00-19:00"               # on the clock of the yard; always without
# send = "at-once"                    # at-once, daily or weekly
# repeat = "4h"                       # until somebody acknowledges
# escalate = [{ after = "30m", tell = ["ben"] }]
"#;

/// An example of contacts, channels and routes, line by line.
pub fn notices_example() -> impl Iterator<Item = &'static str> {
    NOTICES.trim_start().lines().map(|line| line.strip_prefix("# ").unwrap_or_default())
}

/// The whole settings file with every default commented out.
pub fn template() -> String {
    let mut text = HEAD.to_owned();
    for section in SECTIONS {
        // Writing to a String cannot fail.
        let _ = write!(text, "\n# {}.\n[{}]\n", section.meaning, section.name);
        for setting in section.settings {
            let _ = write!(text, "\n# {}.\n", comment(setting));
            let _ = writeln!(text, "#{} = {}", setting.key, literal(setting));
            if matches!(setting.kind, Kind::Secret) {
                let _ = writeln!(text, "#{}_file = \"\"", setting.key);
            }
        }
    }
    text.push_str(NOTICES);
    text
}

fn comment(setting: &Setting) -> String {
    let meaning = setting.meaning;
    if let Kind::Whole { min, max, unit } = setting.kind {
        format!("{meaning} ({unit}, {min} to {max})")
    } else if let Kind::OneOf(choices) = setting.kind {
        format!("{meaning} ({})", choices.join(", "))
    } else {
        meaning.to_owned()
    }
}

fn literal(setting: &Setting) -> String {
    if setting.kind.is_text() { format!("\"{}\"", setting.default) } else { setting.default.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `UPDATE=1 cargo test template` rewrites the file.
    #[test]
    fn the_committed_settings_file_is_the_generated_one() {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy/basinward.toml");
        if std::env::var_os("UPDATE").is_some() {
            std::fs::write(&path, template()).expect("deploy/ can be written");
        }
        assert_eq!(std::fs::read_to_string(&path).expect("deploy/basinward.toml is there"), template());
    }
}
