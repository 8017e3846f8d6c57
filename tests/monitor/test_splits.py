"""Splits that are proposed: by fixture, by side, by order in the block; and where none is."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from cellmon.export.documents import document
from cellmon.monitor import Monitor
from cellmon.monitor.splits import Split, Splits
from tests.monitor.judge.watched_cell import BEGINS, EVERY, FOUR_BORES
from tests.small_cell import new_cell, write

HEADER = "part,bore,spindle,measured_at,honed_at,fixture,top_x,top_y,bottom_x,bottom_y"
SIGMA = 1.2
Moves = Callable[[int, str, int], float]


def rows(
    blocks: int, *, fixtures: str = "", any_order: bool = False, moves: Moves, seed: int = 11
) -> list[str]:
    """Return bores, one a line; `moves` tells how far block, bore and order move a bore, in sigmas."""
    rng, found = np.random.default_rng(seed), []
    for block in range(blocks):
        at = BEGINS + EVERY * block
        fixture = f"P{fixtures[block % len(fixtures)]}" if fixtures else ""
        swapped = any_order and rng.random() < 0.5
        for bore in "1234":
            order = (int(bore) - 1) % 2
            order = 1 - order if swapped else order
            level = SIGMA * (rng.normal() + moves(block, bore, order)) - 0.01 * block
            cells = [f"{50 + (level + v) / 1000:.5f}" for v in rng.normal(0.0, 0.2, 4)]
            honed = at - np.timedelta64(120 - 40 * order, "s")
            spindle = "S1" if bore in "12" else "S2"
            found.append(",".join([f"B{block:04d}", bore, spindle, f"{at}Z", f"{honed}Z", fixture, *cells]))
    return found


def cell(lines: list[str], *, sheet: str = FOUR_BORES) -> Monitor:
    folder = Path(tempfile.mkdtemp(prefix="splits-"))
    monitor = new_cell(folder / "cell", sheet=sheet)
    monitor.take([write(folder, "bores.csv", HEADER, lines)])
    return monitor


def proposed(found: Splits) -> list[tuple[str, str, str, str]]:
    return [(s.stream.bore or "", s.stream.feature, s.by, s.high) for s in found.proposed]


def by_fixture(block: int, bore: str, order: int) -> float:
    return 1.2 * (bore == "1" and block % 2)


@pytest.fixture(scope="module")
def apart() -> Monitor:
    """A cell whose bore 1 is honed 1.2 sigma larger on fixture P2 than on P1."""
    return cell(rows(300, fixtures="12", moves=by_fixture))


def test_a_fixture_that_moves_one_bore_is_proposed_with_what_to_write(apart):
    found = apart.splits()
    assert proposed(found) == [("1", "diameter", "fixture", "P2")]
    (split,) = found.proposed
    assert split.write == "write `by_fixture = true` under [features.diameter]"
    assert split.effect_sigma.low < 1.2 < split.effect_sigma.high
    assert (split.high_part, split.low_part) == ("B0299", "B0298")
    assert "parts on fixture P2 lie" in split.words
    assert {(u.by, u.why_not.split(":")[0]) for u in found.unasked if u.by == "side"} == {
        ("side", "the two sides are two fixtures")
    }


def test_the_shift_that_runs_waits_where_those_before_it_have_bores_enough():
    lines = rows(600, fixtures="12", moves=by_fixture)  # shifts of 180 blocks: 540 are of three that are over
    some, more = cell(lines[: 4 * 570]), cell(lines)
    (before,), (after,) = some.splits().proposed, more.splits().proposed
    assert before == after
    assert (after.high_part, after.low_part) == ("B0539", "B0538")


def test_check_says_it_in_lines_and_in_its_document(apart):
    from cellmon.cli.checked import check_lines
    from cellmon.cli.showing import look_of

    answer = apart.check()
    told = json.loads(json.dumps(document(answer, zone=None), default=str))["splits"]
    assert [one["stream"]["bore"] for one in told["proposed"]] == ["1"]
    assert told["asked"] >= 8 and "order" in told["why_not"]
    lines = "\n".join(check_lines(answer, look_of(apart)))
    assert "split: S1 bore 1 diameter: parts on fixture P2 lie" in lines
    assert "write `by_fixture = true` under [features.diameter]" in lines


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("[features.taper]", "by_fixture = true\n[features.taper]"),
        ("size = 3", 'size = 3\nwithin = ["shift", "fixture"]'),
    ],
)
def test_what_the_sheet_keeps_by_fixture_is_not_asked_of_the_fixture(before, after):
    monitor = cell(rows(200, fixtures="12", moves=by_fixture), sheet=FOUR_BORES.replace(before, after))
    found = monitor.splits()
    assert found.proposed == ()
    asked = {(s.stream.feature, s.by) for s in found.asked}
    assert ("diameter", "fixture") not in asked


def test_every_other_part_is_told_as_a_side():
    found = cell(rows(300, moves=lambda block, bore, order: 1.0 * (bore == "3" and block % 2))).splits()
    assert proposed(found) == [("3", "diameter", "side", "even")]
    (split,) = found.proposed
    assert "column `fixture`" in (split.write or "")
    assert {u.by for u in found.unasked} == {"fixture", "order"}


def test_order_in_the_block_is_told_where_it_varies():
    def moves(block: int, bore: str, order: int) -> float:
        return 1.0 * (bore in "12" and order == 1)

    found = cell(rows(400, any_order=True, moves=moves)).splits()
    assert sorted(proposed(found)) == [("1", "diameter", "order", "2"), ("2", "diameter", "order", "2")]


def test_order_that_never_varies_is_left_to_the_position():
    found = cell(rows(200, moves=lambda block, bore, order: 3.0 * order)).splits()
    assert found.proposed == ()
    assert all("one order only" in u.why_not for u in found.unasked if u.by == "order")


def test_nothing_is_proposed_where_nothing_lies_apart():
    found = cell(rows(300, fixtures="12", any_order=True, moves=lambda *_: 0.0)).splits()
    assert found.proposed == () and len(found.asked) == 16
    assert all(_known(s) for s in found.asked)


def _known(split: Split) -> bool:
    figures = (split.effect_sigma.value, split.effect_sigma.low, split.effect_sigma.high, split.sigma_um)
    return all(f is not None and np.isfinite(f) for f in figures)


def test_a_fault_of_some_hours_on_one_fixture_is_no_split():
    def moves(block: int, bore: str, order: int) -> float:
        return 4.0 * (bore == "1" and block % 2 and 100 <= block < 200)

    assert cell(rows(300, fixtures="12", moves=moves)).splits().proposed == ()


def test_few_bores_cannot_tell_and_say_so():
    found = cell(rows(20, fixtures="12", moves=by_fixture)).splits()
    assert found.asked == () and found.why_not["asked"]
    assert {u.why_not for u in found.unasked if u.by == "fixture"} == {
        "fewer than 25 bores on each of two fixtures"
    }
    assert new_cell(Path(tempfile.mkdtemp()) / "cell").check().splits.asked == 0
