"""Say which pixels of the flat wall are root."""
