//! E-mail by SMTP: plain text and HTML, one thread for each alert.

use std::fs;
use std::time::Duration;

use lettre::message::header::{ContentType, Header, HeaderName, HeaderValue};
use lettre::message::{Mailbox, MultiPart, SinglePart};
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Certificate, Tls, TlsParameters};
use lettre::{AsyncSmtpTransport, AsyncTransport, Tokio1Executor};

use super::{Delivery, Trouble};
use crate::notify::Message;
use crate::settings::{MailChannel, MailTls};
use crate::telemetry::chain;

/// Longest time for one step of the conversation with the server.
const TIME_LIMIT: Duration = Duration::from_secs(20);

/// A mail server and a sender.
pub struct Mail {
    transport: AsyncSmtpTransport<Tokio1Executor>,
    from: Mailbox,
}

/// Says that no person wrote this (RFC 3834), so that absence notes do not answer it.
#[derive(Clone)]
struct AutoSubmitted;

impl Header for AutoSubmitted {
    fn name() -> HeaderName {
        HeaderName::new_from_ascii_str("Auto-Submitted")
    }

    fn parse(_: &str) -> Result<Self, Box<dyn std::error::Error + Send + Sync>> {
        Ok(Self)
    }

    fn display(&self) -> HeaderValue {
        HeaderValue::new(Self::name(), "auto-generated".to_owned())
    }
}

impl Mail {
    pub(super) fn new(settings: &MailChannel) -> Result<Self, Trouble> {
        let from = settings.from.parse().map_err(|error| Trouble::of(&error, "check `from`"))?;
        let mut transport = AsyncSmtpTransport::<Tokio1Executor>::builder_dangerous(&settings.host)
            .port(settings.port)
            .timeout(Some(TIME_LIMIT))
            .tls(tls(settings)?);
        if let Some((user, password)) = &settings.login {
            transport = transport.credentials(Credentials::new(user.clone(), password.expose().to_owned()));
        }
        Ok(Self { transport: transport.build(), from })
    }

    /// Hands a message over to the server under `key`, which is its message id.
    pub(super) async fn send(
        &self,
        to: &str,
        delivery: &Delivery,
        message: &Message,
        key: &str,
    ) -> Result<(), Trouble> {
        let to: lettre::Address =
            to.parse().map_err(|error| Trouble::of(&error, "check the contact's `mail`"))?;
        let domain = self.from.email.domain();
        let mut mail = lettre::Message::builder()
            .from(self.from.clone())
            .to(Mailbox::new(None, to))
            .subject(message.subject.clone())
            .message_id(Some(format!("<{key}@{domain}>")))
            .header(AutoSubmitted);
        if let Some(item) = delivery.body.single() {
            // A message that nobody got stands at the head of the thread; mail programs join the rest by it.
            let (identity, _) = key.rsplit_once('-').unwrap_or((key, ""));
            let head = format!("<alert-{}.{identity}@{domain}>", item.alert);
            mail = mail.references(head.clone()).in_reply_to(head);
        }
        let plain = SinglePart::builder().header(ContentType::TEXT_PLAIN).body(message.text.clone());
        let html = SinglePart::builder().header(ContentType::TEXT_HTML).body(message.html.clone());
        let mail = mail
            .multipart(MultiPart::alternative().singlepart(plain).singlepart(html))
            .map_err(|error| Trouble::of(&error, ""))?;
        self.transport.send(mail).await.map(|_| ()).map_err(|error| explain(&error))
    }
}

fn tls(settings: &MailChannel) -> Result<Tls, Trouble> {
    if settings.tls == MailTls::Never {
        return Ok(Tls::None);
    }
    let mut parameters = TlsParameters::builder(settings.host.clone());
    if let Some(file) = &settings.ca_file {
        let pem = fs::read(file).map_err(|error| Trouble::of(&error, "check `ca_file`"))?;
        let own = Certificate::from_pem(&pem).map_err(|error| Trouble::of(&error, "check `ca_file`"))?;
        parameters = parameters.add_root_certificate(own);
    }
    let parameters = parameters.build().map_err(|error| Trouble::of(&error, ""))?;
    Ok(if settings.tls == MailTls::StartTls { Tls::Required(parameters) } else { Tls::Wrapper(parameters) })
}

fn explain(error: &lettre::transport::smtp::Error) -> Trouble {
    let code = error.status().map(|code| code.to_string());
    let advice = match code.as_deref() {
        Some("535" | "534" | "530") => "the server does not accept `user` and `password`",
        Some("550" | "551" | "553") => "the server does not know this address, or does not let `from` send",
        Some(code) if code.starts_with('4') => "the server wants it later; it is tried again",
        // The library counts a certificate that it does not trust as a failure to connect.
        _ if error.is_tls() || chain(error).to_string().contains("certificate") => {
            "check `tls` (always: port 465, starttls: port 587) and the certificate (`ca_file` names your own authority)"
        }
        _ if error.is_timeout() => "no answer in time: check `server` and its port",
        _ if error.is_transient() || error.is_permanent() => "that is the server's own answer",
        _ => "check `server` and its port, and that it can be reached from here",
    };
    Trouble::of(error, advice)
}
