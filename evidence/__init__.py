"""Long seeded studies of what the code claims, and the figures that they gave."""

import os

# Before numpy is loaded: the matrices of one girder are small, and more threads only wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
