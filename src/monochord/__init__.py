"""Monochord: magnetic axes of a girder, from the vibrating wire to the verdict."""

__version__ = "0.1.0"
