"""One module a format: a finished analysis in, bytes out."""
