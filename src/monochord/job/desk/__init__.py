"""The desk: what a person at a page may do with the campaigns of one folder, and long work beside it."""
