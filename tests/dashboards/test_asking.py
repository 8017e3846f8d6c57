"""Roles, at the monitor's door: who may do what, and in whose name it is done."""

from __future__ import annotations

import inspect

import pytest

from cellmon.errors import NotAllowed, NotSignedIn
from cellmon.monitor import Monitor
from cellmon.monitor.admitting import Admitting
from cellmon.monitor.questions import Questions
from cellmon.people import Person, Role
from cellmon.records import Kind
from dashboards import asking
from dashboards.pages import asked

TABLET = "Tablet 1"
DECIDING = (
    "adopt",
    "correct",
    "extend_hold",
    "freeze",
    "release",
    "release_setup",
    "sign",
    "sign_capability",
)
ANSWERING = ("log", "log_rows", "respond", "retry_aside", "take")


def as_person(role, *, name="Ada", shared=False, acting=None, door=None):
    return asking.Asking(
        person=Person(name=name, role=role, shared=shared), ticket="t", address="a", door=door, acting=acting
    )


def test_everything_a_monitor_can_do_is_sorted_by_the_role_it_needs():
    public = {name for name in dir(Monitor) if not name.startswith("_")}
    unsorted = public - asking.READS - asking.NEVER - set(asking.NEEDS)
    unsorted -= {"people"}
    assert unsorted == set(), "say in dashboards/asking.py which role these need"
    questions = {name for name in dir(Questions) if not name.startswith("_")}
    assert not questions & set(asking.NEEDS)
    assert {name for name in vars(Admitting) if not name.startswith("_")} - {"people"} <= asking.NEVER
    assert set(DECIDING + ANSWERING) <= set(asking.NEEDS)


class Recorder:
    """A monitor that only notes what it was asked to do."""

    def __init__(self) -> None:
        self.done = []

    def __getattr__(self, name):
        def deed(*given, **named):
            self.done.append((name, given, named))

        return deed


@pytest.mark.parametrize("name", DECIDING + ANSWERING + ("something_new",))
@pytest.mark.parametrize("role", [*Role, None])
def test_a_deed_needs_its_role(name, role):
    recorder = Recorder()
    door, needed = asking.asked(recorder), asking.NEEDS.get(name, Role.DECIDE)
    given = {"log": (Kind.EVENTS, {"by": "Ada"}), "log_rows": (Kind.EVENTS, [{}])}.get(name, ())
    with asking.as_asked_by(None if role is None else as_person(role)):
        if role is not None and role.covers(needed):
            getattr(door, name)(*given)
            assert len(recorder.done) == 1
            return
        with pytest.raises(NotSignedIn if role is None else NotAllowed):
            getattr(door, name)(*given)
    assert recorder.done == []


@pytest.mark.parametrize("name", sorted(asking.NEVER))
def test_accounts_are_not_managed_from_a_page(name):
    with asking.as_asked_by(as_person(Role.DECIDE)), pytest.raises(NotAllowed):
        getattr(asking.asked(Recorder()), name)


def test_a_decision_carries_the_name_that_is_signed_in_and_no_other():
    recorder = Recorder()
    door = asking.asked(recorder)
    with asking.as_asked_by(as_person(Role.DECIDE, name="Ada")):
        door.freeze(by="ada", why="settled")
        door.log(Kind.EVENTS, {"by": "", "note": "x"})
        door.log_rows(Kind.STONE_SETS, [{"stone_set": "S"}])
        for forged in ({"by": "Ben", "why": "x"}, {"by": "", "why": "x"}):
            with pytest.raises(NotAllowed):
                door.freeze(**forged)
        with pytest.raises(NotAllowed):
            door.log(Kind.EVENTS, {"by": "Ben"})
        door.signals()
    assert [named.get("by") for _, _, named in recorder.done] == ["Ada", None, None, None]
    assert recorder.done[1][1][1] == {"by": "Ada", "note": "x"}
    assert recorder.done[2][1][1] == [{"stone_set": "S"}], "sets of stones are not signed"


@pytest.mark.parametrize(
    "name", sorted(set(asking.NEEDS) - {"keep_measured", "keep_round", "log", "log_rows"})
)
def test_a_deed_is_handed_on_with_every_name_its_arguments_have(name):
    recorder, taken = Recorder(), inspect.signature(getattr(Monitor, name)).parameters
    named = {one.name: "Ada" for one in taken.values() if one.kind is one.KEYWORD_ONLY}
    with asking.as_asked_by(as_person(Role.DECIDE, name="Ada")):
        getattr(asking.asked(recorder), name)(**named)
    assert recorder.done == [(name, (), named)]


def test_a_tablet_decides_nothing_until_somebody_says_a_code():
    door, recorder = asking.asked(Recorder()), None
    with (
        asking.as_asked_by(as_person(Role.LOOK, name=TABLET, shared=True)),
        pytest.raises(NotAllowed, match="code"),
    ):
        door.freeze(by="Ada", why="x")
    recorder = Recorder()
    acting = Person(name="Ada", role=Role.DECIDE)
    with asking.as_asked_by(as_person(Role.LOOK, name=TABLET, shared=True, acting=acting)):
        asking.asked(recorder).freeze(by="Ada", why="x")
    assert recorder.done[0][2]["by"] == "Ada"


def shown(one) -> str:
    with asking.as_asked_by(one):
        return str(asked.who_field("x").to_plotly_json())


def test_the_field_asks_what_is_not_known_yet():
    assert "readOnly" not in shown(None)
    fixed = shown(as_person(Role.DECIDE, name="Ada"))
    assert "readOnly=True" in fixed and "value='Ada'" in fixed
    assert "may only look" not in fixed
    assert "Ada may only look." in shown(as_person(Role.LOOK, name="Ada"))

    class Door:
        def names(self):
            return ("Ada", "Ben")

        def tapped(self, one):
            return "Ben"

    tablet = asking.Asking(
        person=Person(name=TABLET, role=Role.LOOK, shared=True), ticket="t", address="a", door=Door()
    )
    said = shown(tablet)
    assert "'Ada'" in said and "value='Ben'" in said and "type='password'" in said
    assert asked.by_id("x") in said and asked.code_id("x") in said
