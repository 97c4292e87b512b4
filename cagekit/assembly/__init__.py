"""The cage put together from the entries of a build."""
