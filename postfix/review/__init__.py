"""Pages and pictures for a person to look at."""
