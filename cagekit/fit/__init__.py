"""People among the tubes: room to every bar, the way out, what the bars hide from the eyes."""
