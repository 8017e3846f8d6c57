"""Fits: the clearance of bores and the parts that go into them, by chance, by grades, pair by pair."""
