"""Settings that every test runs under."""

import os

# The matrices here have a hundred rows: a second BLAS thread costs more than it computes, and sums
# in another order. Set before numpy is imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import hypothesis
import pytest

# How long an example takes says nothing of the code: other work runs beside the tests.
hypothesis.settings.register_profile("untimed", deadline=None)
hypothesis.settings.load_profile("untimed")

# Benches and studies are run by hand, and helpers hold no examples: to look for doctests in them
# would load, among others, a sampler's whole library in every worker.
collect_ignore_glob = ["bench/[!t]*.py", "support/*.py", "demo_bodies.py"]


@pytest.fixture(scope="session")
def shared_folder(tmp_path_factory):
    """A folder that all workers of a run share: see `support.made_once`."""
    own = tmp_path_factory.getbasetemp()
    folder = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "shared"
    folder.mkdir(exist_ok=True)
    return folder
