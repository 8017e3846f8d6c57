"""Causes ranked by the signs that are seen and those that are missing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import exp, log

from cellmon.diagnosis.evidence import Cause, Evidence, Logged, Movement
from cellmon.diagnosis.table import CauseRow, Sign, Table
from cellmon.diagnosis.words import reason
from cellmon.words import say

VALUE_WITHIN = 2.0
"""An offset explains a move up to so many times larger or smaller than itself."""


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What the evidence says to one sign."""

    sign: Sign
    moved: tuple[Movement, ...] = ()
    logged: tuple[Logged, ...] = ()

    @property
    def present(self) -> bool:
        """Whether the sign was seen."""
        return bool(self.moved or self.logged)

    @property
    def log_ratio(self) -> float:
        """Log of how much likelier this answer is with the cause than without it."""
        seen, otherwise = self.sign.seen, self.sign.otherwise
        return log(seen / otherwise) if self.present else log((1 - seen) / (1 - otherwise))


def rank(evidence: Evidence, table: Table) -> tuple[Cause, ...]:
    """Return the causes that may explain the evidence, the likeliest first.

    Each sign of a cause that can be asked multiplies its odds by seen / otherwise where it shows and
    by (1 - seen) / (1 - otherwise) where it does not (Bayes' rule, the signs taken as independent).
    They are not, so the joint ratio counts for its power of `temper`. Each thing that moved and for
    which a cause has no sign multiplies its odds by `unexplained`. A cause is named only where
    something moved that speaks for it and every sign it needs is there.

    Parameters
    ----------
    evidence : Evidence
        Without a movement there is nothing to explain and no cause.
    table : Table
        Gives the signs with their figures, how many causes are shown and from which weight.

    References
    ----------
    Hand, Yu, Idiot's Bayes: not so stupid after all?, International Statistical Review 69 (2001),
    385-398, from memory: independence misjudged keeps the order and overstates the odds.
    """
    distinct = _distinct(evidence.movements)
    total = table.scoring.none_of_these
    scored: list[tuple[float, CauseRow, tuple[Answer, ...]]] = []
    for row in table.causes:
        answers = tuple(_answers(row, evidence, distinct))
        if _named(row, answers):
            score = exp(_log_odds(row, answers, distinct, table))
            scored.append((score, row, answers))
            total += score
    scored.sort(key=lambda one: (-one[0], one[1].id))
    return tuple(
        _cause(row, answers, score / total, evidence, table)
        for score, row, answers in scored[: table.scoring.shown]
        if score / total >= table.scoring.least_weight
    )


def _log_odds(
    row: CauseRow, answers: tuple[Answer, ...], movements: tuple[Movement, ...], table: Table
) -> float:
    """Return the log of a cause's score, on the scale on which `none_of_these` is its own figure."""
    told = {m for a in answers for m in a.moved}
    unexplained = sum(m not in told for m in movements)
    said = sum(a.log_ratio for a in answers) + unexplained * log(table.scoring.unexplained)
    return log(row.usual) + table.scoring.temper * said


def _named(row: CauseRow, answers: tuple[Answer, ...]) -> bool:
    seen = {a.sign for a in answers if a.present}
    speaks = any(a.moved and a.sign.speaks_for for a in answers)
    return speaks and all(sign in seen for sign in row.signs if sign.needed)


def _cause(
    row: CauseRow, answers: tuple[Answer, ...], weight: float, evidence: Evidence, table: Table
) -> Cause:
    return Cause(
        id=row.id,
        title=say(row.title),
        weight=weight,
        check_first=say(row.check_first),
        correction=say(row.correction),
        caution=table.caution(row),
        why=reason(answers, evidence),
    )


def _distinct(movements: tuple[Movement, ...]) -> tuple[Movement, ...]:
    """Leave one movement of each feature, kind, scope and direction, the largest, in a fixed order."""
    largest: dict[tuple[str, str, str, bool], Movement] = {}
    for m in sorted(movements, key=lambda m: (abs(m.size), m.size_um or 0.0, m.bores)):
        largest[m.feature, m.kind, m.scope, m.goes_up] = m
    return tuple(largest[key] for key in sorted(largest))


def _answers(row: CauseRow, evidence: Evidence, movements: tuple[Movement, ...]) -> Iterator[Answer]:
    watched = evidence.quiet | {m.feature for m in movements}
    for sign in row.signs:
        if sign.feed and (evidence.feed or "unknown") not in sign.feed:
            continue
        if sign.event is not None:
            answer = Answer(sign=sign, logged=_events(sign, evidence, movements))
            askable = True
        else:
            answer = Answer(sign=sign, moved=tuple(m for m in movements if _moves(sign, m, evidence)))
            askable = not sign.features or bool(sign.features & watched)
        if answer.present or (askable and sign.absence_counts):
            yield answer


def _moves(sign: Sign, movement: Movement, evidence: Evidence) -> bool:
    return (
        (not sign.features or movement.feature in sign.features)
        and (not sign.kind or movement.kind in sign.kind)
        and sign.at_least <= abs(movement.size) <= sign.at_most
        and _goes(sign, movement)
        and (not sign.scope or bool(_scopes(movement, evidence) & set(sign.scope)))
    )


def _goes(sign: Sign, movement: Movement) -> bool:
    """Return whether a movement goes the way a sign asks for; a spindle or a gauge has none."""
    if sign.direction == "either" or movement.kind in ("routing", "gauge"):
        return True
    return movement.goes_up == (sign.direction == "up")


def _scopes(movement: Movement, evidence: Evidence) -> set[str]:
    """Return the scopes a movement may have: one spindle is all there are, one bore its spindle."""
    scopes: set[str] = {movement.scope}
    if evidence.bores_on_spindle == 1 and scopes & {"bore", "spindle"}:
        scopes |= {"bore", "spindle"}
    if evidence.spindles == 1 and scopes & {"spindle", "all"}:
        scopes |= {"spindle", "all"}
    return scopes


def _events(sign: Sign, evidence: Evidence, movements: tuple[Movement, ...]) -> tuple[Logged, ...]:
    found = (
        one
        for one in evidence.logged
        if one.event == sign.event
        and -sign.after_min <= one.minutes_before <= sign.within_min
        and (sign.by is None or (one.by == "machine") == (sign.by == "machine"))
        and (None in (one.spindle, evidence.spindle) or one.spindle == evidence.spindle)
        and (sign.value is None or _fits(one, sign.value, movements))
    )
    return tuple(sorted(found, key=lambda one: (abs(one.minutes_before), repr(one))))


def _fits(logged: Logged, wanted: str, movements: tuple[Movement, ...]) -> bool:
    """Whether a logged figure has the sense, and where known about the size, of a move of size."""
    if logged.value is None:
        return True
    sense = 1.0 if wanted == "with-move" else -1.0
    for m in movements:
        if m.feature != "size" or m.kind not in ("level", "drift"):
            continue
        if sense * logged.value * m.size <= 0:
            continue
        if m.size_um is None or 1 / VALUE_WITHIN <= abs(logged.value / m.size_um) <= VALUE_WITHIN:
            return True
    return False
