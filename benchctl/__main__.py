"""`python -m benchctl` is the same as `benchctl`."""

from benchctl.cli import main

raise SystemExit(main())
