"""The commented cell sheet that a new folder begins with, and the pieces a proposed one is made of."""

from __future__ import annotations

HEAD = """\
# The cell sheet: what is honed, measured and watched. `cellmon check` reads it and says what is wrong.
# Lengths are in mm, form and wear in um (0.001 mm). A line that begins with # is a remark.
"""

CELL = """
[cell]
name = {name}                # any name; it heads every page
timezone = {zone}            # the zone of times that carry no offset, such as "Europe/Berlin"{zone_mark}
length_unit = {unit}             # of size columns whose header names no unit: mm | in | um{unit_mark}
"""

PART = """
[part]
number = {number}            # the drawing's number{number_mark}
bores = [{bores}]
# length_mm = 140.0          # of the bore; asked for by taper over the whole bore
# material = "grey cast iron"  # says by how much a warm part reads large; needed for temperature = "correct"
surface = "plain"            # plain | coated | plated | unknown

[features.diameter]          # mm
nominal = {nominal}{nominal_mark}
{limits}
"""

FORM = {
    "taper": """
[features.taper]             # um, signed: size at the upper plane minus size at the lower one
# lower = -8.0               # from the drawing; without limits it is charted, not judged
# upper = 8.0
""",
    "barrel": """
[features.barrel]            # um, signed: size in the middle minus the mean of the outer planes
# lower = -8.0
# upper = 8.0
""",
    "ovality": """
[features.ovality]           # um, signed: size in the first direction minus size in the other
# lower = -8.0
# upper = 8.0
""",
    "roundness": """
[features.roundness]         # um, radial, from two-point readings: blind to three lobes
# upper = 4.0
""",
}

MEASURING = """
[measuring]
planes = {{ {planes} }}       # depth below the top face, mm{planes_mark}
directions = {{ {directions} }}   # degrees; 0 along the crank axis{directions_mark}
reads = {reads}           # diameter | deviation (um from nominal)
gauge = {gauge}
{resolution}
# uncertainty_common_um = 0.5    # standard (k = 1): master, zero, temperature; from the gauge's papers
# uncertainty_reading_um = 0.35  # standard (k = 1): repeatability; from a gauge study
temperature = "as-read"      # as-read | correct | by-gauge (the gauge has corrected already)
"""

REST = """
[decision]
rule = "guarded"             # guarded: proven inside, allowing for the gauge's uncertainty | simple

# [uncertainty]              # for the gauge's budget only, standard (k = 1); it alters no verdict
# master_um = 0.25           # of the ring or master, from its certificate
# part_temp_c = 0.3          # how well the part's temperature is known when it is measured
# master_temp_c = 0.3        # and the master's when the gauge was zeroed
# expansion_share = 0.1      # how well both expansions are known, as a share of them

[alarms]
false_alarms_per_week = 2.0  # for the whole cell, all charts together

[subgroups]
size = 5                     # consecutive bores of one stream

[capability]
required = 1.33

# [people]
# second_person = ["limits", "claims"]   # stand only once another person has signed them
"""

SHIFTS = """
# [[shifts]]                 # without shifts, one a day from midnight
# name = "early"
# starts = "06:00"
"""

STONES = """
# [stones]                   # without it nothing is said of wear and stone changes
# id = "finish-stones"
# new_thickness_mm = 3.0
# least_thickness_mm = 0.6
# stones_per_set = 4
# expected_life_bores = [6000, 12000]   # a guess, until sets have ended
# set_cost = 420.0

# [planning]                 # without it no change of stones is dated and nothing is ordered
# bores_per_shift = { S1 = 600 }
# closed = []                # dates without work
# lead_time_days = 15
# lead_time_sd_days = 3
# service_level = 0.98       # chance of no shortage per order
# opening_stock = { finish-stones = 3 }
# machine_cost_per_hour = 95.0
# scrap_cost_per_bore = 60.0
"""

FILL = "   # FILL IN: "
"""Marks what only a person can know."""


def blank_sheet() -> str:
    """Return the commented sheet for `cellmon new`: valid as it stands, for a small example part."""
    head = HEAD + "# It stands for an example part: put your own figures in place of these.\n"
    cell = CELL.format(name='"My cell"', zone='"UTC"', unit='"mm"', zone_mark="", unit_mark="")
    part = PART.format(
        number='"EXAMPLE-1"',
        number_mark="",
        bores='"1", "2"',
        nominal="50.000",
        nominal_mark="",
        limits="lower = 50.000\nupper = 50.025\n# target = 50.012          # default: the middle",
    )
    measuring = MEASURING.format(
        planes="top = 10.0, middle = 40.0, bottom = 70.0",
        planes_mark="",
        directions="x = 0, y = 90",
        directions_mark="",
        reads='"diameter"',
        gauge='"G1"',
        resolution="resolution_um = 0.1",
    )
    spindles = '\n[[spindles]]\nid = "S1"\nbores = ["1", "2"]           # which bores it hones\n'
    spindles += "# dress_every_bores = 800    # planned, all its bores counted; else as the log has it\n"
    columns = '\n[columns]                    # ours = "as your files call it"\n# part = "Serial No"\n'
    form = "".join(FORM[name] for name in ("taper", "barrel", "ovality", "roundness"))
    return head + cell + part + form + measuring + SHIFTS + spindles + STONES + REST + columns
