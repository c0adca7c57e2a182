"""Objects for JSON, and their schemas."""
