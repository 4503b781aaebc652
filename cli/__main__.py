"""``python -m debriscount_cli``."""

from .app import main

main()
