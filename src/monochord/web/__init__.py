"""Pages for the bench and the office, and the same actions for programs; a door like the command line, with the same words."""
