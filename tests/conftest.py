"""Settings that every test runs under."""

import os

# The matrices here have a hundred rows: a second BLAS thread costs more than it computes, and sums
# in another order. Set before numpy is imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import hypothesis

# How long an example takes says nothing of the code: other work runs beside the tests.
hypothesis.settings.register_profile("untimed", deadline=None)
hypothesis.settings.load_profile("untimed")

# Benches and studies are run by hand, and helpers hold no examples: to look for doctests in them
# would load, among others, a sampler's whole library in every worker.
collect_ignore_glob = ["bench/[!t]*.py", "support/*.py", "demo_bodies.py"]
