"""Formats of measured files, one small module each: bytes in, a table of cells or blocks of a waveform out."""
