"""`python -m cellmon` does what the command `cellmon` does."""

from __future__ import annotations

import sys

from cellmon.cli.main import main

sys.exit(main())
