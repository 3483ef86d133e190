"""Which loads may share a channel, and on which channels: every electrical rule is decided here, once."""
