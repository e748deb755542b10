"""The page's server against those who are not its page: other hosts, other pages, garbage, floods, files that are none of theirs."""

import http.client
import json
import socket
from urllib.parse import urlsplit

import pytest

from plancha.app.cli import main
from plancha.app.new_study import NEW_MAP, NEW_STUDY
from plancha.app.page import bound
from plancha.geometry.faults import StudyError

JSON = {"content-type": "application/json"}


class Caller:
    """Somebody who talks to the server without a browser."""

    def __init__(self, address):
        self.netloc = urlsplit(address).netloc

    def send(self, method, path, body=None, **headers):
        """Status, headers and body of the reply to a request with the page's own Host and Origin, unless told otherwise."""
        all_headers = {
            "Host": self.netloc,
            "Origin": f"http://{self.netloc}",
            **{k.replace("_", "-"): v for k, v in headers.items()},
        }
        connection = http.client.HTTPConnection(self.netloc, timeout=60)
        try:
            connection.putrequest(method, path, skip_host=True)
            for key, value in all_headers.items():
                if value is not None:
                    connection.putheader(key, value)
            content = body if body is None or isinstance(body, bytes) else json.dumps(body).encode()
            if content is not None and "content-length" not in all_headers:
                connection.putheader("content-length", str(len(content)))
            connection.endheaders(content)
            reply = connection.getresponse()
            return reply.status, dict(reply.getheaders()), reply.read()
        finally:
            connection.close()

    def ask(self, path, question):
        """A reply as the page reads it: JSON or bytes."""
        status, headers, content = self.send("POST", path, question, content_type="application/json")
        is_json = headers.get("content-type", "").startswith("application/json")
        return status, json.loads(content) if is_json else content

    def upload(self, **files):
        """The reply to dropped files."""
        edge = "edge-of-parts"
        parts = [
            f'--{edge}\r\nContent-Disposition: form-data; name="files"; filename="{name}"\r\n\r\n'.encode()
            + content
            + b"\r\n"
            for name, content in files.items()
        ]
        body = b"".join(parts) + f"--{edge}--\r\n".encode()
        status, _, content = self.send("POST", "/api/open", body, content_type=f"multipart/form-data; boundary={edge}")
        return status, content

    def open_example(self):
        """The key of a fresh design."""
        return self.ask("/api/open", {"example": "first"})[1]["design"]


@pytest.fixture
def caller(page_address):
    return Caller(page_address)


def alive(caller):
    status, _, body = caller.send("GET", "/")
    return status == 200 and b"Plancha" in body


@pytest.mark.parametrize("host", ["plancha.example", "plancha.example:80", "127.0.0.1", "127.0.0.1:1", "", None])
def test_a_name_that_is_not_the_pages_own_is_not_served(caller, host):
    # A name of somebody else's that leads to 127.0.0.1 arrives with that name as its Host.
    status, _, body = caller.send("GET", "/", Host=host)
    assert status in (400, 403) and b"<html" not in body


@pytest.mark.parametrize(
    "origin", ["http://elsewhere.example", "null", "https://127.0.0.1", "http://127.0.0.1:1", None]
)
def test_other_pages_and_those_who_do_not_say_who_they_are_change_nothing(caller, origin):
    status, _, _ = caller.send("POST", "/api/open", {"example": "first"}, Origin=origin, **JSON)
    assert status == 403


def test_a_browser_that_says_the_request_crosses_sites_is_refused(caller):
    assert caller.send("GET", "/", Origin=None, Sec_Fetch_Site="cross-site")[0] == 403
    assert caller.send("GET", "/", Origin=None, Sec_Fetch_Site="none")[0] == 200


@pytest.mark.parametrize("path", ["/", "/files/page.js", "/files/none.js", "/api/start"])
def test_every_reply_forbids_foreign_content_and_framing(caller, path):
    _, headers, _ = caller.send(
        "POST" if path.startswith("/api") else "GET", path, {} if path.startswith("/api") else None
    )
    policy = headers["content-security-policy"]
    assert "default-src 'self'" in policy and "frame-ancestors 'none'" in policy and "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff" and headers["cache-control"] == "no-store"
    assert "access-control-allow-origin" not in headers


@pytest.mark.parametrize(
    "path",
    [
        "/files/../page.py",
        "/files/..%2fpage.py",
        "/files/%2e%2e/%2e%2e/etc/passwd",
        "/files//etc/passwd",
        "/..%2f..%2fetc/passwd",
        "/files/",
    ],
)
def test_no_path_leads_out_of_the_pages_own_files(caller, path):
    status, _, body = caller.send("GET", path)
    assert status in (400, 403, 404, 405) and b"root:" not in body and b"import" not in body


OUTSIDE = [
    "/etc/passwd",
    "../secret.csv",
    "..\\secret.csv",
    "C:\\secret.csv",
    "sub/secret.csv",
    "/proc/self/environ",
    ".hidden",
]


@pytest.mark.parametrize("name", OUTSIDE)
def test_a_study_reads_no_file_that_was_not_given_with_it(caller, name):
    text = NEW_STUDY.replace('"power_map.csv"', json.dumps(name))
    status, body = caller.upload(**{"study.toml": text.encode(), "power_map.csv": NEW_MAP.encode()})
    told = json.loads(body)["faults"]
    assert status == 200 and len(told) == 1 and "bare names" in told[0]["text"] and "root" not in told[0]["text"]


@pytest.mark.parametrize("name", ["../../up.csv", "/tmp/up.csv", "..", "a/b.csv", "\x01.csv", "x" * 300 + ".csv"])
def test_an_uploads_name_leads_nowhere(caller, name):
    status, body = caller.upload(**{name: b"1,2\n"})
    assert status in (200, 400) and (json.loads(body)["faults"] or json.loads(body)["failure"])
    assert alive(caller)


def test_files_cannot_be_put_in_the_place_of_others_by_an_edit(caller):
    key = caller.open_example()
    edit = [["component", 0, "map", "file"], "/etc/passwd"]
    status, reply = caller.ask("/api/quick", {"design": key, "edits": [edit]})
    assert status == 400 and "files cannot be changed" in reply["failure"]
    whole = [["component", 0, "map"], "x"]
    status, reply = caller.ask("/api/quick", {"design": key, "edits": [whole]})
    assert "this is a table or a list" in reply["faults"][0]["text"]


def test_what_is_too_large_is_not_read(caller):
    status, _, _ = caller.send("POST", "/api/open", b"x", content_type="text/csv", content_length=str(10**9))
    assert status == 413
    with socket.create_connection(("127.0.0.1", int(caller.netloc.split(":")[1])), timeout=60) as line:
        head = f"POST /api/open HTTP/1.1\r\nHost: {caller.netloc}\r\nOrigin: http://{caller.netloc}\r\n"
        line.sendall(head.encode() + b"Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n")
        chunk, sent = b"100000\r\n" + b"x" * 0x100000 + b"\r\n", 0
        try:
            while sent < 100:  # MB that no length told of
                line.sendall(chunk)
                sent += 1
            answer = line.recv(200)
        except OSError:
            answer = b"closed"
    assert sent < 100 or b" 413 " in answer or answer in (b"", b"closed")
    assert alive(caller)


GARBAGE = [
    b"",
    b"{",
    b"[]",
    b"null",
    b"\xff\xfe\x00",
    b"[" * 100_000,
    b'{"design": 7}',
    b'{"design": "none"}',
    b'{"design": {"a": 1}}',
]


@pytest.mark.parametrize(
    "task", ["open", "quick", "full", "case", "check", "study", "export/fields.vtu", "export/..%2fx", "nothing"]
)
def test_garbage_is_answered_with_a_sentence(caller, task):
    for body in GARBAGE:
        status, headers, content = caller.send("POST", f"/api/{task}", body, **JSON)
        assert status in (200, 400, 404) and b"Traceback" not in content
        if headers["content-type"].startswith("application/json"):
            reply = json.loads(content)
            assert reply["failure"] or reply["faults"]
    assert alive(caller)


EDITS = [
    "thickness",
    [["plate"]],
    [[[], "1 mm"]],
    [[["plate", 0, "thickness"], None]],
    [[["plate", 0, "thickness"], {"a": 1}]],
    [[["plate", -1, "thickness"], "1 mm"]],
    [[["plate", 0, "thickness"], "1 mm " * 1000]],
    [[["plate", 9, "thickness"], "1 mm"]],
    [[["plate", 0, "nothing"], "1 mm"]],
    [[["plate", 0, "thickness", "deeper"], "1 mm"]],
    [[["plate", True, "thickness"], "1 mm"]],
    [[["__class__"], "1 mm"]],
    [[["plate", 0, "thickness"], "1 mm"]] * 3000,
]


@pytest.mark.parametrize("edits", EDITS, ids=[json.dumps(each)[:50] for each in EDITS])
def test_edits_that_mean_nothing_are_refused(caller, edits):
    key = caller.open_example()
    for task in ("quick", "study", "check"):
        status, reply = caller.ask(f"/api/{task}", {"design": key, "edits": edits})
        assert status in (200, 400) and (reply["faults"] or reply["failure"])
        assert "unforeseen" not in reply["failure"]


def test_nothing_of_a_study_is_executed(caller):
    text = NEW_STUDY.replace("First study", "<script>alert(1)</script> {{7*7}} $(id)")
    _, body = caller.upload(**{"study.toml": text.encode(), "power_map.csv": NEW_MAP.encode()})
    about = json.loads(body)
    status, content = caller.ask("/api/export/report.html", {"design": about["design"]})
    assert status == 200 and b"<script>alert" not in content and b"&lt;script&gt;" in content
    assert "{{7*7}} $(id)" in about["title"] and b"{{7*7}} $(id)" in content


def test_many_designs_do_not_pile_up(caller):
    keys = [caller.open_example() for _ in range(26)]
    status, reply = caller.ask("/api/quick", {"design": keys[0]})
    assert status == 400 and "open it again" in reply["failure"]
    assert isinstance(caller.ask("/api/study", {"design": keys[-1]})[1], bytes)


def test_the_command_refuses_a_bad_study_and_a_taken_port_before_it_serves(tmp_path, capsys):
    assert main(["page", str(tmp_path / "none.toml"), "--no-browser"]) == 2
    assert "there is no such file" in capsys.readouterr().err
    listening = bound(0)
    try:
        assert main(["page", "--no-browser", "--port", str(listening.getsockname()[1])]) == 2
    finally:
        listening.close()
    assert "leave --port out" in capsys.readouterr().err


def test_the_page_listens_on_this_machine_alone_and_says_when_a_port_is_taken():
    listening = bound(0)
    try:
        address, port = listening.getsockname()
        assert address == "127.0.0.1"
        with pytest.raises(StudyError, match="leave --port out"):
            bound(port)
    finally:
        listening.close()
    with pytest.raises(StudyError, match="a free port up to 65535"):
        bound(70_000)
