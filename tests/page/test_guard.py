"""Attacks on the page's server. Each is refused, and each would get through if its one check were not there."""

from __future__ import annotations

import asyncio

import pytest
from page_house import PORT, ask, open_house

from coverage_audit.page import guard as guarding


@pytest.fixture
def house(tmp_path):
    with open_house(tmp_path / "farm") as opened:
        yield opened


READ = {"method": "GET", "path": b"/"}
WRITE = {"method": "POST", "path": b"/bin", "body": (b'{"job": "none"}',)}
DONE = {200, 422}
"""A page, or words of the desk about what was asked: behind the guard."""

ATTACKS = {
    # a name that an attacker has bound anew to 127.0.0.1 (a rebound GET carries no Origin), and the like
    "rebound host": (READ, {"host": "attacker.test"}, "host"),
    "rebound host, this port": (READ, {"host": f"attacker.test:{PORT}"}, "host"),
    "localhost for 127.0.0.1": (READ, {"host": f"localhost:{PORT}"}, "host"),
    "another port": (READ, {"host": "127.0.0.1:80"}, "host"),
    "no host": (READ, {"host": None}, "host"),
    "no cookie": (READ, {"cookie": None}, "cookie"),
    "a guessed cookie": (READ, {"cookie": f"coverage-audit-{PORT}=guess"}, "cookie"),
    "cookie of another run": (READ, {"cookie": "coverage-audit-1=guess"}, "cookie"),
    "asked by another site": (READ, {"sec_fetch_site": "cross-site"}, "site"),
    "asked by a site of this computer": (READ, {"sec_fetch_site": "same-site"}, "site"),
    "write without origin": (WRITE, {"origin": None}, "origin"),
    "write from another site": (WRITE, {"origin": "https://attacker.test"}, "origin"),
    "write from a page of no origin": (WRITE, {"origin": "null"}, "origin"),
    "write from another port": (WRITE, {"origin": "http://127.0.0.1:80"}, "origin"),
    "a form's write": (WRITE, {"x_coverage_audit": None}, "own_header"),
    "a form's kind of body": (WRITE, {"content_type": "text/plain"}, "kind"),
    "many parts": (WRITE, {"content_type": "multipart/form-data; boundary=x"}, "kind"),
    "10 GB said beforehand": (WRITE, {"content_length": "10737418240"}, "body"),
    "a length that is no number": (WRITE, {"content_length": "-1"}, "body"),
    "10 GB unsaid": (WRITE | {"body": (b" " * 100_000,) * 4 + (b'{"job": "none"}',)}, {}, "body"),
}


def without(guard, name, monkeypatch):
    """Take one check out of the guard."""
    free = {"kind": lambda _headers: 10**9, "body": lambda receive, _headers, _limit: receive}
    monkeypatch.setattr(guard, name, free.get(name, lambda *_: None))


@pytest.mark.parametrize("name", ATTACKS)
def test_attack_is_refused_and_would_succeed_without_its_one_check(name, house, monkeypatch):
    request, headers, check = ATTACKS[name]
    given = house.own(**headers)
    assert ask(house.guard, headers=given, **request).status in {400, 403, 405, 413, 415, 421}
    without(house.guard, check, monkeypatch)
    assert ask(house.guard, headers=given, **request).status in DONE


def test_what_the_page_itself_asks_for_gets_through(house):
    assert ask(house.guard, headers=house.own(), **READ).status == 200
    assert ask(house.guard, headers=house.own(), **WRITE).status == 422  # there is no such job: the desk's words


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "HEAD", "TRACE", "CONNECT", "PATCH", "get"])
def test_other_methods_are_refused(method, house, monkeypatch):
    assert ask(house.guard, method, headers=house.own()).status == 405
    without(house.guard, "method", monkeypatch)
    seen = []
    monkeypatch.setattr(house.guard, "app", lambda *_: seen.append(method) or asyncio.sleep(0))
    ask(house.guard, method, headers=house.own())
    assert seen == [method]  # without the check it is the routes' affair


TRICKS = [
    *(b"/../farm.toml", b"/asset/../serve.py", b"/asset/%2e%2e/serve.py", b"/asset/..%2fserve.py"),
    *(b"/asset/..\\serve.py", b"/asset/%5c%5cserver%5cshare", b"//server/share", b"/asset//server/share"),
    *(b"/asset/c:/windows/win.ini", b"/asset/c%3a/x", b"/asset/page.css%00.js", b"/asset/page.css\x00"),
    *(b"/job/../../farm.toml", b"/job/%2e%2e", b"/job/./x", b"/job/x/paper/report/..%2f..%2fjob.toml"),
    *(b"/asset/PAGE.CSS", b"/asset/page.css/", b"http://attacker.test/", b"/asset/page.css;x", b"/\xff"),
]


@pytest.mark.parametrize("path", TRICKS)
def test_addresses_that_lead_elsewhere_are_refused_before_any_route(path, house, monkeypatch):
    seen = []

    async def app(scope, _receive, send):
        seen.append(scope["raw_path"])
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    monkeypatch.setattr(house.guard, "app", app)
    if path != b"/asset/page.css/":  # a plain address; no route has it
        assert ask(house.guard, path=path, headers=house.own()).status == 404
        assert seen == []
    without(house.guard, "path", monkeypatch)
    assert ask(house.guard, path=path, headers=house.own()).status == 200
    assert seen == [path]


@pytest.mark.parametrize("path", TRICKS)
def test_routes_give_nothing_for_them_either(path, house, monkeypatch):
    """The second wall: no part of a path is ever taken from a request, so nothing is found even without the first."""
    without(house.guard, "path", monkeypatch)
    assert ask(house.guard, path=path, headers=house.own()).status in {404, 405}


@pytest.mark.parametrize("query", [b"x=../..", b"x=%2e%2e", b"a" * 500, b"x=\\\\server"])
def test_queries_that_the_page_never_makes_are_refused(query, house):
    assert ask(house.guard, headers=house.own(), query=query).status == 404


def test_token_opens_once_and_gives_a_cookie_that_scripts_and_other_sites_do_not_get(house):
    path = house.keys.address.removeprefix(house.keys.origin).encode()
    host = [(b"host", house.keys.host.encode())]
    first = ask(house.guard, path=path, headers=host)
    cookie = first.headers[b"set-cookie"].decode()
    assert first.status == 200
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(cookie.split("; "))
    assert house.keys.token not in cookie
    again = ask(house.guard, path=path, headers=host)
    assert (again.status, b"set-cookie" in again.headers) == (403, False)
    house.keys.used = False  # what a token that is not used up would do
    assert ask(house.guard, path=path, headers=host).status == 200


@pytest.mark.parametrize("token", [b"", b"0" * 64, b"x"])
def test_a_guessed_token_opens_nothing(token, house):
    answer = ask(house.guard, path=b"/enter/" + token, headers=[(b"host", house.keys.host.encode())])
    assert (answer.status, b"set-cookie" in answer.headers, house.keys.used) == (403, False, False)


def test_token_is_not_taken_from_another_host_or_site(house):
    path = house.keys.address.removeprefix(house.keys.origin).encode()
    assert ask(house.guard, path=path, headers=[(b"host", b"attacker.test")]).status == 421
    cross = [(b"host", house.keys.host.encode()), (b"sec-fetch-site", b"cross-site")]
    assert ask(house.guard, path=path, headers=cross).status == 403
    assert not house.keys.used


def test_a_header_that_comes_twice_is_refused(house):
    twice = [*house.own(), (b"host", b"attacker.test")]
    assert ask(house.guard, headers=twice).status == 400


def test_websocket_is_closed_before_it_is_opened(house):
    sent = []

    async def receive():
        return {"type": "websocket.connect"}

    async def send(message):
        sent.append(message)

    asyncio.run(house.guard({"type": "websocket", "headers": house.own(), "path": "/"}, receive, send))
    assert sent == [{"type": "websocket.close", "code": 1008}]


def test_a_body_that_comes_too_slowly_is_given_up(house, monkeypatch):
    monkeypatch.setattr(guarding, "SLOW_BODY_S", 0.01)
    answer = ask(house.guard, headers=house.own(), wait=0.2, **WRITE)
    assert answer.status == 408
    monkeypatch.setattr(guarding, "SLOW_BODY_S", 5.0)
    assert ask(house.guard, headers=house.own(), wait=0.02, **WRITE).status == 422


def test_a_body_that_never_ends_is_given_up(house, monkeypatch):
    monkeypatch.setattr(guarding, "LONGEST_BODY_S", 0.0)
    assert ask(house.guard, headers=house.own(), wait=0.05, **WRITE).status == 408


def test_every_answer_forbids_what_no_answer_needs(house):
    asked = [
        ask(house.guard, headers=house.own(), **READ),
        ask(house.guard, headers=house.own(), **WRITE),
        ask(house.guard, headers=house.own(host="attacker.test"), **READ),
        ask(house.guard, path=b"/manual", headers=house.own()),
        ask(house.guard, path=b"/asset/page.css", headers=house.own()),
    ]
    for answer in asked:
        policy = answer.headers[b"content-security-policy"].decode()
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers[b"cache-control"] == b"no-store"
        assert answer.headers[b"x-content-type-options"] == b"nosniff"
    scripts = asked[0].headers[b"content-security-policy"].decode()
    assert "script-src 'self';" in scripts
    assert "unsafe" not in scripts
    assert "sandbox" in asked[3].headers[b"content-security-policy"].decode()


def test_a_fault_of_ours_is_told_in_words_and_as_data(house, monkeypatch):
    async def broken(*_):
        raise ValueError("<script>")

    monkeypatch.setattr(house.guard, "app", broken)
    answer = ask(house.guard, headers=house.own())
    assert answer.status == 500
    assert b"a fault of this program" in answer.body.lower()
    assert b"<script>" not in answer.body
