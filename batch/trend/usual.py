"""How often soloists do what phrases are labelled with, and how likely it is that a take never does."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from pydantic import TypeAdapter
from scipy.special import betaln, gammaln


@dataclass(frozen=True, slots=True)
class Usual:
    """A label in annotated solos: its ``share`` of the phrases, and how much phrases of a solo are alike.

    ``clustering``, 0 to 1, is the correlation of two phrases of one solo: 0 where each is chosen anew.
    """

    share: float
    clustering: float

    def at_most(self, count: int, phrases: Sequence[int]) -> float:
        """Return how likely takes of so many ``phrases`` hold the label ``count`` times at most in all.

        Each take has a share of its own, drawn from the Beta distribution that solos follow, so the
        count in a take is beta-binomial (Skellam, J. G. (1948). "A probability distribution derived from
        the binomial distribution...". J. R. Stat. Soc. B 10, 257-261) and the sum is their convolution.
        A binomial test would take the phrases of a take for unrelated, and be sure too soon.
        """
        whole = np.ones(1)
        for number in phrases:
            whole = np.convolve(whole, self._chances(number, count))[: count + 1]
        return float(min(whole.sum(), 1.0))

    def _chances(self, number: int, most: int) -> np.ndarray:
        """Return the chance of 0, 1, ... ``most`` among ``number`` phrases of one take."""
        k = np.arange(min(number, most) + 1)
        choices = gammaln(number + 1) - gammaln(k + 1) - gammaln(number - k + 1)
        if self.clustering <= 0:
            return np.exp(choices + k * np.log(self.share) + (number - k) * np.log1p(-self.share))
        spread = 1 / self.clustering - 1
        a, b = self.share * spread, (1 - self.share) * spread
        return np.exp(choices + betaln(k + a, number - k + b) - betaln(a, b))


@lru_cache(1)
def usual_shares() -> Mapping[str, Usual]:
    """Return each label's share among annotated jazz solos, as ``batch.trend.fit`` measured it."""
    content = files("batch.trend").joinpath("label_shares.json").read_bytes()
    return TypeAdapter(dict[str, Usual]).validate_json(content)
