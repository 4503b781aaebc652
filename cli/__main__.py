"""``python -m debriscount_cli``."""

from .start import main

main()
