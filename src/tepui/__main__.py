"""``python -m tepui``, for those who start programs that way."""

import sys

from tepui.cli.main import main

sys.exit(main())
