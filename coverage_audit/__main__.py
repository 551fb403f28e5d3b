"""``python -m coverage_audit``."""

import sys

from .cli import main

sys.exit(main())
