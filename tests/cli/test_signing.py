"""The commands by which a second person signs."""

from __future__ import annotations

import json

import pytest

from cellmon.cli.main import main
from tests.monitor.test_second_person import WANTED
from tests.small_cell import HEADER, new_cell, rows, write


@pytest.fixture
def cell(tmp_path):
    """The folder of a cell whose sheet wants a second person."""
    monitor = new_cell(tmp_path / "cell", sheet=WANTED)
    monitor.take([write(tmp_path, "rows.csv", HEADER, rows(80))])
    monitor.close()
    return tmp_path / "cell"


@pytest.fixture
def run(cell, capsys):
    def ran(*given: str) -> tuple[int, str, str]:
        status = main([given[0], "--cell", str(cell), *given[1:]])
        said = capsys.readouterr()
        return status, said.out, said.err

    return ran


def test_a_freeze_waits_is_listed_and_is_signed_by_another(run):
    status, out, _ = run("baseline", "--freeze", "--all", "--by", "A. Weber", "--why", "first")
    assert status == 0 and "P1, limits of 6 streams, proposed by A. Weber: waits" in out
    status, out, _ = run("sign")
    assert "wants a second person for limits, claims" in out and "1 proposal waits" in out
    status, _, err = run("sign", "P1", "--by", "A. Weber", "--why", "mine")
    assert status != 0 and err == "cellmon: A. Weber proposed P1; another person signs it.\n"
    status, out, _ = run("sign", "p1", "--by", "B. Ito", "--why", "looked at", "--json")
    assert json.loads(out)["proposals"][0]["state"] == "signed"
    _, out, _ = run("baseline", "--json")
    assert {(b["in_force"]["by"], b["in_force"]["signed_by"]) for b in json.loads(out)["baselines"]} == {
        ("A. Weber", "B. Ito")
    }
    assert "frozen by A. Weber, signed by B. Ito" in run("baseline")[1]


def test_figures_wait_are_refused_with_a_reason_and_say_so(run):
    given = ("capability", "--spindle", "S1", "--feature", "diameter")
    assert "Not signed by a second person: nobody" in run(*given)[1]
    _, out, _ = run(*given, "--sign", "--by", "A. Weber", "--why", "customer")
    assert "Not signed by a second person; P1 waits for one." in out
    assert (
        "refused by B. Ito: too few bores"
        in run("sign", "P1", "--refuse", "--by", "B. Ito", "--why", "too few bores")[1]
    )
    _, out, _ = run(*given, "--json")
    [row] = json.loads(out)["capability"]
    assert (row["signature"]["state"], row["signature"]["signed_by"]) == ("refused", None)
    assert "B. Ito refused" in run(*given)[1]


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("sign", "--by", "B. Ito", "--why", "x"), "go with the ID"),
        (("sign", "P1", "--by", "B. Ito"), "needs --by NAME and --why TEXT"),
        (("sign", "P9", "--by", "B. Ito", "--why", "x"), "no proposal P9"),
        (("capability", "--by", "B. Ito"), "go with --sign"),
        (("capability", "--sign"), "--sign needs --by NAME"),
    ],
)
def test_what_is_asked_wrongly_is_said_in_one_sentence(run, given, said):
    status, out, err = run(*given)
    assert status != 0 and out == "" and said in err and err.count("\n") == 1
