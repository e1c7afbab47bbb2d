"""A guided draft of a lab description: bytes of unknown files in, what they seem to say with its evidence out.

Nothing here chooses where a mix-up would pass unseen: such a thing becomes a question with its choices.
"""
