"""Audits judged from where they stand give what all of them give, in whatever order they come."""

from __future__ import annotations

import json
import random
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest

from cellmon.monitor.judge import audit_calls, audit_levels, audit_stands, told
from cellmon.monitor.judge.audit_stands import all_audits
from cellmon.monitor.judge.audits_kept import AuditsStand, SeriesStand, stand_before, to_kept
from cellmon.monitor.judge.signals import named_groups
from cellmon.monitor.rules import END
from tests.monitor.test_audits import AUDITED, START
from tests.small_cell import new_cell, write

AUDITS = "part,bore,characteristic,value,at,unit,spindle,gauge,plane"
BLOCKS, WEEKS = 5, 16
"""Audited blocks in each week; so many weeks."""


def audits(seed=11):
    """Return audits of two bores: levels that move and come back or last, wild values, blocks seen again."""
    rng, found = np.random.default_rng(seed), []
    for i in range(BLOCKS * WEEKS):
        at = START + timedelta(days=7 * (i // BLOCKS), hours=13 * (i % BLOCKS))
        for bore in ("1", "2"):
            form = 1.4 * np.exp(0.2 * rng.standard_normal())
            form *= 1.9 if bore == "2" and 38 <= i < 50 else 1.0
            form *= 5.0 if bore == "1" and i in (33, 61) else 1.0
            rough = 0.6 + 0.05 * rng.standard_normal() + (0.3 if bore == "1" and i >= 45 else 0.0)
            for plane in ("top", "bottom") if i % 7 else ("top",):
                found.append(
                    f"A{i:03d},{bore},roundness_trace,{form:.3f},{at.isoformat()},um,S{bore},R1,{plane}"
                )
            unit, size = ("mm", rough / 1000) if i % 11 == 0 else ("um", rough)
            found.append(f"A{i:03d},{bore},Ra,{size:.6f},{at.isoformat()},{unit},S{bore},,")
        if i in (22, 23, 47):  # once more, into the week after
            again = (at + timedelta(days=6)).isoformat()
            found.append(f"A{i:03d},2,roundness_trace,9.0,{again},um,S2,R1,top")
    return found


def as_text(stand):
    return json.dumps([stand.characteristic, str(stand.at), stand.body], sort_keys=True)


def assert_as_from_the_beginning(monitor, file):
    with monitor._view() as view:
        session, rules = view.session, view.rules
        assert told.basis_of(session) is not None, "the next file is bounded"
        whole = [to_kept(one.name, s) for one in all_audits(session, rules) for s in one.stands]
        assert sorted(map(as_text, session.audit_stands())) == sorted(map(as_text, whole)), file
        kept = [g.id + str([told.plain(c) for c in g.calls]) for g in told.told_groups(session, until=END)]
        anew = [g.id + str([told.plain(c) for c in g.calls]) for g in named_groups(session, rules).groups]
        assert sorted(kept) == sorted(anew), file
        return len(whole), kept


@pytest.fixture
def weeks_read(monkeypatch):
    """Return a list of how many weeks of a characteristic each judging began before its end."""
    found = []
    plain = audit_stands.audits_since

    def counted(session, rules, name, begin):
        judged = plain(session, rules, name, begin)
        found.append(len(judged.stands))
        return judged

    monkeypatch.setattr("cellmon.monitor.judge.reached.audits_since", counted)
    return found


def test_in_order_of_time_a_file_is_judged_from_its_own_week(tmp_path, weeks_read):
    monitor = new_cell(tmp_path / "cell", sheet=AUDITED)
    lines = [line for line in audits() if ",9.0," not in line]
    weeks = [[line for line in lines if int(line[1:4]) // BLOCKS == week] for week in range(WEEKS)]
    for week, rows in enumerate(weeks):
        monitor.take([write(tmp_path, f"{week}.csv", AUDITS, rows)])
        stands, kept = assert_as_from_the_beginning(monitor, week)
    assert stands == 2 * WEEKS and len(kept) > 3, "each week but the first and after all, calls among them"
    assert max(weeks_read) <= 2, "the week of a file, whatever lies before it, and its end"
    assert sum("audited values" in one for one in kept) >= 2


@pytest.mark.parametrize(
    "seed", [1, 2, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(3, 12))]
)
def test_late_split_and_repeated_audits_stand_where_all_of_them_do(tmp_path, seed):
    monitor, shuffle = new_cell(tmp_path / "cell", sheet=AUDITED), random.Random(seed)
    lines = audits()
    late = [line for line in lines if shuffle.random() < 0.05]
    lines = [line for line in lines if line not in late]
    edges = [0, *sorted(shuffle.sample(range(1, len(lines)), 8)), len(lines)]
    pieces = [lines[a:b] for a, b in pairwise(edges)]
    pieces.insert(4, late[: len(late) // 2])
    if seed % 2:
        shuffle.shuffle(pieces)
    for i, piece in enumerate([*pieces, late[len(late) // 2 :], pieces[0]]):
        monitor.take([write(tmp_path, f"{i}.csv", AUDITS, piece)])
        assert_as_from_the_beginning(monitor, i)
    assert "equal" in str(monitor.check(rebuild=True).rebuilt)


@pytest.mark.parametrize("seed", [2, 5])
def test_a_call_is_told_from_an_earlier_moment_as_from_the_beginning(tmp_path, monkeypatch, seed):
    monkeypatch.setattr(audit_calls, "LOOKED_BACK", 6)  # so that weeks hold what a call rests on
    monkeypatch.setattr(audit_calls, "HARDLY", 0.02)
    monkeypatch.setattr(audit_levels, "FIRST_BACK", audit_stands.WEEK)
    monitor, found, whole = new_cell(tmp_path / "cell", sheet=AUDITED), [], []
    plain, begun = audit_levels.Levels._from_before, audit_levels.Levels._whole

    def counted(self, stream, known):
        judged = plain(self, stream, known)
        found.append(judged is not None and len(judged.calls) > 0)
        return judged

    def counted_whole(self, stream, rows, known):
        whole.append(known is not None)
        return begun(self, stream, rows, known)

    monkeypatch.setattr(audit_levels.Levels, "_from_before", counted)
    lines = audits(seed)
    pieces = [[line for line in lines if int(line[1:4]) // 3 == day] for day in range(BLOCKS * WEEKS // 3)]
    late = pieces.pop(18)
    for i, piece in enumerate([*pieces, late, pieces[20]]):
        monkeypatch.setattr(audit_levels.Levels, "_whole", counted_whole)
        monitor.take([write(tmp_path, f"{i}.csv", AUDITS, piece)])
        monkeypatch.setattr(audit_levels.Levels, "_whole", begun)
        assert_as_from_the_beginning(monitor, i)
    assert sum(found) >= 2, "calls began or ended, and were told from where their series stood before"
    assert sum(whole) < len(found), "few series were read from their first value"
    assert "equal" in str(monitor.check(rebuild=True).rebuilt)


def test_where_audits_stand_is_kept_to_the_last_digit(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=AUDITED)
    monitor.take([write(tmp_path, "all.csv", AUDITS, audits())])
    with monitor._view() as view:
        sheet = view.rules.now.sheet
        every = {one.name: one.stands for one in all_audits(view.session, view.rules)}
        assert sorted(every) == ["Ra", "roundness_trace"]
        for name, stands in every.items():
            for stand in stands:
                assert stand_before(view.session, sheet, name, stand.at) == stand
            earlier = stand_before(view.session, sheet, name, stands[0].at - np.timedelta64(1, "us"))
            assert earlier == AuditsStand()
        known = [s for stands in every.values() for stand in stands for s in stand.series.values()]
        assert (
            None in known
            and any(s and s.call for s in known)
            and any(isinstance(s, SeriesStand) for s in known)
        )
