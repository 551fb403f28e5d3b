"""The measures of a comparison in words for the person."""

MEASURE_WORDS = {
    "missed_share": "Missed, share of the target",
    "double_share": "Sprayed twice or more, of the target",
    "outside_share": "Sprayed beyond the field, of target",
    "spacing_error_m": "Spacing error about the boom width",
    "cross_track_rms_m": "Deviation from own lines",
    "rate_spread": "Spread of the rate by speed, pass to pass",
    "hours_per_ha": "Time, first to last fix",
    "efficiency": "Share of the time spent spraying",
    "mix_l_ha": "Mix used over the target",
}
"""What each measure is called, by its key."""
