"""Inputs made by grammar and by damage, an independent count of what is in them, and limits for those who read them."""
