"""A small cell that plans its stones: two spindles, one kind, a guess of how long a set lasts."""

from __future__ import annotations

from pathlib import Path

from cellmon.monitor import Monitor
from tests.small_cell import EVENTS, HEADER, SHEET, new_cell, rows, write

STONES = """
[stones]
id = "D64"
new_thickness_mm = 3.0
least_thickness_mm = 0.6
expected_life_bores = [6000, 12000]
set_cost = 420.0
change_minutes = 25
dress_minutes = 2
"""
PLANNING = """
[planning]
bores_per_shift = { S1 = 500, S2 = 500 }
lead_time_days = 15
lead_time_sd_days = 3
service_level = 0.98
opening_stock = { D64 = 8 }
machine_cost_per_hour = 95.0
scrap_cost_per_bore = 60.0
"""
FITTED = (
    "2026-03-02T04:00:00Z,stones-fitted,S1,A1,0",
    "2026-03-02T04:00:00Z,stones-fitted,S2,A2,4000",
)
STOCK = "at,kind,change,lot,order,due,movement,use_by"


def planned_cell(
    folder: Path,
    *,
    stones: str = STONES,
    planning: str = PLANNING,
    events: tuple[str, ...] = FITTED,
    stock: tuple[str, ...] = (),
) -> Monitor:
    """Make the cell and take a day of readings, its log and its stock."""
    monitor = new_cell(folder / "cell", sheet=SHEET + stones + planning)
    files = [write(folder, "rows.csv", HEADER, rows(12)), write(folder, "events.csv", EVENTS, events)]
    if stock:
        files.append(write(folder, "stock.csv", STOCK, stock))
    for file in files:
        monitor.take([file])
    return monitor
