"""What an engineer who knows pandas writes in an afternoon: features, subgroups, ranges and limits of a file.

    python tests/bench/pandas_script.py READINGS.csv

The benchmark's baseline. It checks no row, keeps nothing, knows no break but the shift, and looks at one
figure of each subgroup by plain three sigma limits.
"""

from __future__ import annotations

import sys

import pandas as pd

NOMINAL_MM, SIZE = 87.3, 5
A2, D3, D4 = 0.577, 0.0, 2.114
"""Factors of subgroups of five (NIST/SEMATECH e-Handbook, section 6.3.2.1; values from memory)."""


def bores(path: str) -> pd.DataFrame:
    """Return one row a bore with diameter, taper and roundness in micrometres."""
    read = pd.read_csv(path, parse_dates=["measured_at"])
    read["um"] = (read["diameter"] - NOMINAL_MM) * 1000
    keys = ["spindle", "bore", "part", "measured_at"]
    planes = read.groupby([*keys, "plane"], sort=False)["um"].agg(["mean", "min", "max"]).reset_index()
    planes["range"] = planes["max"] - planes["min"]
    means = planes.pivot(index=keys, columns="plane", values="mean")
    found = pd.DataFrame({"diameter": means.mean(axis=1), "taper": means["top"] - means["bottom"]})
    found["roundness"] = planes.groupby(keys)["range"].max() / 2
    return found.reset_index()


def subgroups(found: pd.DataFrame, feature: str) -> pd.DataFrame:
    """Return mean, range and deviation of fives of each stream, within shifts of eight hours."""
    found = found.sort_values(["spindle", "bore", "measured_at"])
    shift = found["measured_at"].dt.floor("8h")
    stream = [found["spindle"], found["bore"], shift]
    number = found.groupby(stream).cumcount() // SIZE
    made = found.groupby([*stream, number.rename("number")])[feature].agg(
        ["mean", "min", "max", "std", "count"]
    )
    made["range"] = made["max"] - made["min"]
    return made[made["count"] == SIZE]


def limits(path: str) -> dict[str, pd.DataFrame]:
    """Return the limits of mean and range of every stream and feature, and how many subgroups are beyond."""
    found, answer = bores(path), {}
    for feature in ("diameter", "taper", "roundness"):
        made = subgroups(found, feature)
        by = made.groupby(["spindle", "bore"])
        centre, width = by["mean"].transform("mean"), by["range"].transform("mean")
        made["beyond"] = ((made["mean"] - centre).abs() > A2 * width) | (made["range"] > D4 * width)
        answer[feature] = by.agg(centre=("mean", "mean"), width=("range", "mean"))
        answer[feature]["beyond"] = made.groupby(["spindle", "bore"])["beyond"].sum()
    return answer


if __name__ == "__main__":
    for name, table in limits(sys.argv[1]).items():
        print(name, table, sep="\n")
