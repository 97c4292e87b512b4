"""Generators: one module a member family, each from entry and car to tubes."""
