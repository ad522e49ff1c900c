"""The parts the panel is made of, one step each."""
