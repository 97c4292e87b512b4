"""The live page: a build that is changed while one looks at it, served on this machine only."""
