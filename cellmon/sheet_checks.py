"""Checks that span a sheet: every mistake at once, each with its key, what stands there, what is asked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, cast

from pydantic import TypeAdapter, ValidationError

from cellmon.errors import Mistake, SheetRefused
from cellmon.sheet import (
    DiameterFeature,
    FormFeature,
    Measuring,
    Part,
    Sheet,
    Spindle,
    StoneKind,
    feature_model,
)
from cellmon.sheet.like_parts import like_mistakes
from cellmon.sheet.section import asked
from cellmon.words import say, to_say

REQUIRED = ("cell", "part", "features", "measuring")
ALONE = {"part": "parts", "stones": "stone_kinds"}
"""Sections that are short for a list with one entry."""
FALLBACK = DiameterFeature(nominal=1.0)
"""Stands in for a size with mistakes, so that the rest of the sheet is still checked."""


def checked_sheet(given: Mapping[str, Any], *, where: str | None = None) -> Sheet:
    """Return the sheet that a mapping describes, or refuse it with every mistake at once.

    Parameters
    ----------
    given : Mapping
        The sheet as its file was parsed, sections by name.
    where : str
        How to call the sheet in the refusal, where not "the cell sheet".

    Raises
    ------
    SheetRefused
        With one `Mistake` for each thing wrong.
    """
    mistakes = list(_sections_missing(given))
    valid: dict[str, Any] = {}
    for name, value in _long_form(given).items():
        field = Sheet.model_fields.get(name)
        if field is None:
            mistakes.append(Mistake(key=name, found=say("a section"), expected=_known_sections()))
            continue
        checked = value
        if name == "parts" and isinstance(value, list):
            checked = [_with_features(i, part, mistakes) for i, part in enumerate(value)]
        try:
            adapter: TypeAdapter[Any] = TypeAdapter(cast(Any, field.annotation))
            valid[name] = adapter.validate_python(checked)
        except ValidationError as refused:
            mistakes += [_mistake(name, error) for error in refused.errors()]
    mistakes += _across(valid)
    if mistakes:
        raise SheetRefused(mistakes, where=where)
    return Sheet(**valid)


def _with_features(index: int, part: Any, mistakes: list[Mistake]) -> Any:
    """Check each feature by the model its name asks for; one that fails is told and left out."""
    if not isinstance(part, Mapping) or not isinstance(part.get("features"), Mapping):
        return part
    good: dict[str, Any] = {}
    for name, given in part["features"].items():
        try:
            good[name] = feature_model(name).model_validate(given)
        except ValidationError as refused:
            for error in refused.errors():
                loc = (index, "features", name, *error["loc"])
                mistakes.append(_mistake("parts", {**error, "loc": loc}))
            good[name] = FALLBACK if name == "diameter" else FormFeature(unit="")
    return {**part, "features": good}


def _sections_missing(given: Mapping[str, Any]) -> Iterator[Mistake]:
    for name in REQUIRED:
        covered = "parts" in given and name in ("part", "features")
        if name not in given and not covered:
            yield Mistake(key=name, found=say("nothing"), expected=say("a section [{name}]", name=name))


def _long_form(given: Mapping[str, Any]) -> dict[str, Any]:
    plain = {name: value for name, value in given.items() if name not in {*ALONE, "features"}}
    if isinstance(given.get("part"), Mapping):
        plain["parts"] = [{**given["part"], "features": given.get("features", {})}]
    if isinstance(given.get("stones"), Mapping):
        plain["stone_kinds"] = [given["stones"], *given.get("stone_kinds", [])]
    return plain


def _known_sections() -> str:
    names = sorted((set(Sheet.model_fields) - {"parts"}) | {"part", "parts", "features", "stones"})
    return say("one of {names}", names=", ".join(names))


def _mistake(section: str, error: Any) -> Mistake:
    path = [str(step) for step in error["loc"] if str(step) not in ("DiameterFeature", "FormFeature")]
    if section == "parts" and path[:1] == ["0"]:
        path = path[1:] if path[1:2] == ["features"] else ["part", *path[1:]]
        section = ""
    found = error["input"]
    shown = say("nothing") if error["type"] == "missing" else repr(found)
    key = ".".join([section, *path] if section else path)
    return Mistake(key=key, found=shown[:80], expected=asked(error))


def _across(valid: Mapping[str, Any]) -> Iterator[Mistake]:
    parts: tuple[Part, ...] = valid.get("parts", ())
    spindles: tuple[Spindle, ...] = valid.get("spindles", ())
    kinds: tuple[StoneKind, ...] = valid.get("stone_kinds", ())
    yield from _routing(parts, spindles)
    yield from _twice("spindles", [s.id for s in spindles])
    yield from _twice("parts", [p.number for p in parts])
    yield from like_mistakes(parts)
    yield from _twice("gauges", [g.id for g in valid.get("gauges", ())])
    yield from _twice("shifts", [s.name for s in valid.get("shifts", ())])
    yield from _twice("shifts.starts", [str(s.starts) for s in valid.get("shifts", ())])
    if "measuring" in valid:
        yield from _measurable(valid["measuring"], parts)
    if valid.get("planning") is not None:
        planning = valid["planning"]
        yield from _named("planning.bores_per_shift", planning.bores_per_shift, [s.id for s in spindles])
        yield from _named("planning.opening_stock", planning.opening_stock, [k.id for k in kinds])


def _routing(parts: tuple[Part, ...], spindles: tuple[Spindle, ...]) -> Iterator[Mistake]:
    known = {bore for part in parts for bore in part.bores}
    for spindle in spindles:
        for bore in spindle.bores:
            if parts and bore not in known:
                expected = say("one of {names}", names=sorted(known))
                yield Mistake(key=f"spindles.{spindle.id}.bores", found=repr(bore), expected=expected)


def _measurable(measuring: Measuring, parts: tuple[Part, ...]) -> Iterator[Mistake]:
    needs = {
        "taper": (len(measuring.planes), 2, to_say("two planes")),
        "barrel": (len(measuring.planes), 3, to_say("three planes")),
        "twist": (
            min(len(measuring.planes), len(measuring.directions)),
            2,
            to_say("two planes and directions"),
        ),
        "ovality": (len(measuring.directions), 2, to_say("two directions")),
        "roundness": (len(measuring.directions), 2, to_say("two directions")),
    }
    for part in parts:
        for name, (got, need, words) in needs.items():
            if name in part.features and got < need:
                found = say("{count} in [measuring]", count=got)
                yield Mistake(key=f"features.{name}", found=found, expected=say(words))
        if part.length_mm is not None:
            for plane, depth in measuring.planes.items():
                if depth > part.length_mm:
                    yield Mistake(
                        key=f"measuring.planes.{plane}",
                        found=f"{depth} mm",
                        expected=say("a depth inside the bore of {length} mm", length=part.length_mm),
                    )


def _twice(key: str, names: list[str]) -> Iterator[Mistake]:
    for name in sorted({n for n in names if names.count(n) > 1}):
        yield Mistake(key=key, found=say("{name} twice", name=repr(name)), expected=say("each once"))


def _named(key: str, given: Mapping[str, Any], known: list[str]) -> Iterator[Mistake]:
    for name in given:
        if name not in known:
            yield Mistake(key=f"{key}.{name}", found=repr(name), expected=say("one of {names}", names=known))
