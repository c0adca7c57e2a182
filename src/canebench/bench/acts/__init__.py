"""What a person does: one function an act, which opens the transaction and joins rooms and store."""
