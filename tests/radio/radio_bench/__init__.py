"""The far side of the virtual radio: the air, the gauges in it, and the two ways by which gaugelog hears them."""
