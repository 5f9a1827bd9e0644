"""Commands of the shop: settings, checks, studies."""
