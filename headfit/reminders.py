"""What every result says of itself: that sites are predicted, and what headfit is not."""

PREDICTED = "Sites are predicted from the measurements, not measured."
NOT_MEDICAL = "Not a medical device."
