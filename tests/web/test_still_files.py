"""Scripts and styles are kept by the browser until they change; exact.

RFC 9110, 13.1.2 (If-None-Match) and RFC 8246 (immutable).
"""

import re

import pytest


@pytest.fixture
def named(client):
    """Return the address under which a page names its style sheet."""
    return re.search(r'href="(/static/[0-9a-f]{12}/css/tokens\.css)"', client.get("/").text)[1]


def test_pages_name_their_files_so_that_they_may_be_kept_for_good(client, named):
    answer = client.get(named)
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "private, max-age=31536000, immutable"
    assert answer.text == client.get("/static/css/tokens.css").text


def test_no_page_names_a_file_that_may_go_stale(client):
    for path in ("/", "/takes/1", "/takes/1/presses", "/takes/1/presses/1", "/profiles"):
        told = re.findall(r'(?:src|href)="(/static/[^"]*)"', client.get(path).text)
        assert len(told) > 5
        assert all(re.match(r"/static/[0-9a-f]{12}/", each) for each in told), path


def test_under_the_plain_name_a_file_is_asked_for_anew_and_not_sent_twice(client):
    first = client.get("/static/css/tokens.css")
    assert first.headers["cache-control"] == "private, no-cache"
    again = client.get("/static/css/tokens.css", headers={"if-none-match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_another_byte_is_another_name(monkeypatch, tmp_path):
    from blinkspan.web import still_files

    monkeypatch.setattr(still_files, "FOLDER", tmp_path)
    (tmp_path / "a.css").write_text("p {}")
    before = still_files.fingerprint()
    assert still_files.fingerprint() == before
    (tmp_path / "a.css").write_text("q {}")
    assert still_files.fingerprint() != before
