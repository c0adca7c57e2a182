"""Pages that look ahead."""
