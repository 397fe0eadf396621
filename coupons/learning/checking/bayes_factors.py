"""Bayes factors: how much likelier the entries are if some of them mean something else."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from coupons.learning.design import Design
from coupons.learning.posterior.integrate import Mixture
from coupons.learning.posterior.laplace import Mode, find_mode
from coupons.learning.posterior.latent import latent_model
from coupons.learning.posterior.threads import one_thread

Array = NDArray[np.floating]

# Of the fit's design points the heaviest few hold most.
_POINTS = 4
# A change that is this much less likely at the heaviest point is not tried at the others.
_HOPELESS = -2.0


class BayesFactors:
    """Compares the marginal likelihood of changed designs with that of the one that was fitted.

    The average is over the scatters' posterior of the fit. A slip makes the scatters look larger
    than they are, so the log odds of the change that undoes it are an underestimate.
    """

    def __init__(self, mixture: Mixture) -> None:
        self.mixture = mixture.heaviest(_POINTS)
        self.order = np.argsort(-self.mixture.weights)

    @property
    def design(self) -> Design:
        """The design that was fitted."""
        return self.mixture.model.design

    def log_odds(self, changed: Design, typed: Design | None = None) -> float:
        """Return the log Bayes factor of a changed design.

        Parameters
        ----------
        changed : Design
        typed : Design, optional
            What to compare with, if not the design that was fitted: where a change leaves
            observations out, the fitted one without them.
        """
        gains = []
        with one_thread():
            pairs = zip(self._heights(changed), self._heights(typed), strict=True)
            for new, old in pairs:
                gains.append(new - old)
                if gains[0] < _HOPELESS:
                    return gains[0]
        weights = self.mixture.weights[self.order]
        return float(np.logaddexp.reduce(np.array(gains) + np.log(weights)))

    def _heights(self, design: Design | None) -> Iterator[float]:
        """Yield the log evidence of a design at each point, the heaviest first."""
        model = None if design is None else latent_model(design, self.mixture.model.table)
        for k in map(int, self.order):
            mode: Mode = self.mixture.modes[k]
            if model is not None:
                mode = find_mode(model, self.mixture.scatters[k], mode.latent)
            yield mode.log_laplace
