"""Who may ask the bench: Host and Origin of every request, the token of those who come from elsewhere."""

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from starlette.testclient import TestClient

from tepui.web.guard import Guard

HOST = "127.0.0.1:8157"


def client(*, token=None, address="127.0.0.1"):
    async def answer(request):
        return PlainTextResponse("here")

    app = Guard(Starlette(routes=[Route("/", answer, methods=["GET", "POST"])]), hosts=[HOST], token=token)
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
    assert far.get("/", headers={"cookie": "tepui-reach=secret-word"}).status_code == 200
    assert client(token="secret-word").get("/").status_code == 200  # from this machine without it
