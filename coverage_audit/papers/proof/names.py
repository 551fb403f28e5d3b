"""Names of the files of a seller's keys: one home for the command and the page."""

PRIVATE, SALTS, PUBLIC = "seller.private", "seller.salts", "seller.public"
"""What signs, what keeps withheld figures from being guessed, and what goes to buyers."""
