"""Made-up footage of a kite workshop on a windy coast, with the exact parallax of every pixel known."""
