"""The command line: ``cagekit VERB [BUILD] [options]``."""
