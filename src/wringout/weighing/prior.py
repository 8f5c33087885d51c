"""What a set of causes is worth before any reading."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from wringout.weighing.hypothesis import Hypothesis

__all__ = ["Prior"]


@dataclass(frozen=True)
class Prior:
    """Prior over sets: how many causes there are, and how they share each count.

    ``weights`` share of each fault among single faults (sums to 1); ``counts`` probability of so many faults;
    ``beyond_design`` share of the faultless calls in which the weather is past the design day.
    """

    weights: Mapping[str, float]
    counts: Mapping[int, float]
    beyond_design: float

    def log_probability(self, hypothesis: Hypothesis) -> float:
        """Natural logarithm of the prior probability of a set in these variants.

        Parameters
        ----------
        hypothesis : Hypothesis

        Returns
        -------
        float
            Pairs and triples share their count's probability in proportion to the product of their weights.
        """
        causes = hypothesis.causes
        if not causes:
            return math.log(self.counts[0] * (1.0 - self.beyond_design))
        if causes == ("beyond-design",):
            return math.log(self.counts[0] * self.beyond_design)
        k = len(causes)
        total = math.log(self.counts[k])
        for part in hypothesis.parts:
            total += math.log(self.weights[part.cause] * part.share)
        # an unordered set of k different causes can be drawn in k! orders
        return total + math.lgamma(k + 1)
