"""Who may ask the bench: Host and Origin of every request, the token of those who come from elsewhere."""

import asyncio

import pytest
from starlette.applications import Starlette
from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from starlette.testclient import TestClient

from tepui.ground.errors import InputError
from tepui.web import guard
from tepui.web.guard import Guard
from tepui.web.serve import _listener

HOST = "127.0.0.1:8157"


def client(*, token=None, address="127.0.0.1", told=None):
    async def answer(request):
        if request.method == "POST":
            await request.body()
        return PlainTextResponse("here")

    app = Guard(Starlette(routes=[Route("/", answer, methods=["GET", "POST"])]), hosts=[HOST], token=token, told=told)
    return TestClient(app, base_url=f"http://{HOST}", client=(address, 50000), follow_redirects=False)


def test_law_our_own_pages_are_answered_and_carry_the_policy():
    answer = client().get("/")
    assert answer.status_code == 200
    policy = answer.headers["content-security-policy"]
    assert "script-src 'self';" in policy
    assert "default-src 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"


# [RFC9110] 7.2: Host says whom the client means. A name of another's that leads to this machine is not ours.
@pytest.mark.parametrize("host", ["evil.example", "evil.example:8157", "127.0.0.1", "127.0.0.1:80", ""])
def test_law_another_name_is_misdirected(host):
    assert client().get("/", headers={"host": host}).status_code == 421


# [RFC6454] 7: Origin says whose page asks; "null" is a page that hides it.
@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:8157", "http://localhost:8157"])
def test_law_another_origin_changes_nothing(origin):
    assert client().post("/", headers={"origin": origin}).status_code == 403


def test_law_our_own_origin_may_change_and_a_plain_client_too():
    assert client().post("/", headers={"origin": f"http://{HOST}"}).status_code == 200
    assert client().post("/").status_code == 200
    assert client().post("/", headers={"sec-fetch-site": "cross-site"}).status_code == 403


def test_law_from_elsewhere_only_with_the_token():
    far = client(token="secret-word", address="192.0.2.7")
    assert far.get("/").status_code == 403
    assert far.get("/?token=secret").status_code == 403
    let_in = far.get("/?token=secret-word&a=1")
    assert (let_in.status_code, let_in.headers["location"]) == (303, "/?a=1")
    assert "HttpOnly" in let_in.headers["set-cookie"]
    cookie = let_in.headers["set-cookie"].partition(";")[0]
    assert far.get("/", headers={"cookie": cookie}).status_code == 200
    assert client(token="secret-word").get("/").status_code == 200  # from this machine without it


def test_law_a_token_lets_one_device_in():
    following = []
    far = client(token="secret-word", address="192.0.2.7", told=following.append)
    assert far.get("/?token=secret-word").status_code == 303
    far.cookies.clear()
    assert far.get("/?token=secret-word").status_code == 403
    assert far.get("/", headers={"cookie": "tepui-reach=secret-word"}).status_code == 403
    assert far.get(f"/?token={following[0]}").status_code == 303
    assert len(set(following)) == 2
    assert all(len(token) >= 16 for token in following)


def test_law_a_token_changes_nothing_by_a_post():
    far = client(token="secret-word", address="192.0.2.7")
    assert far.post("/?token=secret-word").status_code == 403


# [RFC9110] 15.5.14: content larger than the server is willing to take. The length told is not believed.
@pytest.mark.parametrize(("size", "status"), [(guard.MOST_FORM, 200), (guard.MOST_FORM + 1, 413)])
@pytest.mark.parametrize("in_pieces", [False, True])
def test_limit_a_form_has_a_bound(size, status, in_pieces):
    body = iter([b"a" * (size - 1), b"a"]) if in_pieces else b"a" * size
    assert client().post("/", content=body).status_code == status


# [RFC9110] 15.5.9: a request that does not come to its end.
def test_limit_what_stops_coming_is_given_up(monkeypatch):
    monkeypatch.setattr(guard, "SILENCE_S", 0.05)
    sent = []

    async def receive():
        if not sent:
            sent.append(1)
            return {"type": "http.request", "body": b"half", "more_body": True}
        return await asyncio.sleep(30)

    async def ask():
        bounded = guard._bounded(Headers({}), receive)
        assert (await bounded())["body"] == b"half"
        with pytest.raises(HTTPException) as given_up:
            await bounded()
        assert given_up.value.status_code == 408

    asyncio.run(ask())


def test_law_only_this_machine_is_listened_to_unless_the_room_is_asked_for():
    for everywhere, address in ((False, "127.0.0.1"), (True, "0.0.0.0")):
        listener = _listener(0, everywhere=everywhere)
        assert listener.getsockname()[0] == address
        listener.close()


def test_message_of_a_port_that_is_taken():
    held = _listener(0, everywhere=False)
    held.listen()
    port = held.getsockname()[1]
    with pytest.raises(InputError, match=f"port {port} cannot be had"):
        _listener(port, everywhere=False)
    held.close()
