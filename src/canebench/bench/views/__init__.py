"""What a person reads: one typed view a question, for command, page and card alike."""
