"""``python -m geom.cli`` is the command too."""

import sys

from geom.cli.main import main

sys.exit(main())
