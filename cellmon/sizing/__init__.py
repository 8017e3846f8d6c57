"""One bore in the hand: what its readings say, what a stroke removes, what is safe next.

Pure arithmetic in micrometres of diameter from nominal. Advice only: the tool's manual, site procedures,
local law and qualified people come first.
"""
