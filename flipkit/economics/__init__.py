"""One item's economics: every line of money and every minute, with its origin."""
