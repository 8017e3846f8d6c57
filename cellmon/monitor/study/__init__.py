"""Subgroups and capability of every stream of many archived cells, here or on machines side by side."""

from cellmon.monitor.study.cell import CellStudy, StreamStudy
from cellmon.monitor.study.whole import Study, study

__all__ = ["CellStudy", "StreamStudy", "Study", "study"]
