"""``python -m grouper`` is ``grouper``."""

from grouper.cli import main

main()
