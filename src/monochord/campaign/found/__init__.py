"""What is found: axes, offsets from the common line, adjusted targets, and the sentence that says it."""
