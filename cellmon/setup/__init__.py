"""Set-up of a hone: speeds, stroke, crosshatch, and what a bore takes off the stones."""
