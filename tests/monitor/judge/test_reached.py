"""What a batch leaves kept of the signals is what every call of the history, put together anew, gives."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from itertools import pairwise

import pytest

import cellmon
from cellmon.monitor import renewed
from cellmon.monitor.judge import finding_stands, reached, signals, told
from cellmon.monitor.judge.audit_stands import all_audits
from cellmon.monitor.judge.audits_kept import to_kept
from cellmon.monitor.judge.calls import AUDIT_LEVEL, OF_AUDITS, SHARE
from cellmon.monitor.judge.finding_stands import shares_of
from cellmon.monitor.judge.findings import finding_series
from cellmon.monitor.judge.joining import ALONE
from cellmon.monitor.judge.signals import named_groups
from cellmon.monitor.rules import END
from cellmon.store.told import Told
from cellmon.words import say
from tests.monitor.shifting_cell import (
    SHIFTING_EVENTS,
    SHIFTING_HEADER,
    SHIFTING_SHEET,
    event_rows,
    shifting_rows,
)
from tests.monitor.test_audits import (
    AUDITED,
    AUDITS,
    FINDINGS,
    SHIFT,
    START,
    audit_rows,
    looked_rows,
    slower,
)
from tests.small_cell import CHECKS, HEADER, checks, new_cell, rows, write


def as_text(group):
    return group.id + json.dumps([told.plain(call) for call in group.calls], sort_keys=True)


def kept_and_anew(monitor):
    """Return the signals as they are kept, and as put together from every call, each as texts."""
    with monitor._view() as view:
        assert told.basis_of(view.session) is not None, "the next batch is bounded"
        shares, whole = told.basis_of(view.session).shares, shares_of(view.session, view.rules)
        assert str([*map(told.plain, shares.calls)]) == str([*map(told.plain, whole.calls)])
        assert shares.stands == whole.stands
        kept = told.told_groups(view.session, until=view.as_of)
        anew = named_groups(view.session, view.rules, until=view.as_of).groups
        return sorted(map(as_text, kept)), sorted(map(as_text, anew))


@pytest.mark.parametrize("seed", [1, 2])
def test_late_corrected_and_repeated_batches_leave_what_the_whole_history_gives(tmp_path, seed):
    monitor = new_cell(tmp_path / "cell", sheet=SHIFTING_SHEET)
    rows, events, shuffle = shifting_rows(), event_rows(), random.Random(seed)
    edges = [0, *sorted(shuffle.sample(range(1, len(rows)), 5)), len(rows)]
    pieces = [rows[a:b] for a, b in pairwise(edges)]
    late = pieces.pop(shuffle.randrange(4))
    files = [write(tmp_path, f"{i}.csv", SHIFTING_HEADER, piece) for i, piece in enumerate(pieces)]
    files.insert(2, write(tmp_path, "events.csv", SHIFTING_EVENTS, events))
    files.insert(4, write(tmp_path, "checks.csv", CHECKS, checks()))
    files += [write(tmp_path, "late.csv", SHIFTING_HEADER, late), files[0]]
    seen = 0
    for file in files:
        monitor.take([file])
        kept, anew = kept_and_anew(monitor)
        assert kept == anew, file.name
        seen = max(seen, len(kept))
    assert seen > 1, "there were signals to put together"


def pores(shifts=45, *, many=(36, 37, 41)):
    """Return pores of bore 2 without a row of nought: now and then one, and many in some shifts."""
    found = []
    for i in range(shifts):
        for b in range(4 if i in many else int(i % 9 == 0)):
            at = (START + i * SHIFT + (b + 1) * SHIFT / 12).isoformat()
            found.append(f"B{i:03d}{b},2,{at},pore,1,S2")
    return found


def pieces_of(lines, many, shuffle):
    edges = [0, *sorted(shuffle.sample(range(1, len(lines)), many - 1)), len(lines)]
    return [lines[a:b] for a, b in pairwise(edges)]


@pytest.fixture
def wholes(monkeypatch):
    """Count how often a take puts all signals together."""
    seen = []
    every = signals.put_together
    monkeypatch.setattr(signals, "put_together", lambda *given: seen.append(given) or every(*given))
    return seen


@pytest.mark.parametrize("seed", [3, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(4, 10))])
def test_audits_findings_and_a_new_sheet_leave_what_the_whole_history_gives(tmp_path, seed, wholes):
    folder, shuffle = tmp_path / "cell", random.Random(seed)
    monitor = new_cell(folder, sheet=AUDITED)
    bores = rows(blocks=270, minutes=120, seed=seed)
    files = []
    for name, header, lines, many in (
        ("bores", HEADER, bores, 5),
        ("audits", AUDITS, audit_rows(), 4),
        ("looked", FINDINGS, looked_rows(40, bores=30, many_from=34, many=9), 4),
        ("pores", FINDINGS, pores(), 4),
    ):
        pieces = pieces_of(lines, many, shuffle)
        files.append([write(tmp_path, f"{name}{i}.csv", header, piece) for i, piece in enumerate(pieces)])
    taken = [file for kinds in zip(*files, strict=False) for file in kinds] + [files[0][-1]]
    late = taken.pop(shuffle.randrange(4, 10))
    for i, file in enumerate([*taken, late]):
        if i == len(taken) - 3:
            monitor.close()
            monitor = adopted(folder, AUDITED.replace("upper = 1.2", "upper = 0.66"))
        monitor.take([file])
        kept, anew = kept_and_anew(monitor)
        assert kept == anew, file.name
    assert len(wholes) == 1, "the first take of all, and no other"
    assert any("audited values" in one for one in kept) and any("share of bores" in one for one in kept)
    assert any("a limit of the sheet" in one for one in kept), "by the new sheet"
    assert "equal" in str(monitor.check(rebuild=True).rebuilt)


def adopted(folder, sheet):
    (folder / "cell.toml").write_text(sheet.replace("{url}", "sqlite:///cell.db"), encoding="utf-8")
    monitor = cellmon.open_cell(folder)
    monitor.adopt(by="A. Person", why="a closer limit")
    return monitor


def test_another_routing_and_an_update_that_joins_otherwise_put_all_together_once(
    tmp_path, wholes, monkeypatch
):
    folder = tmp_path / "cell"
    monitor = new_cell(folder, sheet=AUDITED)
    pieces = pieces_of(rows(blocks=80), 5, random.Random(1))
    files = [write(tmp_path, f"{i}.csv", HEADER, lines) for i, lines in enumerate(pieces)]
    many = []
    for i, file in enumerate(files):
        if i == 1:
            monitor.close()
            monitor = adopted(folder, AUDITED.replace('id = "S2"', 'id = "S3"'))
        if i == 3:
            monkeypatch.setattr(told, "PUT_TOGETHER", told.PUT_TOGETHER + 1)
            monkeypatch.setattr(renewed, "PUT_TOGETHER", told.PUT_TOGETHER)
            monitor.close()
            monitor = cellmon.open_cell(folder)
        notes, said = monitor.now().notes, list[str]()
        monitor.take([file], progress=said.append)
        assert (notes == (say(renewed.RENEWED),)) == (i == 3) == said[0].startswith("all signals anew")
        assert monitor.now().notes == ()
        kept, anew = kept_and_anew(monitor)
        assert kept == anew
        many.append(len(wholes))
    assert many == [1, 2, 2, 3, 3], "the first of all, of the new sheet and of the update"


def test_another_limit_of_what_no_other_instrument_measured_looks_up_no_call_of_audits(tmp_path, monkeypatch):
    looked = []
    plain = Told.told_containing
    monkeypatch.setattr(
        Told, "told_containing", lambda *given, **since: looked.append(given[1]) or plain(*given, **since)
    )
    folder = tmp_path / "cell"
    monitor = new_cell(folder, sheet=AUDITED)
    audits = write(tmp_path, "audits.csv", AUDITS, audit_rows())
    files = [write(tmp_path, f"{i}.csv", HEADER, lines) for i, lines in enumerate(thirds(rows(blocks=80)))]
    monitor.take([audits, files[0]])
    monitor.close()
    closer = AUDITED.replace("upper = 8.0", "upper = 7.0")
    monitor = adopted(folder, closer)
    monitor.take([files[1]])
    assert looked == []
    monitor.close()
    monitor = adopted(folder, closer.replace("upper = 1.2", "upper = 0.66"))
    monitor.take([files[2]])
    kept, anew = kept_and_anew(monitor)
    assert kept == anew and any("a limit of the sheet" in one for one in kept)
    assert len(looked) == 1, "of an audited feature every call is another"


def thirds(lines):
    """Return lines in three pieces, in their order."""
    third = len(lines) // 3
    return [lines[:third], lines[third : 2 * third], lines[2 * third :]]


def test_another_allowance_of_false_alarms_joins_anew_nothing_called_before_it(tmp_path, monkeypatch):
    joined = []
    plain = reached.grouped
    monkeypatch.setattr(reached, "grouped", lambda *given: joined.append(given[0]) or plain(*given))
    assert set(OF_AUDITS) <= set(ALONE), "no other call joins theirs"
    folder = tmp_path / "cell"
    monitor = new_cell(folder, sheet=AUDITED)
    usual, moved = (rows(blocks=270, minutes=120, jump_at=jump_at) for jump_at in (None, 0))
    lines = [*usual[: 8 * 180], *moved[8 * 180 : 8 * 210], *usual[8 * 210 :]]  # eight rows a block
    pieces = [lines[: -8 * 20], lines[-8 * 20 :]]
    files = [write(tmp_path, f"{i}.csv", HEADER, piece) for i, piece in enumerate(pieces)]
    audits = write(tmp_path, "audits.csv", AUDITS, audit_rows(moved_from=24))
    monitor.take([audits, files[0]])
    with monitor._view() as view:
        known = list(told.told_groups(view.session, until=END))
    monitor.close()
    joined.clear()
    text = (folder / "cell.toml").read_text(encoding="utf-8")
    monitor = adopted(folder, text + allowance(0.02))
    monitor.take([files[1]])
    kept, anew = kept_and_anew(monitor)
    assert kept == anew
    moments = {c.at for calls in joined for c in calls}
    of_audits = [g for g in known if g.lead.family in OF_AUDITS]
    assert of_audits and set(map(as_text, of_audits)) <= set(kept), "what audits called stands"
    assert moments.isdisjoint(c.at for g in of_audits for c in g.calls), "nor is it looked at again"
    assert any(moments.isdisjoint(c.at for c in g.calls) for g in known if g not in of_audits)
    assert "equal" in str(monitor.check(rebuild=True).rebuilt)


def allowance(per_week):
    return f"\n[alarms]\nfalse_alarms_per_week = {per_week}\n"


@pytest.mark.parametrize("seed", [1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(2, 8))])
def test_allowances_that_change_leave_what_the_whole_history_gives(tmp_path, seed, wholes):
    """Audits and findings come between, in time, late and in any order."""
    folder, shuffle = tmp_path / "cell", random.Random(seed)
    monitor = new_cell(folder, sheet=AUDITED)
    files = []
    for name, header, lines, many in (
        ("bores", HEADER, rows(blocks=270, minutes=120, seed=seed), 6),
        ("audits", AUDITS, audit_rows(60, moved_from=40, seed=seed), 6),
        ("looked", FINDINGS, looked_rows(40, bores=30, many_from=34, many=5), 6),
        ("pores", FINDINGS, pores(many=(30, 36, 37, 41)), 6),
    ):
        pieces = pieces_of(lines, many, shuffle)
        files.append([write(tmp_path, f"{name}{i}.csv", header, piece) for i, piece in enumerate(pieces)])
    taken = [file for kinds in zip(*files, strict=True) for file in kinds]
    taken.append(taken.pop(shuffle.randrange(4, 12)))
    changes = dict(
        zip(sorted(shuffle.sample(range(8, len(taken)), 4)), (400.0, 0.001, 5.0, 0.1), strict=True)
    )
    for i, file in enumerate(taken):
        if i in changes:
            monitor.close()
            monitor = adopted(folder, AUDITED + allowance(changes[i]))
        monitor.take([file])
        kept, anew = kept_and_anew(monitor)
        assert kept == anew, file.name
        assert_audits_stand_as_from_the_beginning(monitor)
    assert len(wholes) == 1, "the first take of all, and no other"
    assert any("audited values" in one for one in kept) and any("share of bores" in one for one in kept)
    assert "equal" in str(monitor.check(rebuild=True).rebuilt)


def assert_audits_stand_as_from_the_beginning(monitor):
    with monitor._view() as view:
        found = [to_kept(one.name, s) for one in all_audits(view.session, view.rules) for s in one.stands]
        assert sorted(map(str, view.session.audit_stands())) == sorted(map(_as_kept, found))


def _as_kept(stand):
    return str(replace(stand, body=json.loads(json.dumps(stand.body, sort_keys=True))))


@pytest.mark.parametrize(("before", "after"), [(2.0, 1e-3), (1e-3, 5000.0)])
def test_another_allowance_judges_what_is_measured_after_it_and_nothing_before(tmp_path, before, after):
    moved, quiet = (audit_rows(60, moved_from=since)[: 6 * 36] for since in (26, 99))
    past = [
        write(tmp_path, "a.csv", AUDITS, [*moved[: 6 * 28], *quiet[6 * 28 :]]),
        write(tmp_path, "f.csv", FINDINGS, looked_rows(36, bores=60, many_from=30, many=3)),
    ]
    monitor = new_cell(tmp_path / "cell", sheet=AUDITED + allowance(before))
    monitor.take(past)
    then = [s.words for s in monitor.signals().signals]
    monitor.close()
    monitor = adopted(tmp_path / "cell", AUDITED + allowance(after))
    monitor.take([write(tmp_path, "b.csv", AUDITS, audit_rows(37)[-6:])])
    assert [s.words for s in monitor.signals().signals] == then
    kept, anew = kept_and_anew(monitor)
    assert kept == anew
    own = new_cell(tmp_path / "own", sheet=AUDITED + allowance(after))
    own.take(past)
    otherwise = {s.detector for s in own.signals().signals} ^ {s.detector for s in monitor.signals().signals}
    assert otherwise == {AUDIT_LEVEL, SHARE.format(finding="scratch")}, "as the other number has it"


def test_a_finding_beyond_chance_is_held_against_the_shifts_of_a_month(tmp_path, monkeypatch):
    whole = []
    counted = lambda *given: whole.append(given) or finding_series(*given)  # noqa: E731
    monkeypatch.setattr(finding_stands, "finding_series", counted)
    monitor = new_cell(tmp_path / "cell", sheet=AUDITED + allowance(0.5))
    before = [*looked_rows(30, many=0), *slower(newest=(0,))]
    monitor.take([write(tmp_path, "a.csv", FINDINGS, before), write(tmp_path, "b.csv", HEADER, rows(80))])
    assert whole
    beyond = []
    for i, line in enumerate(slower(newest=(0, 1, 1, 0, 1, 0, 0, 1, 1, 1))[-9:]):
        whole.clear()
        monitor.take([write(tmp_path, f"{i}.csv", FINDINGS, [line])])
        assert not whole
        kept, anew = kept_and_anew(monitor)
        assert kept == anew
        beyond.append(len(kept) > 0)
    assert beyond == [False, True, True, True, True, True, True, True, True], "the second of three bores"
    assert "equal" in str(monitor.check(rebuild=True).rebuilt)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_young_finding_is_looked_at_from_its_first_shift_and_no_other_is(tmp_path, monkeypatch, seed):
    """Bores of 40 shifts lie before it; it gets limits that rest on 25 shifts while files come."""
    whole, shuffle = [], random.Random(seed)
    monitor = new_cell(tmp_path / "cell", sheet=AUDITED)
    bores = pieces_of(rows(blocks=270, minutes=240, seed=seed), 6, shuffle)
    monitor.take([write(tmp_path, "a.csv", HEADER, bores[0]), write(tmp_path, "p.csv", FINDINGS, pores())])
    young = pieces_of(slower(30, first=20, newest=(0, 1, 1, 1, 0)), 12, shuffle)
    files = [write(tmp_path, f"y{i}.csv", FINDINGS, piece) for i, piece in enumerate(young)]
    files.append(files.pop(shuffle.randrange(2, 6)))
    for i, piece in enumerate(bores[1:]):
        files.insert(1 + 2 * i, write(tmp_path, f"b{i}.csv", HEADER, piece))
    counted = lambda *given: whole.append(given) or finding_series(*given)  # noqa: E731
    for i, file in enumerate(files):
        monkeypatch.setattr(finding_stands, "finding_series", counted)
        monitor.take([file])
        monkeypatch.setattr(finding_stands, "finding_series", finding_series)
        kept, anew = kept_and_anew(monitor)
        assert kept == anew, file.name
        assert len(whole) <= 1 or i == len(files) - 1, "the first rows, and late ones among the first 25"
    with monitor._view() as view:
        assert not any(stand.young for stand in told.basis_of(view.session).shares.stands)
    assert "equal" in str(monitor.check(rebuild=True).rebuilt)


def test_audits_beside_a_signal_of_bores_join_anew_no_call_of_those(tmp_path, monkeypatch):
    monitor = new_cell(tmp_path / "cell", sheet=AUDITED)
    usual, moved = (rows(blocks=270, minutes=120, jump_at=jump_at) for jump_at in (None, 0))
    bores = write(tmp_path, "bores.csv", HEADER, [*usual[: 8 * 180], *moved[8 * 180 :]])
    lines = audit_rows(moved_from=24)
    first, then = (write(tmp_path, f"{part[0][:4]}.csv", AUDITS, part) for part in (lines[:-80], lines[-80:]))
    monitor.take([bores, first])
    joined = []
    plain = reached.grouped
    monkeypatch.setattr(reached, "grouped", lambda *given: joined.extend(given[0]) or plain(*given))
    monitor.take([then])
    assert joined and {c.family for c in joined} <= set(OF_AUDITS)
    kept, anew = kept_and_anew(monitor)
    assert kept == anew and any('"over": false' in one and "audited values" not in one for one in kept)
