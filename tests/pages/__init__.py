"""The listening pages in a real browser; a package, so that one browser serves it and ends with it."""
