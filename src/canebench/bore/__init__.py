"""Room: the physics of air, bore, holes and reed."""
