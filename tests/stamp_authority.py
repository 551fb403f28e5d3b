"""A time-stamp authority of the tests (RFC 3161), by openssl: certificates, and a service on this computer alone."""

import datetime as dt
import subprocess
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer

CONFIG = """
[tsa]
default_tsa = one
[one]
serial = {folder}/serial
crypto_device = builtin
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256, sha512
accuracy = secs:1
ess_cert_id_chain = no
ess_cert_id_alg = sha256
[stamp]
extendedKeyUsage = critical, timeStamping
"""


class Authority:
    """Root and stamp certificates in a folder; within ``with`` a service listens at ``address``."""

    def __init__(self, folder, name="Stamp office of the tests"):
        folder.mkdir(parents=True, exist_ok=True)
        self.folder, self.asked = folder, []
        (folder / "conf").write_text(CONFIG.format(folder=folder))
        (folder / "serial").write_text("01\n")
        curve = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-config", "/dev/null")
        self._openssl("req", "-x509", *curve, "-days", "3650", "-subj", "/CN=Root of the tests",
                      "-addext", "basicConstraints=critical,CA:true", "-addext", "keyUsage=critical,keyCertSign",
                      "-keyout", "root.key", "-out", "root.pem")  # fmt: skip
        self._openssl("req", *curve, "-subj", f"/CN={name}", "-keyout", "stamp.key", "-out", "stamp.csr")
        self._openssl("x509", "-req", "-in", "stamp.csr", "-CA", "root.pem", "-CAkey", "root.key", "-CAcreateserial",
                      "-days", "3650", "-extfile", "conf", "-extensions", "stamp", "-out", "stamp.pem")  # fmt: skip
        self.root = folder / "root.pem"

    def _openssl(self, *arguments):
        subprocess.run(["openssl", *arguments], cwd=self.folder, check=True, capture_output=True)

    def answer(self, request):
        """The authority's answer to *request*, both DER."""
        self.asked.append(request)
        (self.folder / "query").write_bytes(request)
        self._openssl("ts", "-reply", "-queryfile", "query", "-config", "conf", "-section", "one",
                      "-signer", "stamp.pem", "-inkey", "stamp.key", "-out", "reply")  # fmt: skip
        return (self.folder / "reply").read_bytes()

    def verified(self, message, answer):
        """Whether openssl itself finds that *answer* is a stamp on *message* under the root."""
        (self.folder / "message").write_bytes(message)
        (self.folder / "reply").write_bytes(answer)
        command = ["openssl", "ts", "-verify", "-data", "message", "-in", "reply", "-CAfile", "root.pem"]
        return subprocess.run(command, cwd=self.folder, check=False, capture_output=True).returncode == 0

    def __enter__(self):
        authority = self

        class Service(BaseHTTPRequestHandler):
            """Answers what is posted to it."""

            def do_POST(self):
                request = self.rfile.read(int(self.headers["Content-Length"]))
                answer = authority.answer(request)
                self.send_response(200)
                self.send_header("Content-Type", "application/timestamp-reply")
                self.send_header("Content-Length", str(len(answer)))
                self.end_headers()
                self.wfile.write(answer)

            def log_message(self, *_words):
                pass

        self.server = HTTPServer(("127.0.0.1", 0), Service)
        self.address = f"http://127.0.0.1:{self.server.server_port}/stamp"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()
        return self

    def __exit__(self, *_what):
        self.server.shutdown()
        self.server.server_close()


def today():
    """The day by the clock that the authority goes by, UTC."""
    return dt.datetime.now(dt.UTC).date()
