"""The cell sheet of the demonstration, with comments for people who write their own."""

from __future__ import annotations

SHEET = """\
# The cell sheet of Harrowmere Works, line 3: an invented cell for demonstrations.
# Sizes are in mm, form and deviations in um. `cellmon check` says what is wrong in a sheet.

[cell]
name = "Harrowmere line 3"
timezone = "Europe/Berlin"
length_unit = "mm"              # of size columns that carry no unit

[part]                          # the drawing; the serial of a block stands in the files
number = "HM-214"
revision = "C"
bores = ["1", "2", "3", "4"]
length_mm = 140.0
material = "grey cast iron"
surface = "plain"

[features.diameter]             # limits in mm
number = "12"
nominal = 87.300
lower = 87.300
upper = 87.324
target = 87.312
size = "average"                # what is charted
judge = "every-reading"         # each two-point size must lie inside the limits
reaction = "Stop, measure again, read the master, then compare the streams."

[features.taper]                # signed, um: top less bottom
lower = -8.0
upper = 8.0

[features.barrel]               # signed, um: middle less the mean of top and bottom
lower = -6.0
upper = 6.0

[features.ovality]              # signed, um on diameter: x less y
lower = -8.0
upper = 8.0
by_fixture = true               # a strained clamp shows on one fixture only

[features.roundness]            # um on radius, from two-point readings: blind to three lobes
upper = 4.0

[features.roundness_trace]      # um on radius, from the roundness instrument
upper = 5.0
reference = "least-squares"
filter_upr = 50

[features.cylindricity]         # um on radius, from the roundness instrument
upper = 10.0

[features.crosshatch_included]  # the whole angle between the two families of scratches
unit = "deg"
lower = 37.0
upper = 53.0

[measuring]
planes = { top = 15.0, middle = 70.0, bottom = 125.0 }   # mm below the top face
directions = { x = 0, y = 90 }                           # degrees; x along the crank axis
reads = "diameter"
gauge = "G1"
resolution_um = 0.1
uncertainty_common_um = 0.5     # standard, k = 1: master, zero, temperature
uncertainty_reading_um = 0.35   # standard, k = 1: repeatability of one reading
temperature = "by-gauge"        # zeroed on warm parts against the ring: readings are used as they come
zeroed_at = { part_c = 26.0, master_c = 23.0 }

[decision]
rule = "guarded"
conformance = 0.95

[[gauges]]                      # dial bore gauge, one block an hour
id = "G2"
unit = "mm"
resolution_um = 1.0
uncertainty_reading_um = 0.9
use = "audit"

[[gauges]]                      # roundness instrument, one block per shift
id = "R1"
unit = "um"
resolution_um = 0.01
uncertainty_reading_um = 0.1
use = "audit"

[alarms]
false_alarms_per_week = 2.0     # of the whole cell, all charts together

[subgroups]
size = 5
within = ["shift", "stone_set", "dressing"]

[[shifts]]
name = "early"
starts = "06:00"
days = ["mon", "tue", "wed", "thu", "fri", "sat"]

[[shifts]]
name = "late"
starts = "14:00"
days = ["mon", "tue", "wed", "thu", "fri", "sat"]

[[shifts]]
name = "night"
starts = "22:00"
days = ["mon", "tue", "wed", "thu", "fri", "sat"]

[[spindles]]
id = "S1"
bores = ["1", "2"]
feed = "force"                  # stones pressed with a constant force
stages = ["finish"]
dress_every_bores = 800         # the plan: 400 blocks of two bores

[[spindles]]
id = "S2"
bores = ["3", "4"]
feed = "force"
stages = ["finish"]
dress_every_bores = 800

[stones]
id = "D64"                      # diamond, metal bond, about 64 um grain
stage = "finish"
new_thickness_mm = 3.0
least_thickness_mm = 0.6
stones_per_set = 4
stone_length_mm = 70.0
flat_um = 5.0
parallel_um = 10.0
matched_um = 10.0
expected_life_bores = [6000, 12000]
set_cost = 420.0
change_minutes = 25
dress_minutes = 2

[planning]
# 8 h less 10 min at the start and 20 min in the middle, 85 s a block, less a dressing or two: 316 blocks
bores_per_shift = { S1 = 632, S2 = 632 }
closed = []
lead_time_days = 15
lead_time_sd_days = 3
service_level = 0.98
opening_stock = { D64 = 3 }
machine_cost_per_hour = 95.0
scrap_cost_per_bore = 60.0

[checks]
master_every_h = 3
as_found_limit_um = 1.0
first_bores = 3
acknowledge_min = 10

[capability]
required = 1.33
confidence = 0.975

[fit]                           # the piston that goes into the bore
clearance_lower_um = 30
clearance_upper_um = 46
mating_material = "piston alloy"
borders_um = [8, 16]
"""


def sheet_text() -> str:
    """Return the demonstration's cell sheet as a commented TOML text."""
    return SHEET
