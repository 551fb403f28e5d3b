"""Maps: the live one, the still one, and their layers."""
