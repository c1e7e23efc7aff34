"""A mail server for tests: aiosmtpd, an independent implementation.

usage: smtpd.py starttls|tls|none CERT KEY [user:password]
Prints its port, then each mail that it takes as one line of JSON. Recipients
that begin with "never" are refused for good, the first try for one that begins
with "later" is put off.
"""
import asyncio
import email
import email.policy
import json
import ssl
import sys

from aiosmtpd.smtp import SMTP, AuthResult, LoginPassword

mode, cert, key = sys.argv[1:4]
login = sys.argv[4].encode().split(b":") if len(sys.argv) > 4 else None
later = set()


class Handler:
    async def handle_RCPT(self, server, session, envelope, address, options):
        if address.startswith("never"):
            return "550 5.1.1 no such person"
        if address.startswith("later") and address not in later:
            later.add(address)
            return "451 4.3.0 try again later"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        m = email.message_from_bytes(envelope.content, policy=email.policy.default)
        print(json.dumps({
            "from": envelope.mail_from, "to": envelope.rcpt_tos, "subject": m["subject"], "id": m["message-id"],
            "text": m.get_content(), "encrypted": session.ssl is not None or mode == "tls", "login": bool(session.authenticated),
        }), flush=True)
        return "250 taken"


def check(server, session, envelope, mechanism, data):
    ok = isinstance(data, LoginPassword) and [data.login, data.password] == login
    return AuthResult(success=ok, handled=False)


async def main():
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(cert, key)

    def factory():
        return SMTP(Handler(), hostname="mail.test", tls_context=context if mode == "starttls" else None, require_starttls=mode == "starttls",
                    authenticator=check if login else None, auth_required=bool(login), auth_require_tls=mode != "tls")

    server = await asyncio.get_running_loop().create_server(factory, "127.0.0.1", 0, ssl=context if mode == "tls" else None)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()


asyncio.run(main())
