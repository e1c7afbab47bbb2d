"""The verdict: axes in; offsets from the declared common line, and what they mean against a limit, out."""
