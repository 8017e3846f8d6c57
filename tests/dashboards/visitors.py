"""Browsers as the server sees them: who they sign in as, and what their pages send."""

from __future__ import annotations

import re
from urllib.parse import quote

from cellmon.people import Role
from dashboards import attempts, sign_ins

WORDS = {
    "Ada Decides": "one quiet spindle",
    "Ben Answers": "two dull stones",
    "Cleo Looks": "three warm gauges",
}
ROLES = {"Ada Decides": Role.DECIDE, "Ben Answers": Role.ANSWER, "Cleo Looks": Role.LOOK}
TABLET, CODES = "Tablet 1", {"Ada Decides": "4071", "Ben Answers": "5182"}
SECRETS = [*WORDS.values(), "four clean sleeves", *CODES.values()]
HERE = "http://localhost"
PAGE = "page.children"


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self) -> None:
        self.now = 1_800_000_000.0

    def __call__(self) -> float:
        return self.now


def emptied(app, folder, clock):
    (folder / sign_ins.FILE).unlink(missing_ok=True)
    stands = app.server.extensions["cellmon-gate"]
    stands.attempts, stands.sign_ins = attempts.Attempts(clock), sign_ins.SignIns(folder, clock)
    return app


class Visitor:
    """One browser, as far as the server can tell."""

    def __init__(self, app, *, address: str = "10.0.0.7", base: str = HERE) -> None:
        self.client, self.base, self.app = app.server.test_client(), base, app
        self.base_env = {"REMOTE_ADDR": address}

    def get(self, path: str, **more):
        more.setdefault("buffered", True)
        return self.client.get(path, base_url=self.base, environ_base=self.base_env, **more)

    def post(self, path: str, *, origin: str | None = "own", **more):
        headers = dict(more.pop("headers", {}))
        if origin is not None:
            headers["Origin"] = self.base if origin == "own" else origin
        return self.client.post(path, base_url=self.base, environ_base=self.base_env, headers=headers, **more)

    def sign_in(self, name: str, password: str, *, next_: str = "/"):
        page = self.get(f"/sign-in?next={quote(next_)}").get_data(as_text=True)
        token = re.search(r'name="form" value="([^"]+)"', page)
        typed = {"name": name, "password": password, "next": next_, "form": token and token[1]}
        return self.post("/sign-in", data=typed)

    def update(self, output_with: str, *values, changed: str = "", **more):
        """Ask for the first answer whose name has these words, with values for its inputs and states."""
        return self.post(
            "/_dash-update-component", json=body_of(self.app, output_with, *values, changed=changed), **more
        )


def body_of(app, output_with: str, *values, changed: str = "", asks: str = ""):
    """Return what a page sends for the first answer whose name has these words and that this input asks."""
    output = next(
        name
        for name, known in app.callback_map.items()
        if output_with in name and (not asks or asks in [one["id"] for one in known["inputs"]])
    )
    known = app.callback_map[output]
    wanted = [*known["inputs"], *known["state"]]
    given = [*values, *[None] * (len(wanted) - len(values))]
    told = [{**one, "value": value} for one, value in zip(wanted, given, strict=True)]
    names = [part.rpartition(".")[::2] for part in output.strip(".").split("...")]
    outputs = [{"id": id_.replace("\\", ""), "property": prop.partition("@")[0]} for id_, prop in names]
    return {
        "output": output,
        "outputs": outputs if output.startswith("..") else outputs[0],
        "inputs": told[: len(known["inputs"])],
        "state": told[len(known["inputs"]) :],
        "changedPropIds": [changed] if changed else [],
    }


def signed_in(app, name: str, **more) -> Visitor:
    visitor = Visitor(app, **more)
    password = WORDS.get(name, "four clean sleeves")
    assert visitor.sign_in(name, password).status_code == 303
    return visitor


def every_route(app) -> list[str]:
    found = {re.sub(r"<[^>]+>", "x", str(rule)) for rule in app.server.url_map.iter_rules()}
    return sorted(
        found | {"/signals", "/stream", "/claims", "/gauge", "/no-such-page", "/sign-in/x", "/sign-inx"}
    )


def answered(app, visitor, *, by="Ada Decides", code="", press="signals-seen"):
    """Press a button of the Signals page, with whatever name; return what it said."""
    body = body_of(app, "signals-said", asks=press)
    values = {
        "signals-answer.n_clicks": 1 if press == "signals-answer" else None,
        "signals-seen.n_clicks": 1 if press == "signals-seen" else None,
        "signals-chosen.data": "S-chip",
        "signals-cause.value": "chip",
        "signals-action.value": "set changed",
        "signals-by.value": by,
        "signals-code.value": code,
    }
    for one in (*body["inputs"], *body["state"]):
        one["value"] = values.get(f"{one['id']}.{one['property']}")
    body["changedPropIds"] = [f"{press}.n_clicks"]
    found = visitor.post("/_dash-update-component", json=body)
    assert found.status_code == 200, found.get_data(as_text=True)
    return found.get_json()["response"]["signals-said"]["children"]


def wrong_bodies(good):
    for name in ("outputs", "inputs", "state", "changedPropIds"):
        for wrong in (None, 3, "x", {"a": 1} if name != "outputs" else 3, [3], [[]], [{"id": "nothing"}]):
            yield {**good, name: wrong}
    for value in (3, [], {"a": 1}, True):
        yield {**good, "inputs": [{**one, "value": value} for one in good["inputs"]]}
    yield {**good, "inputs": good["inputs"] * 2}
    yield {key: value for key, value in good.items() if key != "outputs"}
