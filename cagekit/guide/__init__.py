"""The guide: pages written by hand, what follows from code and data, pictures of parts."""
