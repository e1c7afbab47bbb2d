"""The tables of a page, as data: every number keeps its exact value beside its print."""
