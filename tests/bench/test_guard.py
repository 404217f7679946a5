"""Who the bench answers: nobody but its own page, and, shared, nobody without the code. Over a real port."""

from __future__ import annotations

import pytest

from gaugelog.bench.guard import CODE_LENGTH, TRIES, TRIES_A_CODE, TRIES_IN_S, Door

PATHS = ("/", "/events", "/do", "/report", "/static/bench.js", "/nowhere", "/code")


def test_on_loopback_the_page_answers_with_its_policy_and_nothing_leaks(serve) -> None:
    bench = serve()
    status, body, headers = bench.ask("GET", "/")
    assert status == 200
    assert b"gaugelog bench" in body
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"] == "no-store"
    assert "server" not in headers
    assert "Only this machine can see it" in bench.text


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "evil.example"},
        {"Host": "evil.example:80"},
        {"Host": ""},
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
    ],
)
def test_a_foreign_host_or_origin_gets_nothing(serve_once, path: str, headers: dict[str, str]) -> None:
    status, body, _ = serve_once.ask("GET", path, **headers)
    assert status in (403, 421, 400)
    assert body in (b"", b"Invalid HTTP request received.")


def test_what_changes_something_needs_an_origin_and_is_small(serve_once) -> None:
    assert serve_once.ask("POST", "/do", b"{}", Origin=None)[0] == 403
    assert serve_once.ask("POST", "/do", b"x" * 5000)[0] == 400
    assert serve_once.ask("POST", "/do", b"[1]")[0] == 400
    assert serve_once.ask("POST", "/do", b'{"do": "end"}', Content_Type="text/plain")[0] == 400
    assert serve_once.ask("POST", "/do", b"[" * 4000)[0] == 400
    assert serve_once.ask("GET", "/static/../work.py")[0] == 404
    assert serve_once.ask("POST", "/do", b'{"do": "explode"}')[0] == 409
    assert serve_once.ask("POST", "/do", b'{"do": 5}')[0] == 409


def test_shared_nothing_answers_without_the_code_and_a_code_lets_one_device_in(serve) -> None:
    bench = serve("--share")
    assert "Whoever is in the same network" in bench.text or bench.url
    for path in PATHS:
        status, body, headers = bench.ask("GET", path)
        if path == "/code":
            assert status == 200
            assert b"Code" in body
        elif path == "/":
            assert (status, headers["location"], body) == (303, "/code", b"")
        else:
            assert (status, body) == (401, b"")
    assert bench.ask("POST", "/do", b'{"do": "end"}')[0] == 401
    code = bench.code
    form = {"Content_Type": "application/x-www-form-urlencoded"}
    assert bench.ask("POST", "/code", b"code=WRONG1", **form)[0] == 403
    status, _, headers = bench.ask("POST", "/code", f"code={code.lower()}".encode(), **form)
    assert status == 303
    cookie = headers["set-cookie"].split(";")[0]
    assert "HttpOnly" in headers["set-cookie"]
    assert "samesite=strict" in headers["set-cookie"].lower()
    assert bench.ask("GET", "/", Cookie=cookie)[0] == 200
    assert bench.code != code
    assert bench.ask("POST", "/code", f"code={code}".encode(), **form)[0] == 403
    assert bench.ask("GET", "/", Cookie="gaugelog-bench=guessed")[0] == 303


def test_tries_are_few_a_minute_and_a_code_is_made_anew() -> None:
    seen: list[str] = []
    now = [0.0]
    door = Door(seen.append, lambda: now[0])
    assert len(door.code) == CODE_LENGTH
    for _ in range(TRIES):
        assert door.wait_s == 0
        assert door.enter("WRONG1") is None
    assert door.wait_s == pytest.approx(TRIES_IN_S)
    assert door.enter(door.code) is None, "not even the right one while it has to wait"
    now[0] += TRIES_IN_S
    token = door.enter(door.code)
    assert token is not None
    assert door.knows(token)
    assert not door.knows("")
    assert not door.knows(token + "x")
    before = door.code
    for _ in range(TRIES_A_CODE):
        now[0] += TRIES_IN_S
        door.enter("WRONG1")
    assert door.code != before
    assert seen[-1] == door.code
