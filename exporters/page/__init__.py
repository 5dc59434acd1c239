"""Listening pages: one for a take, one for all takes of a folder; HTML that opens from disk."""

from exporters.page.take_page import TakePage
from exporters.page.takes_page import TakesPage

__all__ = ["TakePage", "TakesPage"]
