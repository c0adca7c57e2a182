"""Commands that look ahead."""
