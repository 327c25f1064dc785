"""What a repetition was worth: following, matching, timing, verdict."""
