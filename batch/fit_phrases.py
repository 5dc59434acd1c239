"""Fit the phrase model again: ``python -m batch.fit_phrases CORPUS_DIR``."""
