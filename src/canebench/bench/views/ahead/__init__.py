"""What lies ahead of reeds: what each will become, and how often that was true."""
