"""Find the scale, the level and the soil surface; lay the wall flat."""
