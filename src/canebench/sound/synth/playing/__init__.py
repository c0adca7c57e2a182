"""How the player, the bag and the reeds behave."""
