"""A signal is read back as it was kept, and told only by what was called by then."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cellmon.monitor.judge import told
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.judge.signals import named_groups
from tests.small_cell import HEADER, new_cell, rows, write


def test_what_is_kept_is_what_is_put_together(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "rows.csv", HEADER, rows(110, jump_at=95))])
    with monitor._view() as view:
        anew = named_groups(view.session, view.rules, until=view.as_of).groups
        kept = list(told.told_groups(view.session, until=view.as_of))
        assert told.is_kept(view.session, view.rules, until=view.as_of)
        assert not told.is_kept(view.session, view.rules, until=view.as_of - np.timedelta64(1, "s"))
    assert anew and {g.id for g in kept} == {g.id for g in anew}
    for group in kept:
        same = next(g for g in anew if g.id == group.id)
        assert repr(group) == repr(same), "nan equals nan only in words"


def test_calls_after_a_moment_are_left_out_and_later_ends_cut(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "rows.csv", HEADER, rows(110, jump_at=95))])
    with monitor._view() as view:
        groups = list(told.told_groups(view.session, until=view.as_of))
        first = min(g.lead.at for g in groups)
        early = list(told.told_groups(view.session, until=first))
        assert all(c.at <= first and c.last_at <= first for g in early for c in g.calls)
        assert early and not list(told.told_groups(view.session, until=first - np.timedelta64(1, "us")))


def test_under_another_sheet_what_is_kept_does_not_hold(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "rows.csv", HEADER, rows(110, jump_at=95))])
    with monitor._store.writing() as session:
        rules = monitor._rules(session)
        other = replace(rules, versions=(replace(rules.now, version=rules.now.version + 1),))
        assert not told.is_kept(session, other, until=session.newest_row())
        groups: list[Group] = list(told.told_groups(session, until=session.newest_row()))
        told.keep_told(session, other, groups, told.Basis(rows={}))
        assert told.is_kept(session, other, until=session.newest_row())
