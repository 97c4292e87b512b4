"""Studies: a member tried over a range of places."""
