"""Capability of a normal process: indices with intervals, and what forbids a claim."""
