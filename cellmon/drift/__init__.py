"""Where a process went and where it goes: change points, wear, forecasts, corrections, releases."""
