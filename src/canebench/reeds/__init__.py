"""Room: a reed's states and legal moves, its strength, its eases, and which reed suits a player now."""
