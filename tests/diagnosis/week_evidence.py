"""Evidence of a simulated week by plain comparison of blocks before and after a moment, apart from any chart.

This stands in for the detectors: it knows when to look, not what it should find.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cellmon.diagnosis import Evidence, Logged, Movement
from cellmon.simulate.run import Run

SPINDLES = {"S1": ("1", "2"), "S2": ("3", "4")}
PROCESS = ("cycle_s", "load_pct", "load_ripple_pct")
MINUTE = np.timedelta64(1, "m")
SHIFT_STARTS = (6, 14, 22)


def at(day: int, hour: int, minute: int = 0) -> np.datetime64:
    """A moment of the week in UTC; summer time."""
    return np.datetime64(f"2026-10-{day:02d}T{hour:02d}:{minute:02d}") - np.timedelta64(2, "h")


@dataclass(frozen=True, kw_only=True)
class Moved:
    """Bores of which one feature moved in one way."""

    bores: tuple[int, ...]
    size: float
    um: float


class Blocks:
    """The station's readings as blocks, with the features of every bore."""

    def __init__(self, week: Run) -> None:
        self.week = week
        rows = week.readings
        um = rows.um.reshape(-1, 4, *rows.um.shape[1:])
        self.times = rows.measured_at.reshape(-1, 4)[:, 0]
        self.fixture = rows.fixture.reshape(-1, 4)[:, 0]
        self.spindle = rows.spindle.reshape(-1, 4)
        top, middle, bottom = (um[:, :, i].mean(axis=-1) for i in range(3))
        oval = um[..., 0] - um[..., 1]
        self.features = {
            "size": np.median(um, axis=(-2, -1)),
            "taper": top - bottom,
            "barrel": middle - (top + bottom) / 2,
            "ovality": oval.mean(axis=-1),
            "twist": oval[:, :, 0] - oval[:, :, -1],
            "size_range": um.max(axis=(-2, -1)) - um.min(axis=(-2, -1)),
            **{name: getattr(rows, name).reshape(-1, 4) for name in PROCESS},
            "part_temp_c": rows.part_temp_c.reshape(-1, 4),
        }
        calm = (self.times >= at(19, 9)) & (self.times < at(20, 9))
        self.sigma = {name: _robust(x[calm]) for name, x in self.features.items()}

    def evidence(
        self,
        moment: np.datetime64,
        *,
        since: np.datetime64 | None = None,
        spindle: str | None = None,
        quick: int = 10,
        slow: int = 30,
    ) -> Evidence:
        """Compare the blocks after `moment` with the 150 before `since`, by default the same moment."""
        before = np.flatnonzero(self.times < (moment if since is None else since))[-150:]
        beginning = before.size < 50
        if beginning:  # its first calm day serves, but for streams that move with the dressing
            before = np.flatnonzero((self.times >= at(19, 9)) & (self.times < at(20, 9)))
        after = np.flatnonzero(self.times >= moment)
        movements: list[Movement] = []
        watched = [name for name in self.features if not (beginning and name in PROCESS)]
        for name in watched:
            window = after[:quick] if name in ("size", "part_temp_c") else after[:slow]
            near = (
                before[-40:] if name in PROCESS and since is None else before
            )  # they move with the dressing
            movements += self._levels(name, near, window)
            if since is not None and movements and movements[-1].feature == "part_temp_c":
                del movements[-1]  # the day itself, not a change
            if name not in (*PROCESS, "part_temp_c"):
                movements += self._spreads(name, before, after[: 2 * slow])
        moving = {m.feature for m in movements}
        return Evidence(
            movements=tuple(movements),
            logged=tuple(self._log(moment)),
            quiet=frozenset(watched) - moving,
            feed="force",
            spindle=spindle,
        )

    def _levels(self, name: str, before: np.ndarray, after: np.ndarray) -> list[Movement]:
        x, sigma = self.features[name], self.sigma[name]
        change = np.nanmean(x[after], axis=0) - np.nanmedian(x[before], axis=0)
        z = change / sigma
        found = []
        alike = (np.sign(z) == np.sign(z.mean())).all() and abs(z).min() > 0.4 * abs(z).max()
        if name == "size" and alike and abs(z.mean()) > 0.75:  # the mean of the block is surer than any one
            return self._scoped(name, "level", [0, 1, 2, 3], z, change)
        for sense in (1, -1):
            high = [b for b in range(4) if sense * z[b] > 1.0 and sense * z[b] > 4.5 / np.sqrt(after.size)]
            found += self._scoped(name, "level", high, z, change)
        return [self._fixture(m, before, after) for m in found]

    def _spreads(self, name: str, before: np.ndarray, after: np.ndarray) -> list[Movement]:
        x = self.features[name]
        ratio = _within(x[after]) / _within(x[before])
        up = [b for b in range(4) if ratio[b] > 1 + 3 / np.sqrt(2 * after.size)]
        up += [b for b in range(4) if ratio[b] > 1.15 and b not in up and (b ^ 1) in up]
        return self._scoped(name, "spread", sorted(up), ratio, ratio)

    def _scoped(self, name, kind, bores, size, um) -> list[Movement]:
        groups = (
            [tuple(bores)] if len(bores) >= 3 else [tuple(b for b in bores if b // 2 == s) for s in (0, 1)]
        )
        found = []
        for group in groups:
            if group:
                scope = "all" if len(group) >= 3 else "spindle" if len(group) == 2 else "bore"
                found.append(
                    Movement(
                        feature=name,
                        kind=kind,
                        scope=scope,
                        size=float(np.mean(size[list(group)])),
                        size_um=float(np.mean(um[list(group)])),
                        bores=tuple(str(b + 1) for b in group),
                    )
                )
        return found

    def _fixture(self, m: Movement, before: np.ndarray, after: np.ndarray) -> Movement:
        if m.scope != "bore" or m.feature != "ovality":
            return m
        x, bore = self.features["ovality"], int(m.bores[0]) - 1
        shift = []
        for fixture in ("P1", "P2"):
            mine_before, mine_after = (w[self.fixture[w] == fixture] for w in (before, after))
            shift.append(np.nanmedian(x[mine_after, bore]) - np.nanmedian(x[mine_before, bore]))
        z = np.array(shift) / self.sigma["ovality"][bore]
        if abs(z).min() < 1.0 < abs(z).max():
            worst = int(abs(z).argmax())
            return Movement(
                feature="ovality", kind="level", scope="fixture", size=float(z[worst]), bores=m.bores
            )
        return m

    def _log(self, moment: np.datetime64) -> list[Logged]:
        events, found = self.week.events, []
        for when, event, value, by, spindle in zip(
            events.at, events.event, events.value, events.by, events.spindle, strict=True
        ):
            minutes = float((moment - when) / MINUTE)
            if -10 <= minutes <= 120:
                figure = None if np.isnan(value) else float(value)
                found.append(
                    Logged(event=event, minutes_before=minutes, value=figure, by=by, spindle=spindle)
                )
        local = moment + np.timedelta64(2, "h")
        hour = float((local - local.astype("datetime64[D]")) / np.timedelta64(1, "h"))
        found.append(
            Logged(event="shift-start", minutes_before=60 * min((hour - h) % 24 for h in SHIFT_STARTS))
        )
        for spindle in SPINDLES:
            mine = (events.event == "stones-dressed") | (events.event == "stones-fitted")
            mine &= (events.spindle == spindle) & (events.at <= moment)
            honed = ((self.times > events.at[mine].max()) & (self.times <= moment)).sum() if mine.any() else 0
            if honed > 420:
                found.append(
                    Logged(event="dressing-overdue", minutes_before=(honed - 400) * 85 / 60, spindle=spindle)
                )
        return found

    def master_after(self, moment: np.datetime64) -> Logged:
        """The next master check after a moment."""
        checks = self.week.gauge_checks
        mine = (checks.gauge == "G1") & (checks.state == "as-found") & (checks.at > moment)
        first = np.flatnonzero(mine)[0]
        off = abs(checks.reading_mm[first] - checks.master_mm[first]) * 1000 > 1.0
        minutes = float((moment - checks.at[first]) / MINUTE)
        return Logged(event="master-bad" if off else "master-good", minutes_before=minutes)


def _robust(x: np.ndarray) -> np.ndarray:
    """Standard deviation from the median of absolute deviations: dirt is no spread."""
    return 1.4826 * np.nanmedian(np.abs(x - np.nanmedian(x, axis=0)), axis=0)


def _within(x: np.ndarray) -> np.ndarray:
    """Spread from differences of blocks on one pallet, trimmed: drift, pallets and dirt are none."""
    steps = np.sort(np.abs(x[2:] - x[:-2]), axis=0)
    return np.nanmean(steps[: int(0.97 * len(steps))], axis=0)
