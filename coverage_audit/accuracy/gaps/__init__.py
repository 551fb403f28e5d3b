"""What the gaps between passes tell of the receiver's error."""
