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

REQUIRED = ("cell", "part", "features", "measuring")
ALONE = {"part": "parts", "stones": "stone_kinds"}
"""Sections that are short for a list with one entry."""
FALLBACK = DiameterFeature(nominal=1.0)
"""Stands in for a size with mistakes, so that the rest of the sheet is still checked."""


def checked_sheet(given: Mapping[str, Any], *, where: str = "the cell sheet") -> Sheet:
    """Return the sheet that a mapping describes, or refuse it with every mistake at once.

    Parameters
    ----------
    given : Mapping
        The sheet as its file was parsed, sections by name.
    where : str
        How to call the sheet in the refusal.

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
            mistakes.append(Mistake(key=name, found="a section", expected=_known_sections()))
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
            yield Mistake(key=name, found="nothing", expected=f"a section [{name}]")


def _long_form(given: Mapping[str, Any]) -> dict[str, Any]:
    plain = {name: value for name, value in given.items() if name not in {*ALONE, "features"}}
    if isinstance(given.get("part"), Mapping):
        plain["parts"] = [{**given["part"], "features": given.get("features", {})}]
    if isinstance(given.get("stones"), Mapping):
        plain["stone_kinds"] = [given["stones"], *given.get("stone_kinds", [])]
    return plain


def _known_sections() -> str:
    names = sorted((set(Sheet.model_fields) - {"parts"}) | {"part", "parts", "features", "stones"})
    return "one of " + ", ".join(names)


def _mistake(section: str, error: Any) -> Mistake:
    path = [str(step) for step in error["loc"] if str(step) not in ("DiameterFeature", "FormFeature")]
    if section == "parts" and path[:1] == ["0"]:
        path = path[1:] if path[1:2] == ["features"] else ["part", *path[1:]]
        section = ""
    found = error["input"]
    shown = "nothing" if error["type"] == "missing" else repr(found)
    expected = error["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
    if error["type"] == "missing":
        expected = "a value"
    elif error["type"] == "extra_forbidden":
        expected = "no such key here"
    return Mistake(key=".".join([section, *path] if section else path), found=shown[:80], expected=expected)


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
                yield Mistake(
                    key=f"spindles.{spindle.id}.bores", found=repr(bore), expected=f"one of {sorted(known)}"
                )


def _measurable(measuring: Measuring, parts: tuple[Part, ...]) -> Iterator[Mistake]:
    needs = {
        "taper": (len(measuring.planes), 2, "two planes"),
        "barrel": (len(measuring.planes), 3, "three planes"),
        "twist": (min(len(measuring.planes), len(measuring.directions)), 2, "two planes and directions"),
        "ovality": (len(measuring.directions), 2, "two directions"),
        "roundness": (len(measuring.directions), 2, "two directions"),
    }
    for part in parts:
        for name, (got, need, words) in needs.items():
            if name in part.features and got < need:
                yield Mistake(key=f"features.{name}", found=f"{got} in [measuring]", expected=words)
        if part.length_mm is not None:
            for plane, depth in measuring.planes.items():
                if depth > part.length_mm:
                    yield Mistake(
                        key=f"measuring.planes.{plane}",
                        found=f"{depth} mm",
                        expected=f"a depth inside the bore of {part.length_mm} mm",
                    )


def _twice(key: str, names: list[str]) -> Iterator[Mistake]:
    for name in sorted({n for n in names if names.count(n) > 1}):
        yield Mistake(key=key, found=f"{name!r} twice", expected="each once")


def _named(key: str, given: Mapping[str, Any], known: list[str]) -> Iterator[Mistake]:
    for name in given:
        if name not in known:
            yield Mistake(key=f"{key}.{name}", found=repr(name), expected=f"one of {known}")
