"""Streams, signals and stones of many archived cells, here or on machines side by side."""

from cellmon.monitor.study.cell import CellStudy, SignalStudy
from cellmon.monitor.study.streams import StreamStudy, TogetherStudy
from cellmon.monitor.study.whole import Study, study

__all__ = ["CellStudy", "SignalStudy", "StreamStudy", "Study", "TogetherStudy", "study"]
