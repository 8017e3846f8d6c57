"""Fixed points spread evenly over a cube of many dimensions: Sobol's sequence, its first so many.

Written out because scipy's, which the tests compare with, takes longer to import than a whole forecast.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

NUMBERS = """
3: 1
7: 1 3
11: 1 3 1
13: 1 1 1
19: 1 1 3 3
25: 1 3 5 13
37: 1 1 5 5 17
41: 1 1 5 5 5
47: 1 1 7 11 19
55: 1 1 5 1 1
59: 1 1 1 3 11
61: 1 3 5 5 31
67: 1 3 3 9 7 49
91: 1 1 1 15 21 21
97: 1 3 1 13 27 49
103: 1 1 1 15 7 5
109: 1 3 1 15 13 25
115: 1 1 5 5 19 61
131: 1 3 7 11 23 15 103
137: 1 3 7 13 13 15 69
143: 1 1 3 13 7 35 63
145: 1 3 5 9 1 25 53
157: 1 3 1 13 9 35 107
167: 1 3 1 5 27 61 31
171: 1 1 5 11 19 41 61
185: 1 3 5 3 3 13 69
191: 1 1 7 13 1 19 1
193: 1 3 7 5 13 19 59
203: 1 1 3 9 25 29 41
211: 1 3 5 13 23 1 55
213: 1 3 7 3 13 59 17
229: 1 3 1 3 5 53 69
239: 1 1 5 5 23 33 13
241: 1 1 7 7 1 61 123
247: 1 1 7 9 13 61 49
253: 1 3 3 5 3 55 33
285: 1 3 1 15 31 13 49 245
299: 1 3 5 15 31 59 63 97
301: 1 3 1 11 11 11 77 249
333: 1 3 1 11 27 43 71 9
351: 1 1 7 15 21 11 81 45
355: 1 3 7 3 25 31 65 79
357: 1 3 1 1 19 11 3 205
361: 1 1 5 9 19 21 29 157
369: 1 3 7 11 1 33 89 185
391: 1 3 3 3 15 9 79 71
397: 1 3 7 11 15 39 119 27
425: 1 1 3 1 11 31 97 225
451: 1 1 1 3 23 43 57 177
463: 1 3 7 7 17 17 37 71
487: 1 3 1 5 27 63 123 213
501: 1 1 3 5 11 43 53 133
529: 1 3 5 5 29 17 47 173 479
539: 1 3 3 11 3 1 109 9 69
545: 1 1 1 5 17 39 23 5 343
557: 1 3 1 5 25 15 31 103 499
563: 1 1 1 11 11 17 63 105 183
601: 1 1 5 11 9 29 97 231 363
607: 1 1 5 15 19 45 41 7 383
617: 1 3 7 7 31 19 83 137 221
623: 1 1 1 3 23 15 111 223 83
631: 1 1 5 13 31 15 55 25 161
637: 1 1 3 13 25 47 39 87 257
647: 1 1 1 11 21 53 125 249 293
661: 1 1 7 11 11 7 57 79 323
675: 1 1 5 5 17 13 81 3 131
677: 1 1 7 13 23 7 65 251 475
687: 1 3 5 1 9 43 3 149 11
695: 1 1 3 13 31 13 13 255 487
701: 1 3 3 1 5 63 89 91 127
719: 1 1 3 3 1 19 123 127 237
721: 1 1 5 7 23 31 37 243 289
731: 1 1 5 11 17 53 117 183 491
757: 1 1 1 5 1 13 13 209 345
761: 1 1 3 15 1 57 115 7 33
787: 1 3 1 11 7 43 81 207 175
789: 1 3 1 1 15 27 63 255 49
799: 1 3 5 3 27 61 105 171 305
803: 1 1 5 3 1 3 57 249 149
"""
"""For each dimension after the first its primitive polynomial, as bits, and its first direction numbers."""
MOST_COLUMNS = 80


def even_points(bits: int, columns: int) -> NDArray[np.float64]:
    """Return the first 2^bits points of Sobol's sequence, shape (2^bits, columns), from 0 to below 1.

    Parameters
    ----------
    bits : int
        From 1 to 30.
    columns : int
        Dimensions, from 1 to 80.

    References
    ----------
    Sobol, USSR Computational Mathematics and Mathematical Physics 7 (1967), 86-112; direction numbers of
    Joe and Kuo, SIAM Journal on Scientific Computing 30 (2008), 2635-2654, as scipy 1.17 carries them;
    points in the order of Antonov and Saleev (1979). The three papers are cited from memory.

    Examples
    --------
    >>> even_points(2, 2).tolist()
    [[0.0, 0.0], [0.5, 0.5], [0.75, 0.25], [0.25, 0.75]]
    """
    if not (1 <= bits <= 30 and 1 <= columns <= MOST_COLUMNS):
        raise ValueError(f"1 to 30 bits and 1 to {MOST_COLUMNS} columns, not {bits} and {columns}")
    rows = NUMBERS.split("\n")[1:columns]
    ways = np.array([_first_ways(bits), *(_ways(row, bits) for row in rows)])
    points = np.zeros((2**bits, columns), dtype=np.int64)
    for bit in range(bits):  # Gray code: the second half is the first in reverse, one way further
        points[2**bit : 2 ** (bit + 1)] = points[: 2**bit][::-1] ^ ways[:, bit]
    return np.asarray(points / 2**bits, dtype=np.float64)


def _first_ways(bits: int) -> list[int]:
    return [1 << (bits - 1 - k) for k in range(bits)]


def _ways(row: str, bits: int) -> list[int]:
    """Return the direction numbers of one dimension, the first the highest bit."""
    told, _, first = row.partition(":")
    polynomial, numbers = int(told), [int(number) for number in first.split()]
    degree = polynomial.bit_length() - 1
    while len(numbers) < bits:
        new = numbers[-degree] ^ (numbers[-degree] << degree)
        for k in range(1, degree):
            if polynomial >> (degree - k) & 1:
                new ^= numbers[-k] << k
        numbers.append(new)
    return [number << (bits - 1 - k) for k, number in enumerate(numbers[:bits])]
