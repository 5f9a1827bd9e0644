"""Parts measured by the shop itself: a block by caliper, and a block found from moves."""
