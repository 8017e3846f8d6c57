"""What is said of a block once: kept, journalled, and no longer clean after another round."""

from __future__ import annotations

import pytest

from cellmon.errors import WrongUsage
from tests.monitor.hand_cell import RECEIVED, grown, hand_cell, typed


@pytest.fixture
def cell(tmp_path):
    cell = hand_cell(tmp_path)
    cell.keep_round(typed(RECEIVED))
    return cell


def block(cell):
    return cell.bore(part="K1", bore="1").block


def test_what_is_said_is_journalled_with_what_it_was_before(cell):
    assert not block(cell).said
    cell.tell_block("K1", by="A. Person", job="12", reference=" R-7 ")
    cell.tell_block("K1", by="B. Person", job="13")
    assert (block(cell).said, block(cell).job, block(cell).reference) == (True, "13", "R-7")
    entry = cell.journal().entries[-1]
    assert (entry.kind, entry.subject, entry.by) == ("hand-work", "K1", "B. Person")
    assert (entry.before["job"], entry.after["job"]) == ("12", "13")
    cell.tell_block("K1", by="B. Person", job="13")
    assert len(cell.journal().entries) == 2


def test_a_block_is_clean_until_its_next_round(cell):
    cell.tell_block("K1", by="A. Person", cleaned=True)
    assert (block(cell).cleaned, block(cell).cleaned_by) == (True, "A. Person")
    assert cell.hand_record("K1").cleaned_by == "A. Person"
    cell.keep_round(typed(grown(6), full=8, stones="rough"))
    assert (block(cell).cleaned, block(cell).cleaned_by) == (False, "A. Person")
    assert cell.hand_record("K1").cleaned_at is None
    cell.tell_block("K1", by="B. Person", cleaned=True)
    assert (block(cell).cleaned, block(cell).cleaned_by) == (True, "B. Person")
    cell.tell_block("K1", by="B. Person", cleaned=False)
    assert not block(cell).cleaned


def test_nothing_is_kept_without_a_name_a_serial_or_of_what_was_not_measured(cell):
    wrong = [
        ("K1", {"by": "", "job": "1"}),
        ("", {"by": "A", "job": "1"}),
        ("K9", {"by": "A", "cleaned": True}),
    ]
    for part, said in wrong:
        with pytest.raises(WrongUsage):
            cell.tell_block(part, **said)
    assert cell.journal().entries == ()
