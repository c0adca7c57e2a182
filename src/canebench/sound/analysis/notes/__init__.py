"""The notes held over them."""
