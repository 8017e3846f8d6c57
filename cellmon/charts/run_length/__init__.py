"""Run lengths: how long a chart runs until it signals, computed, and the limits that make it run so long.

`distribution` holds what every chart answers with; a module for each chart builds it; `estimated`,
`correlated`, `rounded` and `skewed` say what becomes of it where textbook assumptions fail.
"""
