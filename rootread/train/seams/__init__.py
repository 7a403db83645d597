"""Learning to see the seams between roots that touch."""
