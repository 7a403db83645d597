"""The command, for ``python -m rootread``."""

from rootread.cli import main

main()
