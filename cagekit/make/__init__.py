"""Making a build: every product into one folder that is swapped in when it is whole."""
