"""Options that commands share."""
