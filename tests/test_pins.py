"""What is installed is pinned: a version and hashes for each, no addresses, and a reason why it is there."""

from __future__ import annotations

import os
import re
from importlib import metadata

import pytest

from tests.dependencies import WHY, asked_for, key_of
from tests.make_pins import PAGE, PINS, pinned

OURS = ("cellmon", "pip")
TEXT = PINS.read_text(encoding="utf-8")


def test_each_pin_has_one_version_and_hashes_and_no_address():
    pins = pinned(TEXT)
    assert len(pins) > 50
    for pin in pins.values():
        assert re.fullmatch(r"[0-9][0-9A-Za-z.]*", pin.version), pin.name
        assert pin.hashes and all(re.fullmatch(r"[0-9a-f]{64}", one) for one in pin.hashes), pin.name
    assert not re.search(r"://|@|--(?:extra-)?index|--find-links|^-", TEXT, re.MULTILINE)
    assert len(pins) == len([line for line in TEXT.splitlines() if "==" in line]), "a name stands there twice"


def test_what_the_project_asks_for_itself_is_pinned_and_says_why():
    pins = pinned(TEXT)
    for use, roots in asked_for().items():
        for root in roots:
            key = key_of(root.name)
            assert key in pins, f"{root.name} ({use}): python -m tests.make_pins"
            assert root.specifier.contains(pins[key].version), root.name
            assert key in WHY, root.name
    assert set(WHY) <= {key_of(root.name) for roots in asked_for().values() for root in roots}


def test_every_distribution_that_is_installed_is_pinned():
    """In CI those and no others are there; elsewhere a person may have newer ones and more."""
    if not os.environ.get("CI"):
        pytest.skip("only where .ci/run has installed")
    pins = pinned(TEXT)
    for one in metadata.distributions():
        key = key_of(one.metadata["Name"])
        if key not in OURS:
            assert key in pins and pins[key].version == one.version, f"{key} {one.version} is not pinned"


def test_the_page_lists_what_is_pinned():
    page = PAGE.read_text(encoding="utf-8")
    listed = dict(re.findall(r"^\| ([\w.-]+) \| (\d[\w.]*) \|", page, re.MULTILINE))
    assert listed == {pin.name: pin.version for pin in pinned(TEXT).values()}
