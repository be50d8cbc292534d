"""A mail server that writes down what it is given: one JSON line a message.

Usage: mailbox.py PORT FILE [USER PASSWORD [CERTIFICATE KEY]]
With a user, only who signs in may send; with a certificate, only over STARTTLS. The first message to
"later@…" is refused for now (RFC 5321, code 451).
"""

import email.policy
import json
import ssl
import sys
import threading

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, LoginPassword


class Mailbox:
    def __init__(self, path):
        self.path = path
        self.refused = set()

    async def handle_DATA(self, server, session, envelope):
        for to in envelope.rcpt_tos:
            if to.startswith("later@") and to not in self.refused:
                self.refused.add(to)
                return "451 come back later"
        mail = email.message_from_bytes(envelope.content, policy=email.policy.default)
        bodies = {part.get_content_type(): part.get_content() for part in mail.walk() if not part.is_multipart()}
        headers = {name.lower(): str(value) for name, value in mail.items()}
        line = json.dumps({"to": envelope.rcpt_tos, "headers": headers, "bodies": bodies, "tls": session.ssl is not None})
        with open(self.path, "a") as file:
            file.write(line + "\n")
        return "250 taken"


def authenticator(user, password):
    def check(server, session, envelope, mechanism, data):
        ok = isinstance(data, LoginPassword) and (data.login.decode(), data.password.decode()) == (user, password)
        return AuthResult(success=ok, handled=False)

    return check


def main():
    port, path, *rest = sys.argv[1:]
    options = {}
    if len(rest) >= 2:
        options.update(authenticator=authenticator(*rest[:2]), auth_required=True, auth_require_tls=len(rest) == 4)
    if len(rest) == 4:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(*rest[2:])
        options.update(tls_context=context, require_starttls=True)
    Controller(Mailbox(path), hostname="127.0.0.1", port=int(port), **options).start()
    print("ready", flush=True)
    threading.Event().wait()


main()
