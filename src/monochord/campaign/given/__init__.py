"""What is given: the girder and what sits on it, instruments, tolerances, and measured occasions."""
