"""``python -m coverage_audit``."""

import sys

from coverage_audit.cli import main

sys.exit(main())
