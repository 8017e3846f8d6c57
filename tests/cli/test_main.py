"""The command line itself: what it imports, how it refuses, with which status it ends."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from cellmon.cli.main import COMMANDS, INTERRUPTED, main
from cellmon.errors import StoreRefused

HEAVY = ("numpy", "pandas", "scipy", "pydantic", "dash", "plotly", "sqlalchemy", "pyarrow", "cellmon.records")
SPINE = (
    "demo new check adopt take files aside flags correct log state shifts signals respond hold release part "
    "stream traces gauge stones fit setup bore study plant sign receive journal backup restore move words "
    "alarms run-length joint first-bores audits baseline capability compare export people serve"
)


def python(code: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | environment,
    )


def test_help_imports_nothing_heavy():
    code = (
        "import sys\nfrom cellmon.cli.main import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        f"print([m for m in {HEAVY!r} if m in sys.modules])"
    )
    ran = python(code)
    assert ran.stderr == ""
    assert ran.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize(("set_to", "found"), [(None, "1"), ("2", "2")])
def test_linear_algebra_works_in_one_thread_unless_somebody_said_otherwise(monkeypatch, set_to, found):
    monkeypatch.delenv("OPENBLAS_NUM_THREADS")
    if set_to is not None:
        monkeypatch.setenv("OPENBLAS_NUM_THREADS", set_to)
    with pytest.raises(SystemExit):
        main(["--help"])
    assert os.environ["OPENBLAS_NUM_THREADS"] == found


def test_help_names_every_command(capsys):
    with pytest.raises(SystemExit) as end:
        main(["--help"])
    assert end.value.code == 0
    shown = capsys.readouterr().out.split()
    assert {c.name for c in COMMANDS} == set(SPINE.split())
    assert set(SPINE.split()) <= set(shown)


@pytest.mark.parametrize("command", [c.name for c in COMMANDS])
def test_every_command_has_help_of_its_own(command, capsys):
    with pytest.raises(SystemExit) as end:
        main([command, "--help"])
    assert end.value.code == 0
    assert f"cellmon {command}" in capsys.readouterr().out


@pytest.mark.parametrize(
    "argv",
    [
        [],
        ["stat"],
        ["state", "--jso"],
        ["state", "more"],
        ["state", "--as-of", "yesterday"],
        ["state", "--as-of", "2026-10-25T02:30"],  # comes twice: the clocks go back
        ["state", "--as-of", "2026-03-29T02:30"],  # never comes: the clocks go forward
        ["shifts", "--shift", "late"],
        ["signals", "--last", "-1"],
        ["signals", "7f3a", "--open"],
        ["signals", "7f3a", "--all"],
        ["signals", "--open", "--all"],
        ["alarms", "S1"],
        ["first-bores", "--release", "S1"],
        ["first-bores", "--release", "S1", "--by", "Ada"],
        ["first-bores", "--by", "Ada", "--why", "measured"],
        ["first-bores", "--release", "S1", "--by", "Ada", "--why", "x", "--as-of", "2026-10-22T18:05"],
        ["export", "hold", "--to", "csv"],
        ["take"],
        ["take", "nowhere.csv"],
        ["take", __file__, "--kind", "cheese"],
        ["take", __file__, "--unit", "furlong"],
        ["respond", "7f3a", "--by", "Ada"],
        ["respond", "7f3a", "--by", "Ada", "--cause", "chip"],
        ["respond", "7f3a", "--by", "Ada", "--seen", "--cause", "chip", "--action", "new stones"],
        ["respond", "7f3a", "--by", " ", "--seen"],
        ["respond", "7f3a", "--seen"],
        ["release", "7f3a", "--as", "released", "--by", "Ada", "--why", "measured"],
        ["release", "7f3a", "--parts", "B1", "--as", "sold", "--by", "Ada", "--why", "measured"],
        ["correct", "f1", "--by", "Ada", "--why", "x"],
        ["correct", "f1", "--accept", "--keep", "--by", "Ada", "--why", "x"],
        ["adopt", "--by", "Ada"],
        ["baseline", "--freeze", "--by", "Ada", "--why", "x"],
        ["baseline", "--freeze", "--all", "--spindle", "S1", "--by", "Ada", "--why", "x"],
        ["baseline", "--freeze", "--all", "--by", "Ada"],
        ["baseline", "--all"],
        ["capability", "--since", "2026-10-23", "--until", "2026-10-22"],
        ["export", "cheese", "--to", "csv"],
        ["export", "bores", "--to", "stl"],
        ["export", "bores"],
        ["export", "part", "--to", "csv"],
        ["export", "signals", "B1", "--to", "csv"],
        ["export", "signals", "--to", "csv", "--shift", "2026-10-22/late"],
        ["export", "record", "--to", "csv"],
        ["export", "hold", "7f3a", "--to", "pdf"],
        ["export", "signals", "--to", "qif"],
        ["export", "signals", "--to", "csv", "--schema", "here"],
        ["export", "shift", "late", "--to", "pdf"],
        ["export", "shift", "2026-10-22/late", "--shift", "2026-10-22/late", "--to", "csv"],
        ["export", "shift", "--to", "pdf", "--feature", "taper"],
        ["export", "capability", "--to", "pdf", "--paper", "a5"],
        ["serve", "--host", "0.0.0.0"],
        ["serve", "--host", "example.org"],
        ["serve", "--port", "0"],
        ["demo", "--host", "192.168.0.2"],
        ["new"],
        ["new", "here", "--from", "nowhere.csv"],
        ["log"],
        ["log", "coffee"],
        ["log", "stones-fitted", "--spindle", "S1"],
        ["log", "stone-measurement", "--stone", "1"],
    ],
)
def test_wrong_usage_is_one_sentence_and_status_2(run, monitor, argv):
    ran = run(*argv)
    assert (ran.status, ran.out) == (2, "")
    assert ran.err.startswith("cellmon: ")
    assert ran.err.count("\n") == 1
    assert {name for name, *_ in monitor.calls} <= {"open", "may_serve"}


def test_a_name_the_cell_does_not_know_ends_with_the_status_of_its_class(run):
    assert run("part", "B404") == run("part", "B404", "--json")
    ran = run("part", "B404")
    assert (ran.status, ran.out, ran.err) == (1, "", "cellmon: no part B404\n")
    ran = run("signals", "0000")
    assert (ran.status, ran.out) == (1, "")
    assert ran.err == "cellmon: no signal 0000; cellmon signals --all lists them\n"


def test_a_folder_that_is_no_cell_is_refused(tmp_path, capsys):
    status = main(["state", "--cell", str(tmp_path / "nothing")])
    said = capsys.readouterr()
    assert (status, said.out) == (2, "")
    assert said.err.startswith(f"cellmon: {tmp_path}/nothing/cell.toml: ")
    assert said.err.count("\n") == 1


def test_refusals_cannot_steer_the_terminal(monkeypatch, capsys):
    def refuse(*_: object, **__: object) -> None:
        raise StoreRefused("cell\x1b[2J.db")

    monkeypatch.setattr("cellmon.open_cell", refuse)
    assert main(["state"]) == 1
    assert capsys.readouterr().err == "cellmon: cell?[2J.db\n"


def test_a_file_that_cannot_be_written_is_told(monkeypatch, capsys):
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device", "cell.db")

    monkeypatch.setattr("cellmon.open_cell", full)
    assert main(["state"]) == 1
    assert capsys.readouterr().err == "cellmon: cell.db: No space left on device\n"


def test_control_c_is_quiet(monkeypatch, capsys):
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("cellmon.open_cell", stop)
    assert main(["state"]) == INTERRUPTED
    assert capsys.readouterr() == ("", "")


def test_a_closed_pipe_is_quiet():
    code = (
        "import sys\nfrom cellmon.cli import answers\nfrom cellmon.cli.main import main\n"
        "def state(args):\n    print('x' * 1_000_000)\n    return 0\n"
        "answers.state = state\nsys.exit(main(['state']))"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.read(1)
        process.stdout.close()
        said = process.stderr.read()
        assert process.wait(timeout=30) == 1
    assert said == b""


def test_letters_that_the_terminal_lacks_do_not_end_a_command():
    code = (
        "import sys\nfrom cellmon.cli import answers\nfrom cellmon.cli.main import main\n"
        "def state(args):\n    print('\\u00b5m')\n    return 0\n"
        "answers.state = state\nsys.exit(main(['state']))"
    )
    ran = python(code, PYTHONIOENCODING="ascii")
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "?m\n", "")


def test_the_module_runs_as_the_command_does():
    ran = subprocess.run(
        [sys.executable, "-m", "cellmon", "--version"], capture_output=True, text=True, check=False
    )
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout.startswith("cellmon ")
