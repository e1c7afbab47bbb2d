"""The record of a fleet: what campaigns, people and tablets bring to it, and what it is asked."""
