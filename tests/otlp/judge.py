"""Starts the real binary against its practice server with a collector on loopback, and judges what arrives:
judge.py BINARY. The collector answers, hangs, or is not there; deliveries go on in every case."""

import http.server
import json
import pathlib
import queue
import signal
import socket
import ssl
import subprocess
import sys
import tempfile
import threading
import time
import tomllib
import urllib.request

from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import (
    ExportTraceServiceRequest,
    ExportTraceServiceResponse,
)
from opentelemetry.proto.trace.v1.trace_pb2 import Span, Status

BINARY = str(pathlib.Path(sys.argv[1]).resolve())
FIRST = pathlib.Path("fixtures/sessions/first.json")
SECOND = pathlib.Path("fixtures/sessions/second.json")
VERSION = tomllib.loads(pathlib.Path("Cargo.toml").read_text())["package"]["version"]
PATIENCE = 60
SILENT = "traces do not reach their collector"
# What each kind of span may carry; anything else is a fault.
MAY = {
    "attempt": {"item", "target", "session", "version", "attempt", "outcome", "reason"},
    "accept": {"session", "version", "outcome"},
    "request": {"interaction"},
}
HTTP = {"http.request.method", "http.response.status_code", "server.address", "error.type"}


class Authority:
    """A private authority, and a certificate of it for this machine."""

    def __init__(self, folder):
        self.ca, self.certificate, self.key = (f"{folder}/{name}" for name in ("ca.pem", "own.pem", "own.key"))
        request, names = f"{folder}/own.csr", pathlib.Path(folder) / "names"
        names.write_text("subjectAltName=IP:127.0.0.1\n")
        for words in (
            f"req -x509 -newkey rsa:2048 -noenc -keyout {folder}/ca.key -out {self.ca} -days 2 -subj /CN=invented",
            f"req -newkey rsa:2048 -noenc -keyout {self.key} -out {request} -subj /CN=invented-collector",
            f"x509 -req -in {request} -CA {self.ca} -CAkey {folder}/ca.key -CAcreateserial -days 2"
            f" -extfile {names} -out {self.certificate}",
        ):
            subprocess.run(["openssl", *words.split()], check=True, capture_output=True)


class Collector:
    """Takes what is posted; `hangs` never answers; with an authority it speaks TLS."""

    def __init__(self, hangs=False, authority=None):
        self.bodies, self.asked = [], queue.Queue()
        over = threading.Event()
        outer = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self):
                body = self.rfile.read(int(self.headers["Content-Length"]))
                outer.bodies.append((self.path, self.headers, body))
                outer.asked.put(None)
                if hangs:
                    over.wait()
                    return
                answer = ExportTraceServiceResponse().SerializeToString()
                self.send_response(200)
                self.send_header("Content-Type", "application/x-protobuf")
                self.send_header("Content-Length", str(len(answer)))
                self.end_headers()
                self.wfile.write(answer)

            def log_message(self, *_):
                pass

        self.over = over
        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        scheme = "http"
        if authority:
            scheme = "https"
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            context.load_cert_chain(authority.certificate, authority.key)
            self.server.socket = context.wrap_socket(self.server.socket, server_side=True)
        self.endpoint = f"{scheme}://127.0.0.1:{self.server.server_port}"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def close(self):
        self.over.set()
        self.server.shutdown()


def dead_endpoint():
    """An address where nothing listens."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return f"http://127.0.0.1:{taken.getsockname()[1]}"


class Running:
    """A process of the binary that says BASE= first; its standard error is kept."""

    def __init__(self, *arguments):
        self.process = subprocess.Popen(
            [BINARY, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        self.base = self.process.stdout.readline().strip().removeprefix("BASE=")
        assert self.base.startswith("http://127.0.0.1:"), self.process.stderr.read()
        self.lines = []
        self.reader = threading.Thread(target=self.read, daemon=True)
        self.reader.start()
        threading.Thread(target=self.process.stdout.read, daemon=True).start()

    def read(self):
        for line in self.process.stderr:
            self.lines.append(line)

    def stop(self):
        self.process.send_signal(signal.SIGTERM)
        ended = self.process.wait(timeout=PATIENCE)
        self.reader.join(timeout=PATIENCE)
        return ended


def ask(address, body=None, token=None):
    request = urllib.request.Request(address, data=body)
    request.add_header("Content-Type", "application/json")
    if token:
        request.add_header("Authorization", f"Bearer {token}")
    with urllib.request.urlopen(request, timeout=PATIENCE) as answer:
        return json.loads(answer.read() or b"null")


def until(what, fits):
    end = time.monotonic() + PATIENCE
    while not fits():
        assert time.monotonic() < end, f"{what} did not come about"
        time.sleep(0.05)


def server_with_person():
    server = Running("practice")
    person = json.loads(FIRST.read_text())["patient"]
    made = ask(
        f"{server.base}/Patient",
        json.dumps({
            "resourceType": "Patient",
            "identifier": [person["identifier"]],
            "name": [{"family": person["family_name"]}],
            "birthDate": person["birth_date"],
        }).encode(),
    )
    return server, made["id"]


def observations(server, patient_id):
    found = ask(f"{server.base}/Observation?subject=Patient/{patient_id}")
    return len(found.get("entry", []))


def configuration(folder, server, endpoint, more=""):
    path = pathlib.Path(folder) / "fascicle.toml"
    path.write_text(
        f"state = '{folder}/state'\n[[target]]\nname = 'ward'\nbase = '{server.base}'\n"
        f"[traces]\nendpoint = '{endpoint}'\n{more}"
    )
    return str(path)


def texts(node):
    """Every text and date of a document."""
    if isinstance(node, dict):
        return [text for value in node.values() for text in texts(value)]
    if isinstance(node, list):
        return [text for value in node for text in texts(value)]
    return [node] if isinstance(node, str) else []


def value(attribute):
    return getattr(attribute.value, attribute.value.WhichOneof("value"))


def attributes(holder):
    found = {one.key: value(one) for one in holder.attributes}
    assert len(found) == len(holder.attributes), "an attribute stands twice"
    return found


def decoded(collector):
    spans = []
    for path, headers, body in collector.bodies:
        assert path == "/v1/traces" and headers["Content-Type"] == "application/x-protobuf"
        for resource in ExportTraceServiceRequest.FromString(body).resource_spans:
            assert attributes(resource.resource) == {
                "service.name": "fascicle",
                "service.version": VERSION,
            }
            spans += [span for scope in resource.scope_spans for span in scope.spans]
    return spans


def judge(collector, server, patient_id):
    """One trace of an acceptance and one of an attempt, with its requests, and nobody in them."""
    document = json.loads(FIRST.read_text())
    session = document["session"]["id"]
    spans = decoded(collector)
    kinds = {"accept": [], "attempt": [], "request": []}
    for span in spans:
        kind = span.name if span.name in kinds else "request"
        kinds[kind].append(span)
        allowed = {f"fascicle.{name}" for name in MAY[kind]} | {"error.type"}
        if kind == "request":
            allowed |= HTTP
        over = set(attributes(span)) - allowed
        assert not over and not span.events and not span.links, f"{span.name} holds {over}"
        assert span.end_time_unix_nano >= span.start_time_unix_nano > 0
    [accept], [attempt] = kinds["accept"], kinds["attempt"]
    assert not accept.parent_span_id and not attempt.parent_span_id
    assert accept.trace_id != attempt.trace_id
    told = attributes(accept)
    assert told == {
        "fascicle.session": session,
        "fascicle.version": 1,
        "fascicle.outcome": "accepted",
    }, told
    told = attributes(attempt)
    item = told.pop("fascicle.item")
    assert len(item) == 36, item
    assert told == {
        "fascicle.target": "ward",
        "fascicle.session": session,
        "fascicle.version": 1,
        "fascicle.attempt": 1,
        "fascicle.outcome": "delivered",
    }, told
    asked, refused = set(), []
    for span in kinds["request"]:
        told = attributes(span)
        assert span.kind == Span.SPAN_KIND_CLIENT and span.name == told["http.request.method"]
        assert span.parent_span_id == attempt.span_id and span.trace_id == attempt.trace_id
        assert told["server.address"] == "127.0.0.1"
        status = told["http.response.status_code"]
        one = (span.name, told["fascicle.interaction"])
        if 200 <= status < 300:
            assert span.status.code == Status.STATUS_CODE_UNSET, span
            assert "error.type" not in told, span
            asked.add(one)
        else:
            assert span.status.code == Status.STATUS_CODE_ERROR, span
            assert told["error.type"] == str(status), span
            refused.append((*one, status))
    assert {("POST", "search"), ("POST", "bundle")} <= asked, asked
    # The practice server knows no _revinclude, says so, and is asked without it: the one refusal.
    assert refused == [("POST", "search", 400)], refused
    nobody(collector, document, session, [patient_id, "_search", "identifier="])
    return len(spans)


def nobody(collector, document, session, more):
    """Nothing of the document but the identity of the session, and nothing of an address, in any byte."""
    forbidden = [text for text in texts(document) if len(text) > 3 and text != session] + more
    assert {"Testperson", "TEST-0001", "1958-03-14"} <= set(forbidden)
    for _, _, body in collector.bodies:
        for text in forbidden:
            assert text.encode() not in body, f"{text} left the house"


def sent_with(endpoint, more="", ends=0):
    """`send` of one session: the exit code, what it said, what the server holds then."""
    server, patient_id = server_with_person()
    try:
        with tempfile.TemporaryDirectory() as folder:
            config = configuration(folder, server, endpoint, more)
            sent = subprocess.run(
                [BINARY, "send", "--config", config, str(FIRST)],
                capture_output=True, text=True, timeout=PATIENCE,
            )
        assert sent.returncode == ends, sent.stdout + sent.stderr
        assert (observations(server, patient_id) > 0) == (ends == 0)
        return server, patient_id, sent.stderr
    finally:
        assert server.stop() == 0


def served_with(endpoint, documents, between):
    """`serve` takes the documents one after another, delivers them and is told to stop."""
    server, patient_id = server_with_person()
    with tempfile.TemporaryDirectory() as folder:
        token = pathlib.Path(folder) / "tokens"
        token.touch(mode=0o600)
        token.write_text("a" * 64 + "\n")
        config = configuration(folder, server, endpoint)
        service = Running(
            "--log", "info", "serve", "--config", config, "--address", "127.0.0.1:0",
            "--token-file", str(token),
        )
        for number, document in enumerate(documents, 1):
            ask(f"{service.base}/sessions", document.read_bytes(), "a" * 64)
            delivered = lambda: sum('ended="delivered"' in line for line in service.lines)
            until(f"delivery {number}", lambda: delivered() == number)
            between(service)
        assert service.stop() == 0
    assert server.stop() == 0
    return server, patient_id, "".join(service.lines)


def main():
    collector = Collector()
    server, patient_id, told = sent_with(collector.endpoint)
    count = judge(collector, server, patient_id)
    assert SILENT not in told, told
    print(f"send: {count} spans decode, with their parents and without a person")
    collector.close()

    collector = Collector()
    server, patient_id, _ = served_with(collector.endpoint, [FIRST], lambda _: None)
    count = judge(collector, server, patient_id)
    print(f"serve: {count} spans arrived by the time it had stopped")
    collector.close()

    with tempfile.TemporaryDirectory() as folder:
        authority = Authority(folder)
        header = pathlib.Path(folder) / "header"
        header.touch(mode=0o600)
        header.write_text("Bearer invented-token\n")
        named = f"header_files = {{ Authorization = '{header}' }}\n"
        trusted = f"ca_file = '{authority.ca}'\n"
        collector = Collector(authority=authority)
        server, patient_id, told = sent_with(collector.endpoint, named + trusted)
        count = judge(collector, server, patient_id)
        assert all(headers["Authorization"] == "Bearer invented-token" for _, headers, _ in collector.bodies)
        assert SILENT not in told and "invented-token" not in told, told
        print(f"behind TLS of a private authority, with a header from a file: {count} spans")
        for lacking, more in (("the authority", named), ("the header", trusted + named.replace("header'", "away'"))):
            before = len(collector.bodies)
            _, _, told = sent_with(collector.endpoint, more)
            assert told.count(SILENT) == 1 and len(collector.bodies) == before, told
            print(f"without {lacking}: delivered, no trace, told once")
        _, _, told = sent_with(collector.endpoint, f"ca_file = '{header}'\n", ends=1)
        assert "traces: the file of ca_file does not hold" in told, told
        print("an authority that is none: nothing begins")
        collector.close()

    _, _, told = sent_with(dead_endpoint())
    assert told.count(SILENT) == 1, told
    print("no collector: delivered")

    collector = Collector(hangs=True)
    sent_with(collector.endpoint)
    assert collector.bodies, "the collector was never asked"
    print("a collector that hangs: delivered")
    collector.close()

    noticed = lambda service: until("a warning", lambda: SILENT in "".join(service.lines))
    _, _, told = served_with(dead_endpoint(), [FIRST, SECOND], noticed)
    assert told.count(SILENT) == 1, told
    print("no collector under a service: two delivered, told once")


main()
