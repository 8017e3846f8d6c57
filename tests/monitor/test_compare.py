"""Two sides of one cell against each other: what is found, what is refused, what is said of it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from cellmon.errors import NotFound, WrongUsage
from cellmon.monitor import Monitor
from cellmon.monitor.compare import Side
from tests.monitor.judge.watched_cell import cell_of, logged, moment, watched_rows
from tests.small_cell import EVENTS, write

WEAR, EVERY = -0.05, 50
BLOCKS = 800


def at(block: int) -> datetime:
    """Return a moment just before a block was made."""
    first: datetime = moment(block).astype("datetime64[us]").item()
    return first.replace(tzinfo=UTC) - timedelta(seconds=30)


@pytest.fixture(scope="module")
def cell() -> Monitor:
    """S1 wears and is dressed every 50 blocks, stones A1, A2, A3; from block 400 on bore 1 is 1 um larger.

    Bore 2 scatters 1.5 times as wide from there on. S2 stands still.
    """
    dressings = range(EVERY, BLOCKS, EVERY)
    fitted = {0: "A1", 250: "A2", 650: "A3"}

    def level(block: int, bore: str) -> float:
        worn = WEAR * (block % EVERY) if bore in "12" else 0.0
        return worn + 1.0 * (block >= 400 and bore == "1")

    def wide(block: int, bore: str) -> float:
        return 1.5 if block >= 400 and bore == "2" else 1.0

    events = [logged(block, "stones-fitted", stone_set=name) for block, name in fitted.items()]
    events += [logged(block, "stones-dressed") for block in dressings if block not in fitted]
    return cell_of(watched_rows(BLOCKS, shift=level, wide=wide), events)


HALVES = Side(until=at(400)), Side(since=at(400))


def found(monitor: Monitor, bore: str, feature: str = "diameter", sides: tuple[Side, Side] = HALVES):
    (row,) = monitor.compare(*sides, bore=bore, feature=feature).streams
    return row


def test_a_step_of_level_is_found_where_it_is_and_a_wider_spread_too(cell):
    level, spread, still = (found(cell, bore) for bore in "123")
    assert level.differs == ("level",) and level.level_um.low < 1.0 < level.level_um.high
    assert spread.differs == ("spread",) and spread.level_um.low < 0.0 < spread.level_um.high
    # bores of 1.2 um and four readings of 0.4 about them: (1.8^2 + 0.2^2) over (1.2^2 + 0.2^2)
    true = np.sqrt((1.8**2 + 0.04) / (1.2**2 + 0.04))
    assert spread.spread_ratio.low < true < spread.spread_ratio.high
    assert still.differs == () and "no difference shown" in still.words


def test_a_side_is_called_by_what_names_it():
    ends = datetime(2026, 3, 2, 6), datetime(2026, 3, 3, 18, 30)
    assert Side(since=ends[0], until=ends[1]).name == "2026-03-02 06:00 to 2026-03-03 18:30"
    assert Side(since=ends[0]).name == "from 2026-03-02 06:00"
    assert Side(until=ends[1]).name == "until 2026-03-03 18:30"
    assert Side(stone_set="A1", since=ends[0]).name == "set A1"
    assert Side().name == "all bores"


def test_turning_the_sides_round_turns_the_figures_round(cell):
    there, back = found(cell, "1"), found(cell, "1", sides=HALVES[::-1])
    assert back.level_um.value == pytest.approx(-there.level_um.value)
    assert (back.level_um.low, back.level_um.high) == pytest.approx(
        (-there.level_um.high, -there.level_um.low)
    )
    assert back.spread_ratio.value == pytest.approx(1 / there.spread_ratio.value)


def test_a_fresh_side_against_a_worn_one_shows_no_difference_that_wear_made(cell):
    # the first 25 blocks of some intervals against the last 25: 1.25 um of wear lie between their means
    fresh, worn = Side(since=at(0), until=at(25)), Side(since=at(25), until=at(50))
    row = found(cell, "1", sides=(fresh, worn))
    assert row.second.mean_um - row.first.mean_um < -0.6
    assert row.at_bores_since_dressing == pytest.approx(24.5, abs=1)
    assert row.level_um.low < 0 < row.level_um.high and row.differs == ()


def test_all_intervals_hold_together_and_it_says_how(cell):
    answer = cell.compare(*HALVES)
    forms = {s.stream.feature for s in answer.streams}
    assert {"diameter", "taper", "ovality", "size_range"} <= forms and "barrel" not in forms  # two planes
    assert answer.comparisons == 2 * len(answer.streams)
    assert answer.each == pytest.approx(1 - 0.05 / answer.comparisons)
    assert {s.level_um.confidence for s in answer.streams} == {answer.each}
    said = " ".join(answer.notes)
    assert "Bonferroni" in said and "stretch" in said and "since a dressing" in said
    assert "S1 bore 1 diameter" in answer.sentence and "S2" not in answer.sentence


def test_stone_sets_are_compared_with_lives_that_are_known_whole_or_not(cell):
    answer = cell.compare(Side(stone_set="A1"), Side(stone_set="A3"), bore="1")
    one, three = answer.lives.first[0], answer.lives.second[0]
    # two positions a block; the small cell's sheet marks no other stage
    assert (one.bores, one.whole) == (500, True) and one.ended_at is not None
    assert (three.bores, three.whole, three.ended_at) == (300, False, None)
    assert "at least 300" in answer.lives.sentence and "still on the spindle" in answer.lives.sentence
    assert answer.lives.ratio is None and "No interval" in answer.lives.sentence
    (size,) = (s for s in answer.streams if s.stream.feature == "diameter")
    assert size.level_um.low < 1.0 < size.level_um.high


def test_spindles_have_no_position_in_common_and_that_is_said(cell):
    answer = cell.compare(Side(spindle="S1"), Side(spindle="S2"), feature="diameter")
    (row,) = answer.streams
    assert row.stream.spindle is None and row.stream.bore is None
    assert any("no bore position in common" in note for note in answer.notes)
    # S1 wears by 1.2 um on average, and half of its bore 1 is 1 um larger
    assert row.second.mean_um - row.first.mean_um == pytest.approx(1.225 - 0.25, abs=0.15)


def test_what_cannot_be_compared_is_refused_in_words(cell):
    with pytest.raises(WrongUsage, match="the same"):
        cell.compare(HALVES[0], HALVES[0])
    with pytest.raises(WrongUsage, match="share 400 bores"):
        cell.compare(Side(until=at(400)), Side(since=at(300)))
    with pytest.raises(NotFound, match=r"no stone set B9 is known; there are A1, A2, A3"):
        cell.compare(Side(stone_set="A1"), Side(stone_set="B9"))
    with pytest.raises(NotFound, match="no bore was measured"):
        cell.compare(Side(since=at(5000)), Side(until=at(400)))
    with pytest.raises(NotFound, match="no spindle S9"):
        cell.compare(Side(spindle="S1"), Side(spindle="S9"))
    with pytest.raises(WrongUsage, match="is not before"):
        cell.compare(Side(since=at(400), until=at(300)), Side(until=at(300)))
    with pytest.raises(NotFound, match="no bores of bore 7"):
        cell.compare(*HALVES, bore="7")
    with pytest.raises(NotFound, match="no lustre in common"):
        cell.compare(*HALVES, feature="lustre")


def test_too_few_bores_are_an_answer_that_says_so(cell):
    answer = cell.compare(Side(until=at(10)), Side(since=at(790)), feature="diameter")
    assert "cannot be told" not in {s.words for s in answer.streams}  # spreads still can
    row = answer.streams[0]
    assert row.level_um is None and "need at least 20, got 10" in row.why_not["level_um"]


def test_windows_that_touch_share_no_bore(cell):
    block: datetime = moment(400).astype("datetime64[us]").item().replace(tzinfo=UTC)
    answer = cell.compare(Side(until=block), Side(since=block), bore="1", feature="diameter")
    assert (answer.first.bores, answer.second.bores) == (400, 400)


def test_without_a_log_levels_are_means_as_they_are_and_that_is_said():
    monitor = cell_of(watched_rows(300, shift=lambda block, bore: WEAR * (block % EVERY)))
    answer = monitor.compare(Side(until=at(150)), Side(since=at(150)), bore="1")
    assert all(s.at_bores_since_dressing is None for s in answer.streams)
    assert any("does not say" in note for note in answer.notes)
    with pytest.raises(NotFound, match="there are none yet"):
        monitor.compare(Side(stone_set="A1"), Side(stone_set="A2"))


def test_an_earlier_moment_gives_the_answer_of_then(cell):
    then = Monitor.open(cell.folder, as_of=at(600))
    sides = Side(until=at(300)), Side(since=at(300))
    row = found(then, "1", sides=sides)
    assert row.second.bores == 300
    (life,) = then.compare(
        Side(stone_set="A2"), Side(stone_set="A1"), bore="1", feature="diameter"
    ).lives.first
    assert not life.whole and life.bores == 700


LOTS = ("stone_set,kind,lot", ["A1,D64,L-1", "A2,D64,L-2", "A3,D64,L-2", "A9,D64,L-3"])


def test_lots_are_compared_by_all_their_sets_and_one_without_bores_is_refused(tmp_path):
    fitted = {0: "A1", 250: "A2", 650: "A3"}
    lines = watched_rows(BLOCKS, shift=lambda block, bore: 1.0 * (block >= 250))
    monitor = cell_of(lines, [logged(b, "stones-fitted", stone_set=s) for b, s in fitted.items()])
    monitor.take([write(tmp_path, "sets.csv", *LOTS)])
    answer = monitor.compare(Side(lot="L-1"), Side(lot="L-2"), feature="diameter")
    assert (answer.first.name, answer.first.stone_sets) == ("lot L-1", ("A1",))
    assert answer.second.stone_sets == ("A2", "A3")
    assert all(
        row.level_um.low < 1.0 < row.level_um.high for row in answer.streams if row.stream.bore in "12"
    )
    with pytest.raises(NotFound, match=r"lot L-3: no bore was measured on its sets A9.*cellmon stones"):
        monitor.compare(Side(lot="L-1"), Side(lot="L-3"))
    with pytest.raises(NotFound, match="no lot L-4 is known; there are L-1, L-2, L-3"):
        monitor.compare(Side(lot="L-4"), Side(lot="L-1"))


def test_a_set_fitted_before_the_first_bores_lived_as_long_as_its_log_counts(tmp_path):
    """Its fitting lies weeks before the bores that are stored; the log says what it had honed."""
    early = "2026-02-01T06:00:00Z,stones-fitted,S1,A1,0"
    events = [early, "2026-02-20T06:00:00Z,stones-removed,S1,A1,5000"]
    events += ["2026-02-20T06:10:00Z,stones-fitted,S1,A1,5000"]
    monitor = cell_of(watched_rows(120), [logged(100, "stones-fitted", stone_set="A2")])
    monitor.take([write(tmp_path, "events.csv", EVENTS, events)])
    lives = monitor.compare(Side(stone_set="A1"), Side(stone_set="A2"), feature="diameter").lives
    (life,) = lives.first
    assert life.whole and life.bores == 5000 + 2 * 100, "two bores of S1 a block, 100 blocks"
    assert life.words == "A1 honed 5,200 bores"


def test_what_can_be_compared_is_every_time_with_bores_and_every_name(cell):
    known = cell.comparable()
    assert known.stone_sets == ("A1", "A2", "A3")
    assert known.spindles == ("S1", "S2")
    assert known.lots == ()
    whole = cell.shifts()
    assert [one.since for one in known.shifts] == [one.starts for one in whole.known]
    assert {one.of for one in known.days} == {one.date for one in whole.known}
    assert all(one.of.weekday() == 0 or one is known.weeks[0] for one in known.weeks)
    for one, later in pairwise(known.days):
        assert one.since < one.until <= later.since
    every = [
        cell.compare(Side(since=a.since, until=a.until), Side(since=b.since, until=b.until), bore="1")
        for a, b in pairwise(known.days[-2:])
    ]
    assert all(one.streams for one in every)


def test_a_set_that_is_fitted_twice_honed_what_both_times_say_and_is_offered_as_the_last():
    events = [(0, "A1"), (100, "A2"), (200, "A1")]
    rows = watched_rows(300)
    twice = cell_of(rows, [logged(n, "stones-fitted", stone_set=name) for n, name in events])
    assert twice.comparable().stone_sets == ("A2", "A1")
    first, second = (Side(stone_set=name) for name in ("A1", "A2"))
    lives = twice.compare(first, second, feature="diameter").lives
    honed = {one.stone_set: one.bores for one in (*lives.first, *lives.second)}
    assert honed == {"A1": 2 * honed["A2"], "A2": honed["A2"]}
    assert 190 <= honed["A2"] <= 210, "bores 1 and 2 of a hundred blocks"
