"""The record put to the test: damage, sudden ends, many writers."""
