//! `[channels.NAME]`: what carries messages.

use std::path::{Path, PathBuf};

use toml_edit::Item;

use super::Secret;
use super::file::Places;
use super::layer::Gathered;
use super::named::{Entry, entries};
use crate::model::Span;

/// A way to reach people or machines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Channel {
    /// E-mail by SMTP.
    Mail(MailChannel),
    /// `CloudEvents` posted over HTTP.
    Webhook(WebhookChannel),
    /// A local program that is given an event on its standard input.
    Command(CommandChannel),
    /// Retained states on the broker that the readings come from.
    Mqtt {
        /// First part of the topics.
        topic: String,
    },
}

/// E-mail by SMTP.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MailChannel {
    /// Server.
    pub host: String,
    /// Port.
    pub port: u16,
    /// How the connection is kept from eavesdroppers.
    pub tls: MailTls,
    /// Name and password at the server.
    pub login: Option<(String, Secret)>,
    /// Sender.
    pub from: String,
    /// Certificates to trust besides what this machine trusts.
    pub ca_file: Option<PathBuf>,
}

/// How a connection to a mail server is kept from eavesdroppers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MailTls {
    /// TLS from the first byte (RFC 8314, port 465).
    Always,
    /// TLS after `STARTTLS` (RFC 3207), refused without.
    StartTls,
    /// None; for a relay on this machine.
    Never,
}

/// `CloudEvents` posted over HTTP.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WebhookChannel {
    /// Where to post.
    pub url: String,
    /// Key of the signature.
    pub secret: Option<Secret>,
    /// Certificates to trust besides what this machine trusts.
    pub ca_file: Option<PathBuf>,
}

/// A local program.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CommandChannel {
    /// The program.
    pub program: PathBuf,
    /// What stands after it.
    pub arguments: Vec<String>,
    /// How long it may take.
    pub time_limit: Span,
}

const KEYS: &[&str] = &[
    "kind",
    "server",
    "tls",
    "user",
    "password",
    "password_file",
    "from",
    "ca_file",
    "url",
    "secret",
    "secret_file",
    "program",
    "arguments",
    "time_limit",
    "topic",
];
const KINDS: &[&str] = &["mail", "webhook", "command", "mqtt"];

pub(super) fn gather(root: &Item, place: (&Places<'_>, &Path), gathered: &mut Gathered) {
    let mut found = Vec::new();
    entries(("channels", root), KEYS, place, gathered, |name, entry| {
        entry.required("kind", "kind = \"mail\", \"webhook\", \"command\" or \"mqtt\"");
        let channel = match entry.choice("kind", KINDS).as_deref() {
            Some("mail") => Some(Channel::Mail(mail(entry))),
            Some("webhook") => Some(Channel::Webhook(webhook(entry))),
            Some("command") => Some(Channel::Command(command(entry))),
            Some("mqtt") => Some(Channel::Mqtt {
                topic: entry.text("topic", "a topic").unwrap_or_else(|| "basinward/state".to_owned()),
            }),
            _ => None,
        };
        found.extend(channel.map(|channel| (name.to_owned(), channel)));
    });
    gathered.notices.channels = found;
}

fn mail(entry: &mut Entry<'_>) -> MailChannel {
    let tls = match entry.choice("tls", &["always", "starttls", "never"]).as_deref() {
        Some("starttls") => MailTls::StartTls,
        Some("never") => MailTls::Never,
        _ => MailTls::Always,
    };
    let expected = "a server such as \"mail.example.org\" or \"mail.example.org:587\"";
    let server = entry.required("server", expected);
    let (host, port) = match server.rsplit_once(':') {
        Some((host, port)) => {
            let port = port.parse().map_err(|_| format!("\"{port}\" is no port"));
            (host.to_owned(), entry.understand("server", expected, &server, port).unwrap_or_default())
        }
        None => (
            server,
            match tls {
                MailTls::Always => 465,
                MailTls::StartTls => 587,
                MailTls::Never => 25,
            },
        ),
    };
    let expected = "a sender such as \"Basinward <alerts@example.org>\"";
    let from = entry.required("from", expected);
    if !from.is_empty() {
        let sound = from.parse::<lettre::message::Mailbox>().map_err(|e| e.to_string());
        entry.understand("from", expected, &from, sound);
    }
    let login = match (entry.text("user", "a user name"), entry.secret("password")) {
        (Some(user), Some(password)) => Some((user, password)),
        (None, None) => None,
        _ => {
            let what = "only one of `user` and `password` is set".to_owned();
            entry.conflict("user", what, "set both, or neither".to_owned());
            None
        }
    };
    MailChannel { host, port, tls, login, from, ca_file: entry.file("ca_file") }
}

fn webhook(entry: &mut Entry<'_>) -> WebhookChannel {
    let expected = "an address such as \"https://example.org/hooks/basinward\"";
    let url = entry.required("url", expected);
    if !url.is_empty() {
        let sound = match url.parse::<reqwest::Url>() {
            Ok(parsed) if matches!(parsed.scheme(), "http" | "https") && parsed.has_host() => Ok(()),
            Ok(_) => Err("it does not begin with https:// or http:// and a host".to_owned()),
            Err(error) => Err(error.to_string()),
        };
        entry.understand("url", expected, &url, sound);
    }
    WebhookChannel { url, secret: entry.secret("secret"), ca_file: entry.file("ca_file") }
}

fn command(entry: &mut Entry<'_>) -> CommandChannel {
    entry.required("program", "the path of a program");
    CommandChannel {
        // A bare name would be looked for among the programs of the machine.
        program: Path::new(".").join(entry.file("program").unwrap_or_default()),
        arguments: entry.words("arguments", "a list of texts"),
        time_limit: entry.parsed("time_limit", "a span such as \"10s\"").unwrap_or(Span::from_secs(10)),
    }
}
