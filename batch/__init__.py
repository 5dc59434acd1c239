"""From takes to phrases, labels and variety: the listening pass of takemill."""

__version__ = "0.1.0"
