"""What was typed at the bore is kept: looked at as a whole first, and what is odd is asked before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from cellmon.errors import CellmonError, NothingKept, PerhapsKept, WrongUsage
from cellmon.monitor.bore.entry import Dial, read_entry, read_figure, read_temperature
from cellmon.monitor.bore.keeping import TypedRound, strokes_of
from cellmon.monitor.bore.measured import HAND, TypedBore
from cellmon.monitor.bore.zero import keep_sign, keep_zero, zero_warning
from cellmon.records import Kind
from cellmon.words import say, say_many
from dashboards import theme
from dashboards.pages import bore_shift, bore_stones, parts
from dashboards.pages.bore_besides import word_of
from dashboards.pages.bore_box import Mode

if TYPE_CHECKING:
    from cellmon.monitor import Monitor


LISTED = ("event", "spindle", "gauge")
"""Boxes in which a number stands for a name."""


@dataclass(frozen=True, kw_only=True)
class Beside:
    """What stands in the fields beside the boxes; "" where nothing does."""

    by: str
    stones: str = ""
    rpm: str = ""
    rate: str = ""
    feed: str = ""
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Finished:
    """What became of it: kept or not, in words, and what a person should confirm first."""

    kept: bool
    said: str
    asked: tuple[str, ...] = ()
    skipped: str | None = None
    then: Mapping[str, Any] | None = None
    """What is typed after it, where that is another thing than the page would ask by itself."""
    search: str | None = None
    """The query of the bore that is typed after it."""


@dataclass(frozen=True, kw_only=True)
class Answered:
    """What a person has answered of what is odd: all that was asked the last time, or single figures."""

    sure: tuple[str, ...] | None = None
    confirmed: frozenset[str] = frozenset()

    def left(self, asked: Sequence[str]) -> tuple[str, ...]:
        """Return what is still to be asked; nothing where it is just what a person is sure of."""
        open_ = tuple(one for one in asked if one not in self.confirmed)
        return () if open_ == self.sure else open_


def finish(
    monitor: Monitor,
    asks: Mapping[str, Any],
    typed: Mapping[str, Any],
    beside: Beside,
    *,
    asked_before: Sequence[str] = (),
) -> Finished:
    """Keep what was typed, or say why not, or ask.

    Parameters
    ----------
    monitor : Monitor
    asks : mapping
        What was asked for (`bore_asks.asks_of`).
    typed : mapping
        The `figures` by box, whether a person is `sure` of all, and of what they were `certain` before,
        box by box.
    beside : Beside
    asked_before : sequence of str
        What was asked the last time; only to that a person can have said 'it is so'.
    """
    figures = {name: str(text) for name, text in typed.get("figures", {}).items()}
    sure = tuple(asked_before) if typed.get("sure") else None
    try:
        if asks["mode"] in LOGGED:
            return LOGGED[asks["mode"]](monitor, asks, figures, beside, Answered(sure=sure))
        answered = Answered(sure=sure, confirmed=_confirmed(asks, typed))
        if asks["mode"] == Mode.MEASURED:
            return _measured(monitor, asks, figures, beside, answered)
        if asks["mode"] == Mode.ROUND:
            return _round(monitor, asks, figures, beside, answered)
        return _check(monitor, asks, figures, beside)
    except (NothingKept, PerhapsKept) as refusal:  # they say what is known
        return Finished(kept=False, said=_sentence(str(refusal)))
    except CellmonError as refusal:
        return Finished(kept=False, said=say("{why} Nothing was kept.", why=_sentence(str(refusal))))


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:] + ("" if words.endswith((".", "?", "!")) else ".")


def _check(monitor: Monitor, asks: Mapping[str, Any], figures: Mapping[str, str], beside: Beside) -> Finished:
    """Keep the gauge on its master, or on something larger; an empty figure: not checked."""
    mode = Mode(asks["mode"])
    text = figures.get("sign" if mode is Mode.SIGN else "zero", "")
    if not text.strip():
        return Finished(kept=False, said=say("Not checked; nothing was kept."), skipped=mode.value)
    if mode is Mode.SIGN:
        larger = read_figure(figures["larger_um"])
        keep_sign(monitor, text, larger_um=larger, by=beside.by)
        return Finished(kept=True, said=say("Larger reads larger, by about as much. Kept."))
    zero = keep_zero(monitor, text, state=mode.value, by=beside.by, temp_c=_warm(figures.get("master_c", "")))
    stood = say("The gauge stood {um} from zero. Kept.", um=theme.um_said(zero))
    warned = zero_warning(monitor.sheet, zero, state=mode.value)
    return Finished(kept=True, said=stood if warned is None else f"{stood} {warned}")


def _round(
    monitor: Monitor,
    asks: Mapping[str, Any],
    figures: Mapping[str, str],
    beside: Beside,
    answered: Answered,
) -> Finished:
    number, typed = int(asks["number"]), _typed(asks, figures, beside)
    looked = monitor.look_at_round(typed)
    if looked.number != number:
        raise WrongUsage(say("round {number} was kept meanwhile, perhaps on another screen", number=number))
    if asked := answered.left(looked.asked):
        return Finished(kept=False, said="", asked=asked)
    monitor.keep_round(typed)
    if number == 0:
        return Finished(kept=True, said=say("The bore is kept as received."))
    said = say_many(
        "Round {number} is kept: {count} reading.",
        "Round {number} is kept: {count} readings.",
        len(looked.um),
        number=number,
    )
    return Finished(kept=True, said=said)


def _measured(
    monitor: Monitor,
    asks: Mapping[str, Any],
    figures: Mapping[str, str],
    beside: Beside,
    answered: Answered,
) -> Finished:
    """Keep one bore of a shift, honed on a spindle or finished by hand."""
    typed = TypedBore(
        part=asks["part"],
        bore=asks["bore"],
        readings=_readings(asks, figures),
        spindle=word_of(figures.get("spindle") or HAND, "spindle", asks["names"]),
        part_temp_c=_warm(figures.get("part_c", "")),
        by=beside.by,
        part_number=asks["part_number"],
    )
    if asked := answered.left(monitor.look_at_measured(typed).asked):
        return Finished(kept=False, said="", asked=asked)
    monitor.keep_measured(typed)
    return Finished(
        kept=True,
        said=bore_shift.kept_words(monitor, typed),
        then=bore_shift.then(asks),
        search=bore_shift.moved_to(monitor, asks),
    )


def _event(
    monitor: Monitor,
    asks: Mapping[str, Any],
    figures: Mapping[str, str],
    beside: Beside,
    answered: Answered,
) -> Finished:
    """Keep a cell event; a box that is not asked for it counts as empty."""
    happened = word_of(figures["event"], "event", asks["names"])
    asked = [box["name"] for box in asks["boxes"] if not box["only"] or happened in box["only"]]
    typed = {name: figures[name].strip() for name in asked if figures.get(name, "").strip()}
    named = {name: word_of(typed[name], name, asks["names"]) for name in LISTED if name in typed}
    amount = {"value": f"{read_figure(typed['value']):g}"} if "value" in typed else {}
    values = {**typed, **named, **amount, "at": _now(monitor), "by": beside.by}
    return _logged(monitor, Kind.EVENTS, [values], answered)


def _stones(
    monitor: Monitor,
    asks: Mapping[str, Any],
    figures: Mapping[str, str],
    beside: Beside,
    answered: Answered,
) -> Finished:
    """Keep the thickness of stones, and say what they are fit for."""
    rows = bore_stones.rows_of(asks, figures, by=beside.by, at=_now(monitor))
    became = _logged(monitor, Kind.STONE_MEASUREMENTS, rows, answered)
    return replace(became, said=bore_stones.kept_words(monitor, rows)) if became.kept else became


def _gauge_check(
    monitor: Monitor,
    asks: Mapping[str, Any],
    figures: Mapping[str, str],
    beside: Beside,
    answered: Answered,
) -> Finished:
    """Keep what a gauge read on a master; a reading about a dial turn off is asked first."""
    dial = Dial.of(monitor.sheet, monitor.sheet.part(asks["part_number"]))
    master = read_entry(figures["master"], dial).um
    reading = read_entry(figures["reading"], dial, expected_um=master)
    values = {
        "gauge": word_of(figures["gauge"], "gauge", asks["names"]),
        "state": word_of(figures["state"], "state", asks["names"]),
        "master_mm": f"{dial.nominal_mm + master / 1000:.5f}",
        "reading_mm": f"{dial.nominal_mm + reading.um / 1000:.5f}",
        "temp_c": figures.get("master_c", "").strip().replace(",", "."),
        "at": _now(monitor),
        "by": beside.by,
    }
    if asked := answered.left(reading.asked):
        return Finished(kept=False, said="", asked=asked)
    became = _logged(monitor, Kind.GAUGE_CHECKS, [values], Answered())
    off = say(
        "{gauge} stood {um} from its master. Kept.",
        gauge=values["gauge"],
        um=theme.um_said(reading.um - master),
    )
    return replace(became, said=off) if became.kept else became


LOGGED = {Mode.EVENT: _event, Mode.STONES: _stones, Mode.CHECK: _gauge_check}
"""What is kept as the command `log` keeps it."""


def _logged(monitor: Monitor, kind: Kind, rows: Sequence[Mapping[str, str]], answered: Answered) -> Finished:
    """Log typed rows; what is odd about them is asked first."""
    looked = monitor.look_at(kind, rows)
    if looked.refused:
        raise WrongUsage(" ".join(looked.refused))
    if asked := answered.left(looked.asked):
        return Finished(kept=False, said="", asked=asked)
    taken = monitor.log_rows(kind, rows)
    if taken.why_not is not None or taken.set_aside:
        raise WrongUsage(taken.why_not or taken.set_aside[0].reason)
    return Finished(kept=True, said=say("It is already known.") if taken.known else say("Logged."))


def _now(monitor: Monitor) -> str:
    return datetime.now(tz=parts.zone_of(monitor)).replace(microsecond=0).isoformat()


def _typed(asks: Mapping[str, Any], figures: Mapping[str, str], beside: Beside) -> TypedRound:
    number = int(asks["number"])
    return TypedRound(
        part=asks["part"],
        bore=asks["bore"],
        readings=_readings(asks, figures),
        strokes=strokes_of(figures.get("strokes") or {}),
        stones=beside.stones if number else "",
        rpm=_figure(beside.rpm),
        feed_um=_figure(beside.feed),
        part_temp_c=_warm(figures.get("part_c", "")),
        master_temp_c=_warm(figures.get("master_c", "")),
        by=beside.by,
        note=beside.note,
        number=number if asks["again"] else None,
        part_number=asks["part_number"],
        strokes_per_min=_figure(beside.rate),
    )


def _confirmed(asks: Mapping[str, Any], typed: Mapping[str, Any]) -> frozenset[str]:
    """Return the questions to single figures that a person has answered, as the whole round asks them."""
    labels = {box["name"]: box["label"] for box in asks["boxes"]}
    certain = typed.get("certain", {})
    known = ((labels[name], one) for name, asked in certain.items() if name in labels for one in asked)
    return frozenset(f"{label}: {one}" for label, one in known)


def _readings(asks: Mapping[str, Any], figures: Mapping[str, str]) -> dict[tuple[str, str], str]:
    return {
        (box["plane"], box["direction"]): figures[box["name"]]
        for box in asks["boxes"]
        if box["kind"] == "reading" and box["name"] in figures
    }


def _warm(text: str) -> float | None:
    return read_temperature(text).c if text.strip() else None


def _figure(text: str) -> float | None:
    return read_figure(text) if text.strip() else None
