"""``python -m coverage_audit``."""

import sys

from coverage_audit.cli.main import main

sys.exit(main())
