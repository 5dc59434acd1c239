"""Takes over time, and what they suggest to practise."""
