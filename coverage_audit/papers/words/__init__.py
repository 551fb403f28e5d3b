"""Numbers and sentences as a person reads them."""
