"""When has the hand let go; what is one placement. Time comes only from readings and ticks, never from a clock."""
