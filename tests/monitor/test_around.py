"""What was logged around the bores changes exactly those it should, also when it is logged late."""

from __future__ import annotations

import numpy as np
import pytest

from cellmon.records import Flag
from tests.small_cell import CHECKS, HEADER, new_cell, rows, write

EVENTS = "at,event,spindle,stone_set,bores,note"
# blocks every ten minutes from 05:00Z: B0006 is measured at 06:00Z


@pytest.fixture
def monitor(tmp_path):
    opened = new_cell(tmp_path / "cell")
    opened.take([write(tmp_path, "rows.csv", HEADER, rows(40))])
    return opened


def table(monitor):
    """Return what is told of each bore by its part and bore."""
    bores = monitor.bores().bores
    names = [c.name for c in bores.columns()]
    return {
        (bores.part[i], bores.bore[i]): {name: str(getattr(bores, name)[i]) for name in names}
        for i in range(len(bores))
    }


def changes(before, after):
    """Return which columns changed of which bores."""
    assert before.keys() == after.keys()
    found = {}
    for key, row in before.items():
        differing = {name for name in row if row[name] != after[key][name]}
        if differing:
            found[key] = differing
    return found


def log(monitor, folder, *lines, header=EVENTS):
    monitor.take([write(folder, f"log-{abs(hash(lines))}.csv", header, lines)])


def test_stones_fitted_late_are_named_on_their_bores_until_the_next_set(monitor, tmp_path):
    log(monitor, tmp_path, "2026-03-02T08:00:00Z,stones-fitted,S1,A2,,")
    before = table(monitor)
    log(monitor, tmp_path, "2026-03-02T06:00:00Z,stones-fitted,S1,A1,,")
    found = changes(before, table(monitor))
    assert set(found) == {(f"B{i:04d}", "1") for i in range(6, 18)}
    assert set.union(*found.values()) == {"stone_set"}
    assert monitor.check(rebuild=True).sound


def test_a_dressing_between_does_not_hide_the_set_that_was_fitted_before_it(monitor, tmp_path):
    log(monitor, tmp_path, "2026-03-02T07:00:00Z,stones-dressed,S1,,,")
    log(monitor, tmp_path, "2026-03-02T06:00:00Z,stones-fitted,S1,A1,,")
    sets = {key: row["stone_set"] for key, row in table(monitor).items() if key[1] == "1"}
    assert {k for k, v in sets.items() if v == "A1"} == {(f"B{i:04d}", "1") for i in range(6, 40)}
    assert monitor.check(rebuild=True).sound


def test_stones_taken_off_leave_no_set_until_the_next_and_a_change_at_once_leaves_the_new(monitor, tmp_path):
    log(monitor, tmp_path, "2026-03-02T05:00:00Z,stones-fitted,S1,A1,,")
    log(monitor, tmp_path, "2026-03-02T06:00:00Z,stones-removed,S1,A1,,worn")
    log(
        monitor,
        tmp_path,
        "2026-03-02T07:00:00Z,stones-removed,S1,A1,,worn",
        "2026-03-02T07:00:00Z,stones-fitted,S1,A2,,",
    )
    sets = [row["stone_set"] for key, row in table(monitor).items() if key[1] == "1"]
    assert sets == ["A1"] * 6 + ["None"] * 6 + ["A2"] * 28


@pytest.mark.parametrize("when", ["before", "after"])
def test_a_dressing_breaks_subgroups_of_its_own_spindle_only(tmp_path, when):
    monitor = new_cell(tmp_path / "cell")
    event = write(tmp_path, "e.csv", EVENTS, ["2026-03-02T06:05:00Z,stones-dressed,S1,,,"])
    readings = write(tmp_path, "rows.csv", HEADER, rows(40))
    monitor.take([event, readings] if when == "before" else [readings, event])
    cut = {
        s.bore: monitor.stream(
            spindle=s.spindle, bore=s.bore, feature=s.feature
        ).subgroups.first_part.tolist()
        for s in monitor.streams()
        if s.feature == "taper"
    }
    assert cut["1"][:4] == ["B0000", "B0003", "B0007", "B0010"]
    assert cut["2"][:4] == ["B0000", "B0003", "B0006", "B0009"]


def test_a_bore_honed_before_a_dressing_belongs_before_it_whenever_it_was_measured(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    lines = []
    for row in rows(12):
        at = np.datetime64(row.split(",")[3].rstrip("Z"))
        lines.append(f"{row},{at - np.timedelta64(25, 'm')}Z")
    monitor.take([write(tmp_path, "rows.csv", f"{HEADER},honed_at", lines)])
    log(monitor, tmp_path, "2026-03-02T06:00:00Z,stones-dressed,S1,,,")
    # B0008 is measured at 06:20 and honed at 05:55, B0009 honed at 06:05
    groups = monitor.stream(spindle="S1", bore="1", feature="taper").subgroups
    assert groups.first_part.tolist() == ["B0000", "B0003", "B0006", "B0009"]
    log(monitor, tmp_path, "2026-03-02T05:50:00Z,stones-dressed,S1,,,")
    groups = monitor.stream(spindle="S1", bore="1", feature="taper").subgroups
    assert groups.last_part.tolist()[:3] == ["B0002", "B0005", "B0007"]
    assert monitor.check(rebuild=True).sound


def test_a_dressing_at_the_end_of_a_shift_is_known_to_the_bores_measured_in_the_next(tmp_path):
    lines = []
    for row in rows(12):
        at = np.datetime64(row.split(",")[3].rstrip("Z")) + np.timedelta64(11 * 60 + 30, "m")
        fields = row.split(",")
        fields[3] = f"{at}Z"
        lines.append(",".join([*fields, f"{at - np.timedelta64(25, 'm')}Z"]))
    events = ["2026-03-02T10:00:00Z,stones-fitted,S1,A1,,", "2026-03-02T16:50:00Z,stones-fitted,S1,A2,,"]
    monitor = new_cell(tmp_path / "cell")  # its night starts at 17:00Z
    header = f"{HEADER},honed_at"
    early, later = (
        [r for r in lines if (r.split(",")[3] < "2026-03-02T17") is first] for first in (True, False)
    )
    monitor.take([write(tmp_path, "e.csv", EVENTS, events), write(tmp_path, "a.csv", header, early)])
    monitor.take([write(tmp_path, "b.csv", header, later)])
    sets = {key[0]: row["stone_set"] for key, row in table(monitor).items() if key[1] == "1"}
    assert {p for p, s in sets.items() if s == "A1"} == {f"B{i:04d}" for i in range(5)}
    assert monitor.check(rebuild=True).sound


def test_a_reroute_logged_late_takes_the_doubt_off_its_bores_and_its_end_puts_it_back(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    strange = {f"B{i:04d}" for i in range(6, 18)}
    lines = [r.replace(",2,S2,", ",2,S1,") if r[:5] in strange else r for r in rows(40)]
    monitor.take([write(tmp_path, "rows.csv", HEADER, lines)])

    def doubted():
        return {f.part for f in monitor.flags().flags if f.flag is Flag.ROUTING}

    assert doubted() == strange
    before = table(monitor)
    log(monitor, tmp_path, "2026-03-02T06:00:00Z,rerouted,S1,,1 2,")
    assert doubted() == set()
    assert set(changes(before, table(monitor))) == {(part, "2") for part in strange}
    log(monitor, tmp_path, "2026-03-02T07:30:00Z,rerouted,S1,,,")
    assert doubted() == {f"B{i:04d}" for i in range(15, 18)}
    assert monitor.check(rebuild=True).sound


def test_a_row_that_names_another_set_than_the_events_is_doubted(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    lines = [f"{r},A1" for r in rows(12)]
    monitor.take([write(tmp_path, "rows.csv", f"{HEADER},stone_set", lines)])
    assert monitor.flags().flags == (), "no event says otherwise"
    log(monitor, tmp_path, "2026-03-02T06:00:00Z,stones-fitted,S1,A2,,")
    found = {(f.part, f.bore) for f in monitor.flags().flags if f.flag is Flag.SET_DIFFERS}
    assert found == {(f"B{i:04d}", "1") for i in range(6, 12)}


def suspects(monitor):
    return {f.part for f in monitor.flags().flags if f.flag is Flag.ZERO_SUSPECT}


def check(at, um, *, gauge="G1"):
    return f"2026-03-02T{at}Z,{gauge},50.0000,{50 + um / 1000:.4f},as-found"


def parts(first, last):
    return {f"B{i:04d}" for i in range(first, last + 1)}


def test_bores_between_the_last_good_check_and_the_next_are_suspect(monitor, tmp_path):
    before = table(monitor)
    log(monitor, tmp_path, check("06:05:00", 0.2), header=CHECKS)
    assert suspects(monitor) == set()
    log(monitor, tmp_path, check("08:05:00", 3.0), header=CHECKS)
    assert suspects(monitor) == parts(7, 39), "and goes on until somebody puts it right"
    log(monitor, tmp_path, check("09:05:00", -0.1), header=CHECKS)
    assert suspects(monitor) == parts(7, 24)
    assert {k[0] for k in changes(before, table(monitor))} == parts(7, 24)
    log(monitor, tmp_path, check("07:05:00", 0.4), header=CHECKS)
    assert suspects(monitor) == parts(13, 24), "a good check that comes late clears what lies before it"
    log(monitor, tmp_path, check("06:35:00", -2.0), header=CHECKS)
    assert suspects(monitor) == parts(7, 24), "and a bad one doubts what lies around it"
    assert monitor.check(rebuild=True).sound


def test_zeroing_a_gauge_puts_it_right_also_when_it_is_logged_late(monitor, tmp_path):
    log(monitor, tmp_path, check("06:05:00", 0.2), check("08:05:00", 3.0), header=CHECKS)
    assert suspects(monitor) == parts(7, 39)
    log(monitor, tmp_path, "2026-03-02T08:10:00Z,gauge-zeroed,G1,-3", header="at,event,gauge,value")
    assert suspects(monitor) == parts(7, 19)
    assert monitor.check(rebuild=True).sound


@pytest.mark.parametrize("um", [1.0, -1.0])
def test_a_check_exactly_at_its_limit_is_good(monitor, tmp_path, um):
    log(monitor, tmp_path, check("08:00:00", um), header=CHECKS)
    assert suspects(monitor) == set()


def test_a_suspect_bore_is_judged_and_charted_but_kept_out_of_limits_and_indices(monitor, tmp_path):
    log(
        monitor,
        tmp_path,
        check("06:05:00", 0.2),
        check("08:05:00", 3.0),
        check("08:06:00", 0.0),
        header=CHECKS,
    )
    rows_of = monitor.bores().bores
    mine = np.isin(rows_of.part.astype(str), sorted(parts(7, 18)))
    assert rows_of.charted[mine].all() and (rows_of.flags[mine] != 0).all()
    groups = monitor.stream(spindle="S1", bore="1", feature="diameter").subgroups
    assert groups.n.tolist()[:7] == [3] * 7, "the chart shows them"
    assert groups.flagged.tolist()[:7] == [False, False, True, True, True, True, True]
    row = next(c for c in monitor.capability(spindle="S1", feature="diameter").capability)
    assert row.n == 40 - 12
    assert any("12 bores left out on a doubt" in reason for reason in row.reasons), row.reasons
