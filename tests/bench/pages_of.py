"""What each page asks and draws anew once a batch was committed, as its callbacks do; the times of each."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping

from cellmon.monitor import Monitor
from dashboards.kept import kept
from dashboards.pages import (
    bore_shown,
    claims,
    files,
    files_doubts,
    files_rows,
    files_sheet,
    gauge,
    now,
    part,
    parts,
    shift_choice,
    shift_told,
    shifts,
    signal_list,
    signals,
    stones,
    stream,
)
from dashboards.serve import look_seldom_for_rubbish

ROUNDS = 3


def _now(m: Monitor) -> None:
    now.show_now(m)


def _shifts(m: Monitor) -> None:
    shift = shift_choice.shift_options(m, None, None)[1]
    shifts.show_lines(m, shift, "week", None)
    shifts.show_shift(m, shift, None)
    shift_told.show_called(m, shift)
    shift_told.show_splits(m)
    shift_told.show_budget(m)


def _stream(m: Monitor) -> None:
    query = stream.choose(m, None, None)[1]
    stream.show_stream(m, query, "two", None, "none")


def _signals(m: Monitor) -> None:
    newest = signal_list.show_list(m, None)[-1]
    signals.show_signal(m, newest)
    signals.show_drawing(m, newest)


def _part(m: Monitor) -> None:
    part.show_part(m, None)


def _bore(m: Monitor) -> None:
    bore_shown.show(m, bore_shown.Chosen())


def _claims(m: Monitor) -> None:
    claims.show_claims(m, "diameter", None)
    claims.show_stream(m, "diameter", claims.stream_options(m, "diameter", None, None)[1])


def _stones(m: Monitor) -> None:
    stones.show_answer(m)
    stones.show_set(m, stones.set_options(m, None)[1])
    stones.show_plan(m)
    stones.show_history(m, None)


def _gauge(m: Monitor) -> None:
    gauge.show_study(m, None, None)
    gauge.show_checks(m, None)
    gauge.show_worth(m, None)
    gauge.show_pair(m, None)


def _files(m: Monitor) -> None:
    files.show(m, None)
    files_rows.show(m, None, None)
    files_doubts.show(m, None, None, None)
    files_sheet.show(m)


PAGES: Mapping[str, Callable[[Monitor], None]] = {
    "Now": _now,
    "Shifts": _shifts,
    "Stream": _stream,
    "Signals": _signals,
    "Part": _part,
    "Bore": _bore,
    "Claims": _claims,
    "Stones": _stones,
    "Gauge": _gauge,
    "Files": _files,
}


def refreshes(
    monitor: Monitor, commit: Callable[[], None], *, names: Mapping[str, Callable[[Monitor], None]] = PAGES
) -> dict[str, float]:
    """Return the seconds of the processor's time that each page's refresh takes, the least of some.

    A refresh is what a person causes who keeps a page open: the page was drawn, a batch was committed,
    the page is drawn again. What the process kept of the state before serves as far as it holds. Garbage
    is collected as `cellmon serve` has it done.
    """
    look_seldom_for_rubbish()
    assert parts.every_stream(monitor)
    asked, found = kept(monitor), dict[str, float]()
    for name, page in names.items():
        page(asked)
        took: list[float] = []
        for _ in range(ROUNDS):
            commit()
            began = time.process_time()
            page(asked)
            took.append(time.process_time() - began)
        found[name] = min(took)
    return found
