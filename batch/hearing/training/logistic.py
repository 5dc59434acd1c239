"""A logistic regression as a network of one layer; needs scikit-learn."""

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.preprocessing import StandardScaler

from batch.hearing.training.fitting import Layers


def logistic(
    evidence: np.ndarray, answer: np.ndarray, *, inverse_penalty: float = 1.0, balanced: bool = False
) -> Layers:
    """Return the layer fitted to ``evidence`` (n, columns), of even spread, and ``answer`` (n,).

    ``inverse_penalty`` is scikit-learn's C; ``balanced`` makes both answers weigh the same.
    """
    scaler = StandardScaler().fit(evidence)
    model = LogisticRegression(
        C=inverse_penalty, class_weight="balanced" if balanced else None, max_iter=3000
    ).fit(scaler.transform(evidence), answer)
    weights = model.coef_.T / scaler.scale_[:, None]
    bias = model.intercept_ - scaler.mean_ @ weights
    return [(weights[None].astype(np.float32), bias[None, None].astype(np.float32))]
