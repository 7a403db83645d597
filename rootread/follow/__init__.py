"""Turn root pixels into whole roots."""
