"""The record: what was read, what was computed from it, when and by which version; nothing is ever changed or removed."""
