"""Read root architecture from photographs of excavated soil-pit walls."""
