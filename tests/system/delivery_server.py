"""Servers that deliveries are tried against, on loopback; Debian's python3, python3-aiosmtpd.

    delivery_server.py mail|smtps|plain|https|garbage FOLDER

The system chooses the port, which is then in FOLDER/port. FOLDER/mode says at each connection how
to behave; what arrives is kept in FOLDER, numbered. FOLDER/../ca has cert.pem and key.pem.
"""
import asyncio
import http.server
import os
import socketserver
import ssl
import sys
import time

KIND, FOLDER = sys.argv[1], sys.argv[2]
CA = os.path.join(os.path.dirname(FOLDER), "ca")


def mode():
    try:
        with open(os.path.join(FOLDER, "mode"), encoding="ascii") as f:
            return f.read().strip()
    except FileNotFoundError:
        return "ok"


def keep(name, data):
    """Whole or not at all, under the next number."""
    n = len([f for f in os.listdir(FOLDER) if f.startswith("got.")]) + 1
    path = os.path.join(FOLDER, "got.%d.%s" % (n, name))
    with open(os.path.join(FOLDER, "new"), "wb") as f:
        f.write(data)
    os.rename(os.path.join(FOLDER, "new"), path)


def tell_port(port):
    with open(os.path.join(FOLDER, "port.new"), "w", encoding="ascii") as f:
        f.write("%d\n" % port)
    os.rename(os.path.join(FOLDER, "port.new"), os.path.join(FOLDER, "port"))


def tls():
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(os.path.join(CA, "cert.pem"), os.path.join(CA, "key.pem"))
    return context


class Mail:
    async def handle_RCPT(self, server, session, envelope, address, options):
        if mode() == "refuse":
            return "550 no such box"
        if mode() == "busy":
            return "451 not now"
        envelope.rcpt_tos.append(address)
        return "250 fine"

    async def handle_DATA(self, server, session, envelope):
        if mode() == "die":
            server.transport.abort()
            return "451 gone"
        keep("mail", envelope.content)
        return "250 kept"


def right_password(server, session, envelope, mechanism, data):
    from aiosmtpd.smtp import AuthResult
    fine = data.login == b"mara" and data.password == b"open-sesame-42"
    return AuthResult(success=fine, handled=False)


def run_mail():
    from aiosmtpd.smtp import SMTP
    loop = asyncio.new_event_loop()
    asyncio.set_event_loop(loop)

    def make():
        if KIND == "mail":
            return SMTP(Mail(), hostname="mail.test", tls_context=tls(), require_starttls=True, loop=loop)
        if KIND == "smtps":
            return SMTP(Mail(), hostname="mail.test", authenticator=right_password,
                        auth_required=True, auth_require_tls=False, loop=loop)
        return SMTP(Mail(), hostname="mail.test", loop=loop)

    server = loop.run_until_complete(loop.create_server(
        make, "127.0.0.1", 0, ssl=tls() if KIND == "smtps" else None))
    tell_port(server.sockets[0].getsockname()[1])
    loop.run_forever()


class Https(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def answer(self, code, text=b"", headers=()):
        self.send_response(code)
        for name, value in headers:
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(text)))
        self.end_headers()
        self.wfile.write(text)

    def take(self):
        how, size = mode(), int(self.headers["Content-Length"])
        if how == "die":
            self.rfile.read(size // 2)
            os._exit(0)
        body = self.rfile.read(size)
        if how in ("slow", "hang"):
            time.sleep(2 if how == "slow" else 8)
        if how == "nonsense":
            self.wfile.write(b"\x00\xff\x13 what is HTTP?\r\n\r\n")
            self.close_connection = True
        elif how == "endless":
            self.wfile.write(b"HTTP/1.1 200 fine\r\n\r\n")
            try:
                while True:
                    self.wfile.write(b"a" * 65536)
            except OSError:
                self.close_connection = True
        elif how == "redirect":
            self.answer(307, headers=[("Location", "http://127.0.0.1:9/elsewhere")])
        elif how.isdigit():
            self.answer(int(how))
        elif how == "token" and self.headers.get("Authorization") != "Bearer open-sesame-42":
            self.answer(401)
        else:
            keep(self.command + "." + os.path.basename(self.path), body)
            self.answer(201)

    do_PUT = do_POST = take

    def log_message(self, *args):
        pass


class Threads(socketserver.ThreadingMixIn, http.server.HTTPServer):
    daemon_threads = True

    def handle_error(self, request, client_address):
        pass


def run_https():
    server = Threads(("127.0.0.1", 0), Https)
    server.socket = tls().wrap_socket(server.socket, server_side=True)
    tell_port(server.socket.getsockname()[1])
    server.serve_forever()


class Garbage(socketserver.BaseRequestHandler):
    def handle(self):
        self.request.sendall(b"\x80\x00\xfe 999 lalala\n" * 200)
        time.sleep(0.2)


def run_garbage():
    server = socketserver.ThreadingTCPServer(("127.0.0.1", 0), Garbage)
    server.daemon_threads = True
    tell_port(server.server_address[1])
    server.serve_forever()


{"mail": run_mail, "smtps": run_mail, "plain": run_mail, "https": run_https,
 "garbage": run_garbage}[KIND]()
