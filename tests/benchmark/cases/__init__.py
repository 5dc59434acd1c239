"""Hard cases, each made on purpose with its truth known."""
