"""A strict reader of the Prometheus text format, written from its published grammar and nothing of ours.

Prometheus documentation, "Exposition formats", text-based format, version 0.0.4, from memory: lines end in a
line feed, the last too; `# HELP name text` and `# TYPE name kind` stand at most once per name and before its
samples; all lines of one metric are one group; a sample is `name{label="value",...} value [timestamp]`; in
label values backslash, quote and line feed are escaped; a histogram has `_bucket` with `le`, cumulative, of
which `+Inf` equals `_count`, and `_sum`. Names as its data model has them.
"""

from __future__ import annotations

import re
from collections import defaultdict

NAME = r"[a-zA-Z_:][a-zA-Z0-9_:]*"
LABEL = r'(?P<label>[a-zA-Z_][a-zA-Z0-9_]*)="(?P<value>(?:[^"\\\n]|\\\\|\\"|\\n)*)"'
VALUE = r"[+-]?(?:Inf|NaN|[0-9]+(?:\.[0-9]*)?(?:[eE][+-]?[0-9]+)?)"
SAMPLE = re.compile(rf"(?P<name>{NAME})(?:\{{(?P<labels>.*)\}})? (?P<value>{VALUE})(?: -?[0-9]+)?")
META = re.compile(rf"# (?P<what>HELP|TYPE) (?P<name>{NAME}) (?P<rest>.*)")
KINDS = {"counter", "gauge", "histogram", "summary", "untyped"}
Series = dict[tuple[str, frozenset[tuple[str, str]]], float]


def read(text: str) -> Series:
    """Return every sample by name and labels, or fail an assertion at the first line against the grammar."""
    assert text.endswith("\n") and "\r" not in text
    kinds: dict[str, str] = {}
    helped: set[str] = set()
    ended: set[str] = set()
    found: Series = {}
    at = ""
    for line in text.splitlines():
        if meta := META.fullmatch(line):
            name = meta["name"]
            if meta["what"] == "TYPE":
                assert meta["rest"] in KINDS and name not in kinds, line
                kinds[name] = meta["rest"]
            else:
                assert name not in helped, line
                helped.add(name)
        else:
            sample = SAMPLE.fullmatch(line)
            assert sample is not None, f"no line of the format: {line!r}"
            key = (sample["name"], frozenset(_labels(sample["labels"]).items()))
            assert key not in found, f"twice: {line}"
            found[key] = float(sample["value"])
            name = _family(sample["name"], kinds)
            assert name in kinds, f"no TYPE before {line}"
        if name != at:
            assert name not in ended, f"{name} is no one group"
            ended.add(at)
            at = name
    for name, kind in kinds.items():
        if kind == "histogram":
            _check_histogram(name, found)
        if kind == "counter":
            assert all(value >= 0 for (n, _), value in found.items() if n == name)
    return found


def _labels(text: str | None) -> dict[str, str]:
    found: dict[str, str] = {}
    at, text = 0, text or ""
    while at < len(text):
        one = re.compile(LABEL).match(text, at)
        assert one is not None and one["label"] not in found, text
        found[one["label"]] = one["value"]
        at = one.end()
        if at < len(text):
            assert text[at] == ",", text
            at += 1
    return found


def _family(name: str, kinds: dict[str, str]) -> str:
    base = re.sub("_(bucket|sum|count)$", "", name)
    return base if kinds.get(base) in ("histogram", "summary") else name


def _check_histogram(name: str, found: Series) -> None:
    buckets: dict[frozenset[tuple[str, str]], list[tuple[float, float]]] = defaultdict(list)
    for (sample, labels), value in found.items():
        if sample == f"{name}_bucket":
            told = dict(labels)
            buckets[frozenset(labels - {("le", told["le"])})].append((float(told["le"]), value))
    assert buckets
    for labels, ladder in buckets.items():
        ladder.sort()
        counts = [count for _, count in ladder]
        assert counts == sorted(counts) and ladder[-1][0] == float("inf")
        assert found[f"{name}_count", labels] == counts[-1]
        assert found[f"{name}_sum", labels] >= 0
