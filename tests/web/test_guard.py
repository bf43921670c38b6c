"""What may reach the page; exact. Each check is asked for what it must refuse and must let pass."""

import re

import pytest
from fastapi.testclient import TestClient

from blinkspan.errors import BadSetting
from blinkspan.web.app import create_app
from blinkspan.web.guard import MOST_BODY_BYTES
from blinkspan.web.launch import require_token

TOKEN = "a-token-of-some-length"
STEP = {"by": "Mara"}


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "", "10.0.0.7:80"])
def test_a_name_that_is_not_ours_is_refused_as_in_dns_rebinding(client, host):
    assert client.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", ["127.0.0.1:8123", "localhost", "LOCALHOST:80", "[::1]:9"])
def test_our_own_names_are_let_in(client, host):
    assert client.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},  # another program of this machine
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_a_foreign_site_changes_nothing(client, headers):
    before = client.get("/api/takes/1/corrections").json()
    key = client.get("/api/takes/1/presses").json()["presses"][0]
    answer = client.post(
        f"/api/takes/1/presses/{key['id']}/corrections",
        json={"by": "Mara", "verdict": "rejected"},
        headers={"if-match": key["version"], **headers},
    )
    assert answer.status_code == 403
    assert client.get("/api/takes/1/corrections").json() == before == []


def test_a_foreign_site_reads_nothing_but_may_link_here(client):
    frame = "/api/takes/1/frames/0"
    assert client.get(frame, headers={"sec-fetch-site": "cross-site"}).status_code == 403
    link = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}
    assert client.get("/", headers=link).status_code == 200


@pytest.mark.parametrize("path", ["/", "/nowhere", "/static/css/tokens.css", "/api/studies"])
def test_every_answer_tells_the_browser_to_run_nothing_foreign(client, path):
    headers = client.get(path).headers
    policy = headers["content-security-policy"]
    assert policy.startswith("default-src 'none'; script-src 'self'; style-src 'self';")
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["cross-origin-opener-policy"] == "same-origin"


def test_pages_hold_no_script_or_style_of_their_own(client):
    text = client.get("/").text
    assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son\w+=|javascript:", text)


def test_without_the_token_nothing_is_told(library):
    with TestClient(create_app(library, token=TOKEN), base_url="http://127.0.0.1") as asked:
        for path in ("/", "/api/studies", "/static/css/tokens.css", "/?token=wrong"):
            answer = asked.get(path, follow_redirects=False)
            assert answer.status_code == 401
            assert "Lantern" not in answer.text
        bearer = {"authorization": f"Bearer {TOKEN}"}
        assert asked.get("/api/studies", headers=bearer).status_code == 200
        assert asked.get("/api/studies").status_code == 401


def test_the_token_leaves_the_address_and_stays_in_a_cookie_scripts_cannot_read(library):
    with TestClient(create_app(library, token=TOKEN), base_url="http://127.0.0.1") as asked:
        first = asked.get(f"/?token={TOKEN}&a=b", follow_redirects=False)
        assert (first.status_code, first.headers["location"]) == (303, "/?a=b")
        cookie = first.headers["set-cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=strict" in cookie
        assert asked.get("/").status_code == 200


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.20", "::", "studio.local"])
def test_an_address_others_reach_needs_a_token(host):
    with pytest.raises(BadSetting, match="needs a token"):
        require_token(host, None)
    require_token(host, TOKEN)


def test_a_token_that_can_be_guessed_is_refused():
    with pytest.raises(BadSetting, match="can be guessed"):
        require_token("127.0.0.1", "lamp")


def test_a_body_beyond_the_limit_is_refused_whether_or_not_it_says_its_length(client):
    huge = b"x" * (MOST_BODY_BYTES + 1)
    path, headers = "/api/takes/1/undo", {"if-match": '"1-0"'}
    assert client.post(path, content=huge, headers=headers).status_code == 413
    parts = (huge[at : at + 65536] for at in range(0, len(huge), 65536))
    assert client.post(path, content=parts, headers=headers).status_code in (400, 413)
    assert client.post(path, json=STEP, headers=headers).status_code == 422  # nothing to undo


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/static/..%2fapp.py",
        "/static//etc/passwd",
        "/api/takes/..%2f..%2flibrary.toml/presses",
        "/api/takes/1/traces/..%2f..%2flibrary.toml",
        "/library.toml",
    ],
)
def test_nothing_outside_is_reached_by_a_crooked_path(client, path):
    answer = client.get(path)
    assert answer.status_code in (404, 422)
    for told in ("create_app", "root:", "database ="):
        assert told not in answer.text
