"""QIF 3.0 results: what is written, and a check that finds each fault put into it.

The order of elements and the closed lists are those of the published schema, version 3.0.0 (QIFDocument,
QIFResults and Characteristics; read, not at hand here as files).
"""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from cellmon.errors import FileUnreadable, NotByTheStandard, NotFound, WrongUsage
from cellmon.export.qif_check import faults, validate, write_qif
from cellmon.export.qif_file import NAMESPACE, qif_lines
from cellmon.records import Verdict
from tests.small_cell import HEADER, SHEET, new_cell, rows, write

Q = f"{{{NAMESPACE}}}"
NUMBERED = SHEET.replace('number = "P-1"', 'number = "P-1"\nrevision = "B & <C>"').replace(
    "[features.diameter]", '[features.diameter]\nnumber = "12"'
)


@pytest.fixture(scope="module")
def monitor(tmp_path_factory):
    folder = tmp_path_factory.mktemp("qif")
    opened = new_cell(folder / "cell", sheet=NUMBERED)
    opened.take([write(folder, "rows.csv", HEADER, rows(40, seed=3, jump_at=35))])
    return opened


@pytest.fixture(scope="module")
def path(monitor, tmp_path_factory):
    return write_qif(monitor.results(), tmp_path_factory.mktemp("out") / "all.qif")


def changed(path: Path, tmp_path: Path, pattern: str, put: str, *, count: int = 1) -> tuple[str, ...]:
    """Return the faults of the file with one thing in it changed."""
    before = path.read_text()
    after = re.sub(pattern, put, before, count=count)
    assert after != before, f"{pattern} is not in the file"
    spoilt = tmp_path / "spoilt.qif"
    spoilt.write_text(after)
    return faults(spoilt)


def test_a_file_passes_its_own_check_and_is_the_same_every_time(monitor, path, tmp_path):
    assert faults(path) == ()
    assert write_qif(monitor.results(), tmp_path / "again.qif").read_bytes() == path.read_bytes()


def test_every_judged_figure_of_every_bore_is_a_value_in_millimetres(monitor, path):
    root = ElementTree.parse(path).getroot()
    bores = monitor.bores().bores
    items = {
        e.get("id"): e.findtext(f"{Q}Name") for e in root.find(f"{Q}Characteristics/{Q}CharacteristicItems")
    }
    found: dict[str, list[float]] = {}
    for value in root.iter():
        if value.tag.endswith("CharacteristicMeasurement"):
            name = items[value.findtext(f"{Q}CharacteristicItemId")]
            found.setdefault(name, []).append(float(value.findtext(f"{Q}Value")))
    for bore in ("1", "2"):
        mine = bores.select(bores.bore == bore)
        order = np.argsort(mine.part.astype(str))
        assert found[f"bore {bore} greatest"] == pytest.approx(50 + mine.greatest[order] / 1000, abs=1e-7)
        assert found[f"bore {bore} least"] == pytest.approx(50 + mine.least[order] / 1000, abs=1e-7)
        assert found[f"bore {bore} taper"] == pytest.approx(mine.taper[order] / 1000, abs=1e-7)


def test_limits_nominal_number_and_drawing_are_those_of_the_sheet(path):
    root = ElementTree.parse(path).getroot()
    definitions = root.find(f"{Q}Characteristics/{Q}CharacteristicDefinitions")
    by_name = {e.findtext(f"{Q}Name"): e for e in definitions}
    least = by_name["bore 1 least"]
    assert least.find(f"{Q}Tolerance/{Q}MinValue").text == "49.99"
    assert least.find(f"{Q}Tolerance/{Q}MaxValue") is None
    assert by_name["bore 1 greatest"].find(f"{Q}Tolerance/{Q}MaxValue").text == "50.01"
    assert by_name["bore 1 taper"].find(f"{Q}Tolerance/{Q}MinValue").text == "-0.008"
    assert "drawing P-1, revision B & <C>, bore 1" in by_name["bore 1 taper"].findtext(f"{Q}Description")
    nominals = root.find(f"{Q}Characteristics/{Q}CharacteristicNominals")
    targets = {e.findtext(f"{Q}Name"): e.findtext(f"{Q}TargetValue") for e in nominals}
    assert (targets["bore 1 greatest"], targets["bore 1 taper"]) == ("50", None)
    items = root.find(f"{Q}Characteristics/{Q}CharacteristicItems")
    numbers = {
        e.findtext(f"{Q}Name"): e.findtext(f"{Q}CharacteristicDesignator/{Q}Designator") for e in items
    }
    assert (numbers["bore 1 greatest"], numbers["bore 1 taper"]) == ("12", None)


def test_the_status_is_the_verdict_of_the_sheet(monitor):
    found = monitor.results()
    bores = monitor.bores().bores
    bad = {p for p, v in zip(bores.part, bores.verdict, strict=True) if v == -1}
    told = {v.serial for v in found.values if v.verdict is Verdict.DOES_NOT_CONFORM}
    assert told == bad
    assert bad
    text = "\n".join(qif_lines(found))
    failed = sum(v.verdict is Verdict.DOES_NOT_CONFORM for v in found.values)
    assert text.count("<CharacteristicStatusEnum>FAIL") == failed
    assert text.count("<InspectionStatusEnum>FAIL") == 2 * len(bad)  # of the results and of the block


def test_one_block_has_its_serial_its_gauge_and_its_times(monitor, tmp_path):
    root = ElementTree.parse(write_qif(monitor.results(part="B0007"), tmp_path / "one.qif")).getroot()
    assert [e.text for e in root.iter(f"{Q}SerialNumber")] == ["B0007"]
    assert [e.findtext(f"{Q}Name") for e in root.iter(f"{Q}MeasurementDevice")] == ["G1"]
    assert all(e.text.endswith("+01:00") for e in root.iter(f"{Q}TimeStamp"))
    with pytest.raises(NotFound):
        monitor.results(part="nobody")


@pytest.mark.parametrize(
    ("pattern", "put", "says"),
    [
        ('versionQIF="3.0.0"', 'versionQIF="2.1"', "versionQIF"),
        ("<QPId>[^<]+", "<QPId>1234", "no UUID"),
        ('idMax="[0-9]+"', 'idMax="7"', "idMax"),
        ('<Standard id="1">', '<Standard id="2">', "there twice"),
        ('<Standard id="1">', '<Standard id="one">', "no whole number"),
        ('CharacteristicItems n="[0-9]+"', 'CharacteristicItems n="3"', "n is 3"),
        ("<FormalStandardId>1<", "<FormalStandardId>2<", "not a Standard"),
        ("<CharacteristicItemId>[0-9]+", "<CharacteristicItemId>1", "not a CharacteristicItem"),
        ("<CharacteristicNominalId>[0-9]+", "<CharacteristicNominalId>99999", "that is nothing"),
        (
            r'<MeasurementDeviceIds n="1"><Id>\d+',
            '<MeasurementDeviceIds n="1"><Id>1',
            "not a MeasurementDevice",
        ),
        ("StatusEnum>PASS<", "StatusEnum>GOOD<", "not in the list"),
        ("<Status>.*?</Status>", "", "Status is missing"),
        ("<Value>[^<]+", "<Value>nan", "no number"),
        ("<Value>[^<]+", "<Value>45.5", "says PASS at 45.5"),
        (r"(<Description>[^<]*</Description>)(<Name>[^<]*</Name>)", r"\2\1", "not in the order"),
        ("<Scope>Results</Scope>", "<Scope>Results</Scope><Scope2>x</Scope2>", "no place"),
        (r"(<SerialNumber>[^<]*</SerialNumber>)(<Status>.*?</Status>)", r"\2\1", "not in the order"),
        (r"<ActualComponentId>\d+", "<ActualComponentId>1", "not a ActualComponent"),
        ("xsd/qif3", "xsd/qif2", "the root is"),
    ],
)
def test_the_check_finds_what_was_spoilt(path, tmp_path, pattern, put, says):
    found = changed(path, tmp_path, pattern, put)
    assert any(says in fault for fault in found), found


def test_a_value_of_another_sort_than_its_item_is_found(path, tmp_path):
    found = changed(
        path, tmp_path, "DiameterCharacteristicMeasurement", "CircularityCharacteristicMeasurement", count=2
    )
    assert any("does not define" in fault for fault in found)


def test_what_is_no_xml_is_said_so(tmp_path):
    (tmp_path / "x.qif").write_text("part,bore\n1,2\n")
    with pytest.raises(FileUnreadable, match="no XML"):
        faults(tmp_path / "x.qif")


def test_nothing_measured_gives_no_file(tmp_path):
    empty = new_cell(tmp_path / "cell", sheet=NUMBERED)
    with pytest.raises(WrongUsage, match="no result"):
        write_qif(empty.results(), tmp_path / "x.qif")
    assert not (tmp_path / "x.qif").exists()


def test_a_file_of_another_name_is_refused(monitor, tmp_path):
    with pytest.raises(WrongUsage, match=r"ends in \.qif"):
        write_qif(monitor.results(), tmp_path / "x.xml")


# A schema of our own for the test, of one rule; the standard's takes its place in a folder of a person's.
SCHEMA = f"""<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="{NAMESPACE}"
  elementFormDefault="qualified"><xs:element name="QIFDocument"><xs:complexType><xs:sequence>
  <xs:any minOccurs="0" maxOccurs="unbounded" processContents="skip"/></xs:sequence>
  <xs:attribute name="versionQIF" fixed="VERSION" use="required"/>
  <xs:attribute name="idMax" type="xs:unsignedInt"/>
  </xs:complexType></xs:element></xs:schema>"""


def test_a_schema_at_hand_is_held_against_and_a_fault_leaves_no_file(monitor, tmp_path):
    pytest.importorskip("lxml")
    good, bad = tmp_path / "good" / "QIFApplications", tmp_path / "bad"
    for folder, version in ((good, "3.0.0"), (bad, "4.0.0")):
        folder.mkdir(parents=True)
        (folder / "QIFDocument.xsd").write_text(SCHEMA.replace("VERSION", version))
    results = monitor.results(part="B0001")
    written = write_qif(results, tmp_path / "a.qif", schema=tmp_path / "good")
    assert validate(written, tmp_path / "good") == ()
    with pytest.raises(NotByTheStandard, match="versionQIF"):
        write_qif(results, tmp_path / "b.qif", schema=bad)
    assert not (tmp_path / "b.qif").exists()
    with pytest.raises(WrongUsage, match=r"no QIFDocument\.xsd"):
        validate(written, tmp_path)


def test_a_broken_schema_is_said_so(monitor, tmp_path):
    pytest.importorskip("lxml")
    (tmp_path / "QIFDocument.xsd").write_text("<nothing/>")
    with pytest.raises(WrongUsage, match="no schema that can be read"):
        write_qif(monitor.results(part="B0001"), tmp_path / "a.qif", schema=tmp_path)


def test_too_many_bores_at_once_are_refused_with_the_way_out(monitor, monkeypatch):
    monkeypatch.setattr("cellmon.monitor.results.MOST_BORES", 70)
    with pytest.raises(WrongUsage, match="narrow --since and --until"):
        monitor.results()
    assert monitor.results(part="B0001").values
