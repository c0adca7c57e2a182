"""Forms, queries, flash messages, uploads that wait, the answer to a post."""
