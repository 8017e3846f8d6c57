"""The table of causes: signs, figures and words, checked as a whole.

The packaged table is data of the code (`causes.toml` beside this module). A site's own file lies over
it: a cause with a known id replaces that cause, a new id is added, `leave_out` takes causes away.
Reading a site's file is the work of intake; this module checks the mapping.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from functools import cache, cached_property
from importlib.resources import files
from typing import Annotated, Any, Literal, Self, TypeVar

from pydantic import BeforeValidator, Field, ValidationError, model_validator

from cellmon.diagnosis.evidence import LoggedEvent, MoveKind, Scope, feature_name
from cellmon.errors import Mistake, SheetRefused
from cellmon.sheet.section import Count, Name, NotNegative, Positive, Section, asked
from cellmon.words import say

S = TypeVar("S", bound=Section)
KEYS = ("scoring", "cautions", "causes", "leave_out")


def _as_list(given: Any) -> Any:
    return [given] if isinstance(given, str) else given


Rate = Annotated[float, Field(ge=0.01, le=0.99)]
Id = Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")]
Features = Annotated[tuple[Name, ...], BeforeValidator(_as_list)]
Kinds = Annotated[tuple[MoveKind, ...], BeforeValidator(_as_list)]
Scopes = Annotated[tuple[Scope, ...], BeforeValidator(_as_list)]
Feeds = Annotated[tuple[Literal["force", "feed", "unknown"], ...], BeforeValidator(_as_list)]


class Sign(Section):
    """One question to the evidence: of something that moves, or of an event near the change.

    What is left out matches anything. `seen` is how often it shows where this is the cause,
    `otherwise` how often where something else moved the process. Two equal figures say that it may
    show and proves nothing.
    """

    seen: Rate
    otherwise: Rate
    feed: Feeds = ()
    """Asked only of spindles with this control of expansion."""
    feature: Features = ()
    kind: Kinds = ()
    scope: Scopes = ()
    direction: Literal["up", "down", "either"] = "either"
    at_least: NotNegative = 0.0
    """In sigmas of one bore; a spread in its ratio."""
    at_most: Positive = 1e9
    event: LoggedEvent | None = None
    within_min: NotNegative = 30.0
    after_min: NotNegative = 10.0
    """An event so long after the dated change still counts: the date is not sharper."""
    by: Literal["person", "machine"] | None = None
    value: Literal["with-move", "against-move"] | None = None
    needed: bool = False
    """Without it the cause is not named."""
    absence: Literal["counts", "silent"] | None = None
    """Whether not seeing it says anything; by default it does for a watched feature, not for an event."""

    @property
    def speaks_for(self) -> bool:
        """Whether seeing it speaks for the cause rather than against it."""
        return self.seen > self.otherwise

    @property
    def speaks_against(self) -> bool:
        """Whether seeing it speaks against the cause."""
        return self.seen < self.otherwise

    @property
    def absence_counts(self) -> bool:
        """Whether not seeing it says anything."""
        return self.absence == "counts" or (self.absence is None and self.event is None)

    @model_validator(mode="after")
    def _one_question(self) -> Self:
        moves = bool(self.feature or self.kind or self.scope)
        if moves == (self.event is not None):
            raise ValueError(say("either an event, or a feature, kind or scope"))
        if self.event is None and (self.by or self.value):
            raise ValueError(say("'by' and 'value' only beside an event"))
        if self.at_least >= self.at_most:
            raise ValueError(say("at_least smaller than at_most"))
        return self

    @cached_property
    def features(self) -> frozenset[str]:
        """The features asked for, by the names the evidence uses; empty for any."""
        return frozenset(map(feature_name, self.feature))


class CauseRow(Section):
    """One cause: how usual it is, how it shows, what to do."""

    id: Id
    title: Name
    usual: Positive
    """How usual against the others; any scale, the same for all and for `none_of_these`."""
    source: Name
    check_first: Name
    correction: Name
    caution: Name
    also: tuple[Name, ...] = ()
    """Names of common cautions that stand behind the cause's own."""
    signs: tuple[Sign, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _can_be_found(self) -> Self:
        if not any(s.speaks_for and s.event is None for s in self.signs):
            raise ValueError(
                say("at least one movement that is seen more often with this cause than otherwise")
            )
        return self


class Scoring(Section):
    """How signs are weighed together."""

    none_of_these: Positive
    temper: Annotated[float, Field(gt=0, le=1)]
    unexplained: Annotated[float, Field(gt=0, le=1)]
    least_weight: Annotated[float, Field(ge=0, lt=1)]
    shown: Count


class Table(Section):
    """A table of causes that has passed every check; made by `read_table`."""

    scoring: Scoring
    cautions: dict[str, Name] = Field(default_factory=dict)
    causes: tuple[CauseRow, ...] = Field(min_length=1)

    def caution(self, row: CauseRow) -> str:
        """Return the cause's own caution and the common ones it names, as one text."""
        return " ".join([say(row.caution), *(say(self.cautions[name]) for name in row.also)])


def read_table(given: Mapping[str, Any], *, over: Table | None = None, where: str | None = None) -> Table:
    """Return the table that a mapping describes, or refuse it with every mistake at once.

    Parameters
    ----------
    given : Mapping
        The table as its file was parsed.
    over : Table, optional
        A table that this one lies over: what is not given here is taken from there. Without it
        `given` must be whole.
    where : str
        How to call the file in the refusal, where not "the table of causes".

    Raises
    ------
    SheetRefused
        With one `Mistake` for each thing wrong.
    """
    mistakes = [
        Mistake(key=str(key), found=say("a section"), expected=_listed(KEYS))
        for key in given
        if key not in KEYS
    ]
    scoring = _scoring(given.get("scoring", {}), over, mistakes)
    cautions = dict(over.cautions if over else {}) | _cautions(given.get("cautions", {}), mistakes)
    rows = _rows(given.get("causes", []), mistakes)
    left_out = _names(given.get("leave_out", []), mistakes)
    mistakes += _across(rows, cautions, left_out, over)
    merged = {row.id: row for row in (*(over.causes if over else ()), *rows) if row.id not in left_out}
    if not merged and not mistakes:
        mistakes.append(Mistake(key="causes", found=say("none"), expected=say("at least one cause")))
    if mistakes or scoring is None:
        raise SheetRefused(mistakes, where=where or say("the table of causes"))
    return Table(scoring=scoring, cautions=cautions, causes=tuple(merged.values()))


@cache
def packaged_table() -> Table:
    """Return the table that comes with the program.

    >>> "chipped-stone" in {row.id for row in packaged_table().causes}
    True
    """
    text = files("cellmon.diagnosis").joinpath("causes.toml").read_text(encoding="utf-8")
    return read_table(tomllib.loads(text), where=say("the packaged table of causes"))


def _scoring(given: Any, over: Table | None, mistakes: list[Mistake]) -> Scoring | None:
    if not isinstance(given, Mapping):
        mistakes.append(
            Mistake(key="scoring", found=_shown(given), expected=say("a section [{name}]", name="scoring"))
        )
        return None
    return _checked(Scoring, {**(over.scoring.model_dump() if over else {}), **given}, "scoring", mistakes)


def _cautions(given: Any, mistakes: list[Mistake]) -> dict[str, str]:
    if not isinstance(given, Mapping):
        mistakes.append(
            Mistake(key="cautions", found=_shown(given), expected=say("a section [{name}]", name="cautions"))
        )
        return {}
    for name, text in given.items():
        if not isinstance(text, str) or not text.strip():
            mistakes.append(Mistake(key=f"cautions.{name}", found=_shown(text), expected=say("a text")))
    return {str(name): str(text) for name, text in given.items()}


def _rows(given: Any, mistakes: list[Mistake]) -> list[CauseRow]:
    if not isinstance(given, list):
        mistakes.append(Mistake(key="causes", found=_shown(given), expected=say("entries of [[causes]]")))
        return []
    rows = []
    for at, entry in enumerate(given, start=1):
        named = entry.get("id") if isinstance(entry, Mapping) else None
        row = _checked(CauseRow, entry, f"causes.{named if isinstance(named, str) else at}", mistakes)
        if row is not None:
            rows.append(row)
    return rows


def _names(given: Any, mistakes: list[Mistake]) -> frozenset[str]:
    if isinstance(given, list) and all(isinstance(name, str) for name in given):
        return frozenset(given)
    mistakes.append(Mistake(key="leave_out", found=_shown(given), expected=say("a list of ids of causes")))
    return frozenset()


def _across(
    rows: Iterable[CauseRow], cautions: Mapping[str, str], left_out: frozenset[str], over: Table | None
) -> Iterator[Mistake]:
    ids = [row.id for row in rows]
    for name in sorted({one for one in ids if ids.count(one) > 1}):
        yield Mistake(key=f"causes.{name}", found=say("this id twice"), expected=say("each id once"))
    for row in rows:
        for name in row.also:
            if name not in cautions:
                yield Mistake(
                    key=f"causes.{row.id}.also", found=repr(name), expected=_listed(sorted(cautions))
                )
    known = {row.id for row in over.causes} if over else set()
    for name in sorted(left_out - known):
        expected = say("the id of a cause of the table beneath")
        yield Mistake(key="leave_out", found=repr(name), expected=expected)


def _checked(model: type[S], given: Any, key: str, mistakes: list[Mistake]) -> S | None:
    try:
        return model.model_validate(given)
    except ValidationError as refused:
        mistakes += [_mistake(key, error) for error in refused.errors()]
        return None


def _mistake(key: str, error: Any) -> Mistake:
    steps = [str(step + 1) if isinstance(step, int) else str(step) for step in error["loc"]]
    found, expected = _shown(error["input"]), asked(error)
    if error["type"] == "missing":
        found = say("nothing")
    elif error["type"] == "string_pattern_mismatch":
        expected = say("small letters, figures and hyphens")
    return Mistake(key=".".join([key, *steps]), found=found, expected=expected)


def _listed(names: Iterable[str]) -> str:
    return say("one of {names}", names=", ".join(names))


def _shown(given: Any) -> str:
    return repr(given)[:80]
