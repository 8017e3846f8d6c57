"""QIF 3.0 results as a file, and the check of its structure that each must pass.

By the rules of the published schema that such a file uses.
Held: root, namespace and version; a UUID; every id a whole number, once only, the greatest named by
`idMax`; every `n` the count of what it counts; the order of elements; every reference to a thing of the
right kind; every status from its list; every value a number, and within its limits where it says PASS.
Not held: what a schema holds beyond that. `validate` does, where a folder with the schema is given.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterator
from math import isfinite
from pathlib import Path
from xml.etree import ElementTree

from cellmon.errors import FileUnreadable, NotByTheStandard, WrongUsage
from cellmon.export.files import check_name, replacing
from cellmon.export.qif_file import NAMESPACE, VERSION, qif_lines
from cellmon.monitor.results import Results

Element = ElementTree.Element
ORDER = {
    "QIFDocument": (
        *("QPId", "Attributes", "VersionHistory", "Version", "Header", "ValidationCounts"),
        *("ProductDataQuality", "ExternalQIFReferences", "StandardsDefinitions", "SoftwareDefinitions"),
        *("AlgorithmDefinitions", "PreInspectionTraceability", "FileUnits", "DatumDefinitions"),
        *("DatumTargetDefinitions", "Transforms", "CoordinateSystems", "DatumReferenceFrames"),
        *("MeasurementResources", "ThreadSpecifications", "Product", "Features", "FeatureZones"),
        *("Characteristics", "Plan", "Results", "Statistics", "ManufacturingProcessTraceabilities"),
        *("Rules", "UserDataXML", "Signature"),
    ),
    "Header": ("Application", "Author", "ApplicationSource", "Description", "Scope"),
    "Characteristics": (
        *("FormalStandardId", "CharacteristicDefinitions", "CharacteristicNominals"),
        "CharacteristicItems",
    ),
    "Results": ("Version", "MeasurementResultsSet", "ActualComponentSets", "InspectionTraceability"),
    "MeasurementResults": (
        *("Attributes", "InspectionTraceability", "ThisResultsInstanceQPId", "ExternalFileReferences"),
        *("MeasuredFeatures", "MeasuredPointSets", "MeasuredCharacteristics", "ActualTransforms"),
        *("CoordinateSystemActualTransformAssociations", "InspectionStatus", "ActualComponentIds"),
    ),
    "ActualComponent": (
        *("Attributes", "SerialNumber", "AdditionalChanges", "Status", "Traceability", "AsmPathId"),
    ),
    "CharacteristicDefinition": (
        *("Attributes", "Description", "Name", "CharacteristicDesignator", "ToleranceValue", "Tolerance"),
        *("NonTolerance", "WhatToMeasure"),
    ),
    "CharacteristicNominal": (
        *("Attributes", "Description", "CharacteristicDefinitionId", "FeatureNominalIds", "Name"),
        *("CharacteristicDesignator", "TargetValue"),
    ),
    "CharacteristicItem": (
        *("Attributes", "Description", "Name", "CharacteristicDesignator", "FeatureItemIds"),
        *("MeasurementDeviceIds", "CharacteristicNominalId", "LocationOnDrawing"),
    ),
    "CharacteristicMeasurement": (
        *("Attributes", "Description", "Status", "CharacteristicItemId", "TimeStamp"),
        *("FeatureMeasurementIds", "ActualComponentId", "MeasurementDeviceIds", "ManufacturingProcessId"),
        *("NotedEventIds", "NonConformanceDesignator", "Value", "MaxValue", "MinValue"),
    ),
    "Tolerance": ("MaxValue", "MinValue", "DefinedAsLimit"),
}
"""Elements in the order of the schema; of the longer lists those this program may write and their like."""
NEEDED = {
    "QIFDocument": ("QPId",),
    "MeasurementResults": ("InspectionStatus",),
    "ActualComponent": ("Status",),
    "CharacteristicNominal": ("CharacteristicDefinitionId",),
    "CharacteristicItem": ("CharacteristicNominalId",),
    "CharacteristicMeasurement": ("Status", "CharacteristicItemId"),
}
STATUSES = {
    "CharacteristicStatusEnum": (
        *("PASS", "FAIL", "REWORK", "SYSERROR", "INDETERMINATE", "NOT_ANALYZED", "BASIC_OR_TED"),
        "UNDEFINED",
    ),
    "InspectionStatusEnum": (
        *("PASS", "FAIL", "REWORK", "SYSERROR", "UNKNOWN", "NOT_CALCULATED", "NOT_MEASURED"),
        "UNDEFINED",
    ),
}
REFERENCES = {
    "FormalStandardId": "Standard",
    "CharacteristicDefinitionId": "CharacteristicDefinition",
    "CharacteristicNominalId": "CharacteristicNominal",
    "CharacteristicItemId": "CharacteristicItem",
    "ActualComponentId": "ActualComponent",
}
LISTS = {"MeasurementDeviceIds": "MeasurementDevice", "ActualComponentIds": "ActualComponent"}
_ASPECT = re.compile(r"^(\w+?)(Characteristic(?:Definition|Nominal|Item|Measurement))$")


def write_qif(answer: Results, path: Path, *, schema: Path | None = None) -> Path:
    """Write results to a file, check it, and return its path; a file with a fault is not left behind.

    Parameters
    ----------
    answer : Results
    path : Path
        Its name ends in `.qif`.
    schema : Path, optional
        A folder with the standard's schema, against which the file is held too; needs lxml.

    Raises
    ------
    WrongUsage
        When there is nothing to write, or the file's name says another format, or see `validate`.
    NotByTheStandard
        When the file does not pass; what stood there before still stands.
    OSError
        When the file cannot be written.
    """
    check_name(path, "qif")
    if not answer.values:
        raise WrongUsage("no result to write: nothing with a limit was measured there")
    with replacing(path) as beside:
        with beside.open("w", encoding="utf-8", newline="\n") as out:
            out.writelines(line + "\n" for line in qif_lines(answer))
        found = faults(beside)
        if found:
            raise NotByTheStandard("the QIF document fails its own check", found)
        against = () if schema is None else validate(beside, schema)
        if against:
            raise NotByTheStandard(f"the QIF document does not hold against {schema}", against)
    return path


def faults(path: Path) -> tuple[str, ...]:
    """Return what is wrong with a file, the first fault first; none where it passes.

    Raises
    ------
    FileUnreadable
        When it is no XML.
    """
    found: list[str] = []
    walk = _Walk()
    try:
        for event, element in ElementTree.iterparse(path, events=("start", "end")):
            found += walk.started(element) if event == "start" else walk.ended(element)
            if walk.foreign:
                return tuple(found)
    except (ElementTree.ParseError, OSError) as wrong:
        raise FileUnreadable(str(path), f"no XML that can be read: {wrong}") from wrong
    return (*found, *walk.finished())


def validate(path: Path, folder: Path) -> tuple[str, ...]:
    """Return what a schema says is wrong with a file, none where it passes; needs lxml.

    Parameters
    ----------
    folder : Path
        Holds `QIFDocument.xsd`, itself or in `QIFApplications`, with all that it includes.

    Raises
    ------
    WrongUsage
        When lxml is not installed, or the folder holds no schema that can be read.
    """
    try:
        from lxml import etree
    except ImportError as missing:
        raise WrongUsage("a schema needs lxml: pip install 'cellmon[qif]'") from missing
    places = (folder / "QIFApplications" / "QIFDocument.xsd", folder / "QIFDocument.xsd")
    found = next((place for place in places if place.is_file()), None)
    if found is None:
        raise WrongUsage(f"{folder}: no QIFDocument.xsd is there")
    try:
        schema = etree.XMLSchema(file=str(found))
    except etree.LxmlError as wrong:
        raise WrongUsage(f"{found}: no schema that can be read: {wrong}") from wrong
    schema.validate(etree.parse(str(path)))
    return tuple(f"line {e.line}: {e.message}" for e in schema.error_log)


class _Walk:
    """One walk through a file, element by element; what is done with is let go of, so a large file fits."""

    def __init__(self) -> None:
        self.foreign = False
        self._root: Element | None = None
        self._most = 0
        self._kinds: dict[str, str] = {}
        self._references: dict[tuple[str, str, str], None] = {}
        self._known: dict[str, Element] = {}

    def started(self, element: Element) -> Iterator[str]:
        """Yield faults of the root as it begins."""
        if self._root is not None:
            return
        self._root = element
        if element.tag != f"{{{NAMESPACE}}}QIFDocument":
            self.foreign = True
            yield f"the root is {element.tag}, not QIFDocument of {NAMESPACE}"
        elif element.get("versionQIF") != VERSION:
            yield f"versionQIF is {element.get('versionQIF')}, not {VERSION}"

    def ended(self, element: Element) -> Iterator[str]:
        """Yield faults of one element that is whole."""
        kind = _kind(element)
        yield from self._id(element, kind)
        yield from _count(element)
        yield from _order(element)
        yield from _status(element)
        self._refer(element)
        if kind in ("CharacteristicDefinition", "CharacteristicNominal", "CharacteristicItem"):
            self._known[element.get("id", "")] = element
        if kind == "CharacteristicMeasurement":
            yield from _value(element, self._known)
        if kind in ("CharacteristicMeasurement", "MeasurementResults", "ActualComponent"):
            for child in list(element):
                element.remove(child)

    def finished(self) -> Iterator[str]:
        """Yield faults that only the end of the file shows."""
        root = self._root
        assert root is not None
        found = root.findtext(f"{{{NAMESPACE}}}QPId", "")
        try:
            uuid.UUID(found)
        except ValueError:
            yield f"QPId is no UUID: {found!r}"
        if root.get("idMax") != str(self._most):
            yield f"idMax is {root.get('idMax')}, the greatest id {self._most}"
        for name, target, right in self._references:
            kind = self._kinds.get(target)
            if kind != right:
                yield f"{name} {target}: that is {kind or 'nothing'}, not a {right}"

    def _id(self, element: Element, kind: str) -> Iterator[str]:
        own = element.get("id")
        if own is None:
            return
        if not own.isdecimal() or int(own) < 1:
            yield f"{_name(element)}: id {own!r} is no whole number above 0"
            return
        if own in self._kinds:
            yield f"{_name(element)}: id {own} is there twice"
        self._kinds[own] = kind
        self._most = max(self._most, int(own))

    def _refer(self, element: Element) -> None:
        name = _name(element)
        right = REFERENCES.get(name)
        if right is not None:
            self._references[name, (element.text or "").strip(), right] = None
        for target in element if name in LISTS else ():
            self._references[name, (target.text or "").strip(), LISTS[name]] = None


def _name(element: Element) -> str:
    return element.tag.rpartition("}")[2]


def _kind(element: Element) -> str:
    """Return what sort of thing an element is: of characteristics the aspect, else its name."""
    aspect = _ASPECT.match(_name(element))
    return aspect.group(2) if aspect else _name(element)


def _count(element: Element) -> Iterator[str]:
    said = element.get("n")
    if said is not None and said != str(len(element)):
        yield f"{_name(element)}: n is {said}, it holds {len(element)}"


def _order(element: Element) -> Iterator[str]:
    kind = _kind(element)
    names = [_name(child) for child in element]
    for needed in NEEDED.get(kind, ()):
        if needed not in names:
            yield f"{_name(element)} {element.get('id', '')}: {needed} is missing"
    allowed = ORDER.get(kind)
    if allowed is None:
        return
    strange = [name for name in names if name not in allowed]
    if strange:
        yield f"{_name(element)} {element.get('id', '')}: {strange[0]} has no place there"
        return
    places = [allowed.index(name) for name in names]
    if places != sorted(places):
        yield f"{_name(element)} {element.get('id', '')}: its elements are not in the order of the schema"


def _status(element: Element) -> Iterator[str]:
    allowed = STATUSES.get(_name(element))
    if allowed is not None and element.text not in allowed:
        yield f"{_name(element)}: {element.text!r} is not in the list"


def _value(element: Element, known: dict[str, Element]) -> Iterator[str]:
    """Yield faults of a value: no number, another sort than its item, or PASS beyond a limit."""
    own = f"{_name(element)} {element.get('id')}"
    said = _text(element, "Value")
    value = _number(said)
    if value is None:
        yield f"{own}: the value {said!r} is no number"
        return
    definition = _definition_of(element, known)
    if definition is None:
        return
    if _name(definition).replace("Definition", "") != _name(element).replace("Measurement", ""):
        yield f"{own}: measures what {_name(definition)} does not define"
    low, high = _limits(definition)
    passed = element.findtext(f".//{{{NAMESPACE}}}CharacteristicStatusEnum") == "PASS"
    if passed and not low - 1e-9 <= value <= high + 1e-9:
        yield f"{own}: says PASS at {said}, beyond {low:g} to {high:g}"


def _text(element: Element, name: str) -> str:
    return element.findtext(f"{{{NAMESPACE}}}{name}", "")


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if isfinite(value) else None


def _definition_of(element: Element, known: dict[str, Element]) -> Element | None:
    found: Element | None = element
    for name in ("CharacteristicItemId", "CharacteristicNominalId", "CharacteristicDefinitionId"):
        found = known.get(_text(found, name)) if found is not None else None
    return found


def _limits(definition: Element) -> tuple[float, float]:
    zone = _number(_text(definition, "ToleranceValue"))
    if zone is not None:
        return 0.0, zone
    tolerance = definition.find(f"{{{NAMESPACE}}}Tolerance")
    if tolerance is None:
        return -float("inf"), float("inf")
    low, high = _number(_text(tolerance, "MinValue")), _number(_text(tolerance, "MaxValue"))
    return (-float("inf") if low is None else low), (float("inf") if high is None else high)
