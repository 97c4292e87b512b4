"""The page: the cage, its people, cards and findings as data, and the files that show them."""
