"""Pages for others than this machine: only over TLS, after a passphrase, logged, and touching no other folder."""

import http.cookiejar
import json
import re
import shutil
import ssl
import urllib.error
import urllib.parse
import urllib.request
from pathlib import Path

import numpy as np
import pytest

from footwork.api import Library
from footwork.web import jobs
from tests.positions import leaked
from tests.program import footwork
from tests.tools.compare_answers import PAGES
from tests.web.conftest import serving

TLS = Path(__file__).parent / "tls"
WORDS = "four plain words here"


@pytest.fixture(scope="module")
def opened(season_library, tmp_path_factory):
    """Address of a library that is open to others, its folder and its log."""
    place = tmp_path_factory.mktemp("open")
    season_library.close()
    shutil.copytree(season_library.folder, place / "library")
    with Library.open(place / "library") as library:
        signals = library.signals(1)
        known = np.flatnonzero(np.isfinite(signals.get("latitude")))
        there = known[len(known) // 2]  # not at the start, which is the example that forms show
        library.add_place("home", signals["latitude"][there], signals["longitude"][there], 150)
    (place / "words.txt").write_text(f"{WORDS}\n")
    told = ["--tls-certificate", TLS / "certificate.pem", "--tls-key", TLS / "key.pem", "--name", "localhost"]
    told += ["--passphrase-file", place / "words.txt", "--access-log", place / "visits.log", "--address", "127.0.0.1"]
    for address in serving("-m", "footwork", "serve", place / "library", "--port", "0", "--open-to-others", *told):
        yield address.rstrip("/"), place


@pytest.fixture
def visitor():
    """One who keeps cookies, and trusts the test's certificate alone."""
    trust = ssl.create_default_context(cafile=TLS / "certificate.pem")
    kept = urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
    return urllib.request.build_opener(urllib.request.HTTPSHandler(context=trust), kept)


def said(visitor, address, **form):
    """Status and text of an answer."""
    body = urllib.parse.urlencode(form).encode() if form else None
    asked = urllib.request.Request(address, body)
    if body is not None:
        asked.add_header("Origin", re.match(r"https://[^/]+", address)[0])
    try:
        with visitor.open(asked, timeout=60) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode()


def test_nothing_is_seen_before_the_passphrase_and_everything_after_it(opened, visitor):
    address, place = opened
    assert address.startswith("https://localhost:")
    for path in ("/", "/runs", "/squad", "/nowhere"):
        status, text = said(visitor, address + path)
        assert status == 200 and "Say the passphrase" in text and "CP-minutes" not in text
    assert said(visitor, f"{address}/runs.json")[0] == 401
    assert said(visitor, f"{address}/_nicegui/x/socket.io/?EIO=4&transport=polling")[1].count("Say the passphrase") == 1
    status, text = said(visitor, f"{address}/enter", passphrase="another one here")
    assert status == 401 and "That is not it" in text
    status, text = said(visitor, f"{address}/enter", passphrase=WORDS)
    assert status == 200 and "Say the passphrase" not in text
    assert len(json.loads(said(visitor, f"{address}/runs.json")[1])) >= 1
    log = (place / "visits.log").read_text().splitlines()
    assert any(re.fullmatch(r"\S+Z 127\.0\.0\.1 GET /runs\.json 401", line) for line in log)
    assert any(line.endswith("GET /runs.json 200") for line in log)
    assert not any("?" in line or WORDS in line for line in log)
    assert (place / "visits.log").stat().st_mode & 0o777 == 0o600


def test_no_page_or_twin_tells_others_of_a_private_place(opened, visitor):
    address, place = opened
    assert said(visitor, f"{address}/enter", passphrase=WORDS)[0] == 200
    with Library.open(place / "library") as library:
        places = library.places()
    answered = 0
    for page in PAGES:
        path, _, question = page.replace("120", "2").replace("115", "2").partition("?")
        for form in (path, *([f"{path}.json"] if path != "/" else [])):
            status, text = said(visitor, f"{address}{form}{'?' + question if question else ''}")
            answered += status == 200
            assert leaked(text, places) == [], page
    assert answered > 30
    status, text = said(visitor, f"{address}/library.json")
    assert status == 200 and json.loads(text)["places"] == [{"name": "home"}]


def test_another_name_or_plain_http_is_refused(opened, visitor):
    address, _ = opened
    asked = urllib.request.Request(f"{address}/", headers={"Host": "elsewhere.example"})
    with pytest.raises(urllib.error.HTTPError, match="403"):
        visitor.open(asked)
    with pytest.raises((urllib.error.URLError, ConnectionError, OSError)):
        urllib.request.urlopen(address.replace("https", "http") + "/", timeout=10)
    status, _ = said(visitor, f"{address}/enter", passphrase="x" * 5000)
    assert status == 413


def test_guessing_is_stopped_and_a_made_up_cookie_lets_nobody_in(opened, visitor):
    address, _ = opened
    asked = urllib.request.Request(f"{address}/runs.json", headers={"Cookie": "footwork=made-up"})
    with pytest.raises(urllib.error.HTTPError, match="401"):
        visitor.open(asked)
    answers = [said(visitor, f"{address}/enter", passphrase=f"guess number {k}")[0] for k in range(7)]
    assert answers[-1] == 429 and said(visitor, f"{address}/enter", passphrase=WORDS)[0] == 429


def test_it_needs_everything_that_makes_it_safe(tmp_path):
    for words in (
        ["--open-to-others"],
        ["--open-to-others", "--name", "a.example"],
        ["--open-to-others", "--name", "a", "--tls-certificate", tmp_path / "no.pem", "--tls-key", tmp_path / "no.pem"],
        ["--name", "a.example"],
    ):
        done = footwork("serve", tmp_path / "library", *words)
        assert done.returncode == 2 and ("--open-to-others" in done.stderr or "no file" in done.stderr)
    (tmp_path / "short.txt").write_text("short")
    told = ["--tls-certificate", TLS / "certificate.pem", "--tls-key", TLS / "key.pem", "--name", "localhost"]
    done = footwork("serve", tmp_path, "--open-to-others", *told, "--passphrase-file", tmp_path / "short.txt")
    assert "at least 10 characters" in done.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("backup", "/home/x.zip"),
        ("restore", "/home/x.zip", "--into=/home/y"),
        ("export", "--all", "--out=/home/x"),
        ("add", "--", "/etc"),
        ("weather", "--file=/etc/passwd"),
        ("diary", "--csv=/etc/passwd"),
        ("season", "new", "--course=/etc/passwd"),
        ("demo", "/home/x"),
    ],
)
def test_pages_that_are_open_touch_no_other_folder(words, monkeypatch):
    monkeypatch.setattr(jobs, "open_to_others", True)
    with pytest.raises(StopIteration) as done:  # it is refused before anything is waited for
        jobs.run_command(Path("/nowhere"), *words).send(None)
    problem, made = done.value.value
    assert "no other folder" in problem and made == {}
    assert not jobs._elsewhere(("add", "--", str(jobs.inbox())))
    assert not jobs._elsewhere(("session", "new", "5 x 1 km at 4:30/km"))
