"""Can this photo be read? Asked while the pit is still open."""

from rootread.check.photo import check_photo
from rootread.check.types import Finding, PhotoCheck
from rootread.check.words import check_summary, check_text, check_values

__all__ = ["Finding", "PhotoCheck", "check_photo", "check_summary", "check_text", "check_values"]
