"""Inspection results as a QIF document, version 3.0 (ISO 23952): characteristics, limits, values, status.

The names and the order of elements are those of the schema published with the standard (QIFDocument,
QIFResults, Characteristics, QIFMeasurementResources, version 3.0.0); `qif_check` holds every file against
them before it is left behind. Where a bore lies on the part is not in a cell sheet, so no features are
written.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from itertools import groupby
from xml.sax.saxutils import escape

from cellmon import __version__
from cellmon.monitor.results import Quantity, ResultCharacteristic, Results, ResultValue
from cellmon.records import Verdict

NAMESPACE = "http://qifstandards.org/xsd/qif3"
VERSION = "3.0.0"
NAMES = {
    Quantity.DIAMETER: "Diameter",
    Quantity.CIRCULARITY: "Circularity",
    Quantity.CYLINDRICITY: "Cylindricity",
    Quantity.LENGTH: "UserDefinedLinear",
}
"""How element names of each quantity begin."""
STATUS = {
    Verdict.CONFORMS: "PASS",
    Verdict.DOES_NOT_CONFORM: "FAIL",
    Verdict.UNDECIDED: "INDETERMINATE",
}
WHOLE = {"PASS": "PASS", "FAIL": "FAIL", "INDETERMINATE": "UNKNOWN"}
"""Status of a block: the list of inspections knows no INDETERMINATE."""
_OURS = uuid.UUID("6f0c1b7e-5d0c-5b52-9d3a-3e6f6a1f9c11")
"""Of no meaning but to make the same results give the same document id."""


def qif_lines(answer: Results) -> Iterator[str]:
    """Yield a QIF document line by line; the same results give the same lines."""
    ids = _Ids(answer)
    yield '<?xml version="1.0" encoding="UTF-8"?>'
    yield f'<QIFDocument xmlns="{NAMESPACE}" versionQIF="{VERSION}" idMax="{ids.most}">'
    yield f"<QPId>{_document_id(answer)}</QPId>"
    yield from _header(answer)
    yield f'<StandardsDefinitions n="1"><Standard id="{ids.standard}"><Organization>'
    yield "<StandardsOrganizationEnum>ISO</StandardsOrganizationEnum></Organization>"
    yield "<Designator>1101</Designator><Year>2017</Year></Standard></StandardsDefinitions>"
    yield "<FileUnits><PrimaryUnits><LinearUnit><SIUnitName>meter</SIUnitName><UnitName>mm</UnitName>"
    yield "<UnitConversion><Factor>0.001</Factor></UnitConversion></LinearUnit></PrimaryUnits></FileUnits>"
    yield from _devices(answer, ids)
    yield from _characteristics(answer, ids)
    yield from _results(answer, ids)
    yield "</QIFDocument>"


class _Ids:
    """Numbers of the document: 1 the standard, then devices, characteristics by three, blocks, values."""

    def __init__(self, answer: Results) -> None:
        self.standard = 1
        self.device = {name: 2 + i for i, name in enumerate(answer.gauges)}
        start = 2 + len(answer.gauges)
        self.definition = {c.key: start + 3 * i for i, c in enumerate(answer.characteristics)}
        start += 3 * len(answer.characteristics)
        self.block = {serial: start + 2 * i for i, serial in enumerate(answer.serials)}
        self.first_value = start + 2 * len(answer.serials)
        self.most = self.first_value + len(answer.values) - 1


def _document_id(answer: Results) -> uuid.UUID:
    told = [f"{v.characteristic}|{v.serial}|{v.at}|{v.value_mm!r}" for v in answer.values]
    return uuid.uuid5(_OURS, "|".join([answer.cell, answer.as_of.isoformat(), str(answer.sheet), *told]))


def _header(answer: Results) -> Iterator[str]:
    yield "<Header><Application><Name>cellmon</Name><Organization>cellmon</Organization></Application>"
    words = f"{answer.cell}, as of {answer.as_of.isoformat()}, sheet version {answer.sheet}, verdicts "
    words += f"{answer.rule}, cellmon {__version__}"
    if answer.left_out:
        words += f"; left out, no lengths: {', '.join(answer.left_out)}"
    yield f"{_element('Description', words)}<Scope>Results</Scope></Header>"


def _devices(answer: Results, ids: _Ids) -> Iterator[str]:
    if not answer.gauges:
        return
    yield f'<MeasurementResources><MeasurementDevices n="{len(answer.gauges)}">'
    for name in answer.gauges:
        yield f'<MeasurementDevice id="{ids.device[name]}">{_element("Name", name)}</MeasurementDevice>'
    yield "</MeasurementDevices></MeasurementResources>"


def _characteristics(answer: Results, ids: _Ids) -> Iterator[str]:
    every = answer.characteristics
    yield f"<Characteristics><FormalStandardId>{ids.standard}</FormalStandardId>"
    for aspect, one in (("Definition", _definition), ("Nominal", _nominal), ("Item", _item)):
        yield f'<Characteristic{aspect}s n="{len(every)}">'
        for c in every:
            name = f"{NAMES[c.quantity]}Characteristic{aspect}"
            offset = ("Definition", "Nominal", "Item").index(aspect)
            at = ids.definition[c.key] + offset
            yield f'<{name} id="{at}">{"".join(one(c, ids))}</{name}>'
        yield f"</Characteristic{aspect}s>"
    yield "</Characteristics>"


def _definition(c: ResultCharacteristic, ids: _Ids) -> Iterator[str]:
    drawing = f"drawing {c.part_number}, revision {c.revision or 'not stated'}, bore {c.bore}: {c.what}"
    yield _element("Description", drawing)
    yield _element("Name", _name(c))
    if c.quantity in (Quantity.CIRCULARITY, Quantity.CYLINDRICITY):
        yield f"<ToleranceValue>{_figure(c.upper_mm or 0.0)}</ToleranceValue>"
        return
    limits = ((c.upper_mm, "MaxValue"), (c.lower_mm, "MinValue"))
    inner = "".join(f"<{name}>{_figure(v)}</{name}>" for v, name in limits if v is not None)
    yield f"<Tolerance>{inner}<DefinedAsLimit>true</DefinedAsLimit></Tolerance>"
    if c.quantity is Quantity.LENGTH:
        yield _element("WhatToMeasure", c.what)


def _nominal(c: ResultCharacteristic, ids: _Ids) -> Iterator[str]:
    yield f"<CharacteristicDefinitionId>{ids.definition[c.key]}</CharacteristicDefinitionId>"
    yield _element("Name", _name(c))
    if c.nominal_mm is not None:
        yield f"<TargetValue>{_figure(c.nominal_mm)}</TargetValue>"


def _item(c: ResultCharacteristic, ids: _Ids) -> Iterator[str]:
    yield _element("Name", _name(c))
    if c.number is not None:
        designator = _element("Designator", c.number)
        yield f"<CharacteristicDesignator>{designator}</CharacteristicDesignator>"
    yield f"<CharacteristicNominalId>{ids.definition[c.key] + 1}</CharacteristicNominalId>"


def _name(c: ResultCharacteristic) -> str:
    return f"bore {c.bore} {c.feature if c.column == c.feature else c.column}".replace("_", " ")


def _results(answer: Results, ids: _Ids) -> Iterator[str]:
    kinds = {c.key: c.quantity for c in answer.characteristics}
    yield f'<Results><MeasurementResultsSet n="{len(answer.serials)}">'
    at, whole = ids.first_value, {}
    for serial, found in groupby(answer.values, key=lambda v: v.serial):
        values = list(found)
        whole[serial] = _worst(values)
        yield f'<MeasurementResults id="{ids.block[serial]}"><MeasuredCharacteristics>'
        yield f'<CharacteristicMeasurements n="{len(values)}">'
        for value in values:
            yield _measured(value, kinds[value.characteristic], at, ids)
            at += 1
        yield "</CharacteristicMeasurements></MeasuredCharacteristics>"
        yield _status("InspectionStatus", whole[serial])
        yield f'<ActualComponentIds n="1"><Id>{ids.block[serial] + 1}</Id></ActualComponentIds>'
        yield "</MeasurementResults>"
    yield "</MeasurementResultsSet>"
    yield f'<ActualComponentSets n="1"><ActualComponentSet n="{len(answer.serials)}">'
    for serial in answer.serials:
        yield (
            f'<ActualComponent id="{ids.block[serial] + 1}">{_element("SerialNumber", serial)}'
            f"{_status('Status', whole[serial])}</ActualComponent>"
        )
    yield "</ActualComponentSet></ActualComponentSets></Results>"


def _measured(value: ResultValue, quantity: Quantity, at: int, ids: _Ids) -> str:
    name = f"{NAMES[quantity]}CharacteristicMeasurement"
    item = ids.definition[value.characteristic] + 2
    stamp = "" if value.at is None else f"<TimeStamp>{value.at.isoformat()}</TimeStamp>"
    device = ""
    if value.gauge is not None:
        device = f'<MeasurementDeviceIds n="1"><Id>{ids.device[value.gauge]}</Id></MeasurementDeviceIds>'
    return (
        f'<{name} id="{at}"><Status><CharacteristicStatusEnum>{STATUS[value.verdict]}'
        f"</CharacteristicStatusEnum></Status><CharacteristicItemId>{item}</CharacteristicItemId>{stamp}"
        f"<ActualComponentId>{ids.block[value.serial] + 1}</ActualComponentId>{device}"
        f"<Value>{_figure(value.value_mm)}</Value></{name}>"
    )


def _worst(values: Sequence[ResultValue]) -> str:
    found = {STATUS[v.verdict] for v in values}
    return WHOLE[next(s for s in ("FAIL", "INDETERMINATE", "PASS") if s in found)]


def _status(name: str, status: str) -> str:
    return f"<{name}><InspectionStatusEnum>{status}</InspectionStatusEnum></{name}>"


def _figure(value: float) -> str:
    """Return a length in millimetres with a tenth of a nanometre, without an exponent."""
    said = f"{value:.7f}".rstrip("0").rstrip(".")
    return "0" if said in ("-0", "") else said


def _element(name: str, words: str) -> str:
    return f"<{name}>{escape(words)}</{name}>"
