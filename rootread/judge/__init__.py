"""Find the layers and grade the wall."""
