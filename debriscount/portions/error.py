"""What a person can put right about portions."""

from ..errors import DebriscountError


class PortionError(DebriscountError, ValueError):
    """Portions, their weights or their photos cannot be used as given."""
