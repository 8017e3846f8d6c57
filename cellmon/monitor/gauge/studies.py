"""What the gauge studies say, feature by feature, each by the design its shape shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from cellmon import lengths
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.gauge.designs import laid_out
from cellmon.monitor.gauge.checks import Linearity, linearity
from cellmon.monitor.gauge.figures import forms, items_of, joined
from cellmon.monitor.gauge.study_feature import ONE_READING, SIGMAS, StudyFeature, study_feature, unknown
from cellmon.monitor.view import View
from cellmon.records import Kind, Numbers, StudyReadings
from cellmon.sheet import Part
from cellmon.words import say, voice


@dataclass(frozen=True, kw_only=True)
class StudyAnswer:
    """One study of one gauge."""

    study: str
    gauge: str
    design: str
    readings: int
    sigmas: float
    features: tuple[StudyFeature, ...]
    linearity: Linearity | None
    left_out: tuple[str, ...]
    notes: tuple[str, ...]
    part_number: str = ""
    """The drawing whose tolerance the shares are of."""
    why_not: Mapping[str, str] = field(default_factory=dict)

    def of(self, feature: str) -> StudyFeature | None:
        """Return what it says of one feature."""
        return next((f for f in self.features if f.feature == feature), None)


def study_rows(view: View) -> StudyReadings:
    """Return the study readings known at the moment of the view."""
    rows: StudyReadings = view.session.rows(Kind.GAUGE_STUDY)
    return rows.select(np.isnat(rows.at) | (rows.at <= view.as_of))


def rows_aside(view: View) -> int:
    """Return how many rows of study files wait aside."""
    return sum(a.kind == Kind.GAUGE_STUDY and not a.retried for a in view.session.aside())


def studies(view: View, *, study: str | None = None) -> tuple[StudyAnswer, ...]:
    """Return every study, or those of one name, newest last."""
    if study is not None:
        return _studies(view, study=study)
    newest = view.session.newest_of(Kind.GAUGE_STUDY)
    ahead = newest is not None and newest > view.as_of
    rows = view.newest_row_of(Kind.GAUGE_STUDY)
    rests_on = (rows, view.rules.now.version, view.as_of if ahead else None)
    return view.carry(f"studies {voice()} {lengths.shown()}", rests_on, lambda: _studies(view))


def _studies(view: View, *, study: str | None = None) -> tuple[StudyAnswer, ...]:
    rows = study_rows(view)
    gauge = np.where(rows.gauge == np.array(None, dtype=object), view.sheet.measuring.gauge, rows.gauge)
    keys = dict.fromkeys(zip(rows.study.tolist(), gauge.tolist(), rows.part_number.tolist(), strict=True))
    found = []
    for name, of, number in keys:
        if study in (None, name):
            mine = rows.select((rows.study == name) & (gauge == of) & (rows.part_number == number))
            several = sum(key[:2] == (name, of) for key in keys) > 1
            found.append(_one(view, mine, _named(name, number) if several else name, of))
    return tuple(found)


def _named(study: str, part_number: str | None) -> str:
    """Return the name of a study of which there is one for each of several drawings."""
    return say("{study} of {drawing}", study=study, drawing=part_number or say("no drawing"))


def _part_of(view: View, number: str | None) -> tuple[Part, list[str]]:
    """Return the drawing that a study is held against, and what is to be said of the choice."""
    parts, first = view.sheet.parts, view.sheet.part()
    known = next((p for p in parts if p.number == number), None)
    if known is not None:
        return known, []
    if number is not None:
        said = say(
            "the sheet has no part {part}: held against {first}, its first", part=number, first=first.number
        )
        return first, [said]
    if len(parts) > 1:
        said = say(
            "no part_number in its rows: held against {first}, the first of the sheet", first=first.number
        )
        return first, [said]
    return first, []


def _one(view: View, rows: StudyReadings, study: str, gauge: str) -> StudyAnswer:
    part, held = _part_of(view, rows.part_number[0])
    nominal = part.diameter.nominal
    master = np.isfinite(rows.master_mm)
    on_master = bool(master.all())
    base = rows.master_mm if on_master else np.full(len(rows), nominal)
    um = np.round((rows.reading_mm - base) * 1000.0, 4)
    items = joined([rows.part]) if on_master else items_of(rows)
    notes = list(held)
    if not on_master and master.any():
        notes.append(say("masters beside parts: their sizes were not used"))
    features: list[StudyFeature] = []
    said: dict[str, None] = {}
    left: dict[str, None] = {}
    design, line = None, None
    figures = [(ONE_READING, um, items, rows.operator, rows.trial)]
    figures += [] if on_master else forms(rows, um, view.sheet, part)
    for name, values, item, operator, trial in figures:
        try:
            laid = laid_out(values, part=item, operator=operator, trial=trial, master=on_master)
        except NotEnoughData as refused:
            features.append(unknown(name, str(refused), part))
            continue
        design = design or laid.design
        said.update(dict.fromkeys(laid.notes))
        left.update(dict.fromkeys(laid.left_out))
        features.append(study_feature(name, laid, part, on_master=on_master))
    if on_master:
        line = _line(view, rows.master_mm, um)
    return StudyAnswer(
        study=study,
        gauge=gauge,
        design=design.value if design else say("not told"),
        readings=len(rows),
        sigmas=SIGMAS,
        features=tuple(features),
        linearity=line,
        left_out=tuple(left),
        notes=(*notes, *said),
        part_number=part.number,
        why_not={} if design else {"design": features[0].verdict if features else say("no readings")},
    )


def _line(view: View, master_mm: Numbers, error_um: Numbers) -> Linearity | None:
    try:
        return linearity(view, master_mm, error_um)
    except (NotEnoughData, NoSpread):
        return None
