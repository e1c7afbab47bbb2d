"""What every room stands on: faults, units, frames, estimates, least squares, string formulas.

Takes and gives plain numbers and arrays in SI; knows no file, no clock and no room.
"""
