"""Which chapters a take has: one a phrase, or sections of several where these are many."""
