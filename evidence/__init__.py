"""Long seeded studies of what the code claims, and the figures that they gave."""
