"""Pin what the tests install: names, versions and the SHA-256 of every file that may be taken for it.

    python -m tests.make_pins [--newer]

asks pip what it would install for `.[test]` and for building, here and for other machines, and writes
`.ci/constraints.txt`, which `.ci/run` holds each package against. Versions that stand there stay;
`--newer` takes the newest that fit each other. The list of `docs/dependencies.md` is written along with it.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.dependencies import BUILD, ROOT, WHY, asked_for, key_of, licence_of, reached

PINS = ROOT / ".ci" / "constraints.txt"
PAGE = ROOT / "docs" / "dependencies.md"
MACHINES = (("3.11", "aarch64"), ("3.12", "x86_64"), ("3.13", "x86_64"))
"""Besides the machine this runs on."""
LINUX = ("2_5", "2_12", "2_17", "2_24", "2_26", "2_27", "2_28", "2_34", "2_35", "2_36")
"""The C libraries that a wheel may ask for, by their versions."""
OLDER = ("manylinux1", "manylinux2010", "manylinux2014")
"""What the first of them were called before; pip does not take the one for the other."""
ONLY_HERE = {"atheris": "sys_platform == 'linux' and platform_machine == 'x86_64'"}
"""What is not made for every machine."""
TABLE = """\
| distribution | version | licence | first used for | why |
| --- | --- | --- | --- | --- |"""
HEAD = """\
# Written by `python -m tests.make_pins`: what the tests install, each file held by its SHA-256.
# `.ci/run` installs it with `pip install --require-hashes -r`; it is no `-c` file: hashes there would
# be asked of this checkout too.
"""


@dataclass
class Pin:
    """One distribution: its version, and the files that may be taken for it."""

    name: str
    version: str
    hashes: set[str] = field(default_factory=set)

    @property
    def lines(self) -> str:
        """The requirement as pip reads it."""
        marker = ONLY_HERE.get(self.name.lower())
        head = f"{self.name}=={self.version}" + (f" ; {marker}" if marker else "")
        return " \\\n".join([head, *(f"    --hash=sha256:{one}" for one in sorted(self.hashes))]) + "\n"


def pinned(text: str) -> dict[str, Pin]:
    """Read what a file of pins holds, by name."""
    found: dict[str, Pin] = {}
    for line in text.replace("\\\n", " ").splitlines():
        if not line.strip() or line.startswith("#"):
            continue
        requirement, *hashes = line.split("--hash=sha256:")
        name, _, version = requirement.split(";")[0].strip().partition("==")
        found[key_of(name)] = Pin(name, version, {one.strip() for one in hashes})
    return found


def report(*given: str) -> list[dict[str, Any]]:
    """Return what pip would install, without installing it."""
    with tempfile.TemporaryDirectory() as folder:
        to = Path(folder) / "report.json"
        command = [sys.executable, "-m", "pip", "install", "--dry-run", "--ignore-installed", "--quiet"]
        subprocess.run([*command, "--report", str(to), *given], check=True, cwd=ROOT)
        found: list[dict[str, Any]] = json.loads(to.read_text(encoding="utf-8"))["install"]
    yanked = [one["metadata"]["name"] for one in found if one.get("is_yanked")]
    assert not yanked, f"withdrawn by those who made it: {', '.join(yanked)}"
    return found


def add(pins: dict[str, Pin], found: list[dict[str, Any]]) -> None:
    """Add the files of a report to the pins."""
    for one in found:
        name, version = one["metadata"]["name"], one["metadata"]["version"]
        if key_of(name) == "cellmon":
            continue
        pin = pins.setdefault(key_of(name), Pin(name, version))
        assert pin.version == version, f"{name}: {pin.version} here, {version} elsewhere"
        pin.hashes.add(one["download_info"]["archive_info"]["hashes"]["sha256"])


def elsewhere(pins: dict[str, Pin], python: str, machine: str, folder: Path) -> list[dict[str, Any]]:
    """Return the files of the pinned versions for another machine."""
    wanted = folder / "wanted.txt"
    ours = [pin for key, pin in pins.items() if machine == "x86_64" or key not in ONLY_HERE]
    wanted.write_text("".join(f"{pin.name}=={pin.version}\n" for pin in ours), encoding="utf-8")
    names = [*(f"manylinux_{version}" for version in LINUX), *OLDER]
    platforms = [f"--platform={name}_{machine}" for name in names]
    options = ["--no-deps", "--only-binary=:all:", "--implementation=cp", f"--python-version={python}"]
    return report(*options, *platforms, "--target", str(folder / "never"), "-r", str(wanted))


def write_page(pins: dict[str, Pin]) -> None:
    """Write the list of what is pinned into its page, below the line that announces it."""
    uses = {use: reached(roots) for use, roots in asked_for().items()}
    rows = []
    for key in sorted(pins):
        used = [use for use, found in uses.items() if key in found]
        brought = sorted({root for use in used for root in uses[use][key]} - {key})
        why = WHY.get(key) or f"comes with {', '.join(brought[:4])}"
        pin = pins[key]
        rows.append(f"| {pin.name} | {pin.version} | {licence_of(key)} | {used[0]} | {why} |")
    above = PAGE.read_text(encoding="utf-8").split(TABLE)[0]
    PAGE.write_text("\n".join([above + TABLE, *rows]) + "\n", encoding="utf-8")


def main() -> None:
    """Write the pins and the list of them."""
    pins: dict[str, Pin] = {}
    with tempfile.TemporaryDirectory() as folder:
        held = Path(folder) / "held.txt"
        stay = {} if "--newer" in sys.argv or not PINS.exists() else pinned(PINS.read_text(encoding="utf-8"))
        held.write_text("".join(f"{p.name}=={p.version}\n" for p in stay.values()), encoding="utf-8")
        add(pins, report("-c", str(held), ".[test]", *BUILD))
        for python, machine in MACHINES:
            add(pins, elsewhere(pins, python, machine, Path(folder)))
    PINS.write_text(HEAD + "".join(pins[key].lines for key in sorted(pins)), encoding="utf-8")
    write_page(pins)


if __name__ == "__main__":
    main()
