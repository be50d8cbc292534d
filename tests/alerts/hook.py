"""A web server with TLS that writes down the last thing posted to it.

Usage: hook.py PORT FILE CERTIFICATE KEY
"""

import http.server
import ssl
import sys


class Hook(http.server.BaseHTTPRequestHandler):
    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        with open(sys.argv[2], "wb") as file:
            file.write(body)
        self.send_response(204)
        self.end_headers()

    def log_message(self, *_):
        pass


context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
context.load_cert_chain(*sys.argv[3:5])
server = http.server.ThreadingHTTPServer(("127.0.0.1", int(sys.argv[1])), Hook)
server.socket = context.wrap_socket(server.socket, server_side=True)
server.serve_forever()
