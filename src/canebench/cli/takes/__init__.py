"""Commands about takes, scales and chanters."""
