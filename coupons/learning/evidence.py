"""How much better entries are explained if some of them are taken to mean something else."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from coupons.learning.design import Design
from coupons.learning.integrate import Mixture
from coupons.learning.laplace import Mode, find_mode
from coupons.learning.latent import latent_model

Array = NDArray[np.floating]

# Of the fit's design points the heaviest few hold most.
_POINTS = 4
# What explains the entries this much worse at the heaviest point is not weighed at the others.
_HOPELESS = -2.0


class Evidence:
    """Weighs changed designs, of the same sizes, against the one that was fitted.

    The scatters are averaged over as the fit leaves them. A slip makes them look larger than they
    are, so what would undo it gains rather more than is said here.
    """

    def __init__(self, mixture: Mixture) -> None:
        self.mixture = mixture.heaviest(_POINTS)
        self.order = np.argsort(-self.mixture.weights)

    @property
    def design(self) -> Design:
        """The design that was fitted."""
        return self.mixture.model.design

    def log_odds(self, changed: Design, typed: Design | None = None) -> float:
        """Return the log of how many times likelier the observations are under a changed design.

        Parameters
        ----------
        changed : Design
        typed : Design, optional
            What to hold it against, if not the design that was fitted: where a change leaves
            observations out, the same without them.
        """
        gains = []
        with threadpool_limits(1):
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
